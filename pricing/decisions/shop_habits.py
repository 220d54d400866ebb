"""What the Sales sheet says of how this shop works: its usual channel and postage, what is left in stock."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from pricing.decisions.net_proceeds import ZERO, money

if TYPE_CHECKING:
    import pandas as pd


def usual_channel(sales: pd.DataFrame) -> str:
    """The channel of most sale lines; "unknown" when none is stated."""
    stated = sales.loc[sales["channel"] != "unknown", "channel"]
    return "unknown" if stated.empty else str(stated.mode().iloc[0])


def usual_postage(sales: pd.DataFrame, channel: str) -> Decimal:
    """Median postage paid on a sale line of the channel, nothing where none is noted."""
    paid = sales.loc[sales["channel"] == channel, "postage_paid"].median()
    return money(paid) if paid == paid else ZERO


def sets_on_hand(stock: pd.DataFrame, sales: pd.DataFrame) -> list[int]:
    """Whole sets left of each stock row: its tubes less the tubes Sales sold of the sku; a returned sale
    comes back.
    """
    if stock.empty:
        return []
    kept = sales[(sales["sku"] != "") & sales["sku"].notna() & sales["returned_on"].isna()]
    tubes = (kept["set_size"] * kept["qty"]).groupby(kept["sku"]).sum()
    sold = stock["sku"].map(tubes).fillna(0)
    left = (stock["qty"] * stock["set_size"] - sold) // stock["set_size"]
    return [int(sets) for sets in left.clip(lower=0)]
