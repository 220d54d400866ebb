"""The sheet Quote: fair price, range and build-up of a piece chosen from drop-downs, by formulas alone.

The formulas use what Excel 2016, LibreOffice and others all know. Cells to choose in are left empty by us, a blank one
standing for the usual: so they are the owner's, and a refresh leaves what he chose.
"""

from __future__ import annotations

from openpyxl.chart.series import DataPoint
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from pricing.price_model.build_up import GROUPS
from pricing.price_model.calibration import RICHNESS_EDGES
from pricing.price_model.design import GRADE_SCORE
from pricing.price_model.model import PriceModel
from pricing.price_model.price_factors import GROUP_OF, PAST, PriceFactors
from pricing.price_model.spreads import GRADED, READINGS, SOLD
from pricing.spreadsheet import style
from pricing.spreadsheet.charts import bar_chart
from pricing.spreadsheet.price_factors_sheet import FACTORS, SLOTS, key_formula, write_price_factors
from pricing.spreadsheet.result_sheets import write_heading
from pricing.spreadsheet.sections import paragraph
from pricing.spreadsheet.tables import put, set_up_page

TITLE = "Quote"
INPUTS = ("type", "maker", "era", "grade", "reading_pct", "set_size", "matched", "channel", "variant", "brand")
_WIDTHS = (20, 24, 24, 13, 13, 13, 13)
_INPUT_TOP = 7
ROW = {name: _INPUT_TOP + place for place, name in enumerate(INPUTS)}
FAIR, LOW, HIGH, SAYS = "B18", "B19", "B20", "A21"
_BUILD, _WORK = 23, 40  # rows of headings
END = _BUILD + 1 + len(GROUPS)
_LISTS = {"type": "factor_types_word", "maker": "factor_maker", "era": "factor_era", "grade": "factor_grade",
          "matched": "list_yes_no", "channel": "factor_channel", "variant": "factor_variant", "brand": "factor_brand"}
TOLERANCE = ("The range is summed from spreads level by level, without some covariances that the full model knows. "
             "On an invented shop of 6,000 sales its width was within 5 % of the full model's for 99 of 100 pieces, at "
             "most 12 % off; on 700 sales for 85 of 100 pieces as sold, at most 10 % off, mostly too wide. The fair "
             "price is the same to the cent.")


def write_quote(book: Workbook, model: PriceModel, factors: PriceFactors | None = None) -> Worksheet:
    """Quote, and Price factors behind it."""
    factors = PriceFactors.of(model) if factors is None else factors
    sheet = book.create_sheet(TITLE)
    write_price_factors(book, factors, model.as_of)
    for place, width in enumerate(_WIDTHS, start=1):
        sheet.column_dimensions[get_column_letter(place)].width = width
    write_heading(sheet, TITLE, [
        f"What a piece like this typically sells for in this shop, {model.settings.currency or 'its currency'} a set, "
        f"for {model.as_of:%Y-%m-%d}.",
        "Choose in the column “your choice”; a blank cell stands for what is shown beside it.",
    ])
    paragraph(sheet, 4, "An estimate from one shop's sales, no promise of what a piece will bring.", style.CAUTION,
              _WIDTHS)
    _inputs(sheet, model)
    _build_up(sheet, factors)
    _work(sheet, factors)
    paragraph(sheet, _WORK - 3, TOLERANCE, style.NOTE, _WIDTHS)
    _chart(sheet)
    sheet.sheet_properties.tabColor = style.HEAD
    set_up_page(sheet, title_row=None, last_column=18, last_row=_WORK - 3)
    return sheet


def _escaped(cell: str) -> str:
    """A text as MATCH takes it: its own ~ * ? are no wildcards."""
    return f'SUBSTITUTE(SUBSTITUTE(SUBSTITUTE({cell},"~","~~"),"*","~*"),"?","~?")'


