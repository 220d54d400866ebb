"""What an owner does on our sheets is kept: names and places, columns of her own, notes, looks, charts, rules."""

import io
import re
import zipfile

import openpyxl
import pytest
from openpyxl.chart import BarChart, Reference
from openpyxl.formatting.rule import CellIsRule
from openpyxl.styles import Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from spreadsheet.package.corpus import HAS_LIBREOFFICE, by_libreoffice, makers
from spreadsheet.package.package_check import findings
from spreadsheet.package.stand_in_results import results

from pricing.spreadsheet.package.book import NotKept
from pricing.spreadsheet.package.graft import finished, grafted
from pricing.spreadsheet.result_sheets import PRICE_LIST

HEAD = 6  # row of the headings of the price list
OURS = len(PRICE_LIST)
NOTES = OURS + 1  # first column right of it
LAST, NEXT, SECOND = (get_column_letter(OURS + more) for more in (0, 1, 2))


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """A workbook with our sheets, five pieces in stock."""
    path = tmp_path_factory.mktemp("own") / "shop.xlsx"
    makers()["plain.xlsx"](path)
    return grafted(path.read_bytes(), results(5))[0]


def edited(content, edit):
    """The workbook after `edit` by openpyxl, which writes cells, looks, charts and rules as Excel would."""
    book = openpyxl.load_workbook(io.BytesIO(content))
    edit(book)
    saved = io.BytesIO()
    book.save(saved)
    return saved.getvalue()


def respliced(content, edits):
    """The workbook with parts changed as text: name -> function of its content."""
    old, new = zipfile.ZipFile(io.BytesIO(content)), io.BytesIO()
    with zipfile.ZipFile(new, "w", zipfile.ZIP_DEFLATED) as file:
        for info in old.infolist():
            text = old.read(info)
            file.writestr(info, edits[info.filename](text) if info.filename in edits else text)
    return new.getvalue()


def sound(content, tmp_path):
    """The workbook, once the check of the package found nothing."""
    path = tmp_path / "checked.xlsx"
    path.write_bytes(content)
    assert findings(path) == []
    return openpyxl.load_workbook(path)


def skus(sheet):
    """Row of every sku of the price list."""
    return {sheet.cell(row, 2).value: row for row in range(HEAD + 1, sheet.max_row + 1) if sheet.cell(row, 2).value}


def renamed(content, names):
    """The workbook with sheets renamed as a spreadsheet program does it, in every reference, and the last tab first."""
    def moved(text):
        sheets = re.findall(rb"<sheet [^>]*/>", text)
        text = text.replace(b"".join(sheets), b"".join([sheets[-1], *sheets[:-1]]))
        return re.sub(rb'localSheetId="(\d+)"',
                      lambda met: b'localSheetId="%d"' % ((int(met[1]) + 1) % len(sheets)), text)

    def edit(text):
        for old, new in names.items():
            quoted = new.replace("'", "''").replace("&", "&amp;")
            text = text.replace(f"'{old}'!".encode(), f"'{quoted}'!".encode())
            text = text.replace(f'<sheet name="{old}"'.encode(), f'<sheet name="{new.replace("&", "&amp;")}"'.encode())
        return moved(text) if b"<sheets>" in text else text

    parts = zipfile.ZipFile(io.BytesIO(content)).namelist()
    return respliced(content, {name: edit for name in parts if name.endswith(".xml")})


def test_a_renamed_and_moved_sheet_stays_so(plain, tmp_path):
    """Known by its mark, not by its name or place; its names, charts and links follow."""
    mine = renamed(plain, {"Price list": "Preise & 'mehr'", "Model": "My model"})
    order = openpyxl.load_workbook(io.BytesIO(mine)).sheetnames
    assert order[0] == "About"
    for pieces in (30, 3):
        mine, told = grafted(mine, results(pieces))
        book = sound(mine, tmp_path)
        assert told == [] and book.sheetnames == order and len(skus(book["Preise & 'mehr'"])) == pieces
        assert book["Preise & 'mehr'"].tables["PriceList"].ref == f"A{HEAD}:{LAST}{HEAD + pieces}"
        assert book["Preise & 'mehr'"].print_area.endswith(f"!$A$1:$M${HEAD + pieces}")
        assert zipfile.ZipFile(tmp_path / "checked.xlsx").read("xl/workbook.xml").count(b"'Model'!") == 0
        with zipfile.ZipFile(tmp_path / "checked.xlsx") as file:
            charts = b"".join(file.read(name) for name in file.namelist() if "charts/chart" in name)
        assert b"'Model'!" not in charts and b"'My model'!" in charts


