"""The shop's own lots: what each has brought back, what its pieces cost by relative sales value, and bids for offers of
many pieces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pricing.decisions.list_price import piece_in_words
from pricing.decisions.lot_bid import bid_for_offered_lot, fallout_of
from pricing.decisions.lots import cents, cost_lot
from pricing.decisions.margin_lines import margin_lines
from pricing.decisions.stock_ledger import tubes_left
from pricing.problems import counted

LOT_COLUMNS = ("lot", "bought_on", "seller", "paid_in_all", "tubes", "rejects", "fallout_pct", "entered", "sold",
               "sales", "brought", "back_pct", "left", "left_value", "words", "row")
PIECE_COLUMNS = ("lot", "sku", "type", "piece", "tubes", "sales_value", "unit_cost", "unit_cost_by_count", "own_cost",
                 "difference", "row")
BID_COLUMNS = ("offer", "seller", "pieces", "tubes", "asked", "low", "bid", "high", "bid_a_tube", "words", "row")
# Offers of at least so many tubes, or of several rows, are bid for as a lot.
FEWEST_TUBES = 4


@dataclass(frozen=True)
class LotReview:
    """`lots`: LOT_COLUMNS, newest first; `pieces`: PIECE_COLUMNS, what the Stock rows of a lot cost a tube; `bids`:
    BID_COLUMNS for offers of many pieces; `words`. Money in the shop's currency, whole cents."""

    lots: pd.DataFrame
    pieces: pd.DataFrame
    bids: pd.DataFrame
    words: tuple[str, ...]


def review_lots(shop: Any, model: Any) -> LotReview:
    """Every row of Lots with the Stock and Sales rows that name it.

    `paid_in_all`: paid, freight and testing. `entered`: tubes of its Stock rows and of Sales rows that name the lot
    without such a row; `sold` of them, for `sales`; `brought`: what these sales left after tax, fees, postage and
    packing, before cost; `back_pct` of paid_in_all. `left` tubes and their fair prices, model at its date. The sum paid
    is shared over all tubes that passed, those not yet entered at the mean value of the others.
    """
    stock = shop.stock.reset_index(drop=True)
    left = tubes_left(stock, shop.sales, [model.as_of])[:, 0] if len(stock) else np.zeros(0)
    fair = (model.estimate(stock)["fair_price"] / stock["set_size"]).to_numpy(float) if len(stock) else np.zeros(0)
    stock = stock.assign(left=left, fair=fair)
    lines = margin_lines(shop.sales, shop.stock, shop.settings)
    own_lot = lines["sku"].map(stock[stock["lot"] != ""].drop_duplicates("sku").set_index("sku")["lot"])
    lines["entered_by_stock"] = own_lot.notna()
    lines["lot"] = lines["lot"].mask(lines["entered_by_stock"], own_lot.astype(object))
    rows, pieces = [], []
    sales_of = dict(list(lines[lines["lot"] != ""].groupby("lot")))
    stock_of = dict(list(stock[stock["lot"] != ""].groupby("lot")))
    for lot in shop.lots.drop_duplicates("lot").to_dict("records"):
        held, sold = stock_of.get(lot["lot"], stock.iloc[:0]), sales_of.get(lot["lot"], lines.iloc[:0])
        row = _lot_row(lot, held, sold)
        rows.append(row)
        pieces.append(_piece_rows(lot, row, held, sold))
    lots = pd.DataFrame(rows, columns=list(LOT_COLUMNS)).sort_values("bought_on", ascending=False, kind="stable",
                                                                     na_position="last", ignore_index=True)
    found = pd.concat(pieces, ignore_index=True) if pieces else pd.DataFrame(columns=list(PIECE_COLUMNS))
    bids = bids_for_offers(shop, model)
    return LotReview(lots, found, bids, _words(lots, found, shop))


def bids_for_offers(shop: Any, model: Any) -> pd.DataFrame:
    """BID_COLUMNS for every offer of several rows or at least FEWEST_TUBES tubes, beside what is asked with postage."""
    rows = []
    for name, lines in shop.offers.groupby("offer", sort=False):
        tubes = int((lines["set_size"] * lines["qty"]).sum())
        if len(lines) < 2 and tubes < FEWEST_TUBES:
            continue
        bid = bid_for_offered_lot(lines, shop, model)
        asked = round(float(lines["ask_home"].sum() + lines["postage"].fillna(0).sum()), 2)
        some = lines.head(3).to_dict("records")
        kinds = [f"{int(one['qty'])} x {one['type']}, {piece_in_words(one)}" for one in some]
        more = f"; and {len(lines) - 3} more rows" if len(lines) > 3 else ""
        rows.append({"offer": name, "seller": lines["seller"].iloc[0], "pieces": "; ".join(kinds) + more,
                     "tubes": tubes, "asked": asked, "low": float(bid.low), "bid": float(bid.bid),
                     "high": float(bid.high),
                     "bid_a_tube": round(float(bid.bid) / tubes, 2), "words": _bid_words(asked, bid),
                     "row": lines["row"].iloc[0]})
    return pd.DataFrame(rows, columns=list(BID_COLUMNS))


def _bid_words(asked: float, bid: Any) -> str:
    if float(bid.bid) <= 0:
        return bid.words
    apart = float(bid.bid) - asked
    said = f"asked {abs(apart):,.2f} {'less' if apart >= 0 else 'more'} than this bid"
    return said if apart >= 0 or asked > float(bid.high) else f"{said}, within its range"