def _inputs(sheet: Worksheet, model: PriceModel) -> None:
    for column, text in enumerate(("", "your choice", "priced as", "remark"), start=1):
        put(sheet, _INPUT_TOP - 1, column, text, "shop input heading" if column == 2 else "shop heading")
    usual = model.history.sales["canonical_type"].mode().iloc[0].replace('"', '""')
    channel = model.usual_channel.replace('"', '""')
    blank = {"type": usual, "maker": "unknown", "era": "unknown", "grade": "unknown", "matched": "no",
             "channel": channel, "variant": "unknown", "brand": "unknown"}
    unmet = {
        "type": "type not in the factors: priced at the shop's general level",
        "maker": "maker not met in this shop", "era": "no such era: taken as unknown",
        "grade": "no such grade: taken as unknown", "matched": "yes or no", "channel": "channel not met in this shop",
        "variant": "variant not met in this shop", "brand": "brand not met in this shop",
    }
    for name, row in ROW.items():
        put(sheet, row, 1, name.replace("_", " ").replace("pct", "%"), "shop text")
        box, cell = f"B{row}", f"C{row}"
        sheet[box].style = "shop input plain"
        sheet[box].fill = style.INPUT_HEAD_FILL
        number = f"IF(ISNUMBER({box}),{box},0)"
        if name == "reading_pct":
            share = f"IF(AND({number}>=0.05,{number}<=2.5),100*{number},{number})"
            formula = f'=IF(AND({share}>=5,{share}<=250),{share},"not stated")'
            says = f'=IF(AND({box}<>"",{cell}="not stated"),"not a reading in % of nominal (5 to 250)","")'
        elif name == "set_size":
            formula = f"=IF(AND({number}>=1,{number}=INT({number})),{number},1)"
            says = f'=IF(AND({box}<>"",{box}<>{cell}),"a whole number of pieces is wanted","")'
        else:
            text = f'IF(TRIM({box}&"")="","{blank[name]}",TRIM({box}&""))'
            if name == "era":
                text = f'IF({number}>=1000,10*INT({number}/10)&"s",{text})'
            if name in ("grade", "era"):
                text = f'IF(ISNUMBER(MATCH({_escaped(text)},{_LISTS[name]},0)),{text},"unknown")'
            formula = f"={text}"
            met = "1" if name == "matched" else f"IF({cell}=\"unknown\",1,B{_place_row(name)})"
            says = f'=IF(AND({box}<>"",{met}=0),"{unmet[name]}","")'
            if name in ("grade", "era"):
                asked = f'{box}<>"",LOWER({box}&"")<>"unknown"'
                says = f'=IF(AND({asked},{cell}="unknown"),"{unmet[name]}","")'
            if name == "type":
                at = f"B{_place_row(name)}"
                family, pooled = (f"INDEX(factor_types_{one},{at})" for one in ("family", "canonical_type"))
                says = (f'=IF({at}=0,"{unmet[name]}",IF(INDEX(factor_types_sold,{at})="no",'
                        f'"never sold here: priced from its family, "&{family},'
                        f'IF({cell}<>{pooled},"sold as "&{pooled},"")))')
        for column, text in ((3, formula), (4, says)):
            sheet.cell(row, column).style = "shop plain"
            sheet.cell(row, column, text)
        offer = _offer(name)
        offer.add(box)
        sheet.add_data_validation(offer)
    total = _WORK + 1 + len(_PLACES)
    log = f"SUM(C{total + 1}:C{total + len(FACTORS) - len(PAST)})+B{_place_row('reading log')}+LN(C{ROW['set_size']})"
    brand_alone = f"AND(C{ROW['maker']}=\"unknown\",B{_place_row('attributed')}>0)"
    half = f"B{_place_row('half width')}"
    for cell, label, step in ((FAIR, "fair price", "0"), (LOW, "low", f"-{half}"), (HIGH, "high", half)):
        row = int(cell[1:])
        put(sheet, row, 1, label, "shop text")
        sheet[cell].style = "shop money"
        sheet[cell] = f'=IF({brand_alone},"",ROUND(EXP({log}+({step})),2))'
        sheet[cell].font = style.BOLD
    sheet[SAYS] = (f'=IF({brand_alone},"State the maker: the full model weighs up the makers this brand may stand '
                   'for (see the Price list).","Four sales in five of such a piece fall between low and high.")')
    sheet[SAYS].font = style.NOTE


