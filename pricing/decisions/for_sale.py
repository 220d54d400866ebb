"""What can be had: pieces on hand with an ask, and pieces offered to the shop, one price a set in its currency."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pricing.decisions.list_price import piece_in_words
from pricing.decisions.shop_habits import sets_on_hand

# What a price is estimated by: other columns here would be read as headings of a Sales table.
DESCRIPTION = ("type", "designation", "canonical_type", "family", "type_known", "maker", "brand", "era", "variant",
               "grade", "reading_pct", "set_size")
COLUMNS = ("own", "sheet", "row", "code", "where", *DESCRIPTION, "sets", "price", "each", "piece", "fair_price")


def for_sale(model: Any, shop: Any) -> pd.DataFrame:
    """A row a piece that can be had: whether it is the shop's `own`, `sheet`, `row` and `code` (sku or offer), `where`
    ("in stock", or "offered by" and the seller), its description, `sets` of it, `price` of a set (an offer's with its
    postage, both shared by its sets), `each` a tube, `piece` in words, and the model's `fair_price` of a set. Left out
    are pieces sold out, without an ask, or asked in a currency without a rate; reading has reported those it could not
    read.
    """
    stock = shop.stock.assign(
        sets=sets_on_hand(shop.stock, shop.sales), price=shop.stock["ask"], code=shop.stock["sku"], where="in stock",
        own=True)
    offers = shop.offers
    if len(offers):
        sets = offers["qty"].clip(lower=1)
        whole = offers["ask_home"] + offers["postage"].fillna(0.0)
        seller = offers["seller"].replace({"": "unknown"})
        offers = offers.assign(
            sets=sets, price=whole / sets, code=offers["offer"], where="offered by " + seller, own=False)
    parts = [part for part in (stock, offers) if len(part)]
    if not parts:
        return pd.DataFrame(columns=list(COLUMNS))
    wanted = [name for name in COLUMNS if name not in ("each", "piece", "fair_price")]
    out = pd.concat([part[wanted] for part in parts], ignore_index=True)
    out = out[(out["sets"] > 0) & (out["price"] > 0) & np.isfinite(out["price"])].reset_index(drop=True)
    out["each"] = out["price"] / out["set_size"]
    out["piece"] = [piece_in_words(one) for one in out.to_dict("records")]
    out["fair_price"] = model.estimate(out[list(DESCRIPTION)])["fair_price"] if len(out) else np.nan
    return out[list(COLUMNS)]