def test_a_deleted_sheet_stays_away_until_asked_for(plain, tmp_path):
    """Its mark leads nowhere, and that is told; --restore-sheets brings it back, last."""
    def edit(book):
        del book["Problems"]
        book.defined_names["result_sheet.Problems"].attr_text = "#REF!"

    mine = edited(plain, edit)
    new, told = grafted(mine, results(5))
    assert "Problems" not in sound(new, tmp_path).sheetnames
    assert told == ["The sheet 'Problems' was deleted in this workbook and stays away; refresh with --restore-sheets "
                    "to have it again."]
    back, told = grafted(new, results(5), restore=True)
    assert sound(back, tmp_path).sheetnames[-1] == "Problems" and told == []
    assert grafted(back, results(5))[1] == []


@pytest.mark.parametrize("name", ["Price list", "PROBLEMS"])
def test_a_sheet_of_hers_with_our_name_is_left_alone(tmp_path, name):
    """No mark, no touching: the sheet and the remedy are named."""
    path = tmp_path / "shop.xlsx"
    makers()["plain.xlsx"](path)
    mine = edited(path.read_bytes(), lambda book: book.create_sheet(name).append(["mine"]))
    with pytest.raises(NotKept, match=f"a sheet '{name}' that this program did not make.*rename it, or delete it"):
        grafted(mine, results(5))


def test_notes_beside_a_row_go_with_it(plain, tmp_path):
    """Notes right beside the price list follow their sku; formulas, and what stands farther off, stay."""
    def edit(book):
        sheet = book["Price list"]
        for sku, row in skus(sheet).items():
            sheet.cell(row, NOTES, f"note on {sku}")
        sheet.cell(HEAD, NOTES, "my notes")
        sheet.cell(HEAD + 1, NOTES + 3, f"=F{HEAD + 1}*2")
        sheet.cell(40, 3, "typed below")
        sheet.cell(HEAD + 2, NOTES + 5, "a block of her own")

    mine = edited(plain, edit)
    new, told = grafted(mine, results(30))
    sheet = sound(new, tmp_path)["Price list"]
    for sku, row in skus(sheet).items():
        assert sheet.cell(row, NOTES).value == (f"note on {sku}" if int(sku[1:]) <= 5 else None)
    assert sheet.cell(HEAD, NOTES).value == "my notes" and sheet.cell(40, 3).value == "typed below"
    assert sheet.cell(HEAD + 2, NOTES + 5).value == "a block of her own"
    assert sheet.cell(HEAD + 1, NOTES + 3).value == f"=F{HEAD + 1}*2" and told == []
    new, told = grafted(new, results(3))
    sheet = sound(new, tmp_path)["Price list"]
    left = [sheet.cell(row, NOTES).value for row in range(HEAD + 4, sheet.max_row + 1)]
    assert [text for text in left if text] == ["note on P4", "note on P5"]
    moved = f"the row of P4 is gone; what you typed beside it, in {NEXT}21, stands in {NEXT}42 now"
    assert len(told) == 2 and moved in told[0]


def test_two_notes_for_one_row_are_never_one(plain):
    """A formula of hers where a note would have to go: refused, the cell named."""
    def edit(book):
        sheet = book["Price list"]
        rows = skus(sheet)
        sheet.cell(rows["P1"], NOTES, "=F7*2")
        sheet.cell(rows["P2"], NOTES, "a note")
        sheet.cell(rows["P2"], 2, "P1")  # so that the note belongs to where the formula is

    with pytest.raises(NotKept, match="'Price list' two things you typed beside a table"):
        grafted(edited(plain, edit), results(5))


def test_what_stands_in_the_way_is_never_overwritten(plain):
    """Typed below the list where more rows are needed: refused, the cell and the remedy named."""
    mine = edited(plain, lambda book: book["Price list"].cell(HEAD + 9, 4, "keep me"))
    with pytest.raises(NotKept, match=f"'Price list' you typed something in D{HEAD + 9}.*further down"):
        grafted(mine, results(30))
    assert grafted(mine, results(3))[1] == []


