"""The sheet Quality: what the listening notes say of every item heard, its cost per point, and the efficient front."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd
from openpyxl.chart import Reference, ScatterChart, Series
from openpyxl.chart.data_source import StrRef
from openpyxl.chart.label import DataLabelList
from openpyxl.chart.series import SeriesLabel
from openpyxl.chart.text import RichText
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.text import CharacterProperties, Paragraph, ParagraphProperties
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Font, PatternFill
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from pricing.spreadsheet import style
from pricing.spreadsheet.label_places import label_places
from pricing.spreadsheet.sections import paragraph
from pricing.spreadsheet.tables import ResultColumn, fit_heights, put_text, set_up_page, write_table

if TYPE_CHECKING:
    from pricing.decisions.quality import QualityRanking

TITLE = "Quality"
_RANGE = "Four times in five the true value lies between low and high."
COLUMNS = (
    ResultColumn("front", "front", "text", 8, "all: nothing else heard costs less and sounds as good. family: nothing "
                                              "of its family does."),
    ResultColumn("item", "item", "words", 26, "Type, maker, era and construction, as noted in Listening."),
    ResultColumn("family", "family", "words", 17),
    ResultColumn("quality", "quality", "money", 8, "On the scale of your scores; listeners' strictness and amplifiers "
                                                   "taken out."),
    ResultColumn("low", "low", "money", 7, f"{_RANGE} Beside the average item."),
    ResultColumn("high", "high", "money", 7, f"{_RANGE} Beside the average item."),
    ResultColumn("fair_price", "fair price", "money", 8, "Of one tube in the grade named above."),
    ResultColumn("cost_per_point", "cost per point", "money", 8, "Fair price over the points above the base. Blank: at "
                                                                 "or below the base."),
    ResultColumn("lowest", "lowest in family", "text", 9, "The lowest cost per point of its family."),
    ResultColumn("front_chance", "chance %, front of all", "chance", 10,
                 "How likely nothing else heard both costs less and sounds better, quality and price being uncertain."),
    ResultColumn("family_front_chance", "chance %, front in family", "chance", 10,
                 "How likely nothing of its family both costs less and sounds better."),
    ResultColumn("instead", "instead", "words", 26, "Of the family: costs less and sounds better, the best of them."),
    ResultColumn("instead_chance", "chance % of both", "chance", 9, "How likely it does cost less and sound better."),
    ResultColumn("on_hand", "on hand", "count", 9, "Sets of the item in stock, in any grade."),
    ResultColumn("lowest_ask", "asked from", "money", 8, "Lowest ask in stock, a tube, in any grade."),
    ResultColumn("basis", "what it rests on", "words", 32),
    ResultColumn("fair_low", "price low", "money", 8, f"{_RANGE} Of the fair price itself."),
    ResultColumn("fair_high", "price high", "money", 8, f"{_RANGE} Of the fair price itself."),
    ResultColumn("cost_low", "cost per point, low", "money", 10, f"{_RANGE}"),
    ResultColumn("cost_high", "cost per point, high", "money", 10, f"{_RANGE} Blank: without bound, as the quality may "
                                                                   "lie at the base."),
    ResultColumn("lowest_in_family_chance", "chance %, lowest in family", "chance", 10,
                 "How likely it has the lowest cost per point of its family."),
    ResultColumn("raw_mean", "plain average", "money", 8, "Of its scores as they stand: it depends on who listened."),
    ResultColumn("own_share_pct", "own notes %", "count", 8, "How far the quality follows the item's own notes; the "
                                                              "rest is its maker, its type and the average."),
)
_PRINTED = 16
_WIDTHS = [column.width for column in COLUMNS[:_PRINTED]]
_FRONT_COLOUR = ("1F5A3C", "DCEBE1")
_CHART_ROWS = 22
_CHART_CM, _PLOT_CM = (32.0, 10.5), (29.0, 7.6)  # width and height, the plot's without axes and title
_SMALL = CharacterProperties(sz=800, b=False)
_EFFECTS = (
    ResultColumn("level", "listener or amplifier", "words", 26),
    ResultColumn("effect", "scores by", "change", 8, "Above (+) or below (-) the average one, for the same tubes."),
    ResultColumn("notes", "notes", "count", 7),
)
_NOT_PRINTED = len(COLUMNS) + 2  # the chart's own figures, so that sorting the table leaves it as it is


def write_quality(book: Workbook, ranking: QualityRanking) -> Worksheet:
    """Quality: words, a chart of quality against price with the front named, then every item, the best first."""
    sheet = book.create_sheet(TITLE)
    put_text(sheet.cell(1, 1), TITLE)
    sheet.cell(1, 1).font = style.TITLE
    sheet.row_dimensions[1].height = 22
    row = 2
    for place, line in enumerate(ranking.words):
        row = paragraph(sheet, row, line, style.BOLD if place == 0 else style.BODY, _WIDTHS)
    frame = shown(ranking)
    charted = ranking.priced and len(frame) > 1
    top = row + (_CHART_ROWS if charted else 1)
    for column in COLUMNS:
        if column.source not in frame:
            frame[column.source] = None
    last = write_table(sheet, frame, COLUMNS, name="QualityRanking", top=top)
    fit_heights(sheet, frame, COLUMNS, top)
    sheet.row_dimensions[top].height = 3 * style.LINE_HEIGHT + 2
    sheet.conditional_formatting.add(f"A{top + 1}:B{last}", FormulaRule(
        formula=[f'$A{top + 1}="all"'], font=Font(color=_FRONT_COLOUR[0], bold=True),
        fill=PatternFill("solid", start_color=_FRONT_COLOUR[1], end_color=_FRONT_COLOUR[1])))
    if charted:
        _chart(sheet, ranking.items, row, top)
    row = _effects(sheet, ranking, last + 2)
    sheet.sheet_view.showGridLines = False
    set_up_page(sheet, title_row=top, last_column=_PRINTED, last_row=row)
    sheet.sheet_properties.tabColor = style.HEAD
    return sheet


def shown(ranking: QualityRanking) -> pd.DataFrame:
    """The items with what the sheet says in words: front (all, family or blank) and lowest."""
    items = ranking.items.copy()
    if ranking.priced:
        family = items["on_family_front"].map({True: "family", False: ""})
        items["front"] = family.where(~items["on_front"], "all")
        chances = [name for name in items if name.endswith("_chance")]
        items[chances] = 100 * items[chances]
        items["lowest"] = items["lowest_in_family"].map({True: "lowest", False: ""})
    return items


def _effects(sheet: Worksheet, ranking: QualityRanking, row: int) -> int:
    """Strictness of the listeners, then the amplifiers, below the items; the next row."""
    both = pd.concat([ranking.listeners, ranking.systems], ignore_index=True)
    if both.empty:
        return row
    put_text(sheet.cell(row, 2), "How listeners and amplifiers score the same tubes")
    sheet.cell(row, 2).font = style.SECTION
    names = [column.width for column in COLUMNS[1:4]]
    last = write_table(sheet, both, _EFFECTS, name="QualityListeners", top=row + 1, left=2, filters=False)
    for offset, width in enumerate(names):  # the items' widths stay
        sheet.column_dimensions[get_column_letter(2 + offset)].width = width
    return last + 1


def _chart(sheet: Worksheet, items: pd.DataFrame, row: int, top: int) -> None:
    """Quality against fair price at `row`: the front as a line with its items named, the others as grey dots.

    A label a point is beyond the writer, so every item of the front is a series of its own that shows its name.
    """
    compared = items[items["group"] == 0]
    front = compared[compared["on_front"]].sort_values("fair_price")
    others = compared[~compared["on_front"]]
    left = _NOT_PRINTED
    points = pd.concat([front, others])[["item", "fair_price", "quality"]]
    columns = (ResultColumn("item", "item of the chart", "words", 22), ResultColumn("fair_price", "price", "money", 8),
               ResultColumn("quality", "quality", "money", 8))
    last = write_table(sheet, points, columns, name="QualityChart", top=top, left=left, filters=False)
    end = top + len(front)

    chart = ScatterChart()
    chart.scatterStyle, chart.style = "lineMarker", 13
    chart.height, chart.width, chart.legend = _CHART_CM[1], _CHART_CM[0], None
    chart.title = "Quality against fair price of one tube; the line is the efficient front of all items heard"
    chart.title.tx.rich.p[0].r[0].rPr = CharacterProperties(sz=1000, b=True)
    chart.title.overlay = False
    if len(others):
        chart.series.append(_points(sheet, left, end + 1, last, style.BAND_LINE))
    line = _points(sheet, left, top + 1, end, style.INDEX_LINE)
    line.marker.symbol, line.smooth = "none", False
    line.graphicalProperties.line = LineProperties(solidFill=style.INDEX_LINE, w=19050)
    chart.series.append(line)
    low, high = compared["quality"].min(), compared["quality"].max()
    floor, ceiling = float(low // 0.5 * 0.5), float(-(-(high + 0.2) // 0.5) * 0.5)
    widest = _round_up(1.05 * compared["fair_price"].max())
    places = [(one.fair_price / widest * _PLOT_CM[0], (one.quality - floor) / (ceiling - floor) * _PLOT_CM[1])
              for one in points.itertuples()]
    sides = label_places(places[:len(front)], front["item"].tolist(), places[len(front):], *_PLOT_CM)
    for number, side in enumerate(sides, start=top + 1):
        point = _points(sheet, left, number, number, style.INDEX_LINE)
        cell = f"{quote_sheetname(sheet.title)}!${get_column_letter(left)}${number}"
        point.tx = SeriesLabel(strRef=StrRef(cell))
        point.dLbls = DataLabelList()
        point.dLbls.showSerName, point.dLbls.position, point.dLbls.txPr = True, side, _letters()
        point.dLbls.showVal = point.dLbls.showCatName = point.dLbls.showLegendKey = point.dLbls.showPercent = False
        chart.series.append(point)
    for axis, title, form in ((chart.x_axis, "fair price", "#,##0"), (chart.y_axis, "quality", "0.0")):
        axis.delete, axis.title, axis.number_format, axis.txPr = False, title, form, _letters()
        axis.majorGridlines = None
        for run in axis.title.tx.rich.p[0].r:
            run.rPr = _SMALL
    chart.y_axis.crosses = chart.x_axis.crosses = "min"
    chart.y_axis.scaling.min, chart.y_axis.scaling.max = floor, ceiling
    chart.x_axis.scaling.min, chart.x_axis.scaling.max = 0, widest
    sheet.add_chart(chart, f"A{row}")


def _round_up(amount: float) -> float:
    """The next of 1, 2, 3 ... 10, 20, 30 ... from `amount` on: an axis that ends there has round figures."""
    step = 10.0 ** math.floor(math.log10(amount))
    return math.ceil(amount / step) * step


def _points(sheet: Worksheet, left: int, first: int, last: int, colour: str) -> Series:
    """Dots of the chart's figures from row `first` to `last`, without a line."""
    series = Series(Reference(sheet, min_col=left + 2, min_row=first, max_row=last),
                    Reference(sheet, min_col=left + 1, min_row=first, max_row=last))
    series.marker.symbol, series.marker.size, series.smooth = "circle", 6, False
    series.marker.graphicalProperties.solidFill = colour
    series.marker.graphicalProperties.line = LineProperties(solidFill=colour)
    series.graphicalProperties.line = LineProperties(noFill=True)
    return series


def _letters() -> RichText:
    return RichText(p=[Paragraph(pPr=ParagraphProperties(defRPr=_SMALL), endParaRPr=_SMALL)])
