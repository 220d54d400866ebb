"""What Asks remembers of a piece: how often its ask was cut, and what it was last withdrawn at."""

from __future__ import annotations

from typing import Any

import pandas as pd

PAST_COLUMNS = ("cuts", "withdrawn_ask")


def past_asks(stock: pd.DataFrame, asks: pd.DataFrame | None, as_of: Any) -> pd.DataFrame:
    """PAST_COLUMNS beside every stock row, same index, from what Asks says of its code up to `as_of`.

    `cuts`: how many of its asks were followed by a lower one, the ask in Stock last, or end as lowered; blank for a
    code that Asks does not name. `withdrawn_ask`: the last ask (a set) it was withdrawn at, blank where it never was.
    """
    if asks is None or asks.empty:
        return pd.DataFrame(float("nan"), index=stock.index, columns=list(PAST_COLUMNS))
    own = asks[(asks["from_date"] <= pd.Timestamp(as_of)) & asks["ask"].gt(0)].sort_values("from_date", kind="stable")
    outcome = own["outcome"].astype(str).str.strip().str.casefold()
    present = own["sku"].map(stock.drop_duplicates("sku").set_index("sku")["ask"])
    following = own.groupby("sku")["ask"].shift(-1).fillna(present)
    cut = (following < own["ask"] - 0.005) | (outcome == "lowered")
    withdrawn = own[outcome == "withdrawn"].groupby("sku")["ask"].last()
    return pd.DataFrame({
        "cuts": stock["sku"].map(cut.groupby(own["sku"]).sum()).astype(float),
        "withdrawn_ask": stock["sku"].map(withdrawn).astype(float)}, index=stock.index)