def _lot_row(lot: dict[str, Any], held: pd.DataFrame, sold: pd.DataFrame) -> dict[str, Any]:
    paid = sum(cents(lot[name]) for name in ("paid", "freight", "testing_cost") if lot[name] == lot[name]) / 100
    kept = sold[~sold["returned"]]
    entered = int((held["set_size"] * held["qty"]).sum() + kept.loc[~kept["entered_by_stock"], "tubes"].sum())
    brought = round(float((sold["net"] + sold["cost"].fillna(0)).sum()), 2)
    counted = lot["tubes"] > 0 and 0 <= (lot["rejects"] if lot["rejects"] == lot["rejects"] else 0) <= lot["tubes"]
    row = {
        **{name: lot[name] for name in ("lot", "bought_on", "seller", "tubes", "rejects", "row")}, "paid_in_all": paid,
        "fallout_pct": 100 * lot["rejects"] / lot["tubes"] if counted else np.nan, "entered": entered,
        "sold": int(kept["tubes"].sum()), "sales": round(float(kept["sales"].sum()), 2), "brought": brought,
        "back_pct": 100 * brought / paid if paid > 0 else np.nan, "left": int(held["left"].sum()),
        "left_value": round(float((held["left"] * held["fair"]).sum()), 2)}
    return row | {"words": _lot_words(row)}


def _lot_words(row: dict[str, Any]) -> str:
    if not row["entered"]:
        return "no row of Stock or Sales names it"
    passed = _passed(row)
    if passed is not None and row["entered"] > passed:
        return f"{row['entered']:,} tubes entered, more than the {passed:,} that passed: check the counts"
    if row["paid_in_all"] <= 0:
        said = "cost nothing"
    elif row["brought"] >= row["paid_in_all"]:
        said = "paid back"
    else:
        said = f"{row['paid_in_all'] - row['brought']:,.2f} to come back"
    if passed is not None and passed > row["entered"]:
        said += f"; {passed - row['entered']:,} tubes that passed stand in no row"
    return said


def _passed(row: dict[str, Any]) -> int | None:
    """Tubes that passed, None where Lots does not say."""
    if not row["tubes"] > 0:
        return None
    rejects = row["rejects"] if row["rejects"] == row["rejects"] else 0
    return max(int(row["tubes"] - rejects), 0)


def _piece_rows(lot: dict[str, Any], row: dict[str, Any], held: pd.DataFrame, sold: pd.DataFrame) -> pd.DataFrame:
    """PIECE_COLUMNS of the lot's Stock rows; the shares of sold and unentered tubes are counted and not shown."""
    if held.empty:
        return pd.DataFrame(columns=list(PIECE_COLUMNS))
    others = sold[~sold["entered_by_stock"] & ~sold["returned"]]
    passed = _passed(row)
    missing = max((passed or 0) - row["entered"], 0)
    lines = pd.DataFrame({
        "qty": [*(held["set_size"] * held["qty"]), *others["tubes"], *([missing] if missing else [])],
        "sales_value": [*held["fair"], *(others["sales"] / others["tubes"]), *([np.nan] if missing else [])]})
    costed = cost_lot(lines, row["paid_in_all"]).iloc[:len(held)]
    out = pd.DataFrame({
        "lot": lot["lot"], "sku": held["sku"].to_numpy(), "type": held["type"].to_numpy(),
        "piece": [piece_in_words(one) for one in held.to_dict("records")], "tubes": costed["passed"].to_numpy(),
        "sales_value": held["fair"].round(2).to_numpy(), "unit_cost": costed["unit_cost"].to_numpy(),
        "unit_cost_by_count": costed["unit_cost_by_count"].to_numpy(),
        "own_cost": (held["cost"] / held["set_size"]).round(2).to_numpy(), "row": held["row"].to_numpy()})
    return out.assign(difference=(out["own_cost"] - out["unit_cost"]).round(2))[list(PIECE_COLUMNS)]


def _words(lots: pd.DataFrame, pieces: pd.DataFrame, shop: Any) -> tuple[str, ...]:
    if lots.empty:
        return ("No lot stands in Lots: enter what was paid for each, and its name in Stock and Sales, to see what "
                "comes back.",)
    paid, brought = lots["paid_in_all"].sum(), lots["brought"].sum()
    named = lots[lots["entered"] > 0]
    unit = f" {shop.settings.currency}" if shop.settings.currency else ""
    words = [f"{counted(len(lots), 'lot')} for {paid:,.2f}{unit}; the sales that name them have brought back "
             f"{brought:,.2f} so far, and {lots['left_value'].sum():,.2f} at fair prices is left of them."]
    own = fallout_of(shop.lots)
    if own.lots:
        words.append(f"Of the tubes of {counted(own.lots, 'counted lot')} {100 - own.pass_pct:.0f} % failed testing.")
    bare = len(lots) - len(named)
    if bare:
        words.append(f"{counted(bare, 'lot is', 'lots are')} named by no row of Stock or Sales, so nothing can be said "
                     "of what came back.")
    unentered = sum(max(passed - row["entered"], 0) for row in named.to_dict("records")
                    if (passed := _passed(row)) is not None)
    if unentered:
        words.append(f"{counted(unentered, 'tube that passed stands', 'tubes that passed stand')} in no row: where a "
                     "shop enters only part of a lot, what came back is more than this sheet can see.")
    return tuple(words)
