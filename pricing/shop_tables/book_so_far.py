"""The workbook that rows are imported into, as it stands: what it holds, its columns, its settings and its names."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from pricing.shop_tables.columns import TABLES
from pricing.shop_tables.found_table import FoundTable, found_in, lacking
from pricing.shop_tables.headings import find_headings
from pricing.shop_tables.reading import read_sheets
from pricing.shop_tables.settings import Settings
from pricing.shop_tables.shop import CLEANERS, register_with, settings_of, sheet_of_tables
from pricing.shop_tables.titles import Names
from pricing.shop_tables.vocabularies import UNKNOWN, plain

# Columns of names, which imported rows spell as the workbook does.
_NAMES = ("maker", "brand", "variant", "channel", "tester", "seller", "country", "system", "listener")


@dataclass(frozen=True)
class BookSoFar:
    """Clean rows by table (only of tables the workbook has), and the columns each of its sheets has: ours by our names,
    the owner's own by her headings.
    """

    path: Path
    settings: Settings
    register: Any
    names: Names
    rows: Mapping[str, pd.DataFrame]
    columns: Mapping[str, frozenset[str]]

    @cached_property
    def spelt(self) -> dict[tuple[str, str], str]:
        """(column, name reduced for comparison) -> the name as the workbook spells it most."""
        spelt: dict[tuple[str, str], str] = {}
        for column in _NAMES:
            cells = [frame[column] for frame in self.rows.values() if column in frame]
            counts = pd.concat(cells).value_counts() if cells else {}
            for name in counts.keys():
                if name and name != UNKNOWN:
                    spelt.setdefault((column, plain(name)), name)
        return spelt


class _AnyRate(dict):
    """Rates, and 1 for a currency that has none."""

    def get(self, key: str, default: Any = None) -> Any:
        return super().get(key) or {"": 1.0}


def without_need_of_rates(settings: Settings) -> Settings:
    """Settings that leave out no row for want of an exchange rate: rows are compared here, not converted."""
    return replace(settings, rates=_AnyRate(settings.rates))


def read_book_so_far(path: Path | str, register: Any = None, today: dt.date | None = None) -> BookSoFar:
    """The shop's workbook, which may be empty. ShopFileError when it cannot be read."""
    path = Path(path)
    problems: list[Any] = []
    sheets = sheet_of_tables(read_sheets(path, may_be_empty=True), problems)
    settings = settings_of(sheets.get("Settings"))
    found: dict[str, FoundTable] = {}
    columns: dict[str, frozenset[str]] = {}
    for name, sheet in sheets.items():
        if name == "Settings":
            continue
        headings = find_headings(sheet.rows, TABLES[name], settings.own_headings, sheet.name)
        if not lacking(headings, TABLES[name]):
            found[name] = found_in(sheet, TABLES[name], headings)
            columns[name] = frozenset(headings.columns.values()) | frozenset(headings.unknown.values())
    register, _ = register_with(found.get("Types"), register, problems)
    names = Names.of(pair for met in found.values() for pair in met.makers_and_brands())
    rows = {name: clean(found[name].frame(), register, without_need_of_rates(settings), found[name].sheet, today)[0]
            for name, clean in CLEANERS.items() if name in found}
    if not settings.currency and len(rows.get("Sales", ())):
        settings = settings.with_currency(str(rows["Sales"]["currency"].mode().iloc[0]))
    return BookSoFar(path, settings, register, names, rows, columns)
