"""One description of a piece made clean without a frame, for a cell that asks the price of one tube."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from pricing.problems import Problem
from pricing.shop_tables import columns as spec
from pricing.shop_tables.cells import is_blank
from pricing.shop_tables.headings import Headings
from pricing.shop_tables.ledger import Ledger
from pricing.shop_tables.one_table import OneTable
from pricing.shop_tables.settings import Settings

SHEET = "Items"


def clean_item(cells: Mapping[str, Any], register: Any, settings: Settings) -> tuple[dict[str, Any], list[Problem]]:
    """(clean values by column, problems) of one item: as `clean_items` of a one-row frame, some thirty times quicker.

    `cells`: raw cells by the names of the Items columns; other names are not read.
    """
    return _OneItem(cells, register, settings).item()


class _OneItem(OneTable):
    """The same steps over lists of one cell."""

    def __init__(self, cells: Mapping[str, Any], register: Any, settings: Settings) -> None:
        self.names = None
        self.table, self.settings, self.sheet, self.today = spec.ITEMS, settings, SHEET, dt.date.today()
        self.index, self.size, self.register = [0], 1, register
        self.headings = Headings({}, 1, {}, [])
        names = set(spec.ITEMS.names)
        self.raw = {name: [None if is_blank(cell) and not isinstance(cell, str) else cell]
                    for name, cell in cells.items() if name in names}
        self.other, self.numeric, self.pooled = {}, set(), {}
        self.ledger = Ledger([SHEET], [2])
        self.out = {}

    def item(self) -> tuple[dict[str, Any], list[Problem]]:
        """Values and problems of the one row."""
        self._columns()
        self._types()
        self._titles()
        self._pieces()
        self._money()
        return {name: values[0] for name, values in self.out.items()}, self.ledger.problems()
