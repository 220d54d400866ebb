"""Where the money is made: margin, stock and pace by family, type, maker, channel or lot, and why sales changed."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from pricing.decisions.list_price import policy_of
from pricing.decisions.margin_lines import MONEY, margin_lines, ratio_range_pct
from pricing.decisions.margin_words import action_of, cut_in_words, review_words
from pricing.decisions.price_bridge import TOTAL, bridge_in_words, grouped_bridge, price_bridge
from pricing.decisions.stock_ledger import (
    AGE_BANDS,
    average_stock_cost,
    gmroi,
    months_of_cover,
    sell_through_pct,
    stock_ageing,
    stock_turnover,
)
from pricing.shop_tables import Settings, clean_sales

# What a review can be by: the column of Sales and Stock behind the word.
BY = {"family": "family", "type": "canonical_type", "maker": "maker", "channel": "channel", "lot": "lot"}
NO_LOT = "no lot"
# What one kind of goods is in the bridge: finer than a family, so that a family's mix is not read as price.
KIND = ("canonical_type", "set_size")
MARGIN_COLUMNS = (
    "lines", "tubes", "sales", "refunded", "returned_pct", "tax", "net_sales", "cost", "cost_known_pct", "gross",
    "gross_pct", "gross_pct_low", "gross_pct_high", "fees", "postage", "packing", "net", "net_pct", "net_pct_low",
    "net_pct_high", "share_of_net_pct", "stock_cost", "gmroi", "turnover", "on_hand", "on_hand_cost",
    "sell_through_pct", "months_of_cover", "aged_pct", "fallout_pct", "action", "reason")
_OF_STOCK = MARGIN_COLUMNS[21:29]


@dataclass(frozen=True)
class MarginReview:
    """`table`: MARGIN_COLUMNS a group, most net margin first, TOTAL last; `bridge`: BRIDGE_COLUMNS a group from the
    period before to this one, TOTAL last, `bridge_by_kind` the same by KIND within each group; `ageing`: cost of what
    is on hand at `date_to`, groups by age; `lines`: the period's margin_lines; dates of the two periods; `words`."""

    by: str
    table: pd.DataFrame
    bridge: pd.DataFrame
    bridge_by_kind: pd.DataFrame
    ageing: pd.DataFrame
    lines: pd.DataFrame
    date_from: pd.Timestamp
    date_to: pd.Timestamp
    before_from: pd.Timestamp
    before_to: pd.Timestamp
    words: tuple[str, ...]


