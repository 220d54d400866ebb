"""The cell function about offers that cost less than they are worth, and what its example needs.

`FUNCTIONS` goes into the registry, `example_sheets()` and `SIZES` into the example workbook.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pandas as pd

from pricing.decisions.underpriced import find_underpriced
from pricing.register import load_register
from pricing.shop_tables import clean_offers, clean_stock
from pricing.shop_tables.columns import OFFERS
from pricing.spreadsheet.cell_functions import price_functions
from pricing.spreadsheet.cell_functions.cell_values import cells_of, one_cell, result_table
from pricing.spreadsheet.cell_functions.ranges import settings_of, table_of
from pricing.spreadsheet.cell_functions.spec import Argument, CellFunction

HEADINGS = ("offer", "marked", "chance %", "costs", "fair price", "low", "high", "expected gain", "why",
            "what could be wrong")
NOT_LISTED = "not listed"


def tube_underpriced(model: Any, offers: Any, settings: Any = None) -> list[list[float | str]]:
    """Every offer, the likeliest find first; below them those that could not be listed, then what was found."""
    known = price_functions.store().known(one_cell(model, "model"))
    chosen = settings_of(cells_of(settings)) or known.model.settings
    if not chosen.currency:
        chosen = chosen.with_currency(known.model.settings.currency)
    register = known.model.register or load_register()
    raw = table_of(cells_of(offers), OFFERS, "offers", ("type", "ask"), chosen.own_headings)
    raw = raw[raw.drop(columns=["sheet", "row"]).notna().any(axis=1)]
    if "offer" not in {str(name).casefold() for name in raw.columns}:
        raw["offer"] = [f"row {row}" for row in raw["row"]]
    clean, problems = clean_offers(raw, register, chosen, "offers")
    sales = known.model.history.sales
    none = clean_stock(pd.DataFrame(), register, chosen)[0]
    shop = SimpleNamespace(sales=sales, stock=none, offers=clean, settings=chosen, register=register)
    found = find_underpriced(known.model, None, shop)
    said = {one.row: f"{one.column}: {one.message} {one.remedy}" for one in reversed(problems)}
    rows = [[one["code"], "marked" if one["marked"] else "", 100 * one["chance"], one["cost"], one["fair_price"],
             one["fair_low"], one["fair_high"], one["gain"], one["why"],
             "; ".join(filter(None, (one["doubts"], said.get(one["row"]))))]
            for one in found.table.to_dict("records")]
    listed = set(found.table["row"])
    rows += [[f"row {row}", NOT_LISTED, *[""] * 6, said.get(row, "there is no ask above zero to compare"), ""]
             for row in raw["row"] if row not in listed]
    words = [[*[""] * 8, one, ""] for one in found.words]
    return result_table([list(HEADINGS), *rows, *words])


FUNCTIONS: tuple[CellFunction, ...] = (
    CellFunction(
        "UNDERPRICED", tube_underpriced,
        "Offers by the chance that they pay the margin you require after fees and postage; those are marked that keep "
        "the share of false finds under your limit. Says why, and what could be wrong.",
        (Argument("model", "The cell that holds the model function."),
         Argument("offers", "Range of offers with headings: type and ask are needed; maker, era, grade, reading_pct, "
                  "set_size, qty, postage, currency and the other columns of Offers help.", "table"),
         Argument("settings", "Range of two columns, setting and value, as on the Settings sheet.", optional=True)),
        "Functions!B4, Seen!A1:G7, Settings!A1:B6", "table",
    ),
)
SIZES = {"UNDERPRICED": (8, 10)}


def example_sheets() -> dict[str, list[list[Any]]]:
    """The sheet that the example speaks of: six invented offers, one of them without an ask."""
    return {"Seen": [
        ["offer", "type", "maker", "grade", "set_size", "ask", "postage"],
        ["F1", "EL34", "Tivenshaw", "NOS", 1, 35, 6], ["F2", "EL84", "Luskarn", "used, good", 2, 30, 4],
        ["F3", "6L6GC", "Varnoseth", "used, strong", 1, 20, 5], ["F4", "ECC83", None, None, 1, 9, 3],
        ["F5", "5U4GB", "Luskarn", "used, good", 1, None, 4], ["F6", "6V6GT", "Tivenshaw", "NOS", 2, 40, 4],
    ]}
