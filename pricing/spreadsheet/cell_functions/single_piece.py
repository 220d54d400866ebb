"""The arguments that describe one piece, read as the tables read them, and remembered."""

from __future__ import annotations

import re
from typing import Any

from pricing.price_model.model import PriceModel
from pricing.problems import IGNORED, Problem
from pricing.register import load_register
from pricing.shop_tables.one_item import clean_item
from pricing.spreadsheet.cell_functions.cell_values import Cell, CellProblem

MOST_REMEMBERED = 50_000


class PieceReader:
    """Reads descriptions for one model. A cell that says something of its own column only is read once."""

    def __init__(self, model: PriceModel) -> None:
        self.register = model.register or load_register()
        self.settings = model.settings
        self.sold = set(model.history.sales["canonical_type"])
        self.blank, _ = clean_item({}, self.register, self.settings)
        self.memory: dict[tuple[str, Cell], tuple[dict[str, Any] | None, str]] = {}

    def read(self, cells: dict[str, Cell]) -> dict[str, Any]:
        """Clean values of one piece. CellProblem naming the argument that cannot be read."""
        piece = dict(self.blank)
        for name, cell in cells.items():
            if cell is None:
                continue
            own, problem = self._alone(name, cell)
            if problem:
                raise CellProblem(problem)
            if own is None:  # a text that speaks of several columns: "EL84 pair", "used, 88/91"
                return self._together(cells)
            piece.update(own)
        return piece

    def _alone(self, name: str, cell: Cell) -> tuple[dict[str, Any] | None, str]:
        """(what the cell says of its own column, or None where it says more; what is wrong with it)."""
        met = self.memory.get((name, cell))
        if met is None:
            item, problems = clean_item({name: cell}, self.register, self.settings)
            own = _TYPE_COLUMNS if name == "type" else (name,)
            more = [one for one in item if one not in own and item[one] == item[one] and item[one] != self.blank[one]]
            met = None if more else {one: item[one] for one in own}, self._wrong(name, item, problems)
            if len(self.memory) >= MOST_REMEMBERED:
                self.memory.clear()
            self.memory[name, cell] = met
        return met

    def _together(self, cells: dict[str, Cell]) -> dict[str, Any]:
        item, problems = clean_item(cells, self.register, self.settings)
        for name, cell in cells.items():
            problem = self._wrong(name, item, problems) if cell is not None else ""
            if problem:
                raise CellProblem(problem)
        return item

    def _wrong(self, name: str, item: dict[str, Any], problems: list[Problem]) -> str:
        return next((said for one in problems if one.column == name and (said := self.in_the_way(one, item))), "")

    def in_the_way(self, problem: Problem, item: Any) -> str:
        """The problem in words where no price can be given as long as it stands, else ""."""
        unsold = problem.code == "unknown_type" and item["canonical_type"] not in self.sold
        if problem.effect == IGNORED or unsold:
            message = _MADE_DO.sub("", problem.message)  # no price is given here, so nothing is taken for it
            return f"{ARGUMENTS.get(problem.column, problem.column)}: {message} {problem.remedy}"
        return ""


_MADE_DO = re.compile(r"; (taken as|1 was used)[^.]*")
_TYPE_COLUMNS = ("type", "designation", "canonical_type", "family", "type_known")
# What an argument is called where its column has another name.
ARGUMENTS = {"type": "tube", "reading_pct": "reading"}