def review_margins(
    sales: pd.DataFrame,
    stock: pd.DataFrame | None = None,
    settings: Settings | None = None,
    *,
    by: str = "family",
    date_from: Any = None,
    date_to: Any = None,
    before_from: Any = None,
    before_to: Any = None,
    lots: pd.DataFrame | None = None,
    readings: pd.DataFrame | None = None,
    runs: int = 1000,
    coverage: float = 0.80,
    seed: int = 1,
) -> MarginReview:
    """Margins by `by` (family, type, maker, channel or lot) in a period, and the bridge to it from the one before.

    `sales` clean or raw, `stock` clean (without it all stock columns are NaN). The period ends on the newest sale's day
    unless `date_to` says otherwise, is a year long unless `date_from` does, and the one before it is as long and ends
    the day before. Money as in `margin_lines`; percentages `gross_pct`, `net_pct` of net sales with bootstrap ranges of
    `coverage` (sale lines drawn anew: the chance of the sales alone, not of estimated costs). `stock_cost`: average
    stock at cost; `gmroi` and `turnover` a year, of the sales whose sku Stock lists, as only they drew on it (all sales
    where none does). `on_hand` tubes and their cost at `date_to`; `sell_through_pct` sold over sold and left;
    `months_of_cover` at the period's pace; `aged_pct` of the stock's cost over two years old; `fallout_pct` from Lots
    (by lot) or Readings below the reject limit. ValueError for an unknown `by`, or a period without a sale.
    """
    if by not in BY:
        raise ValueError(f"by is '{by}'; use one of {', '.join(BY)}")
    settings = settings or Settings()
    if "price_home" not in sales:
        sales, _ = clean_sales(sales, settings=settings)
    if sales.empty:
        raise ValueError("there is no usable sale to review")
    end = pd.Timestamp(date_to) if date_to is not None else sales["sold_on"].max().normalize()
    start = pd.Timestamp(date_from) if date_from is not None else end - pd.DateOffset(years=1) + pd.Timedelta(days=1)
    if start > end:
        raise ValueError(f"the period from {start:%Y-%m-%d} to {end:%Y-%m-%d} ends before it begins")
    b_end = pd.Timestamp(before_to) if before_to is not None else start - pd.Timedelta(days=1)
    b_start = pd.Timestamp(before_from) if before_from is not None else b_end - (end - start)
    lines = margin_lines(sales, stock, settings)
    lines["group"] = _group(lines, by)
    listed = set() if stock is None else set(stock["sku"]) - {""}
    lines["from_stock"] = lines["sku"].isin(listed)
    now = lines[lines["sold_on"].between(start, end)]
    before = lines[lines["sold_on"].between(b_start, b_end)]
    if now.empty:
        raise ValueError(f"no sale from {start:%Y-%m-%d} to {end:%Y-%m-%d}; give other dates")

    terms = policy_of(SimpleNamespace(settings=settings, sales=sales)).terms
    table = _money_columns(now, runs, coverage, seed)
    months = ((end - start).days + 1) / 30.4375
    ageing = _ageing_frame(pd.DataFrame(columns=["group", "age", "cost"]), table.index[:-1])
    if stock is not None and len(stock) and by != "channel":
        held = stock_ageing(stock, sales, end)
        held["group"] = _group(held, by)
        average = average_stock_cost(stock, sales, start, end).groupby(_group(stock, by)).sum()
        table = _stock_columns(table, now, held, average, months)
        ageing = _ageing_frame(held, table.index[:-1])
    else:
        table = table.assign(**dict.fromkeys(_OF_STOCK, np.nan))
    table["fallout_pct"] = _fallout(by, lots, readings, stock, settings).reindex(table.index)
    said = [action_of(name, row, settings, months) for name, row in zip(table.index, table.to_dict("records"))]
    table["action"], table["reason"] = zip(*said)
    for name in table.index[table["action"] == "mark down"]:
        cut = cut_in_words(held[held["group"] == name], terms, settings.largest_cut_pct)
        table.loc[name, "reason"] = "; ".join(filter(None, (table.loc[name, "reason"], cut)))
    by_kind = price_bridge(*(one[~one["returned"]] for one in (before, now)), by=("group", *KIND))
    bridge = grouped_bridge(by_kind, "group")
    words = review_words(table, now, start, end, settings, bridge_in_words(bridge, settings.currency))
    table = table[list(MARGIN_COLUMNS)]
    return MarginReview(by, table, bridge, by_kind, ageing, now, start, end, b_start, b_end, words)


def review_shop(shop: Any, *, by: str = "family", **choices: Any) -> MarginReview:
    """`review_margins` of a whole shop: its Sales, Stock, Settings, Lots and Readings."""
    return review_margins(
        shop.sales, shop.stock, shop.settings, by=by, lots=shop.lots, readings=shop.readings, **choices)


def _group(rows: pd.DataFrame, by: str) -> pd.Series:
    names = rows[BY[by]].astype(str)
    return names.mask(names == "", NO_LOT) if by == "lot" else names


def _money_columns(now: pd.DataFrame, runs: int, coverage: float, seed: int) -> pd.DataFrame:
    """Sums, percentages and their ranges by group, most net margin first, TOTAL last."""
    rng = np.random.default_rng(seed)
    groups = [(name, rows) for name, rows in now.groupby("group", sort=True)] + [(TOTAL, now)]
    rows = []
    for name, one in groups:
        kept = one[~one["returned"]]
        row: dict[str, Any] = {"group": name, "lines": len(kept), "tubes": int(kept["tubes"].sum())}
        row |= {column: round(float(one[column].sum(skipna=False)), 2) for column in MONEY}
        row["returned_pct"] = 100 * float(one["returned"].mean())
        known = kept["cost_basis"].isin(["own", "from Stock"])
        row["cost_known_pct"] = 100 * kept.loc[known, "sales"].sum() / row["sales"] if row["sales"] else np.nan
        for part in ("gross", "net"):
            row[f"{part}_pct"] = 100 * row[part] / row["net_sales"] if row["net_sales"] > 0 else np.nan
            low, high = ratio_range_pct(one[part], one["net_sales"], runs, rng, coverage)
            row[f"{part}_pct_low"], row[f"{part}_pct_high"] = low, high
        rows.append(row)
    table = pd.DataFrame(rows).set_index("group")
    order = table.index[:-1][np.argsort(-table["net"].iloc[:-1].fillna(0).to_numpy(), kind="stable")]
    table = table.loc[[*order, TOTAL]]
    whole = table["net"].iloc[-1]
    table["share_of_net_pct"] = 100 * table["net"] / whole if whole > 0 else np.nan
    return table


