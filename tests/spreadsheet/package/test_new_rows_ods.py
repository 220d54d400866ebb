"""Rows appended to an .ods: content.xml alone changes, and in it only what stands at the new rows."""

import difflib
import re
import zipfile

import pandas as pd
import pytest
from spreadsheet.package.corpus import FEW, HAS_LIBREOFFICE, by_libreoffice, makers
from spreadsheet.package.test_new_rows import HOSTILE, SALES, written
from spreadsheet.package.test_nothing_is_lost import raw_entries, read

from pricing.shop_tables.reading import read_sheets
from pricing.spreadsheet.appending import append_to_workbook
from pricing.spreadsheet.ods_file import write_ods
from pricing.spreadsheet.package.book import NotKept
from pricing.spreadsheet.package.new_rows_ods import moved

needs_libreoffice = pytest.mark.skipif(not HAS_LIBREOFFICE, reason="LibreOffice is not installed")
HEADINGS = ["sold_on", "type", "price", "double", "odd"]


def as_ods(text):
    """What an .ods can hold of a text."""
    return text.replace("\x07", "\ufffd")


def small(path, rows=(), formulas=None):
    """A plain file of two sales, `rows` below them."""
    sales = [HEADINGS, ["2025-01-01", "EL84", 20], ["2025-01-02", "EL84", 21], *rows]
    write_ods(path, {"Sales": sales, "Own": [["mine", 1]]}, {"Sales": formulas or {}})
    return path


def appended(path, frame=SALES):
    """What was told; every part but content.xml is held to be as it was, and content.xml to have lost nothing but the
    counts of equal rows and the ends of ranges."""
    before, raw = read(path), raw_entries(path)
    told = []
    append_to_workbook(path, {"Sales": frame}, tell=told.append)
    after, now = read(path), raw_entries(path)
    assert list(after) == list(before)
    assert all(now[name] == raw[name] for name in before if name != "content.xml")
    split = re.compile(rb"<[^>]*>|[^<]+")
    one, other = split.findall(before["content.xml"]), split.findall(after["content.xml"])
    lost = [text for kind, start, end, _, _ in difflib.SequenceMatcher(None, one, other, autojunk=False).get_opcodes()
            if kind in ("delete", "replace") for text in one[start:end]]
    assert all(b"rows-repeated" in text or b"range-address" in text or b"columns-repeated" in text
               or b"table:content-validation-name" in text or text in CLOSING for text in lost), lost
    return told


CLOSING = (b"<table:table-row>", b"<table:table-row table:style-name=\"ro1\">", b"</table:table-row>")


def rows_in(path):
    """Rows of Sales as calamine reads them."""
    return next(one for one in read_sheets(path) if one.name == "Sales").rows


def test_a_plain_file(tmp_path):
    """Rows below, dates shown as dates, formulas going on, a copy at another place, a backup."""
    formulas = {(row, 4): (f"=C{row}*2+$A$1", None) for row in (2, 3)} | {(3, 5): ("=SUM(C2:C3)", None)}
    path = small(tmp_path / "shop.ods", formulas=formulas)
    before = path.read_bytes()
    append_to_workbook(path, {"Sales": SALES}, out=tmp_path / "copy.ods")
    assert path.read_bytes() == before
    told = appended(path)
    assert path.read_bytes() == (tmp_path / "copy.ods").read_bytes()
    assert told[0] == "On the sheet 'Sales' rows were added: 4 to 5." and "formula in E3 differs" in told[1]
    content = read(path)["content.xml"]
    assert b'table:formula="of:=[.C5]*2+[.$A$1]"' in content and content.count(b"SUM(") == 1
    assert content.count(b'office:date-value="2026-02-0') == 2 and content.count(b"<number:date-style") == 1
    assert [row[1:3] for row in rows_in(path)[-2:]] == [["6E5", 12.5], ["=1+1", 7]]
    appended(path)
    assert len(rows_in(path)) == 7 and read(path)["content.xml"].count(b"<number:date-style") == 1


def test_what_cannot_be_moved():
    """References move with their row, fixed ones and texts stay; names in quotation marks are left to the owner."""
    assert moved('of:=[.C2]&"[.C2]"&[.C$2]&[.$B7]', 3) == 'of:=[.C5]&"[.C2]"&[.C$2]&[.$B10]'
    assert moved("of:=[$Own.A1:.B2]", 1) == "of:=[$Own.A2:.B3]"
    assert moved("of:=[$'A.B2'.A1]", 1) is None and moved("msoxl:=A1", 1) is None


