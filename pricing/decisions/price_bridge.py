"""From one period's sales to the next: how much came from quantity, from the mix of what sold, and from prices.

    quantity = (Q1 - Q0) share0 p0     mix = (q1 - Q1 share0) p0     price = q1 (p1 - p0)

for every item, Q all tubes, q the item's, share0 = q0 / Q0, p the mean price of a tube; a row adds up to the item's
change and a column to the shop's (sales-quantity, sales-mix and price variances: Horngren, Datar & Rajan, Cost
Accounting, ch. 14). A new item has no price before, so all it brings is mix; in a shop that sold nothing before, all is
quantity.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import pandas as pd

from pricing.decisions.lots import cents

BRIDGE_COLUMNS = ("tubes_before", "tubes_after", "sales_before", "sales_after", "quantity", "mix", "price", "change")
TOTAL = "all"


def price_bridge(before: pd.DataFrame, after: pd.DataFrame, by: Sequence[str] = ("item",)) -> pd.DataFrame:
    """BRIDGE_COLUMNS by item, the columns `by` in the index, and a last row TOTAL; money as floats of whole cents.

    `before`, `after`: rows with the columns `by`, `tubes` (whole) and `sales` (money of the row). Every row and every
    column adds up to the cent: effects are exact fractions, rounded along the running sum of each column, and the cents
    that rounding moves fall into `price`.
    """
    q0, r0 = _sums(before, by)
    q1, r1 = _sums(after, by)
    items = sorted({*q0, *q1}, key=lambda item: tuple(map(str, item)))
    all0, all1 = sum(q0.values()), sum(q1.values())
    rows, sums = [], {"quantity": Fraction(0), "mix": Fraction(0)}
    for item in items:
        exact = _effects(q0.get(item, 0), r0.get(item, 0), q1.get(item, 0), r1.get(item, 0), all0, all1)
        row = {}
        for name in sums:
            rounded = _round(sums[name])
            sums[name] += exact[name]
            row[name] = _round(sums[name]) - rounded
        change = r1.get(item, 0) - r0.get(item, 0)
        rows.append({"tubes_before": q0.get(item, 0), "tubes_after": q1.get(item, 0), "sales_before": r0.get(item, 0),
                     "sales_after": r1.get(item, 0), **row, "price": change - row["quantity"] - row["mix"],
                     "change": change})
    total = {name: sum(row[name] for row in rows) for name in BRIDGE_COLUMNS}
    index = pd.MultiIndex.from_tuples([*items, (TOTAL,) * len(by)], names=list(by))
    index = index if len(by) > 1 else index.get_level_values(0)
    frame = pd.DataFrame([*rows, total], columns=list(BRIDGE_COLUMNS), index=index).astype("int64")
    return frame.assign(**{name: frame[name] / 100 for name in BRIDGE_COLUMNS[2:]})


def grouped_bridge(bridge: pd.DataFrame, level: str) -> pd.DataFrame:
    """The bridge of finer items summed to one index level, TOTAL last; sums of cents stay whole cents."""
    whole = bridge.assign(**{name: (bridge[name] * 100).round().astype("int64") for name in BRIDGE_COLUMNS[2:]})
    summed = whole.groupby(level=level, sort=True).sum()
    order = [*(name for name in summed.index if name != TOTAL), TOTAL]
    return summed.loc[order].assign(**{name: summed.loc[order, name] / 100 for name in BRIDGE_COLUMNS[2:]})


def bridge_in_words(bridge: pd.DataFrame, currency: str = "") -> str:
    """The total in one sentence."""
    total = bridge.iloc[-1]
    unit = f" {currency}" if currency else ""
    return (f"Sales went from {total['sales_before']:,.2f} to {total['sales_after']:,.2f}{unit}: "
            f"{total['quantity']:+,.2f} by the number of tubes, {total['mix']:+,.2f} by dearer or cheaper kinds, "
            f"{total['price']:+,.2f} by prices for the same kind.")


def _sums(rows: pd.DataFrame, by: Sequence[str]) -> tuple[dict[tuple, int], dict[tuple, int]]:
    """Tubes and cents by item."""
    tubes: dict[tuple, int] = {}
    money: dict[tuple, int] = {}
    columns = [rows[name] for name in (*by, "tubes", "sales")]
    for *item, count, amount in zip(*columns, strict=True):
        key = tuple(item)
        tubes[key] = tubes.get(key, 0) + int(count)
        money[key] = money.get(key, 0) + _signed_cents(amount)
    return tubes, money


def _signed_cents(amount: Any) -> int:
    return cents(amount) if amount >= 0 else -cents(-amount)


def _effects(q0: int, r0: int, q1: int, r1: int, all0: int, all1: int) -> dict[str, Fraction]:
    """Quantity and mix of one item in cents, exact; what is left of its change is price."""
    if all0 <= 0:
        return {"quantity": Fraction(r1 - r0), "mix": Fraction(0)}
    if q0:
        price0 = Fraction(r0, q0)
    else:
        price0 = Fraction(r1, q1) if q1 else Fraction(0)
    share0 = Fraction(q0, all0)
    return {"quantity": (all1 - all0) * share0 * price0, "mix": (q1 - all1 * share0) * price0}


def _round(exact: Fraction) -> int:
    """Half up."""
    return (exact * 2 + 1).__floor__() // 2