def test_a_column_of_her_own_in_the_table(plain, tmp_path):
    """A column added at the right end of the table, as typing beside it does, stays in the table: its notes go by sku,
    its formulas by row; a row of totals stays the last."""
    def edit(book):
        sheet = book["Price list"]
        table = sheet.tables["PriceList"]
        for column, (heading, text) in enumerate([("remark", "r {}"), ("double", "=PriceList[[#This Row],[ask]]*2")]):
            sheet.cell(HEAD, NOTES + column, heading)
            for sku, row in skus(sheet).items():
                sheet.cell(row, NOTES + column, text.format(sku))
            table.tableColumns.append(openpyxl.worksheet.table.TableColumn(id=NOTES + column, name=heading))
        sheet.cell(HEAD + 6, 8, "=SUBTOTAL(109,PriceList[at stake])")
        table.ref, table.totalsRowCount = f"A{HEAD}:{SECOND}{HEAD + 6}", 1
        table.autoFilter.ref = f"A{HEAD}:{SECOND}{HEAD + 5}"

    new = edited(plain, edit)
    for pieces in (30, 30, 3):
        new, _ = grafted(new, results(pieces))
        sheet = sound(new, tmp_path)["Price list"]
        assert sheet.tables["PriceList"].ref == f"A{HEAD}:{SECOND}{HEAD + pieces + 1}"
        assert sheet.cell(HEAD + pieces + 1, 8).value == "=SUBTOTAL(109,PriceList[at stake])"
        for sku, row in skus(sheet).items():
            assert sheet.cell(row, NOTES).value == (f"r {sku}" if int(sku[1:]) <= 5 else None)


def test_columns_between_ours_are_refused(plain):
    """A column put in between ours: named, with what to do."""
    def splice(text):
        extra = f'<tableColumn id="{NOTES}" name="mine"/><tableColumn id="3"'.encode()
        text = text.replace(b'<tableColumn id="3"', extra)
        text = text.replace(f'count="{OURS}"'.encode(), f'count="{NOTES}"'.encode())
        return text.replace(f"A6:{LAST}".encode(), f"A6:{NEXT}".encode())

    table = next(name for name in zipfile.ZipFile(io.BytesIO(plain)).namelist()
                 if name.startswith("xl/tables/") and b"PriceList" in zipfile.ZipFile(io.BytesIO(plain)).read(name))
    wider = {"xl/workbook.xml": lambda text: text.replace(
        f"'Price list'!$A$6:${LAST}".encode(), f"'Price list'!$A$6:${NEXT}".encode()), table: splice}
    with pytest.raises(NotKept, match="'Price list' columns were put before, between or in place of those"):
        grafted(respliced(plain, wider), results(5))


def test_looks_are_hers(plain, tmp_path):
    """Restyled columns, headings and titles, widths, and the restyled cell style keep their looks at any length."""
    def edit(book):
        sheet = book["Price list"]
        for row in range(HEAD + 1, HEAD + 6):
            sheet.cell(row, 7).font = Font(name="Courier New", size=14, color="00AA00")
        sheet.cell(HEAD, 7).fill = PatternFill("solid", start_color="112233")
        sheet["A1"].font = Font(size=30)
        sheet.column_dimensions["D"].width = 77
        sheet.freeze_panes = "B7"
        book["Model"]["A1"].fill = PatternFill("solid", start_color="FFAA00")

    new = edited(plain, edit)
    for pieces in (30, 3):
        new, _ = grafted(new, results(pieces))
        book = sound(new, tmp_path)
        sheet = book["Price list"]
        assert {sheet.cell(row, 7).font.name for row in range(HEAD + 1, HEAD + 1 + pieces)} == {"Courier New"}
        assert sheet.cell(HEAD + 1, 6).font.name == "Arial"
        assert sheet.cell(HEAD, 7).fill.start_color.rgb.endswith("112233") and sheet["A1"].font.size == 30
        assert sheet.column_dimensions["D"].width == 77 and sheet.freeze_panes == "B7"
        assert book["Model"]["A1"].fill.start_color.rgb.endswith("FFAA00")


def test_styles_are_added_once(plain):
    """The second refresh adds no style to those the first added."""
    def count(content):
        return zipfile.ZipFile(io.BytesIO(content)).read("xl/styles.xml")

    assert count(grafted(plain, results(30))[0]) == count(plain)


