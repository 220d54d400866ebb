"""Raw tables, as owners spell them, made clean: typed columns, known words, and a Problem for every cell in
doubt.

Every clean_* keeps the input index, never raises on content, and gives the same frame when fed its own
result. A row that cannot be used is left out and explained; nothing else is dropped.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import pandas as pd

from pricing.shop_tables import columns as spec
from pricing.shop_tables.columns import Table
from pricing.shop_tables.one_table import Cleaned, OneTable
from pricing.shop_tables.settings import Settings
from pricing.shop_tables.titles import Names


def clean_sales(
    frame: pd.DataFrame,
    register: Any = None,
    settings: Settings | None = None,
    sheet: str = "Sales",
    today: dt.date | None = None,
    names: Names | None = None,
) -> Cleaned:
    """Clean Sales and the problems met.

    Columns: those of the Sales table, then `designation`, `canonical_type`, `family`, `type_known`,
    `price_home` (line price in the shop's currency), `sheet` and `row`. Rows without a usable date, type,
    price or rate are left out. `register` defaults to the built-in one, `today` (sales after it lie in the
    future) to the day of the call. `names`: makers and brands that other tables of the shop hold, for titles.
    """
    return _clean(frame, spec.SALES, register, settings, sheet, today, names)


def clean_stock(
    frame: pd.DataFrame,
    register: Any = None,
    settings: Settings | None = None,
    sheet: str = "Stock",
    today: dt.date | None = None,
    names: Names | None = None,
) -> Cleaned:
    """Clean Stock (columns of the table, designation, canonical_type, family, sheet, row) and the problems
    met.
    """
    return _clean(frame, spec.STOCK, register, settings, sheet, today, names)


def clean_items(
    frame: pd.DataFrame,
    register: Any = None,
    settings: Settings | None = None,
    sheet: str = "Items",
    today: dt.date | None = None,
    names: Names | None = None,
) -> Cleaned:
    """Descriptions of pieces to be priced, every row kept: a blank type becomes "unknown"."""
    return _clean(frame, spec.ITEMS, register, settings, sheet, today, names)


def clean_offers(
    frame: pd.DataFrame,
    register: Any = None,
    settings: Settings | None = None,
    sheet: str = "Offers",
    today: dt.date | None = None,
    names: Names | None = None,
) -> Cleaned:
    """Clean Offers, with `ask_home` (the ask in the shop's currency), and the problems met."""
    return _clean(frame, spec.OFFERS, register, settings, sheet, today, names)


def clean_asks(
    frame: pd.DataFrame,
    register: Any = None,
    settings: Settings | None = None,
    sheet: str = "Asks",
    today: dt.date | None = None,
) -> Cleaned:
    """Clean Asks and the problems met."""
    return _clean(frame, spec.ASKS, register, settings, sheet, today)


def clean_readings(frame: pd.DataFrame, register: Any = None, settings: Settings | None = None,
                   sheet: str = "Readings", today: dt.date | None = None) -> Cleaned:
    """Clean Readings and the problems met."""
    return _clean(frame, spec.READINGS, register, settings, sheet, today)


def clean_listening(frame: pd.DataFrame, register: Any = None, settings: Settings | None = None,
                    sheet: str = "Listening", today: dt.date | None = None) -> Cleaned:
    """Clean Listening; headings that are no column of ours but hold numbers are aspects and stay, as floats.
    """
    return _clean(frame, spec.LISTENING, register, settings, sheet, today)


def clean_circuits(frame: pd.DataFrame, register: Any = None, settings: Settings | None = None,
                   sheet: str = "Circuits", today: dt.date | None = None) -> Cleaned:
    """Clean Circuits, with designation and canonical_type of the fitted type, and the problems met."""
    return _clean(frame, spec.CIRCUITS, register, settings, sheet, today)


def clean_lots(
    frame: pd.DataFrame,
    register: Any = None,
    settings: Settings | None = None,
    sheet: str = "Lots",
    today: dt.date | None = None,
) -> Cleaned:
    """Clean Lots and the problems met."""
    return _clean(frame, spec.LOTS, register, settings, sheet, today)


def _clean(frame: pd.DataFrame, table: Table, register: Any, settings: Settings | None, sheet: str,
           today: dt.date | None, names: Names | None = None) -> Cleaned:
    return OneTable(
        pd.DataFrame(frame), table, register, settings or Settings(), sheet, today or dt.date.today(), names
    ).run()
