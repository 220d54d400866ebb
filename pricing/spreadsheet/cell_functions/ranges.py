"""Ranges with headings, as tables: where the headings are, what is missing, and error cells told by row and column."""

from __future__ import annotations

from typing import Any

import pandas as pd

from pricing.shop_tables.cells import tidy
from pricing.shop_tables.columns import Table
from pricing.shop_tables.headings import find_headings
from pricing.shop_tables.settings import Settings
from pricing.spreadsheet.cell_functions.cell_values import Cell, CellProblem, is_error

MOST_ROWS = 200_000
_UNREAD = ("note",)  # an error there changes nothing


def table_of(cells: list[list[Cell]], table: Table, name: str, required: tuple[str, ...],
             own: Any = None) -> pd.DataFrame:
    """The rows below the headings as a raw frame: `sheet` is the argument's name, `row` counts from the range's first.

    Every row is kept, blank ones between others too, its index being its place below the headings. CellProblem for an
    empty range, a heading that is missing, no row at all, or an error in a column that is read.
    """
    if not cells:
        raise CellProblem(f"The range '{name}' is empty: give the whole table, its headings in the first row.")
    if len(cells) > MOST_ROWS:
        raise CellProblem(f"The range '{name}' has {len(cells):,} rows; up to {MOST_ROWS:,} are read: give fewer.")
    headings = find_headings(cells, table, own, name)
    met = set(headings.columns.values())
    missing = [one for one in required if one not in met and not (one == "type" and "title" in met)]
    titles = cells[headings.row - 1]
    if missing:
        said = ", ".join(tidy(title) for title in titles if title is not None) or "none"
        raise CellProblem(f"'{name}' has no heading {_listed(missing)} (met: {_cut(said, 90)}): give the range with "
                          f"its heading row, and name {'it' if len(missing) == 1 else 'them'} so.")
    rows = cells[headings.row:]
    if not rows:
        raise CellProblem(f"'{name}' has headings and no row below them: give the rows too.")
    _no_errors(rows, headings, name)
    frame = pd.DataFrame(rows, columns=["" if title is None else tidy(title) for title in titles], dtype=object)
    frame["sheet"], frame["row"] = name, range(headings.row + 1, headings.row + 1 + len(rows))
    frame.attrs["heading_row"] = headings.row
    return frame


def settings_of(cells: list[list[Cell]]) -> Settings | None:
    """Settings from a range of keys and values, with or without headings; None for no range. CellProblem for errors or
    a row that no setting can be read from."""
    if not cells:
        return None
    if len(cells[0]) < 2:
        raise CellProblem("'settings' needs two columns, the setting and its value: give both.")
    first = [tidy(cell).casefold() if cell is not None else "" for cell in cells[0]]
    key, value = (first.index("key"), first.index("value")) if {"key", "value"} <= set(first) else (0, 1)
    rows = []
    for number, row in enumerate(cells, 1):
        if number == 1 and "key" in first:
            continue
        for cell in (row[key], row[value]):
            if is_error(cell):
                raise CellProblem(f"'settings', row {number} holds the error {cell}: mend that cell first.")
        rows.append({"key": row[key], "value": row[value], "row": number})
    settings = Settings.from_rows(rows, "settings")
    if settings.problems:
        one = settings.problems[0]
        raise CellProblem(f"'settings', row {one.row}: {one.message} {one.remedy}")
    return settings


def _no_errors(rows: list[list[Cell]], headings: Any, name: str) -> None:
    read = [(place, column) for place, column in headings.columns.items() if column not in _UNREAD]
    found = [(number, column, row[place]) for number, row in enumerate(rows, headings.row + 1)
             for place, column in read if is_error(row[place])]
    if found:
        number, column, cell = found[0]
        more = f" ({len(found) - 1:,} more such cells)" if len(found) > 1 else ""
        raise CellProblem(f"'{name}', row {number}, column {column} holds the error {cell}{more}: mend or empty it.")


def _listed(words: list[str]) -> str:
    return " or ".join(f"'{word}'" for word in words)


def _cut(text: str, length: int) -> str:
    return text if len(text) <= length else text[: length - 3] + "..."
