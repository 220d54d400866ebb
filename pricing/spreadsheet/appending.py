"""Appending rows to the owner's own tables, in the file she works in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pricing.shop_tables import TABLES, Settings
from pricing.shop_tables.cells import is_blank, tidy
from pricing.shop_tables.headings import find_headings
from pricing.shop_tables.reading import RawSheet, read_sheets
from pricing.shop_tables.shop import settings_of, sheet_of_tables
from pricing.spreadsheet.package.additions import NewRows, Value
from pricing.spreadsheet.package.book import NotKept
from pricing.spreadsheet.package.new_rows import with_new_rows
from pricing.spreadsheet.package.new_rows_ods import with_new_rows_ods
from pricing.spreadsheet.package.safe_write import must_be_closed, put_file
from pricing.spreadsheet.tables import LONGEST_TEXT


def append_to_workbook(path: Path | str, rows: Mapping[str, pd.DataFrame], *, out: Path | str | None = None,
                       tell: Callable[[str], None] = lambda words: None) -> Path:
    """Put `rows` (by name of table, columns by our names) below those in the shop's workbook; the path written.

    Dates become dates, numbers numbers, text text whatever it begins with; NaT, NaN and "" stay blank. They go under
    the owner's own headings, in the style of the cells above; formulas of the row above go on, table objects grow. All
    else keeps its bytes, the file as it was is kept in the folder "NAME backups". With `out` the result goes there and
    `path` stays. `tell` is given every sentence the owner should read.

    NotKept when something stands where the rows must go, or the file is open elsewhere, locked or of a kind that cannot
    be kept whole; ShopFileError when it cannot be read; ValueError naming the columns the sheet lacks, or for a value
    that no cell can hold; OSError when nothing could be written. In each case the file is as it was.
    """
    path, out = Path(path), None if out is None else Path(out)
    ending = path.suffix.casefold()
    if ending not in (".xlsx", ".xlsm", ".ods"):
        raise NotKept(f"rows can be put into .xlsx, .xlsm and .ods, not into {ending or 'a folder'}.")
    if out is None:
        must_be_closed(path)
    elif out.suffix.casefold() != ending:
        raise NotKept(f"a copy with everything in it has to end in {path.suffix}, too.")
    owner = path.read_bytes()
    sheets = sheet_of_tables(read_sheets(path, may_be_empty=True), [])
    settings = settings_of(sheets.get("Settings"))
    additions = [_new_rows(name, frame, sheets, settings) for name, frame in rows.items() if len(frame)]
    put = with_new_rows_ods if ending == ".ods" else with_new_rows
    content, told = put(owner, additions) if additions else (owner, [])
    if additions or out is not None:
        told += put_file(path, content, owner, out)
    for words in told:
        tell(words)
    return out or path


def _new_rows(name: str, frame: pd.DataFrame, sheets: Mapping[str, RawSheet], settings: Settings) -> NewRows:
    """Rows of one table with their columns on the owner's sheet."""
    table = TABLES[name]
    if name not in sheets:
        raise NotKept(f"there is no sheet {name} for the rows. Add one, with its headings in the first row: "
                      f"{', '.join(column.name for column in table.columns if column.in_workbook)}.")
    sheet = sheets[name]
    headings = find_headings(sheet.rows, table, settings.own_headings, sheet.name)
    places = {text: position + 1 for position, text in headings.unknown.items()}
    places |= {column: position + 1 for position, column in headings.columns.items()}
    values = {column: [_value(value, column) for value in frame[column]] for column in frame}
    values = {column: cells for column, cells in values.items() if any(cell is not None for cell in cells)}
    missing = [column for column in values if column not in places]
    if missing:
        raise ValueError(f"the sheet '{sheet.name}' has no heading for {', '.join(missing)}; headings stand in row "
                         f"{headings.row}. Add what is missing there.")
    needed = [places[column] - 1 for column in table.required if column in places]
    whole = (number for number in range(len(sheet.rows), headings.row, -1)
             if not any(is_blank(_cell(sheet.rows, number, position)) for position in needed))
    last_row = next(whole, headings.row) if needed else len(sheet.rows)
    first, last = min(headings.columns, default=0), max(headings.columns, default=0)
    while first > 0 and tidy(_cell(sheet.rows, headings.row, first - 1)):
        first -= 1
    while tidy(_cell(sheet.rows, headings.row, last + 1)):
        last += 1
    lines = tuple({places[column]: cells[at] for column, cells in values.items()} for at in range(len(frame)))
    return NewRows(sheet.name, headings.row, last_row, first + 1, last + 1, lines)


def _cell(rows: list[list[Any]], number: int, position: int) -> Any:
    """A cell of sheet row `number` (from 1), "" past its end."""
    row = rows[number - 1]
    return row[position] if position < len(row) and row[position] is not None else ""


def _value(value: Any, column: str) -> Value:
    """A value as a cell holds it; ValueError for one it cannot."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        if len(value) > LONGEST_TEXT:
            raise ValueError(f"{column}: {len(value):,} characters, a cell holds {LONGEST_TEXT:,}; shorten the text")
        return value or None
    if value is None or pd.isna(value):
        return None
    if isinstance(value, pd.Timestamp):
        value = value.to_pydatetime().replace(tzinfo=None)
    if isinstance(value, dt.date):
        if value.year < 1905:  # before the first day some workbooks count from
            return value.strftime("%Y-%m-%d")
        return value
    if isinstance(value, float) and not np.isfinite(value):
        raise ValueError(f"{column}: {value} is no number a cell can hold")
    return value
