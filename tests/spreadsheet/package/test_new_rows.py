"""Rows appended to the owner's own tables: all else as it was, text as text, and a reason where they cannot go."""

import dataclasses
import datetime as dt
import os
import signal

import openpyxl
import pandas as pd
import pytest
import xlsxwriter
from spreadsheet.package.corpus import HAS_LIBREOFFICE, by_libreoffice, makers, put_parts
from spreadsheet.package.package_check import findings
from spreadsheet.package.test_nothing_is_lost import LISTS, raw_entries, read, taken_away

import pricing
from pricing.shop_tables.reading import read_sheets
from pricing.spreadsheet.appending import append_to_workbook
from pricing.spreadsheet.package.additions import NewRows
from pricing.spreadsheet.package.book import NotKept
from pricing.spreadsheet.package.new_rows import with_new_rows
from pricing.spreadsheet.workbook import build_workbook

SALES = pd.DataFrame({"sold_on": pd.to_datetime(["2026-02-03", "2026-02-04"]), "type": ["6E5", "=1+1"],
                      "price": [12.5, 7]})
HOSTILE = ["=1+1", "+1", "-1", "@x", "=cmd|' /C calc'!A0", "\t=1", " a  b ", "two\nlines", "<&>\"'", "_x0041_",
           "\x07", "6-53", "1e3", "блюз", "00012"]
# What names the last row, in tags and in the hidden name of a filter.
GROWS = (b"<dimension", b"<table ", b"<autoFilter", b"<row ", b"<conditionalFormatting", b"<dataValidation",
         b"Sales!$A$1:$C$25")


def appended(path, rows, **more):
    """What was told."""
    told = []
    append_to_workbook(path, rows, tell=told.append, **more)
    return told


def sheet(path, name="Sales"):
    """Values of a sheet."""
    return [list(row) for row in openpyxl.load_workbook(path)[name].iter_rows(values_only=True)]


def written(path, fill, rows=8, head=0):
    """A file with Sales of so many rows below row `head`, which `fill(book, sheet, date format)` adds to."""
    book = xlsxwriter.Workbook(path)
    sales = book.add_worksheet("Sales")
    dated = book.add_format({"num_format": "dd.mm.yyyy", "font_color": "blue"})
    sales.write_row(head, 0, ["sold_on", "type", "price"])
    for at in range(1, rows + 1):
        sales.write_datetime(head + at, 0, dt.datetime(2025, 3, at), dated)
        sales.write_row(head + at, 1, ["EL84", 20 + at])
    fill(book, sales, dated)
    book.close()
    return path


def nothing(book, sales, dated):
    """Nothing more."""


def test_every_workbook_of_the_corpus(tmp_path):
    """Two sales more in each: the Sales sheet has them, its table reaches over them, every other part is as it was."""
    for name, make in makers().items():
        path = tmp_path / name
        make(path)
        before, raw, wrong = read(path), raw_entries(path), findings(path)
        append_to_workbook(path, {"Sales": SALES, "Stock": pd.DataFrame({"sku": ["S9"], "type": ["EL84"]})}
                           if b'name="Stock"' in before["xl/workbook.xml"] else {"Sales": SALES})
        after, now = read(path), raw_entries(path)
        changed = {part for part in before if before[part] != after[part]}
        assert list(after) == list(before), name
        assert changed - LISTS <= {"xl/worksheets/sheet1.xml", "xl/worksheets/sheet2.xml", "xl/tables/table1.xml"}, name
        assert "[Content_Types].xml" not in changed and "xl/calcChain.xml" not in changed
        for part in before.keys() - changed:
            assert now[part] == raw[part], f"{name}: {part}"
        for part in changed:
            lost = [text for text in taken_away(before[part], after[part])
                    if not text.startswith(GROWS)]
            assert not lost, f"{name}: {part} lost {lost}"
        assert findings(path) == wrong, name
        sales = next(one for one in read_sheets(path) if one.name == "Sales").rows
        assert [row[:3] for row in sales[-2:]] == [[dt.date(2026, 2, 3), "6E5", 12.5], [dt.date(2026, 2, 4), "=1+1", 7]]
        assert len(sales) == 27 and next((path.parent / f"{path.stem} backups").iterdir()).stat().st_size


