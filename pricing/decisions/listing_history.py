"""What the shop's own listings show of a piece: how long it has stood, what kindred pieces were asked and how soon they
sold.

Facts only; nothing here changes a price. In a fixed-price shop a sale's price is the owner's own ask, and what did not
sell is missing from Sales: these columns put it back beside the fair price.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd

# Common practice, no source: when a time on the shelf says something by itself.
SOON_DAYS, LONG_DAYS, FEWEST_SOLD, RECENT_DAYS = 7, 365, 3, 730
HISTORY_COLUMNS = ("days_listed", "unsold_ask", "unsold_days", "days_to_sale", "sold_with_days", "listing_words")
SHORTEST_DAYS = 0.5  # sold on the day it was listed
_KIN = (["canonical_type", "maker", "grade", "set_size"], ["canonical_type", "maker", "set_size"])
_DESCRIPTION = ("type", "designation", "canonical_type", "family", "type_known", "maker", "brand", "era", "variant",
                "grade", "reading_pct", "set_size")


def listing_history(
    stock: pd.DataFrame, shop: Any, as_of: Any, spells: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Facts of listings beside every stock row, same index; `spells` as of `listing_spells`, made here when not given.

    `days_listed`: days the piece has stood at its present ask, since it was listed, last sold or last repriced, at
    `as_of`; `unsold_ask` and `unsold_days`: the highest ask of the last two years at which a piece of this type, maker,
    grade and set size (of any grade where there is none) stood without a sale, the piece's own standing ask aside, and
    for how long; `days_to_sale`: median days to sale of such pieces that sold, auctions aside, `sold_with_days` how
    many; `listing_words`: what is strong enough to say ("" otherwise). What nobody wrote down is blank.
    """
    as_of = pd.Timestamp(as_of)
    spells = listing_spells(stock, shop, as_of) if spells is None else spells
    standing = spells[spells["standing"]].drop_duplicates("sku", keep="last").set_index("sku")["days"]
    days = stock["sku"].map(standing).astype(float).floordiv(1)
    ended = spells["until_date"].fillna(as_of)
    unsold = spells[~spells["sold"] & (ended >= as_of - pd.Timedelta(days=RECENT_DAYS))]
    sold = spells[spells["sold"]]
    sold = pd.concat([sold, _sales_with_days(shop.sales, set(sold["sku"]))])
    highest = [_highest_unsold(stock, unsold, keys) for keys in _KIN]
    waits = [_waits(stock, sold, keys) for keys in _KIN]
    out = pd.DataFrame({
        "days_listed": days,
        "unsold_ask": highest[0]["ask"].fillna(highest[1]["ask"]),
        "unsold_days": highest[0]["days"].fillna(highest[1]["days"]).floordiv(1),
        "days_to_sale": waits[0]["median"].fillna(waits[1]["median"]),
        "sold_with_days": waits[0]["size"].fillna(waits[1]["size"]).fillna(0).astype(int),
    }, index=stock.index)
    out["listing_words"] = [_words(*row) for row in zip(days, out["days_to_sale"], out["sold_with_days"])]
    return out[list(HISTORY_COLUMNS)]


def kin_in_words(item: pd.DataFrame, shop: Any, as_of: Any) -> str:
    """What listings of such pieces show of one clean item that need not be in stock, in one sentence."""
    quoted = item.assign(sku="\x00", ask=np.nan, listed_on=pd.NaT, qty=1)
    seen = listing_history(pd.concat([shop.stock, quoted], ignore_index=True), shop, as_of).iloc[-1]
    found = []
    if seen["unsold_ask"] == seen["unsold_ask"]:
        found.append(f"the highest unsold ask is {seen['unsold_ask']:,.2f}, for {seen['unsold_days']:,.0f} days")
    if seen["sold_with_days"]:
        found.append(f"{seen['sold_with_days']} sold in {seen['days_to_sale']:,.0f} days (median)")
    return f"Of such pieces {' and '.join(found)}." if found else "No listing of such a piece has its dates."


def listing_spells(stock: pd.DataFrame, shop: Any, as_of: Any) -> pd.DataFrame:
    """Every spell of a piece at one ask, oldest first: the item columns, `sku`, `piece`, `ask` (a set), `from_date`,
    `until_date` (NaT while it stands), `days`, `sold`, `standing`.

    From Asks where it has the code: a spell ends when a set is sold (by Asks or by Sales, auctions and returned sales
    aside), and a new one begins while sets are left. A stock row without asks there stands at its ask since it was
    listed or last sold. Only where the shop keeps no Asks do its Sales with `listed_on` count as sold spells: beside a
    record of all asks they would be sold ones without their unsold kin.
    """
    as_of = pd.Timestamp(as_of)
    asks, sales = getattr(shop, "asks", None), shop.sales
    by_sku = stock.drop_duplicates("sku").set_index("sku")
    left = _left(by_sku, sales)
    own_sales = sales[sales["sku"].isin(by_sku.index) & (sales["channel"] != "auction") & sales["returned_on"].isna()]
    sold_dates = {sku: np.sort(dates.unique()) for sku, dates in own_sales.groupby("sku")["sold_on"]}
    rows: list[tuple] = []
    met: set[str] = set()
    if asks is not None and len(asks):
        for ask in asks[asks["sku"].isin(by_sku.index) & (asks["from_date"] <= as_of)].itertuples():
            met.add(ask.sku)
            rows += _spells_of_ask(ask, sold_dates.get(ask.sku, ()), as_of, left[ask.sku], by_sku["ask"].get(ask.sku))
    unmet = ~by_sku.index.isin(met) & by_sku["ask"].notna() & by_sku["listed_on"].notna()
    sales_tell = asks is not None and not len(asks)
    lines = _lines_by_sku(own_sales) if sales_tell else {}
    for piece in by_sku.loc[unmet, ["ask", "listed_on"]].itertuples():
        dates = sold_dates.get(piece.Index, ())
        start = max([piece.listed_on, *(date for date in dates if date <= as_of)])
        if left[piece.Index] > 0 and start <= as_of:
            rows.append((piece.Index, piece.ask, start, pd.NaT, False, True))
        if sales_tell:
            rows += _sold_since_listed(piece.Index, lines.get(piece.Index, ()), piece.listed_on)
    out = pd.DataFrame(rows, columns=["sku", "ask", "from_date", "until_date", "sold", "standing"])
    out = out.astype({"sold": bool, "standing": bool, "ask": float})
    for column in ("from_date", "until_date"):
        out[column] = out[column].astype("datetime64[ns]")
    out["days"] = (out["until_date"].fillna(as_of) - out["from_date"]).dt.days.clip(lower=0).clip(lower=SHORTEST_DAYS)
    out["piece"] = out["sku"]
    described = by_sku[[name for name in _DESCRIPTION if name in by_sku]]
    return out[out["ask"] > 0].join(described, on="sku").sort_values("from_date", kind="stable", ignore_index=True)


