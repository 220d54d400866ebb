"""What stood on the shelf when, and what it had cost: from acquired_on, quantities and the dates of sales.

A stock row holds qty sets of set_size tubes from acquired_on (failing that listed_on; failing that it counts as always
held) until Sales sold them under its sku; a returned sale is back from its return on. Sold-out rows stay in Stock as
history: an owner who deletes them loses this.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

AGE_BANDS = ((182, "under 6 months"), (365, "6-12 months"), (730, "1-2 years"), (np.inf, "over 2 years"))
UNDATED = "date unknown"
SELL_MONTHS = 24
# A family's own share counts as much as that of so many pieces of the whole shop (common practice, no source).
_SHRINK = 20.0
_ALWAYS = pd.Timestamp.min


def gmroi(gross_margin: float, average_stock_cost: float) -> float:
    """Gross margin return on inventory: gross margin of a year over average stock at cost."""
    return gross_margin / average_stock_cost if average_stock_cost > 0 else float("nan")


def stock_turnover(cost_of_sales: float, average_stock_cost: float) -> float:
    """Times a year that the stock is sold: cost of the year's sales over average stock at cost."""
    return cost_of_sales / average_stock_cost if average_stock_cost > 0 else float("nan")


def days_of_stock(turnover: float) -> float:
    """Days that the average stock lasts: 365 over its turnover."""
    return 365 / turnover if turnover > 0 else float("nan")


def sell_through_pct(sold: float, left: float) -> float:
    """Sold in percent of sold and left at the end."""
    return 100 * sold / (sold + left) if sold + left > 0 else float("nan")


def months_of_cover(on_hand: float, sold: float, months: float) -> float:
    """Months that what is on hand lasts at the pace of `sold` in `months`; infinite where nothing sold, 0 with nothing
    on hand."""
    if on_hand <= 0:
        return 0.0
    return on_hand * months / sold if sold > 0 else float("inf")


def held_stock(stock: pd.DataFrame) -> pd.DataFrame:
    """Stock with `tubes` bought in, `held_from`, and `tube_cost` (the row's cost a tube; where blank the median of its
    family, failing that of the shop) with `cost_known`."""
    each = stock["cost"] / stock["set_size"]
    family = each.groupby(stock["family"]).transform("median")
    return stock.assign(
        tubes=stock["qty"] * stock["set_size"],
        held_from=stock["acquired_on"].fillna(stock["listed_on"]).fillna(_ALWAYS),
        tube_cost=each.fillna(family).fillna(each.median()), cost_known=each.notna())


def movements(stock: pd.DataFrame, sales: pd.DataFrame) -> pd.DataFrame:
    """Tubes that left (-) and came back (+) of every stock row: `at` (place in stock), `date`, `tubes`."""
    place = pd.Series(np.arange(len(stock)), index=stock["sku"])
    place = place[~place.index.duplicated()]
    own = sales[sales["sku"].isin(place.index) & (sales["sku"] != "")]
    tubes = (own["set_size"] * own["qty"]).to_numpy(float)
    at = own["sku"].map(place).to_numpy()
    gone = pd.DataFrame({"at": at, "date": own["sold_on"].to_numpy(), "tubes": -tubes})
    back = pd.DataFrame({"at": at, "date": own["returned_on"].to_numpy(), "tubes": tubes})
    back.loc[back["date"] < gone["date"], "date"] = gone["date"]
    return pd.concat([gone, back[back["date"].notna()]], ignore_index=True)


def tubes_left(stock: pd.DataFrame, sales: pd.DataFrame, dates: Any) -> np.ndarray:
    """Tubes of every stock row at the end of every date (rows by dates), never below nought."""
    held = held_stock(stock)
    dates = pd.DatetimeIndex(dates)
    moves = movements(stock, sales)
    left = np.where(held["held_from"].to_numpy()[:, None] <= dates.to_numpy()[None, :],
                    held["tubes"].to_numpy(float)[:, None], 0.0)
    changes = np.zeros_like(left)
    for column, date in enumerate(dates):
        past = moves[moves["date"] <= date]
        np.add.at(changes[:, column], past["at"].to_numpy(int), past["tubes"].to_numpy(float))
    return np.maximum(np.where(left > 0, left + changes, 0.0), 0.0)