def test_under_the_owners_headings(tmp_path):
    """Headings in another language and order, in the third row; dates and prices look like those above."""
    path = tmp_path / "shop.xlsx"
    book = openpyxl.Workbook()
    book.active.title = "Verkäufe"
    for row in [["Meine Verkäufe"], [], ["Preis", "Regal", "Typ", "Datum"],
                [18.5, "A1", "EL84", dt.datetime(2025, 5, 6)]]:
        book.active.append(row)
    book.active["D4"].number_format, book.active["A4"].number_format = "dd/mm/yy", "0.00 €"
    book.save(path)
    frame = SALES.assign(sold_on=[pd.Timestamp("2026-02-03"), pd.NaT], price=[12.5, float("nan")], note="")
    told = appended(path, {"Sales": frame})
    assert told[0] == "On the sheet 'Verkäufe' rows were added: 5 to 6." and "backups" in told[1]
    assert sheet(path, "Verkäufe")[4:] == [[12.5, None, "6E5", dt.datetime(2026, 2, 3)], [None, None, "=1+1", None]]
    cells = openpyxl.load_workbook(path)["Verkäufe"]
    assert (cells["D5"].number_format, cells["A5"].number_format) == ("dd/mm/yy", "0.00 €")
    assert pricing.read_shop(path).sales["price"].tolist()[:2] == [18.5, 12.5]


def test_columns_the_sheet_lacks(tmp_path):
    """Values for a column without a heading are refused by name, blank ones are no matter; nothing is written."""
    path = written(tmp_path / "shop.xlsx", nothing)
    before = path.read_bytes()
    with pytest.raises(ValueError, match="no heading for grade, note;"):
        appended(path, {"Sales": SALES.assign(grade="used", note=["", "x"], maker="")})
    with pytest.raises(NotKept, match="no sheet Stock"):
        appended(path, {"Stock": pd.DataFrame({"sku": ["S1"]})})
    with pytest.raises(ValueError, match="no number a cell can hold"):
        appended(path, {"Sales": SALES.assign(price=[1.0, float("inf")])})
    assert path.read_bytes() == before and not (tmp_path / "shop backups").exists()


def test_text_stays_text(tmp_path):
    """Whatever a text begins with or holds, it is read back as typed, also after LibreOffice has saved the file."""
    path = written(tmp_path / "shop.xlsx", nothing)
    appended(path, {"Sales": pd.DataFrame({"sold_on": pd.Timestamp("2026-01-02"), "type": HOSTILE, "price": 1.0})})
    book = openpyxl.load_workbook(path)["Sales"]
    cells = [book.cell(10 + at, 2) for at in range(len(HOSTILE))]
    assert all(cell.data_type == "s" for cell in cells) and cells[0].quotePrefix and not cells[5].quotePrefix
    raw = {one.name: one.rows for one in read_sheets(path)}["Sales"]
    assert [row[1] for row in raw[9:]] == HOSTILE
    if HAS_LIBREOFFICE:
        (again,) = by_libreoffice([path], tmp_path / "saved")
        book = openpyxl.load_workbook(again)["Sales"]
        cells = [book.cell(10 + at, 2) for at in range(len(HOSTILE))]
        assert [cell.data_type for cell in cells] == ["s"] * len(HOSTILE)
        assert [cell.value for cell in cells[:5]] == HOSTILE[:5]
        assert book["A10"].value == dt.datetime(2026, 1, 2) and book["A10"].number_format == "dd\\.mm\\.yyyy"


def test_characters_no_xml_can_hold(tmp_path):
    """U+FFFF and its like are escaped (XML 1.0, section 2.2): the parts stay well-formed."""
    path = written(tmp_path / "shop.xlsx", nothing)
    appended(path, {"Sales": SALES.assign(type=["\uffff", "\ufffe\x1f"])})
    assert findings(path) == [] and b"_xFFFE__x001F_" in read(path)["xl/worksheets/sheet1.xml"]


