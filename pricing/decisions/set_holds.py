"""Singles better kept for a matched set than sold one by one: with which pieces, and what the set brings more."""

from __future__ import annotations

from typing import Any

import pandas as pd

from pricing.decisions.matched_sets import ALIKE, NAMES, MatchedStock
from pricing.decisions.set_partition import ROUNDING, spread_pct
from pricing.decisions.shop_habits import sets_on_hand

# What a set must bring over its tubes one by one to be worth the waiting (common practice, no source).
CLEARLY_PCT = 10.0


def set_holds(matched: MatchedStock, shop: Any) -> dict[str, str]:
    """Why a measured single should wait for a set, in words by its code.

    Held is each tube of a set that brings CLEARLY_PCT more than its tubes one by one, at fair prices. A tube left over
    is held where one more of its kind would complete such a set: a quad with a pair that it matches, or a pair where
    pieces of its kind on hand have not been measured.
    """
    held: dict[str, str] = {}
    unmeasured, barred = _unmeasured(shop), {*matched.left_out["sku"]}
    for pool in matched.pools.to_dict("records"):
        tubes = matched.tubes[matched.tubes["pool"] == pool["pool"]]
        sets = [one for _, one in tubes.groupby("set")]
        price = {size: pool[name] for size, name in NAMES.items()}
        for one in sets:
            if len(one) > 1 and _clear(price[len(one)], len(one) * price[1]):
                held |= {sku: _together(sku, one, price) for sku in one["sku"]}
        pairs = [one for one in sets if len(one) == 2]
        for left in (one for one in sets if len(one) == 1 and one["sku"].iloc[0] not in barred):
            words = _completing_quad(left, pairs, price, shop.settings) or _completing_pair(
                left, price, unmeasured.get(tuple(pool[name] for name in ALIKE), []), shop.settings)
            if words:
                held[left["sku"].iloc[0]] = words
    return held


def fits_between(values: Any, tolerance_pct: float) -> tuple[float, float]:
    """Between which plate currents one more tube keeps a set of `values` and itself within the tolerance of their mean:
    x - min <= t (sum + x) / n and max - x <= t (sum + x) / n, n counting the new one."""
    share = tolerance_pct / 100 / (len(values) + 1)
    return ((max(values) - share * sum(values)) / (1 + share), (min(values) + share * sum(values)) / (1 - share))


def _clear(as_set: float, apart: float) -> bool:
    return as_set >= apart * (1 + CLEARLY_PCT / 100) and as_set > apart


def _together(sku: str, one: pd.DataFrame, price: dict[int, float]) -> str:
    others = ", ".join(other for other in one["sku"] if other != sku)
    size = len(one)
    return (f"matched with {others}, plate current within {spread_pct(one['plate_current'].to_numpy()):.1f} %: "
            f"{price[size]:,.2f} as a {NAMES[size]}, {size * price[1]:,.2f} one by one")


def _completing_quad(left: pd.DataFrame, pairs: list[pd.DataFrame], price: dict[int, float], settings: Any) -> str:
    apart = price[2] + 2 * price[1]
    if not _clear(price[4], apart):
        return ""
    threes = [pd.concat([left, pair]) for pair in pairs]
    threes = [three for three in threes if _within(three, settings)]
    if not threes:
        return ""
    three = min(threes, key=lambda one: float(spread_pct(one["plate_current"].to_numpy())))
    return (f"with {', '.join(three['sku'].iloc[1:])} one more of {_range(three, settings)} makes a quad: "
            f"{price[4]:,.2f}, {apart:,.2f} as a pair and two singles")


def _completing_pair(left: pd.DataFrame, price: dict[int, float], unmeasured: list[str], settings: Any) -> str:
    if not unmeasured or not _clear(price[2], 2 * price[1]):
        return ""
    more = f" and {len(unmeasured) - 3} more codes" if len(unmeasured) > 3 else ""
    return (f"one more of {_range(left, settings)} makes a pair: {price[2]:,.2f}, {2 * price[1]:,.2f} one by one; of "
            f"its kind, not measured yet: {', '.join(unmeasured[:3])}{more}")


def _within(tubes: pd.DataFrame, settings: Any) -> bool:
    limits = {"plate_current": settings.match_plate_current_pct, "gm": settings.match_gm_pct}
    return all(spread_pct(tubes[name].to_numpy(float)) <= limit + ROUNDING
               for name, limit in limits.items() if tubes[name].notna().any())


def _range(tubes: pd.DataFrame, settings: Any) -> str:
    low, high = fits_between(tubes["plate_current"].tolist(), settings.match_plate_current_pct)
    return f"{low:.1f}-{high:.1f} mA"


def _unmeasured(shop: Any) -> dict[tuple, list[str]]:
    """Codes of singles on hand whose plate current was not read, by what pools share."""
    stock = shop.stock.assign(on_hand=sets_on_hand(shop.stock, shop.sales))
    read = {*shop.readings.loc[shop.readings["test"] == "plate current", "sku"]}
    bare = stock[(stock["on_hand"] > 0) & (stock["set_size"] == 1) & ~stock["sku"].isin(read)]
    return {key: codes.tolist() for key, codes in bare.groupby(list(ALIKE), dropna=False)["sku"]}