def average_stock_cost(
    stock: pd.DataFrame, sales: pd.DataFrame, date_from: Any, date_to: Any
) -> pd.Series:
    """Average cost of what each stock row held from `date_from` to `date_to`: mean of the month-ends between and both
    ends (13 points for a year)."""
    start, end = pd.Timestamp(date_from) - pd.Timedelta(days=1), pd.Timestamp(date_to)
    points = pd.date_range(start, end, freq=pd.offsets.MonthEnd()).union([start, end])
    return pd.Series(tubes_left(stock, sales, points).mean(axis=1), stock.index) * held_stock(stock)["tube_cost"]


def stock_ageing(stock: pd.DataFrame, sales: pd.DataFrame, as_of: Any) -> pd.DataFrame:
    """What is on hand at `as_of`, a row a stock row with something left: sku, family, canonical_type, maker, lot,
    `tubes`, `cost` (at cost), `days` since it was acquired (NaN where unknown) and `age`, one of AGE_BANDS or
    UNDATED."""
    held = held_stock(stock)
    left = tubes_left(stock, sales, [as_of])[:, 0]
    days = (pd.Timestamp(as_of) - held["held_from"].where(held["held_from"] != _ALWAYS)).dt.days.astype(float)
    limits = [limit for limit, _ in AGE_BANDS]
    names = np.array([name for _, name in AGE_BANDS], object)
    age = np.where(days.isna(), UNDATED, names[np.searchsorted(limits[:-1], days.fillna(0), side="right")])
    out = held[["sku", "family", "canonical_type", "maker", "lot", "ask", "set_size"]].assign(
        tubes=left, cost=(left * held["tube_cost"]).round(2), days=days, age=age)
    return out[out["tubes"] > 0]


def sell_through_within(
    stock: pd.DataFrame, sales: pd.DataFrame, months: int = SELL_MONTHS, as_of: Any = None
) -> pd.DataFrame:
    """By family: `sell_pct` of the tubes acquired at least `months` ago that sold within `months`, and `months` to sale
    of those that did (mean). Thin families lean on the whole shop; empty where the shop has no such history."""
    columns = ["sell_pct", "months"]
    if stock.empty or sales.empty:
        return pd.DataFrame(columns=columns, dtype=float)
    as_of = sales["sold_on"].max() if as_of is None else pd.Timestamp(as_of)
    held = held_stock(stock).reset_index(drop=True)
    days = pd.Timedelta(days=round(months * 365.25 / 12))
    old = held[(held["held_from"] != _ALWAYS) & (held["held_from"] <= as_of - days)]
    moves = movements(stock, sales)
    moves = moves[moves["at"].isin(old.index)]
    since = moves["date"] - moves["at"].map(held["held_from"])
    in_time = moves[(since <= days) & (since >= pd.Timedelta(0))].assign(months=since.dt.days * 12 / 365.25)
    sold = (-in_time.groupby("at")["tubes"].sum()).reindex(old.index, fill_value=0.0).clip(lower=0, upper=old["tubes"])
    bought_by, sold_by = old["tubes"].groupby(old["family"]).sum(), sold.groupby(old["family"]).sum()
    if not sold.sum():
        return pd.DataFrame(columns=columns, dtype=float)
    whole = sold.sum() / old["tubes"].sum()
    gone = in_time[in_time["tubes"] < 0]
    weights = -gone["tubes"]
    wait = float(np.average(gone["months"], weights=weights))
    family = gone["at"].map(held["family"])
    waits = (gone["months"] * weights).groupby(family).sum().reindex(bought_by.index, fill_value=0.0)
    counts = weights.groupby(family).sum().reindex(bought_by.index, fill_value=0.0)
    return pd.DataFrame({"sell_pct": 100 * (sold_by + _SHRINK * whole) / (bought_by + _SHRINK),
                         "months": (waits + _SHRINK * wait) / (counts + _SHRINK)})