def test_a_table_grows_with_its_formulas(tmp_path):
    """Its range, its filter, rules and drop-downs over whole columns grow; formulas go on; fixed ranges stay."""
    def fill(book, sales, dated):
        sales.add_table("A1:E9", {"name": "Sold", "columns": [
            {"header": "sold_on"}, {"header": "type"}, {"header": "price"},
            {"header": "net", "formula": "=Sold[[#This Row],[price]]*0.9"}, {"header": "running"}]})
        for row in range(2, 10):
            sales.write_formula(row - 1, 4, f"=C{row}+N(E{row - 1})", None, sum(range(21, 20 + row)))
        red = book.add_format({"bg_color": "red"})
        sales.conditional_format("C2:C9", {"type": "cell", "criteria": ">", "value": 25, "format": red})
        sales.conditional_format("C2:C5", {"type": "cell", "criteria": "<", "value": 1, "format": red})
        sales.conditional_format("C2:C9", {"type": "data_bar", "data_bar_2010": True})
        sales.data_validation("B2:B9", {"validate": "list", "source": ["EL84", "12AX7"]})
        own = book.add_worksheet("Sums")
        own.write_formula("A1", "=SUM(Sales!C2:C9)", None, 196)

    path = written(tmp_path / "shop.xlsx", fill)
    own = read(path)["xl/worksheets/sheet2.xml"]
    appended(path, {"Sales": SALES})
    assert findings(path) == [] and read(path)["xl/worksheets/sheet2.xml"] == own
    sales = openpyxl.load_workbook(path)["Sales"]
    assert sales.tables["Sold"].ref == sales.tables["Sold"].autoFilter.ref == "A1:E11"
    assert [sales[f"D{row}"].value for row in (9, 11)] == ["=Sold[[#This Row],[price]]*0.9"] * 2
    assert sales["E11"].value == "=C11+N(E10)" and sales["A11"].number_format == "dd.mm.yyyy"
    assert sorted(str(one.sqref) for one in sales.conditional_formatting) == ["C2:C11", "C2:C5"]
    assert str(sales.data_validations.dataValidation[0].sqref) == "B2:B11"
    assert read(path)["xl/worksheets/sheet1.xml"].count(b"<xm:sqref>C2:C11<") == 1
    if HAS_LIBREOFFICE:
        (text,) = by_libreoffice([path], tmp_path / "computed", "csv")
        assert text.read_text().splitlines()[-1].split(",")[3:] == ["6.3", "215.5"]


def test_shared_formulas_and_one_of_a_kind(tmp_path):
    """A formula stored once for many cells goes on, one that differs from those above is not guessed at: told."""
    path = tmp_path / "shop.xlsx"
    book = openpyxl.Workbook()
    book.active.title = "Sales"
    for row in [["sold_on", "type", "price", "half", "odd"], *[[dt.datetime(2025, 1, 2), "EL84", 20, 1, 1]] * 3]:
        book.active.append(row)
    book.active["E4"] = "=C4*3"
    book.save(path)
    def shared(name, content):
        if name == "xl/worksheets/sheet1.xml":
            for row in (2, 3, 4):
                inner = b' ref="D2:D4">C2/2</f>' if row == 2 else b"/>"
                content = content.replace(b'<c r="D%d" t="n"><v>1</v>' % row,
                                          b'<c r="D%d"><f t="shared" si="0"%s<v>10</v>' % (row, inner))
        return content

    put_parts(path, {}, [], edit=shared)
    told = appended(path, {"Sales": SALES})
    assert [row[3:5] for row in sheet(path)[4:]] == [["=C5/2", None], ["=C6/2", None]]
    assert "the formula in E4 differs from that above it" in told[1]


def test_blank_rows_of_a_table_are_filled_first(tmp_path):
    """A table with room keeps its size; a new shop's own empty table takes its first row."""
    path = written(tmp_path / "shop.xlsx", lambda book, sales, dated: sales.add_table(
        "A1:C20", {"name": "Sold", "columns": [{"header": one} for one in ("sold_on", "type", "price")]}))
    appended(path, {"Sales": SALES})
    assert openpyxl.load_workbook(path)["Sales"].tables["Sold"].ref == "A1:C20" and sheet(path)[10][1] == "=1+1"
    new = build_workbook(tmp_path / "new.xlsx")
    appended(new, {"Sales": SALES.assign(grade="used", note="n")})
    assert findings(new) == [] and openpyxl.load_workbook(new)["Sales"].tables["Sales"].ref.endswith("3")
    assert pricing.read_shop(new).sales["price"].tolist() == [12.5, 7.0]
    assert openpyxl.load_workbook(new)["Sales"]["A2"].number_format == "yyyy-mm-dd"


