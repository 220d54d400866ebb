"""The sheets that review the shop's own trade: Lot results, Sets and Margins, where what they need is kept."""

from __future__ import annotations

from typing import Any

from openpyxl.workbook import Workbook

from pricing.spreadsheet.lots_sheet import write_lots
from pricing.spreadsheet.margins_sheet import write_margins
from pricing.spreadsheet.sets_sheet import write_sets


def write_stock_reviews(book: Workbook, shop: Any, model: Any, matched: Any = None) -> None:
    """Lot results where Lots or offers of many pieces are kept, Sets where a plate current was read, Margins always.
    `matched`: the sets the price plan went by, made here when not given."""
    from pricing.decisions.margins import review_shop
    from pricing.decisions.matched_sets import match_stock
    from pricing.decisions.shop_lots import review_lots

    currency = shop.settings.currency
    lots = review_lots(shop, model)
    if len(lots.lots) or len(lots.bids):
        write_lots(book, lots, currency)
    if (shop.readings["test"] == "plate current").any():
        write_sets(book, matched or match_stock(shop, model), shop.settings)
    write_margins(book, *(review_shop(shop, by=by) for by in ("family", "channel", "maker", "type")), currency)