def _offer(name: str) -> DataValidation:
    """What may be chosen: offered, not forced."""
    look = {"showErrorMessage": True, "errorStyle": "information", "errorTitle": "Not in the list",
            "error": "This is not among the words met. The remark beside it tells how it is priced."}
    if name == "reading_pct":
        return DataValidation(type="decimal", operator="between", formula1="5", formula2="250", allow_blank=True,
                              **look)
    if name == "set_size":
        return DataValidation(type="list", formula1='"1,2,4"', allow_blank=True, **look)
    words = '"yes,no"' if name == "matched" else _LISTS[name]
    return DataValidation(type="list", formula1=words, allow_blank=True, **look)


def _listed(name: str) -> str:
    cell = f"C{ROW[name]}"
    return f"=IFERROR(MATCH({_escaped(cell)},{_LISTS[name]},0),0)"


def _of_type(column: str) -> str:
    return f"=IF(B{_place_row('type')}=0,0,INDEX(factor_types_{column},B{_place_row('type')}))"


# Places of the chosen words in the lists, and what follows from them: name -> formula, made when all rows are known.
_PLACES = ("type", "canonical_type", "family", "other_designation", "profile", "maker", "era", "grade", "variant",
           "brand", "channel", "set_kind", "matched", "grade score", "reading log", "attributed", "cell", "relative "
           "variance", "half width")


def _place_row(name: str) -> int:
    return _WORK + 1 + _PLACES.index(name)


def _factor_row(factor: str) -> int:
    return _WORK + 2 + len(_PLACES) + FACTORS.index(factor)


def _spread(factor: str) -> str:
    return f"D{_factor_row(factor)}"


def _part(words: str) -> str:
    """What the profile says that a part adds; `words` is a formula for the heading."""
    return (f"IFERROR(INDEX(profile_spread,B{_place_row('profile')},MATCH({words},profile_part,0)),0)")


def _work(sheet: Worksheet, factors: PriceFactors) -> None:
    put(sheet, _WORK - 1, 1, "Working", "shop text")
    sheet.cell(_WORK - 1, 1).font = style.SECTION
    for column, text in enumerate(("place", "number"), start=1):
        put(sheet, _WORK, column, text, "shop heading")
    size, reading, brand = (f"C{ROW[name]}" for name in ("set_size", "reading_pct", "brand"))
    inside = f"MAX(MIN({reading},100),{READINGS[0]})"
    at = f"MIN(MATCH({inside},factor_reading_pct,1),ROWS(factor_reading_pct)-1)"
    between = (f"(({inside})-INDEX(factor_reading_pct,{at}))/(INDEX(factor_reading_pct,{at}+1)"
               f"-INDEX(factor_reading_pct,{at}))")
    scores = "+".join(f'({score})*(C{ROW["grade"]}="{grade}")' for grade, score in GRADE_SCORE.items())
    not_stated = factors.readings[None]
    formulas = {
        "type": _listed("type"), "canonical_type": _of_type("type_no"), "family": _of_type("family_no"),
        "other_designation": _of_type("printed_no"),
        "profile": f"=IF(B{_place_row('type')}=0,ROWS(profile_kind),"
                   f"INDEX(factor_types_profile_no,B{_place_row('type')}))",
        **{name: _listed(name) for name in ("maker", "era", "grade", "variant", "brand", "channel")},
        "set_kind": f"=IF({size}=1,1,IF({size}=2,2,IF({size}=4,3,4)))",
        "matched": f'=IF(AND(LOWER(C{ROW["matched"]})="yes",{size}>1),1,2)',
        "grade score": f"={scores}",
        "reading log": f'=IF({reading}="not stated",{not_stated!r},INDEX(factor_reading_log,{at})+({between})'
                       f"*(INDEX(factor_reading_log,{at}+1)-INDEX(factor_reading_log,{at})))",
        "attributed": f'=IF({brand}="unknown",0,IFERROR(MATCH({_escaped(brand)},factor_attributed,0),0))',
        "cell": f"={_cell(factors)}", "relative variance": f"={_relative(factors)}",
        "half width": f"={_half_width(factors)}",
    }
    for name in _PLACES:
        put(sheet, _place_row(name), 1, name, "shop text")
        sheet.cell(_place_row(name), 2, formulas[name]).style = "shop number"
    head = _WORK + 1 + len(_PLACES)
    for column, text in enumerate(("factor", "row of Price factors", "log factor", "spread"), start=1):
        put(sheet, head, column, text, "shop heading")
    cells = {column: f"B{_place_row(column)}" for slots in SLOTS.values() for column in slots if column}
    absent = {"printed brand": f'C{ROW["brand"]}="unknown"', "variant": f'C{ROW["variant"]}="unknown"',
              "variant of maker": f'C{ROW["variant"]}="unknown"'}
    for factor in FACTORS:
        row = _factor_row(factor)
        put(sheet, row, 1, factor, "shop text")
        match = f"IFERROR(MATCH({key_formula(factor, factors, cells)},factor_key,0),0)"
        if factor in absent:
            match = f"IF({absent[factor]},0,{match})"
        log = f"IF(B{row}=0,0,N(INDEX(factor_log,B{row})))"
        if factor == "grade in type":
            log += f"*B{_place_row('grade score')}"
        for column, formula in ((2, match), (3, log), (4, f'IF(B{row}=0,"",INDEX(factor_spread,B{row}))')):
            sheet.cell(row, column, f"={formula}").style = "shop number"