def test_the_only_row(tmp_path):
    """A rule over the one row there is grows; the small chart in its cell stays in its cell."""
    def fill(book, sales, dated):
        sales.write("D1", "trend")
        sales.add_sparkline("D2", {"range": "Sales!C2:C2"})
        sales.conditional_format("C2", {"type": "data_bar", "data_bar_2010": True})

    path = written(tmp_path / "shop.xlsx", fill, rows=1)
    appended(path, {"Sales": SALES})
    text = read(path)["xl/worksheets/sheet1.xml"]
    assert b"<xm:sqref>D2<" in text and b"<xm:sqref>C2:C4<" in text and b'sqref="C2:C4"' in text


def test_a_row_that_is_begun_counts(tmp_path):
    """Below a last row without a price, not over it."""
    path = written(tmp_path / "shop.xlsx", lambda book, sales, dated: sales.write("B10", "to be sold"))
    appended(path, {"Sales": SALES})
    assert [row[1] for row in sheet(path)[8:]] == ["EL84", "to be sold", "6E5", "=1+1"]


REFUSED = {
    "merged cells": (lambda book, sales, dated: sales.merge_range("A10:B11", ""), "merged cells, A10:B11"),
    "a note": (lambda book, sales, dated: sales.write("B11", "call back"), "something of yours in B11"),
    "totals": (lambda book, sales, dated: sales.write_row("B10", ["Total", "=SUM(C2:C9)"]), "sum up those .*, row 10"),
    "a sum alone": (lambda book, sales, dated: sales.write("C11", "=SUM(C2:C9)"), "sum up those above it, row 11"),
    "another table": (lambda book, sales, dated: sales.add_table("B11:C13", {"name": "Other"}), "another table, Other"),
    "row of totals": (lambda book, sales, dated: sales.add_table("A1:C10", {"total_row": True, "columns": [
        {"header": "sold_on"}, {"header": "type"}, {"header": "price"}]}), "row of totals"),
    "rows outside the table": (lambda book, sales, dated: sales.add_table("A1:C5", {"columns": [
        {"header": "sold_on"}, {"header": "type"}, {"header": "price"}]}), "do not belong to it"),
    "protected": (lambda book, sales, dated: sales.protect(), "is protected"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_stands_in_the_way(name, tmp_path):
    """Refused with the place and what mends it, nothing written."""
    fill, words = REFUSED[name]
    path = written(tmp_path / "shop.xlsx", fill)
    before = path.read_bytes()
    with pytest.raises(NotKept, match=words):
        appended(path, {"Sales": SALES})
    assert path.read_bytes() == before and list(tmp_path.iterdir()) == [path]


def test_beside_and_far_below_is_no_matter(tmp_path):
    """What stands to the right, or below the new rows, stays where it is."""
    def fill(book, sales, dated):
        sales.write("F10", "beside")
        sales.write("A13", "below")
        sales.write("F2", "heading of its own")

    path = written(tmp_path / "shop.xlsx", fill)
    appended(path, {"Sales": SALES})
    rows = sheet(path)
    assert rows[9][5] == "beside" and rows[9][1] == "6E5" and rows[12][0] == "below"


def test_filters_and_print_areas(tmp_path):
    """A sheet's own filter grows, its hidden name too; what it hid and what will not print is told."""
    def fill(book, sales, dated):
        sales.autofilter("A1:C9")
        sales.filter_column("B", "x == EL84")
        sales.print_area("A1:C9")

    path = written(tmp_path / "shop.xlsx", fill)
    told = appended(path, {"Sales": SALES})
    book = openpyxl.load_workbook(path)
    assert book["Sales"].auto_filter.ref == "A1:C11" and findings(path) == []
    assert b"'Sales'!$A$1:$C$11<" in read(path)["xl/workbook.xml"]
    assert "a filter or a sort order is set" in told[1] and "print area ends above the new rows, at row 9" in told[2]


def test_into_a_copy_and_open_elsewhere(tmp_path):
    """With a name for it the copy has the rows; a file that is open is refused."""
    path = written(tmp_path / "shop.xlsx", nothing)
    before = path.read_bytes()
    assert append_to_workbook(path, {"Sales": SALES}, out=tmp_path / "copy.xlsx") == tmp_path / "copy.xlsx"
    assert len(sheet(tmp_path / "copy.xlsx")) == 11 and path.read_bytes() == before
    with pytest.raises(NotKept, match="has to end in .xlsx"):
        append_to_workbook(path, {"Sales": SALES}, out=tmp_path / "copy.ods")
    (tmp_path / ".~lock.shop.xlsx#").touch()
    with pytest.raises(NotKept, match="open in LibreOffice"):
        append_to_workbook(path, {"Sales": SALES})
    assert path.read_bytes() == before and append_to_workbook(path, {}, out=tmp_path / "copy.xlsx")


def test_killed_before_and_after(tmp_path):
    """Killed at the moment of replacing: the old file or the new one, and the backup."""
    path = written(tmp_path / "shop.xlsx", nothing)
    before = path.read_bytes()
    append_to_workbook(path, {"Sales": SALES}, out=tmp_path / "after.xlsx")
    for late in (False, True):
        path.write_bytes(before)
        child = os.fork()
        if child == 0:
            replace = os.replace

            def die(*names, replace=replace, late=late):
                if late:
                    replace(*names)
                os.kill(os.getpid(), signal.SIGKILL)

            os.replace = die
            append_to_workbook(path, {"Sales": SALES})
        assert os.WTERMSIG(os.waitpid(child, 0)[1]) == signal.SIGKILL
        assert path.read_bytes() == ((tmp_path / "after.xlsx").read_bytes() if late else before)
        assert before in [one.read_bytes() for one in (tmp_path / "shop backups").iterdir()]


def test_no_room_left(tmp_path):
    """More rows than a sheet has: refused."""
    path = written(tmp_path / "shop.xlsx", nothing)
    new = NewRows("Sales", 1, 1_048_575, 1, 3, ({2: "EL84"}, {2: "EL84"}))
    with pytest.raises(NotKept, match="no room for 2 more rows"):
        with_new_rows(path.read_bytes(), [new])
    assert with_new_rows(path.read_bytes(), [dataclasses.replace(new, rows=({2: "EL84"},))])[1]


@pytest.mark.skipif(not HAS_LIBREOFFICE, reason="LibreOffice is not installed")
def test_as_libreoffice_saves_it(tmp_path):
    """A file LibreOffice saved gets rows, and LibreOffice reads them."""
    makers()["tables.xlsx"](tmp_path / "tables.xlsx")
    (path,) = by_libreoffice([tmp_path / "tables.xlsx"], tmp_path / "saved")
    wrong = findings(path)
    append_to_workbook(path, {"Sales": SALES})
    assert findings(path) == wrong
    (text,) = by_libreoffice([path], tmp_path / "opened", "csv")
    assert [line.split(",")[1:] for line in text.read_text().splitlines()[-2:]] == [["6E5", "12.5"], ["=1+1", "7"]]


@pytest.mark.slow
@pytest.mark.skipif(not HAS_LIBREOFFICE, reason="LibreOffice is not installed")
def test_the_corpus_in_libreoffice(tmp_path):
    """Every workbook as made and as LibreOffice saves it: LibreOffice opens it and has the new rows."""
    made = [tmp_path / name for name in makers()]
    for path in made:
        makers()[path.name](path)
    saved = [one for kind in ("xlsx", "xlsm")
             for one in by_libreoffice([path for path in made if path.suffix == f".{kind}"], tmp_path / "saved", kind)]
    for path in (*made, *saved):
        wrong = findings(path)
        append_to_workbook(path, {"Sales": SALES})
        assert findings(path) == wrong, path
    for paths, folder in ((made, "one"), (saved, "two")):
        for path in by_libreoffice(paths, tmp_path / "opened" / folder, "ods"):
            rows = next(one for one in read_sheets(path) if one.name == "Sales").rows
            assert [row[1:3] for row in rows[-2:]] == [["6E5", 12.5], ["=1+1", 7]], path
    print(f"{len(made) + len(saved)} workbooks")