def test_rules_follow_the_rows(plain, tmp_path):
    """Our colours of actions and her own rules and drop-downs on our table reach to the last row, once each."""
    def edit(book):
        sheet = book["Price list"]
        bold = Font(bold=True)
        sheet.conditional_formatting.add(f"F{HEAD + 1}:F{HEAD + 5}", CellIsRule("greaterThan", ["100"], font=bold))
        sheet.conditional_formatting.add("AC1:AC9", CellIsRule("lessThan", ["0"], font=bold))
        offer = DataValidation("list", formula1='"yes,no"')
        offer.add(f"E{HEAD + 1}:E{HEAD + 5}")
        sheet.add_data_validation(offer)

    mine = edited(plain, edit)
    for pieces in (30, 3):
        mine, _ = grafted(mine, results(pieces))
        sheet = sound(mine, tmp_path)["Price list"]
        ranges = {str(rules.sqref): len(rules.rules) for rules in sheet.conditional_formatting}
        last = HEAD + pieces
        assert ranges == {f"A{HEAD + 1}:A{last}": 6, f"F{HEAD + 1}:F{last}": 1, "AC1:AC9": 1}
        assert str(sheet.data_validations.dataValidation[0].sqref) == f"E{HEAD + 1}:E{last}"


def test_charts_follow_their_tables(plain, tmp_path):
    """Our charts get the new ranges; hers beside them and a moved one of ours stay where she has them; a deleted one
    stays away."""
    drawing = "xl/drawings/drawing1.xml"
    names = re.findall(r'name="(Result chart [^"]*)"', zipfile.ZipFile(io.BytesIO(plain)).read(drawing).decode())
    assert names, "no chart to try on"

    def edit(book):
        sheet = book["Margins"]
        own = BarChart()
        own.add_data(Reference(book["Price list"], min_col=6, min_row=HEAD, max_row=HEAD + 5), titles_from_data=True)
        own.title = "mine"
        sheet.add_chart(own, "Z50")

    mine = finished(edited(plain, edit))  # openpyxl takes the names of charts away
    with_mine = respliced(mine, {drawing: lambda text: text.replace(b"Result chart PriceList (Z50)", b"Chart 9")})
    before = zipfile.ZipFile(io.BytesIO(with_mine)).read(drawing)
    moved = re.sub(rb"<row>\d+</row>", b"<row>99</row>", before, count=1)
    new, _ = grafted(respliced(with_mine, {drawing: lambda text: moved}), results(30))
    sound(new, tmp_path)
    after = zipfile.ZipFile(io.BytesIO(new)).read(drawing)
    assert after.count(b"<row>99</row>") == 1 and b"Chart 9" in after
    assert len(re.findall(rb"graphicFrame>", after)) == len(re.findall(rb"graphicFrame>", before))
    without = re.sub(rb"<oneCellAnchor>.*?</oneCellAnchor>", b"", before, count=1, flags=re.S)
    new, _ = grafted(respliced(with_mine, {drawing: lambda text: without}), results(30))
    assert zipfile.ZipFile(io.BytesIO(new)).read(drawing).count(b"<oneCellAnchor>") == without.count(b"<oneCellAnchor>")


def test_print_areas_of_hers_stay(plain, tmp_path):
    """A print area she changed is hers; one still as we set it follows the list."""
    def edit(book):
        book["Problems"].print_area = "B2:C9"

    book = sound(grafted(edited(plain, edit), results(30))[0], tmp_path)
    assert book["Problems"].print_area == "'Problems'!$B$2:$C$9"
    assert book["Price list"].print_area == f"'Price list'!$A$1:$M${HEAD + 30}"
    assert book["Price list"].print_title_rows == f"${HEAD}:${HEAD}"


def test_links_of_hers_stay_and_ours_are_not_heaped_up(plain, tmp_path):
    """A web link beside our table goes on leading there; links to rows are as many as before."""
    def edit(book):
        book["Problems"]["K2"] = "page"
        book["Problems"]["K2"].hyperlink = "https://example.org/?a=1&b=2"

    mine = edited(plain, edit)
    def count(sheet):
        return sum(cell.hyperlink is not None for row in sheet.iter_rows() for cell in row)

    first = count(openpyxl.load_workbook(io.BytesIO(plain))["Problems"])
    for _ in range(2):
        mine, _ = grafted(mine, results(5))
        sheet = sound(mine, tmp_path)["Problems"]
        assert sheet["K2"].hyperlink.target == "https://example.org/?a=1&b=2"
        assert count(sheet) == first + 1 > 1