REFUSED = {
    "a note": ([["", "", ""], ["", "call back", ""]], {}, "something of yours in B5"),
    "totals": ([["Total", "", ""]], {(4, 3): ("=SUM(C2:C3)", None)}, "sum up those above it, row 4"),
    "a sum alone": ([], {(4, 3): ("=SUM(C2:C3)", None)}, "sum up those above it, row 4"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_stands_in_the_way(name, tmp_path):
    """Refused with the place and what mends it, nothing written."""
    rows, formulas, words = REFUSED[name]
    path = small(tmp_path / "shop.ods", rows, formulas)
    before = path.read_bytes()
    with pytest.raises(NotKept, match=words):
        append_to_workbook(path, {"Sales": SALES})
    assert path.read_bytes() == before and list(tmp_path.iterdir()) == [path]


def test_groups_merged_protected_and_signed(tmp_path):
    """Groups of rows or merged cells below, a protected sheet, a signature: refused."""
    for words, old, new in (("has rows in groups", b"</table:table>", b"<table:table-row/><table:table-row-group>"
                             b"<table:table-row/></table:table-row-group></table:table>"),
                            ("something of yours in A4", b"</table:table>", b'<table:table-row><table:table-cell '
                             b'table:number-columns-spanned="2"/><table:covered-table-cell/></table:table-row>'
                             b"</table:table>"),
                            ("is protected", b'table:name="Sales"', b'table:name="Sales" table:protected="true"')):
        path = small(tmp_path / "shop.ods")
        put_parts_ods(path, lambda content, old=old, new=new: content.replace(old, new, 1))
        with pytest.raises(NotKept, match=words):
            append_to_workbook(path, {"Sales": SALES})
    path = small(tmp_path / "shop.ods")
    put_parts_ods(path, lambda content: content, {"META-INF/documentsignatures.xml": b"<signatures/>"})
    with pytest.raises(NotKept, match="digital signature"):
        append_to_workbook(path, {"Sales": SALES})


def put_parts_ods(path, edit, more=None):
    """The file with its content edited and more parts."""
    parts = {name: edit(text) if name == "content.xml" else text for name, text in read(path).items()} | (more or {})
    with zipfile.ZipFile(path, "w") as file:
        for name, text in parts.items():
            file.writestr(name, text)


def test_runs_of_equal_rows(tmp_path):
    """A run of blank rows with something beside it is cut; what stands beside stays in its row."""
    path = small(tmp_path / "shop.ods")
    run = (b'<table:table-row table:number-rows-repeated="3"><table:table-cell table:number-columns-repeated="5"/>'
           b'<table:table-cell office:value-type="string"><text:p>beside</text:p></table:table-cell></table:table-row>')
    put_parts_ods(path, lambda content: content.replace(b"</table:table>", run + b"</table:table>", 1))
    append_to_workbook(path, {"Sales": SALES})
    rows = rows_in(path)
    assert [row[5] for row in rows[3:]] == ["beside"] * 3 and [row[1] for row in rows[3:]] == ["6E5", "=1+1", ""]


def test_macros_stay(tmp_path):
    """LibreOffice gives its macro parts a document type; such a file is read and kept."""
    path = small(tmp_path / "shop.ods")
    macro = b'<!DOCTYPE script:module PUBLIC "-//OpenOffice.org//DTD OfficeDocument 1.0//EN" "module.dtd"><script/>'
    put_parts_ods(path, lambda content: content, {"Basic/Standard/Module1.xml": macro})
    appended(path)
    assert read(path)["Basic/Standard/Module1.xml"] == macro


@needs_libreoffice
def test_as_libreoffice_saves_it(tmp_path):
    """Files with charts, pictures, rules, drop-downs, filters: nothing lost, styles as above, LibreOffice reads the
    rows, whatever a text begins with."""
    def fill(book, sales, dated):
        sales.write("D1", "half")
        for row in range(2, 10):
            sales.write_formula(row - 1, 3, f"=C{row}/2", None, 10 + row / 2)
        sales.autofilter("A1:D9")
        red = book.add_format({"bg_color": "red"})
        sales.conditional_format("C2:C9", {"type": "cell", "criteria": ">", "value": 25, "format": red})
        sales.conditional_format("C2:C5", {"type": "cell", "criteria": "<", "value": 1, "format": red})
        sales.data_validation("B2:B9", {"validate": "list", "source": ["EL84", "12AX7"]})
        own = book.add_worksheet("Sums")
        own.write_formula("A1", "=SUM(Sales!C:C)", None, 196)

    made = [written(tmp_path / "shop.xlsx", fill)]
    for name in FEW:
        if name.endswith(".xlsx"):
            makers()[name](tmp_path / name)
            made.append(tmp_path / name)
    saved = by_libreoffice(made, tmp_path / "saved", "ods")
    frame = pd.DataFrame({"sold_on": pd.Timestamp("2026-01-02"), "type": HOSTILE, "price": 2.0})
    for path in saved:
        appended(path, frame if path.name == "shop.ods" else SALES)
    assert [row[1] for row in rows_in(saved[0])[9:]] == [as_ods(text) for text in HOSTILE]
    content = read(saved[0])["content.xml"]
    end = 9 + len(HOSTILE)
    assert f'"Sales.A1:Sales.D{end}"'.encode() in content and f'"Sales.C2:Sales.C{end}"'.encode() in content
    assert b'"Sales.C2:Sales.C5"' in content and content.count(b"content-validation-name=") == 8 + len(HOSTILE)
    opened = by_libreoffice(saved, tmp_path / "opened", "ods")
    for path in opened[1:]:
        assert [row[1:3] for row in rows_in(path)[-2:]] == [["6E5", 12.5], ["=1+1", 7]]
    rows = rows_in(opened[0])
    typed = [as_ods(text).replace("\t", "") for text in HOSTILE]  # calamine drops LibreOffice's tab
    assert [row[1] for row in rows[9:]] == typed and {row[3] for row in rows[9:]} == {1}
    assert {row[0] for row in rows[9:]} == {pd.Timestamp("2026-01-02").date()}
    assert f'office:value="{196 + 2 * len(HOSTILE)}"'.encode() in read(opened[0])["content.xml"]
