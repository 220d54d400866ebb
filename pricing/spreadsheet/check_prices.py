"""The sheet Check prices: sales far from what all others say, each with the two likeliest stories to look up."""

from __future__ import annotations

from typing import Any

import pandas as pd
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from pricing.spreadsheet.result_sheets import write_heading, write_rows_to_mend
from pricing.spreadsheet.summary import sales_sheet
from pricing.spreadsheet.tables import ResultColumn

TITLE = "Check prices"
_CHANCE = (
    "Rough: how well the price fits under this reading of the row, times how often such slips happen (common "
    "practice, no source). What is missing to 100 are other stories."
)
_WOULD_MEAN = "The cell to change, if that is what happened."
_THEN = "Line price that the other sales would lead one to expect then."
COLUMNS = (
    ResultColumn("sheet", "sheet", "text", 8),
    ResultColumn("row", "row", "count", 6, "Row number on that sheet, where a slip would be mended."),
    ResultColumn("sold_on", "sold on", "date", 12),
    ResultColumn("piece", "sale", "words", 30, "Type, maker, era, grade and set, as read."),
    ResultColumn("price", "price", "money", 9, "Price of the line, in the shop's currency."),
    ResultColumn("expected", "expected", "money", 9, "Line price that the other sales lead one to expect."),
    ResultColumn("story_1", "perhaps", "words", 22),
    ResultColumn("chance_1", "chance %", "chance", 9, _CHANCE),
    ResultColumn("would_be_1", "the row would then be", "words", 28, _WOULD_MEAN),
    ResultColumn("expected_1", "expected then", "money", 9, _THEN),
    ResultColumn("story_2", "or", "words", 22),
    ResultColumn("chance_2", "or: chance %", "chance", 9, _CHANCE),
    ResultColumn("would_be_2", "or: the row would be", "words", 28, _WOULD_MEAN),
    ResultColumn("expected_2", "or: expected", "money", 10, _THEN),
)


def write_check_prices(book: Workbook, model: Any, shop: Any) -> Worksheet:
    """The sheet, farthest off first; the row number leads to the row. Without such a sale it says so."""
    sheet = book.create_sheet(TITLE)
    frame = checks_of(model)
    far = f"{len(frame):,} of {model.n_sales:,} sales {'lies' if len(frame) == 1 else 'lie'} far from what all others "
    lines = [
        f"{far}lead one to expect. Do you remember what happened?" if len(frame)
        else f"None of {model.n_sales:,} sales lies so far from what all others lead one to expect as to want a look.",
        "Nothing was changed. Such a sale is kept and counts for little in every price; rare or lucky ones may well be "
        "among them.",
        f"If a row was booked otherwise than meant, change the cell named on the sheet {sales_sheet(shop)} and "
        "refresh; if it is right as it stands, leave it.",
        f"Prices are of the whole line, in {shop.settings.currency or 'the currency of the shop'}; a price to be typed "
        "stands in the currency of the row.",
    ]
    write_heading(sheet, TITLE, lines)
    write_rows_to_mend(sheet, frame, COLUMNS, name="PriceChecks", top=6, none="none", freeze="C")
    return sheet


def checks_of(model: Any) -> pd.DataFrame:
    """A row a suspected sale, columns of COLUMNS: what was booked, and its two likeliest stories."""
    far = model.outliers
    sales = model.history.sales.set_index(["sheet", "row"]).loc[list(zip(far["sheet"], far["row"]))]
    out = pd.DataFrame({
        "sheet": far["sheet"], "row": far["row"], "sold_on": sales["sold_on"].to_numpy(),
        "piece": [_piece(sale) for sale in sales.to_dict("records")], "price": far["price"],
        "expected": far["expected"],
    })
    stories = model.booking_errors.assign(place=lambda told: told.groupby(["sheet", "row"]).cumcount() + 1)
    for place in (1, 2):
        own = stories[stories["place"] == place].assign(chance=lambda told: 100 * told["probability"])
        own = own[["sheet", "row", "story", "chance", "would_be", "expected"]]
        names = {name: f"{name}_{place}" for name in ("story", "chance", "would_be", "expected")}
        out = out.merge(own.rename(columns=names), on=["sheet", "row"], how="left")
    return out


def _piece(sale: dict[str, Any]) -> str:
    """What the row says was sold."""
    size = {1: "", 2: "pair", 4: "quad"}.get(sale["set_size"], f"set of {sale['set_size']}")
    parts = [sale["designation"], *(sale[name] for name in ("maker", "era", "grade") if sale[name] != "unknown"), size,
             f"{sale['qty']} of them" if sale["qty"] > 1 else ""]
    return ", ".join(part for part in parts if part)
