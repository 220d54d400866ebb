"""Writing one frame as a named table with house style: headings, formats, widths, print set-up."""

from __future__ import annotations

import gc
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd
from openpyxl.cell.cell import Cell
from openpyxl.comments import Comment
from openpyxl.styles import NamedStyle
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.workbook import Workbook
from openpyxl.worksheet.filters import AutoFilter
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.table import Table, TableColumn, TableStyleInfo
from openpyxl.worksheet.worksheet import Worksheet

from pricing.spreadsheet import style

_LOOKS_ESCAPED = re.compile(r"_x[0-9A-Fa-f]{4}_")  # would be read back as the one character it names
NOT_IN_XML = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")  # XML 1.0, section 2.2
LONGEST_TEXT = 32_767  # characters a cell holds in an xlsx file


@dataclass(frozen=True)
class ResultColumn:
    """One column of a result table: where it comes from, what stands over it, how it is shown."""

    source: str
    heading: str
    kind: str = "text"
    width: float = 10
    help: str = ""


def add_styles(book: Workbook) -> None:
    """Two named styles a kind of column, so that the owner can change a whole kind at once: ours, and for
    typing in.
    """
    book._named_styles["Normal"].font = style.NORMAL  # the unit of column widths; openpyxl has no public way
    for kind, (number_format, alignment) in style.KINDS.items():
        book.add_named_style(
            NamedStyle(
                f"shop {kind}",
                font=style.BODY,
                number_format=number_format,
                alignment=alignment,
                border=style.UNDER,
            )
        )
        book.add_named_style(
            NamedStyle(
                f"shop input {kind}", font=style.BODY, number_format=number_format, alignment=alignment
            )
        )
    for name, font, fill, alignment in (
        ("shop heading", style.HEAD_FONT, style.HEAD_FILL, style.HEADING),
        ("shop heading right", style.HEAD_FONT, style.HEAD_FILL, style.HEADING_RIGHT),
        ("shop input heading", style.INPUT_HEAD_FONT, style.INPUT_HEAD_FILL, style.HEADING),
        ("shop input heading right", style.INPUT_HEAD_FONT, style.INPUT_HEAD_FILL, style.HEADING_RIGHT),
    ):
        book.add_named_style(NamedStyle(name, font=font, fill=fill, alignment=alignment))


def cell_value(value: Any) -> Any:
    """`value` as openpyxl takes it: plain Python, None for what is missing."""
    if value is None or value is pd.NaT:
        return None
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    if isinstance(value, np.generic):
        return cell_value(value.item())
    if isinstance(value, pd.Timestamp):
        return value.to_pydatetime()
    if isinstance(value, (str, int, bool, datetime, date)):
        return value
    return None if pd.isna(value) else value


def put(sheet: Worksheet, row: int, column: int, value: Any, style_name: str) -> None:
    """Write `value` as data: text never becomes a formula or an error, and characters xlsx cannot hold are
    escaped.
    """
    _put(sheet, row, column, value, _style_of(sheet.parent, style_name))


def _put(sheet: Worksheet, row: int, column: int, value: Any, looks: Any) -> None:
    value = cell_value(value)
    cell = sheet.cell(row, column)
    quoted = False
    if isinstance(value, str):
        quoted = _hold_text(cell, value)
    elif isinstance(value, int | float):  # set as openpyxl would, without its look at every other kind
        cell._value, cell.data_type = value, "b" if isinstance(value, bool) else "n"
    elif value is not None:
        cell.value = value  # openpyxl gives a date a format of its own here
    cell._style = copy(looks)
    if quoted:
        cell.quotePrefix = True


def _style_of(book: Workbook, name: str) -> Any:
    """What a cell of a named style holds; found once a book, as openpyxl sets a style by name slowly."""
    known = _STYLES.setdefault(book, {})
    if name not in known:
        cell = Cell(book.worksheets[0], row=1, column=1)
        cell.style = name
        known[name] = cell._style
    return known[name]


_STYLES: WeakKeyDictionary[Workbook, dict[str, Any]] = WeakKeyDictionary()


def put_text(cell: Any, text: str) -> None:
    """`text` as a text cell. Raises ValueError past the length a cell can hold, rather than cutting it."""
    if _hold_text(cell, text):
        cell.quotePrefix = True


def _hold_text(cell: Any, text: str) -> bool:
    """Put `text` into a cell; whether it needs the mark that keeps it from becoming a formula when it is typed over."""
    if len(text) > LONGEST_TEXT:
        raise ValueError(
            f"{cell.coordinate} on {cell.parent.title}: {len(text):,} characters, a cell holds "
            f"{LONGEST_TEXT:,}; shorten the text"
        )
    cell._value, cell.data_type = as_held(text), "s"
    return text[:1] in ("=", "+", "-", "@")