def _cell(factors: PriceFactors) -> str:
    """Variance of the piece by type, maker and era (construction and grade, where sold), all else average."""
    unmet = factors.spreads.unmet
    names = (GRADED, SOLD, "type, maker and era", "type and maker", "maker and era", "maker", "era")
    graded, sold, cell, pair, both, maker, era = map(_spread, names)
    any_era = f'IF({era}="",{unmet["era"]!r},{era})'
    core = f"INDEX(profile_spread,B{_place_row('profile')},3)"
    kind = f"INDEX(profile_kind,B{_place_row('profile')})"
    of_maker = f'IF({both}<>"",{both},N({maker})+IF(B{_place_row("maker")}=0,{unmet["maker"]!r},0)' \
               f'+{any_era}+{unmet["maker and era"]!r})'
    no_type = f'IF({kind}="type",0,{unmet["type"]!r}+IF({kind}="family",0,{unmet["family"]!r}))'
    new_pair = f"{core}+{unmet['type and maker'] + unmet['type, maker and era']!r}+{of_maker}+{no_type}"
    new_cell = f'{pair}+{unmet["type, maker and era"]!r}+IF({both}="",{any_era}+{unmet["maker and era"]!r},' \
               f"MAX({both}-{maker},0))"
    less = f'IF({sold}<>"",{sold},IF({cell}<>"",{cell},IF({pair}<>"",{new_cell},{new_pair})))'
    return f'IF({graded}<>"",{graded},{less})'


def _relative(factors: PriceFactors) -> str:
    """Relative variance: the cell's, and what every other part adds."""
    unmet = factors.spreads.unmet

    def named(factor: str, part: str, stated: str) -> str:
        new = _part(f'"{part}: none"')
        return f'IF({stated},IF({_spread(factor)}<>"",{_spread(factor)},{new}+{unmet[factor]!r}),{new})'

    no_variant = _part('"variant: none"')
    variant = (f'IF(OR({_spread(GRADED)}<>"",{_spread(SOLD)}<>""),0,IF(C{ROW["variant"]}="unknown",{no_variant},'
               f'IF({_spread("variant of maker")}<>"",{_spread("variant of maker")},{unmet["variant of maker"]!r}'
               f'+IF({_spread("variant")}<>"",{_spread("variant")},{no_variant}+{unmet["variant"]!r}))))')
    kind = f'CHOOSE(B{_place_row("set_kind")},"single","pair","quad","other")'
    matched = f'IF(B{_place_row("matched")}=1,"yes","no")'
    chosen = _escaped(f"C{ROW['channel']}")
    heading, no_channel, no_reading = f'"channel: "&{chosen}', '"channel: none"', '"reading: none"'
    channel = f"IF(ISNUMBER(MATCH({heading},profile_part,0)),{_part(heading)},{_part(no_channel)}+{unmet['channel']!r})"
    stated, grade = f"C{ROW['reading_pct']}", f"\"grade: \"&C{ROW['grade']}"
    reading = f"MAX(MIN({stated},{READINGS[-1]}),{READINGS[0]})"
    lower = f"MIN(5*INT({reading}/5),{READINGS[-2]})"
    low, high = (_part(f'"reading: "&({lower}+{step})') for step in (0, 5))
    of_reading = f'IF({stated}="not stated",{_part(no_reading)},{low}+({reading}-{lower})/5*({high}-{low}))'
    parts = [
        f"B{_place_row('cell')}", variant,
        named("printed designation", "designation", f"B{_place_row('other_designation')}>0"),
        named("printed brand", "brand", f'C{ROW["brand"]}<>"unknown"'),
        f'IF({_spread(GRADED)}<>"",0,{_part(grade)})', _part(f'"set: "&{kind}&", "&{matched}'), channel, of_reading,
    ]
    return f"MAX({'+'.join(parts)},0)"


