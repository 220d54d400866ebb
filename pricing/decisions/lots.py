"""What the pieces of a lot cost: the sum paid, shared to the cent by relative sales value.

Rejects carry nothing: what was paid is the cost of what can be sold. Joint cost by sales value at split-off, as in
Horngren, Datar & Rajan, Cost Accounting, 14th ed., ch. 16.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import numpy as np
import pandas as pd

from pricing.decisions.net_proceeds import money

COST_COLUMNS = ("passed", "value_basis", "line_value", "unit_cost", "units_a_cent_dearer", "line_cost",
                "unit_cost_by_count", "units_a_cent_dearer_by_count", "line_cost_by_count")


def cents(value: Any) -> int:
    """An amount of money as whole cents, half up."""
    return int(money(value) * 100)


def allocate_cents(total: int, weights: Sequence[Any], units: Sequence[int] | None = None) -> list[tuple[int, int]]:
    """`total` cents shared by weight: (cents of each unit, how many of the units cost one cent more), a pair a weight.

    `weights` are of one unit, `units` how many units there are of each (default 1). The sum over all units is `total`
    exactly: cents that rounding down leaves over go to the largest remainders, the earlier of equals. Zero weights, or
    none at all, carry nothing; then nothing is shared when all are zero.
    """
    units = [1] * len(weights) if units is None else [int(one) for one in units]
    shares = [Fraction(str(weight)) for weight in weights]
    if total < 0 or min(shares, default=0) < 0 or min(units, default=0) < 0:
        raise ValueError("only sums, weights and counts from nought upwards can be shared")
    whole = sum(share * count for share, count in zip(shares, units))
    if not whole:
        return [(0, 0)] * len(shares)
    exact = [total * share / whole for share in shares]
    down = [int(one) for one in exact]
    left = total - sum(one * count for one, count in zip(down, units))
    dearer = [0] * len(shares)
    for at in sorted(range(len(shares)), key=lambda at: (down[at] - exact[at], at)):
        if shares[at]:
            dearer[at] = min(units[at], left)
            left -= dearer[at]
    return [(one + 1, 0) if more == count > 0 else (one, more) for one, more, count in zip(down, dearer, units)]


def cost_lot(lines: pd.DataFrame, paid: Any, *, freight: Any = 0, testing_cost: Any = 0) -> pd.DataFrame:
    """Cost of every line of a lot, by relative sales value and, for comparison, by count.

    `lines`: a row a kind of piece, with `qty` (pieces, rejects included; blank 1), `sales_value` (what one that passes
    is expected to sell for) and, if any, `rejects` (pieces of the row that failed). Shared is paid + freight +
    testing_cost, all in the shop's currency. Returns `lines` with COST_COLUMNS, money as floats of whole cents:
    `unit_cost` of a piece that passed, of which `units_a_cent_dearer` cost one cent more, so that the sum of
    `line_cost` is what was paid to the cent. A blank sales value takes the mean of the others (`value_basis` says so);
    without any, the count decides. When nothing passed nothing carries the cost: every line_cost is 0 and the lot is a
    loss. A lot that cost nothing gives costs of 0. ValueError for negative counts, values or sums, and more rejects
    than pieces.
    """
    qty = _counts(lines, "qty", 1)
    passed = qty - _counts(lines, "rejects", 0)
    if (passed < 0).any():
        at = int(np.flatnonzero(passed < 0)[0])
        rejects = int(qty[at] - passed[at])
        raise ValueError(f"line {at + 1}: {rejects} rejects of {int(qty[at])} pieces; correct one of them")
    total = 0
    for name, amount in {"paid": paid, "freight": freight, "testing_cost": testing_cost}.items():
        known = pd.to_numeric(str(amount), errors="coerce")
        if not 0 <= known < np.inf:  # NaN too
            raise ValueError(f"{name} is {amount}; write what it came to, 0 for nothing")
        total += cents(amount)
    value, basis = _values(lines, passed)
    by_value = allocate_cents(total, [repr(float(one)) for one in value], passed)
    by_count = allocate_cents(total, [1] * len(passed), passed)
    out = lines.assign(passed=passed, value_basis=basis, line_value=np.round(value * passed, 2))
    for suffix, shares in (("", by_value), ("_by_count", by_count)):
        unit, dearer = np.array(shares, np.int64).reshape(-1, 2).T
        held = passed > 0
        out[f"unit_cost{suffix}"] = np.where(held, unit, 0) / 100
        out[f"units_a_cent_dearer{suffix}"] = np.where(held, dearer, 0)
        out[f"line_cost{suffix}"] = (unit * passed + dearer) / 100
    return out


def numbers(lines: pd.DataFrame, name: str) -> np.ndarray:
    """A column as floats, NaN where blank or missing; ValueError for what is no finite number."""
    if name not in lines:
        return np.full(len(lines), np.nan)
    values = pd.to_numeric(lines[name], errors="coerce").to_numpy(float)
    filled = (lines[name].notna() & (lines[name].astype(str).str.strip() != "")).to_numpy()
    wrong = np.flatnonzero(np.isinf(values) | (np.isnan(values) & filled))
    if len(wrong):
        met = lines[name].iloc[wrong[0]]
        raise ValueError(f"line {wrong[0] + 1}: {name} is {met}; write a number, or leave it blank")
    return values


def _counts(lines: pd.DataFrame, name: str, blank: int) -> np.ndarray:
    values = numbers(lines, name)
    values = np.where(np.isnan(values), blank, values)
    wrong = np.flatnonzero((values < 0) | (values != np.floor(values)))
    if len(wrong):
        raise ValueError(f"line {wrong[0] + 1}: {name} is {values[wrong[0]]:g}; write a whole number from 0")
    return values.astype(np.int64)


def _values(lines: pd.DataFrame, passed: np.ndarray) -> tuple[np.ndarray, list[str]]:
    """Sales value of one piece of each line, and where it comes from."""
    stated = numbers(lines, "sales_value")
    if (stated < 0).any():
        at = int(np.flatnonzero(stated < 0)[0])
        raise ValueError(f"line {at + 1}: sales_value is {stated[at]:g}; write what one piece is expected to sell for")
    if not passed.any():
        return np.ones(len(stated)), ["nothing passed, so nothing carries the cost"] * len(stated)
    known = ~np.isnan(stated)
    if not (stated[known] * passed[known]).sum() > 0:
        return np.ones(len(stated)), ["by count: no line with pieces has a sales value"] * len(stated)
    mean = np.average(stated[known], weights=passed[known])
    return np.where(known, stated, mean), ["own sales value" if one else "mean of the lot's others" for one in known]