def _left(by_sku: pd.DataFrame, sales: pd.DataFrame) -> pd.Series:
    from pricing.decisions.shop_habits import sets_on_hand

    return pd.Series(sets_on_hand(by_sku.reset_index(), sales), index=by_sku.index, dtype=float)


def _spells_of_ask(ask: Any, dates: Any, as_of: pd.Timestamp, left: float, present: Any) -> list[tuple]:
    """Spells of one row of Asks, parted at its sales."""
    open_, said_sold = pd.isna(ask.until_date), str(ask.outcome).strip().casefold() == "sold"
    end = as_of if open_ else min(ask.until_date, as_of)
    ends = [date for date in dates if ask.from_date < date <= end]
    if said_sold and not open_ and (not ends or ends[-1] != end):
        ends.append(end)
    rows, start = [], ask.from_date
    for date in ends:
        rows.append((ask.sku, ask.ask, start, date, True, False))
        start = date
    if said_sold and not open_:
        return rows
    if not open_:
        return [*rows, (ask.sku, ask.ask, start, end, False, False)] if end > start else rows
    # An open row stands only while sets are left and Stock still asks this price.
    if left > 0 and present == present and present is not None and abs(present - ask.ask) < 0.005:
        rows.append((ask.sku, ask.ask, start, pd.NaT, False, True))
    return rows


def _lines_by_sku(sales: pd.DataFrame) -> dict[str, list[tuple]]:
    """(date of sale, date listed, price a set) of the sales of each code, oldest first."""
    lines: dict[str, list[tuple]] = {}
    ordered = sales.sort_values("sold_on", kind="stable")
    prices = ordered["price_home"] / ordered["qty"]
    for sku, *line in zip(ordered["sku"], ordered["sold_on"], ordered["listed_on"], prices):
        lines.setdefault(sku, []).append(tuple(line))
    return lines


def _sold_since_listed(sku: str, lines: Iterable[tuple], listed_on: pd.Timestamp) -> list[tuple]:
    """Sold spells of one code from Sales alone: from its listing, or its last sale, to each sale."""
    rows, start = [], listed_on
    for sold_on, listed, price in lines:
        begun = max(start, listed) if pd.notna(listed) else start
        if sold_on >= begun:
            rows.append((sku, price, begun, sold_on, True, False))
            start = sold_on
    return rows


def _sales_with_days(sales: pd.DataFrame, told: set[str]) -> pd.DataFrame:
    """Days to sale of Sales lines, those of the codes `told` aside."""
    days = (sales["sold_on"] - sales["listed_on"]).dt.days
    usable = (days >= 0) & (sales["channel"] != "auction") & ~sales["sku"].isin(told) & sales["returned_on"].isna()
    return sales.loc[usable, ["canonical_type", "maker", "grade", "set_size"]].assign(
        days=days[usable].astype(float).clip(lower=SHORTEST_DAYS))


def _highest_unsold(stock: pd.DataFrame, unsold: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Ask and days of the highest unsold ask of each row's kin, the row's own standing spell aside."""
    ranked = unsold.sort_values("ask", ascending=False, kind="stable")
    # The two highest pieces are enough: one of them is not the row's own standing one.
    top = ranked.groupby(keys, sort=False).head(2)
    pairs = stock[[*keys, "sku"]].reset_index(names="at").merge(
        top[[*keys, "sku", "ask", "days", "standing"]], on=keys, suffixes=("", "_kin"))
    pairs = pairs[~((pairs["sku"] == pairs["sku_kin"]) & pairs["standing"])]
    first = pairs.drop_duplicates("at").set_index("at")
    return first[["ask", "days"]].reindex(stock.index)


def _waits(stock: pd.DataFrame, sold: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    found = sold.groupby(keys)["days"].agg(["median", "size"])
    return stock[keys].join(found, on=keys)[["median", "size"]]


def _words(days_listed: float, days_to_sale: float, sold: int) -> str:
    if days_listed >= LONG_DAYS:
        return f"unsold for {days_listed:,.0f} days at this ask: it may be too high"
    if sold >= FEWEST_SOLD and days_to_sale <= SOON_DAYS:
        days = max(int(days_to_sale), 1)
        return (f"similar pieces sold in {days} {'day' if days == 1 else 'days'} (median of {sold}): their asks "
                "may have been too low")
    return ""
