"""The problems of one table while it is cleaned: one a cell at most, and which rows they leave out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pricing.problems import LEFT_OUT, Effect, Problem, problem
from pricing.shop_tables.cells import tidy

WHOLE_ROW = "whole row"


class Ledger:
    """Collects problems by cell. Of two problems of one cell the first stays, unless the second leaves the
    row out.
    """

    def __init__(self, sheets: Sequence[str], rows: Sequence[int]) -> None:
        self.sheets, self.rows = sheets, rows
        self.table_problems: list[Problem] = []
        self.left_out: set[int] = set()
        self._cells: dict[tuple[int, str], Problem] = {}

    def cell(self, position: int, column: str, code: str, value: Any, effect: Effect | None = None,
             **details: Any) -> None:
        """One problem at the row of this position (from 0)."""
        met = problem(code, sheet=self.sheets[position], row=self.rows[position], column=column,
                      value=_shown(value), effect=effect, **details)
        at = (position, column)
        if met.effect == LEFT_OUT:
            self.left_out.add(position)
        elif at in self._cells:
            return
        self._cells[at] = met

    def has(self, position: int, column: str) -> bool:
        """Whether this cell has a problem already."""
        return (position, column) in self._cells

    def forget(self, positions: set[int]) -> None:
        """Drops what was said of single cells of these rows: the whole row is the problem."""
        if positions:
            self._cells = {at: met for at, met in self._cells.items() if at[0] not in positions}

    def problems(self) -> list[Problem]:
        """Problems of the whole table first, then by row."""
        return self.table_problems + [self._cells[at] for at in sorted(self._cells, key=lambda at: at[0])]


def _shown(value: Any) -> str:
    """A raw cell as a person would recognise it."""
    if value is None or (isinstance(value, float) and value != value):
        return ""
    return value if isinstance(value, str) else tidy(value)