def as_held(text: str) -> str:
    """`text` as an xlsx file holds it: what its XML cannot carry is escaped, what looks so escaped already too."""
    written = _LOOKS_ESCAPED.sub(r"_x005F\g<0>", text).replace("\r", "_x000D_")
    return NOT_IN_XML.sub(lambda match: f"_x{ord(match[0]):04X}_", written)


def write_table(
    sheet: Worksheet,
    frame: pd.DataFrame,
    columns: Sequence[ResultColumn],
    *,
    name: str,
    top: int = 1,
    left: int = 1,
    filters: bool = True,
) -> int:
    """Write `frame` with its headings at row `top` as the named table `name`; the last row written.

    An empty frame leaves one blank row, because a table without rows is not valid.
    """
    with _nothing_collected():
        for place, column in enumerate(columns, start=left):
            put(sheet, top, place, column.heading,  # it may be a word of the owner's, such as a family
                "shop heading right" if column.kind in style.NUMERIC_KINDS else "shop heading")
            if column.help:
                sheet.cell(top, place).comment = note(column.help)
            values = frame[column.source].tolist() if column.source in frame else [None] * len(frame)
            looks = _style_of(sheet.parent, f"shop {column.kind}")
            for row, value in enumerate(values or [None], start=top + 1):
                _put(sheet, row, place, value, looks)
            sheet.column_dimensions[get_column_letter(place)].width = column.width
    if filters:
        sheet.row_dimensions[top].height = style.HEADING_HEIGHT
    last = top + max(len(frame), 1)
    add_table(sheet, name, top, left, last, left + len(columns) - 1, filters=filters)
    return last


@contextmanager
def _nothing_collected() -> Iterator[None]:
    """No search for garbage among cells that all stay: over many thousands it took a third of the time."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()


def add_table(
    sheet: Worksheet, name: str, top: int, left: int, bottom: int, right: int, *, filters: bool = True
) -> None:
    """Name the block as a table with no colours but ours; `filters` puts an arrow on every heading."""
    ref = f"{get_column_letter(left)}{top}:{get_column_letter(right)}{bottom}"
    table = Table(displayName=name, ref=ref)
    table.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=False)
    headings = [sheet.cell(top, column).value for column in range(left, right + 1)]
    table.tableColumns = [TableColumn(id=place, name=text) for place, text in enumerate(headings, start=1)]
    if filters:
        table.autoFilter = AutoFilter(ref=ref)
    sheet.add_table(table)


def note(text: str) -> Comment:
    """A cell note sized to its text."""
    comment = Comment(text, "pricing")
    comment.width, comment.height = 260, 30 + 16 * (len(text) // 38 + 1)
    return comment


def link_to_rows(sheet: Worksheet, frame: pd.DataFrame, top: int, column: int) -> None:
    """The row numbers in `column`, below the heading at `top`, lead to that row of the sheet they belong to."""
    for row, (where, number) in enumerate(zip(frame["sheet"], frame["row"], strict=True), start=top + 1):
        if where in sheet.parent.sheetnames and pd.notna(number):
            cell = sheet.cell(row, column)
            cell.hyperlink = Hyperlink(cell.coordinate, location=f"{quote_sheetname(where)}!A{int(number)}")
            cell.style = "shop count"


def fit_heights(sheet: Worksheet, frame: pd.DataFrame, columns: Sequence[ResultColumn], top: int) -> None:
    """Height of every row of a table headed at row `top`, by the longest wrapped text in it."""
    wrapped = [column for column in columns if column.kind == "words"]
    for offset, row in enumerate(
        zip(*(frame[column.source] for column in wrapped), strict=True), start=top + 1
    ):
        lines = max(
            style.lines_of(str(text or ""), column.width) for text, column in zip(row, wrapped, strict=True)
        )
        sheet.row_dimensions[offset].height = style.LINE_HEIGHT * lines + 2


def set_up_page(
    sheet: Worksheet,
    *,
    title_row: int | None,
    last_column: int | None = None,
    last_row: int | None = None,
    landscape: bool = True,
    pages_across: int = 1,
) -> None:
    """Print: A4, fit to so many pages across, headings on every page, page numbers below."""
    sheet.page_setup.orientation = "landscape" if landscape else "portrait"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = pages_across, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    if title_row is not None:
        sheet.print_title_rows = f"{title_row}:{title_row}"
    if last_column:
        sheet.print_area = f"A1:{get_column_letter(last_column)}{last_row or sheet.max_row}"
    sheet.page_margins.left = sheet.page_margins.right = 0.4
    sheet.page_margins.top = sheet.page_margins.bottom = 0.6
    sheet.oddFooter.left.text, sheet.oddFooter.right.text = "&A", "page &P of &N"
    sheet.oddFooter.left.size = sheet.oddFooter.right.size = 8
