"""What a cell may hold and what a cell function may give: numbers and text, nothing else."""

from __future__ import annotations

import datetime as dt
import math
import re
from typing import Any

# A cell as a function sees it: a number, a text, or None where it is blank.
Cell = float | str | None
LONGEST_TEXT = 250  # a text of more than 255 characters from a function shows as an error in Excel
_DAY_ZERO = dt.datetime(1899, 12, 30)
_ERRORS = re.compile(r"#(N/A|REF!|VALUE!|DIV/0!|NAME\?|NUM!|NULL!|SPILL!|CALC!)|Err:\d+")


class CellProblem(Exception):
    """Why a cell function cannot answer: one sentence for the cell, with what is wrong and what mends it."""


def cell_of(value: Any) -> Cell:
    """A value from any spreadsheet as a Cell: dates as day numbers, yes and no as 1 and 0, blanks as None."""
    if value is None or isinstance(value, str):
        return value if value and not value.isspace() else None
    if isinstance(value, bool):
        return float(value)
    if isinstance(value, int | float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, dt.datetime):
        return (value.replace(tzinfo=None) - _DAY_ZERO) / dt.timedelta(days=1)
    if isinstance(value, dt.date):
        return float((value - _DAY_ZERO.date()).days)
    if hasattr(value, "item"):
        return cell_of(value.item())
    return str(value)


def cells_of(value: Any) -> list[list[Cell]]:
    """A range as rows of Cells, blank rows and columns at its end cut off; a single value is a range of one cell."""
    rows = value if isinstance(value, list | tuple) else [[value]]
    rows = [[cell_of(one) for one in row] if isinstance(row, list | tuple) else [cell_of(row)] for row in rows]
    while rows and not any(one is not None for one in rows[-1]):
        rows.pop()
    width = max((at for row in rows for at, one in enumerate(row, 1) if one is not None), default=0)
    return [[*row[:width], *[None] * (width - len(row))] for row in rows]


def one_cell(value: Any, name: str) -> Cell:
    """The Cell of an argument that takes a single one. CellProblem for a range of several or an error."""
    if isinstance(value, list | tuple):
        cells = cells_of(value)
        if len(cells) > 1 or any(len(row) > 1 for row in cells):
            raise CellProblem(f"'{name}' takes one cell, and a range of several was given: give one cell.")
        value = cells[0][0] if cells else None
    cell = cell_of(value)
    if is_error(cell):
        raise CellProblem(f"'{name}' holds the error {cell}: mend that cell first.")
    return cell


def is_error(cell: Cell) -> bool:
    """Whether a cell shows a spreadsheet's error."""
    return isinstance(cell, str) and bool(_ERRORS.fullmatch(cell))


def result_cell(value: Any) -> float | str:
    """A result as a spreadsheet takes it: "" for what is not known, dates as text, texts short enough to show."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value if len(value) <= LONGEST_TEXT else value[: LONGEST_TEXT - 3].rstrip() + "..."
    if isinstance(value, dt.date):
        return f"{value:%Y-%m-%d}" if value == value else ""
    number = float(value)
    return number if math.isfinite(number) else ""


def result_table(rows: list[Any]) -> list[list[float | str]]:
    """Rows of results, all as long as the longest."""
    cells = [[result_cell(one) for one in row] for row in rows]
    width = max(map(len, cells), default=1)
    return [[*row, *[""] * (width - len(row))] for row in cells]
