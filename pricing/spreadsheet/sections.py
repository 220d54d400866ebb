"""Running text of a sheet: paragraphs and titled tables, over one printed width."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from openpyxl.styles import Font
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from pricing.spreadsheet import style
from pricing.spreadsheet.tables import ResultColumn, fit_heights, put_text, write_table

WIDE = 66  # of the first column, which holds words
WIDTHS = (WIDE, 11, 9, 9, 9)
_PAGE_ROWS = 58  # of an upright page


def paragraph(
    sheet: Worksheet, row: int, text: str, font: Font = style.BODY, widths: Sequence[float] = WIDTHS
) -> int:
    """`text` at `row` over the columns of these widths, by default those of the Model sheet; the next row."""
    sheet.merge_cells(start_row=row, start_column=1, end_row=row, end_column=len(widths))
    cell = sheet.cell(row, 1)
    put_text(cell, text)
    cell.font, cell.alignment = font, style.PARAGRAPH
    sheet.row_dimensions[row].height = style.LINE_HEIGHT * style.lines_of(text, sum(widths)) + 3
    return row + 1


def keep_whole(sheet: Worksheet, row: int, rows: int) -> None:
    """Begin a page at `row` where so many rows would be cut by the end of one."""
    begun = max((one.id for one in sheet.row_breaks.brk), default=0)
    if row + rows - begun > _PAGE_ROWS:
        sheet.row_breaks.append(Break(id=row - 1))


def heading(sheet: Worksheet, row: int, text: str) -> int:
    """A section's title at `row`; the next row."""
    put_text(sheet.cell(row, 1), text)
    sheet.cell(row, 1).font = style.SECTION
    return row + 1


def section(
    sheet: Worksheet, row: int, title: str, frame: pd.DataFrame, columns: Sequence[ResultColumn], name: str
) -> int:
    """A title and its table, "none" where the frame is empty; the row after it."""
    top = heading(sheet, row, title)
    last = write_table(sheet, frame, columns, name=name, top=top, filters=False)
    if frame.empty:
        put_text(sheet.cell(top + 1, 1), "none")
    fit_heights(sheet, frame, columns, top)
    return last + 1
