"""Cells written as text: the same file as openpyxl writes."""

import datetime as dt
import io
import zipfile

from openpyxl import Workbook
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.comments import Comment
from openpyxl.styles import Font
from openpyxl.worksheet.formula import ArrayFormula

from pricing.spreadsheet.book_writer import written


def filled():
    """Every kind of cell, rows with heights, links, notes, a sheet with nothing."""
    book = Workbook()
    sheet = book.active
    sheet.append(["text", " spaces ", "two\nlines", "<&>\"'", "блюз", "", None, "=A1&\"<\"", "#N/A", True, False])
    sheet.append([1, -2.5, 1e-17, 12345678901234567, 0.1 + 0.2, float("1e300")])
    sheet.append([dt.datetime(2026, 2, 3, 4, 5), dt.date(2025, 1, 1), dt.time(6, 7), dt.timedelta(days=1)])
    sheet["A5"] = ArrayFormula("A5:A6", "=A2:B2*2")
    sheet["B5"] = CellRichText("plain ", TextBlock(InlineFont(b=True), "bold"))
    sheet["C5"].font = Font(bold=True)
    sheet["D5"].comment = Comment("noted", "somebody")
    sheet["E5"], sheet["E5"].hyperlink = "page", "https://example.org/?a=1&b=2"
    sheet["F5"], sheet["F5"].quotePrefix = "=text", True
    sheet["F5"].data_type = "s"
    sheet.row_dimensions[5].height, sheet.row_dimensions[9].hidden = 30, True
    book.create_sheet("Nothing & more")
    book.properties.created = book.properties.modified = dt.datetime(2026, 1, 1)
    return book


def test_the_same_as_openpyxl():
    """Part by part the same bytes."""
    usual = io.BytesIO()
    filled().save(usual)
    with zipfile.ZipFile(usual) as one, zipfile.ZipFile(io.BytesIO(written(filled()))) as other:
        assert one.namelist() == other.namelist()
        for name in one.namelist():
            if name != "docProps/core.xml":  # the moment of saving
                assert other.read(name) == one.read(name), name