def test_a_filter_set_on_other_rows_is_taken_off(plain, tmp_path):
    """Rows hidden by a filter are shown again, and that is told."""
    def edit(book):
        sheet = book["Price list"]
        sheet.tables["PriceList"].autoFilter.add_filter_column(0, ["raise"])
        sheet.row_dimensions[HEAD + 2].hidden = True

    new, told = grafted(edited(plain, edit), results(5))
    sheet = sound(new, tmp_path)["Price list"]
    assert not sheet.row_dimensions[HEAD + 2].hidden and not sheet.tables["PriceList"].autoFilter.filterColumn
    assert told == ["On the sheet 'Price list' the filter of a table was taken off: it was set on other rows."]


def test_names_that_are_taken(tmp_path):
    """A table of hers with the name of one of ours: refused, named."""
    path = tmp_path / "shop.xlsx"
    makers()["tables.xlsx"](path)

    def edit(book):
        sheet = book["My sheet"]
        sheet["P1"], sheet["Q1"] = "one", "two"
        sheet.add_table(openpyxl.worksheet.table.Table(displayName="PriceList", ref="P1:Q3"))

    mine = edited(path.read_bytes(), edit)
    with pytest.raises(NotKept, match="the name PriceList is taken"):
        grafted(mine, results(5))


@pytest.mark.skipif(not HAS_LIBREOFFICE, reason="LibreOffice is not installed")
def test_saved_by_libreoffice_in_between(plain, tmp_path):
    """Our sheets saved by LibreOffice are known again, refreshed, and opened by it."""
    (tmp_path / "shop.xlsx").write_bytes(plain)
    content = by_libreoffice([tmp_path / "shop.xlsx"], tmp_path / "saved")[0].read_bytes()
    (tmp_path / "between.xlsx").write_bytes(content)
    known = findings(tmp_path / "between.xlsx")
    for pieces in (30, 3):
        content, told = grafted(content, results(pieces))
        (tmp_path / "new.xlsx").write_bytes(content)
        assert told == [] and [one for one in findings(tmp_path / "new.xlsx") if one not in known] == []
        sheet = openpyxl.load_workbook(tmp_path / "new.xlsx")["Price list"]
        assert len(skus(sheet)) == pieces and sheet.tables["PriceList"].ref == f"A{HEAD}:{LAST}{HEAD + pieces}"
    assert by_libreoffice([tmp_path / "new.xlsx"], tmp_path / "opened", "ods")[0].exists()


@pytest.mark.parametrize("edits, words", [
    ({"_xmlsignatures/sig1.xml": None}, "carries a digital signature"),
    ({"xl/revisions/headers.xml": None}, "shared workbook"),
    ({"xl/workbook.xml": lambda text: text.replace(b"schemas.openxmlformats.org/spreadsheetml/2006/main",
                                                   b"purl.oclc.org/ooxml/spreadsheetml/main")}, "Strict Open XML"),
    ({"xl/workbook.xml": lambda text: text.replace(
        b"<bookViews", b'<workbookProtection lockStructure="1"/><bookViews')}, "structure is locked"),
])
def test_files_that_cannot_be_kept_whole(tmp_path, edits, words):
    """Signed, shared, strict, locked: refused with the reason before anything is written."""
    path = tmp_path / "shop.xlsx"
    makers()["plain.xlsx"](path)
    content = respliced(path.read_bytes(), {name: edit for name, edit in edits.items() if edit})
    added = io.BytesIO(content)
    with zipfile.ZipFile(added, "a") as file:
        for name in [name for name, edit in edits.items() if edit is None]:
            file.writestr(name, "<x/>")
    with pytest.raises(NotKept, match=words):
        grafted(added.getvalue(), results(5))


@pytest.mark.parametrize("part", ["xl/styles.xml", "xl/tables/table1.xml", "xl/worksheets/sheet4.xml"])
def test_parts_that_are_damaged(plain, part):
    """A part cut short is told, never a crash, and never a file made from it."""
    with pytest.raises(NotKept, match="Save it once in your"):
        grafted(respliced(plain, {part: lambda text: text[: len(text) // 2]}), results(5))


def test_what_is_no_package(tmp_path):
    """Bytes that are no zip, a zip that is no workbook, a zip with a part twice: told, never a crash."""
    empty, twice = io.BytesIO(), io.BytesIO()
    with zipfile.ZipFile(empty, "w") as file:
        file.writestr("a.txt", "a")
    with zipfile.ZipFile(twice, "w") as file, pytest.warns(UserWarning):
        file.writestr("a.txt", "a")
        file.writestr("a.txt", "b")
    for content in (b"no zip", empty.getvalue(), twice.getvalue()):
        with pytest.raises(NotKept, match="cannot be told apart"):
            grafted(content, results(5))