def _stock_columns(table, now, held, average, months) -> pd.DataFrame:
    """Average stock, GMROI, turnover, what is on hand and how long it lasts; groups that only hold stock are added."""
    only_held = sorted(set(held["group"]) - set(table.index))
    blank = pd.DataFrame(0.0, index=only_held, columns=["lines", "tubes", *MONEY])
    table = pd.concat([table.iloc[:-1], blank.assign(share_of_net_pct=0.0), table.iloc[-1:]]) if only_held else table
    per_year = 12 / months
    drew = now[now["from_stock"]]
    drew = now if drew.empty else drew
    by_group = drew.groupby("group")[["gross", "cost"]].sum()
    on_hand, on_hand_cost = (held.groupby("group")[name].sum() for name in ("tubes", "cost"))
    aged = held[held["age"] == AGE_BANDS[-1][1]].groupby("group")["cost"].sum()
    rows = []
    for name in table.index:
        every = name == TOTAL
        cost = float(average.sum() if every else average.get(name, 0.0))
        gross, sold_cost = drew[["gross", "cost"]].sum() if every else (
            by_group.loc[name] if name in by_group.index else (0.0, 0.0))
        left = float(on_hand.sum() if every else on_hand.get(name, 0.0))
        left_cost = float(on_hand_cost.sum() if every else on_hand_cost.get(name, 0.0))
        old = float(aged.sum() if every else aged.get(name, 0.0))
        sold = float(table.loc[name, "tubes"])
        rows.append((round(cost, 2), gmroi(gross * per_year, cost), stock_turnover(sold_cost * per_year, cost), left,
                     round(left_cost, 2), sell_through_pct(sold, left), months_of_cover(left, sold, months),
                     100 * old / left_cost if left_cost > 0 else np.nan))
    return table.assign(**dict(zip(_OF_STOCK, map(list, zip(*rows)))))


def _ageing_frame(held: pd.DataFrame, order: Any) -> pd.DataFrame:
    """Cost on hand, groups by age, in the table's order; TOTAL last."""
    ages = [name for _, name in AGE_BANDS]
    known = held.pivot_table(index="group", columns="age", values="cost", aggfunc="sum", fill_value=0.0)
    names = [*ages, *(name for name in known.columns if name not in ages)]
    groups = [name for name in order if name in known.index]
    out = known.reindex(index=groups, columns=names, fill_value=0.0).astype(float)
    out.loc[TOTAL] = out.sum()
    return out.round(2)


def _fallout(by, lots, readings, stock, settings) -> pd.Series:
    """Rejects in percent of tubes tested, by group and over all."""
    if by == "lot" and lots is not None and len(lots):
        counted = lots[(lots["tubes"] > 0) & (lots["rejects"] <= lots["tubes"])]
        sums = counted.groupby("lot")[["rejects", "tubes"]].sum()
        sums.loc[TOTAL] = sums.sum()
        return 100 * sums["rejects"] / sums["tubes"]
    if by not in ("family", "type", "maker") or readings is None or "percent_of_nominal" not in readings:
        return pd.Series(dtype=float)
    tested = readings[readings["percent_of_nominal"].notna()]
    pieces = tested.groupby("sku").agg(
        lowest=("percent_of_nominal", "min"), family=("family", "first"), canonical_type=("canonical_type", "first"))
    if by == "maker":
        makers = pd.Series(dtype=str) if stock is None else stock.drop_duplicates("sku").set_index("sku")["maker"]
        pieces["maker"] = pieces.index.map(makers).fillna("unknown")
    rejected = pieces["lowest"] < settings.reject_below_pct
    shares = 100 * rejected.groupby(pieces[BY[by]]).mean()
    shares.loc[TOTAL] = 100 * rejected.mean() if len(pieces) else np.nan
    return shares