def _half_width(factors: PriceFactors) -> str:
    """Half the 80 % range of one sale's log price, as the full model makes it of the relative variance."""
    r, s2 = f"B{_place_row('relative variance')}", factors.noise_variance
    t, z = factors.t80, factors.z80
    if factors.calibrated:
        first, second, third = (float(one) for one in factors.multipliers)
        low, high = RICHNESS_EDGES
        sale = f"IF({r}<{low},{first!r},IF({r}<{high},{second!r},{third!r}))*SQRT({s2!r}*(1+{r}))"
    else:
        sale = f"{factors.inflation!r}*SQRT({s2!r}*({t**2!r}+{z**2!r}*{r}))"
    return f"MAX({sale},{z * factors.inflation!r}*SQRT({s2!r}*{r}))"


def _build_up(sheet: Worksheet, factors: PriceFactors) -> None:
    """Factors of the price one after the other, and beside them what the chart draws."""
    heads = ("factor", "what it is", "multiplier", "price after", "price", "adds", "takes off")
    for column, text in enumerate(heads, start=1):
        put(sheet, _BUILD, column, text, "shop heading" if column < 3 else "shop heading right")
    what = {"shop": '"an ordinary piece"', "family": f'IF(B{_place_row("type")}=0,"not known",'
            f'INDEX(factor_types_family,B{_place_row("type")}))', "type": f"C{ROW['type']}",
            "maker": f"C{ROW['maker']}", "era": f"C{ROW['era']}", "variant": f"C{ROW['variant']}",
            "grade": f"C{ROW['grade']}", "reading": f"C{ROW['reading_pct']}",
            "set": f'C{ROW["set_size"]}&IF(B{_place_row("matched")}=1,", matched","")', "channel": f"C{ROW['channel']}",
            "season": '"of the date above"', "market today": '"since past sales"'}
    for number, group in enumerate(GROUPS):
        row = _BUILD + 1 + number
        logs = [f"C{_factor_row(factor)}" for factor in FACTORS if GROUP_OF.get(factor) == group.factor]
        if group.factor == "market today":
            logs = ["0", *(f"-C{_factor_row(factor)}" for factor in PAST)]
        elif group.factor == "reading":
            logs = [f"B{_place_row('reading log')}"]
        elif group.factor == "set":
            logs.append(f"LN(C{ROW['set_size']})")
        total = "+".join(logs).replace("+-", "-")
        put(sheet, row, 1, group.factor, "shop text")
        before = f"D{row - 1}" if number else "0"
        for column, formula, kind in (
            (2, what[group.factor], "plain"), (3, f"EXP({total})", "factor"),
            (4, f"D{row - 1}*C{row}" if number else f"C{row}", "money"),
            (5, f"MIN({before},D{row})" if number else f"D{row}", "money"),
            (6, f"MAX(D{row}-{before},0)" if number else "0", "money"),
            (7, f"MAX({before}-D{row},0)" if number else "0", "money"),
        ):
            sheet.cell(row, column, f"={formula}").style = f"shop {kind}"
    row = END
    put(sheet, row, 1, "fair price", "shop text")
    for column in (4, 5):
        sheet.cell(row, column, f"=D{row - 1}").style = "shop money"


def _chart(sheet: Worksheet) -> None:
    """Waterfall of the build-up: stacked columns, the lowest unseen but for the first and the last."""
    last = END
    chart = bar_chart(sheet, "H6", "How the price is made", columns=(5, 6, 7), head=_BUILD, last=last,
                      colours=(None, style.HEAD, style.INDEX_LINE), lying=False, stacked=True, width=17.0, height=10.0)
    for place in (0, len(GROUPS)):
        point = DataPoint(idx=place)
        point.graphicalProperties.solidFill = style.BAND_LINE
        chart.series[0].dPt.append(point)
