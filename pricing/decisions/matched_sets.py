"""Matched sets: which measured tubes to sell as quads, pairs and singles, so that they earn most within tolerance.

Matching is by plate current and mutual conductance read on one tester at one plate voltage; a common practice of the
trade with no standard behind it, so every set states its readings and volts. Nothing here says that a set suits an
amplifier.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pricing.decisions.net_proceeds import money
from pricing.decisions.set_partition import best_partition, spread_pct
from pricing.decisions.shop_habits import sets_on_hand
from pricing.problems import counted

SIZES = (4, 2, 1)
NAMES = {1: "single", 2: "pair", 4: "quad"}
# Tubes of one pool share these; a buyer of a pair expects one maker and one state (common practice, no source).
ALIKE = ("canonical_type", "maker", "grade")
SET_COLUMNS = ("set", "size", "kind", "skus", "price", "plate_current_low", "plate_current_high",
               "plate_current_spread_pct", "gm_low", "gm_high", "gm_spread_pct")
LEFT_OUT_COLUMNS = ("sku", "reason")
_MEMBER = ("sku", "plate_current", "gm")


@dataclass(frozen=True)
class MatchedSets:
    """`sets`: a row a set (SET_COLUMNS), largest and tightest first; `tubes`: the tubes with the number of their `set`;
    `left_out`: tubes sold single only, with the reason; `value` of all sets and `singles_value` of the tubes one by one
    (floats of whole cents); `bound`: no partition earns more; `proven`, `tightest` as in Partition; `words`.
    """

    sets: pd.DataFrame
    tubes: pd.DataFrame
    left_out: pd.DataFrame
    value: float
    singles_value: float
    bound: float
    proven: bool
    tightest: bool
    words: str


def match_sets(
    tubes: pd.DataFrame,
    prices: Mapping[int, Any],
    *,
    plate_current_pct: float = 5.0,
    gm_pct: float = 10.0,
    balance_pct: float | None = None,
    seconds: float = 8.0,
) -> MatchedSets:
    """The partition of measured tubes into sets that earns most, exact for the sizes a shop has.

    `tubes`: a row a tube with `sku`, `plate_current` (mA), and if measured `gm` and `balance_pct` (weaker section in
    percent of the stronger), all read on one tester at one plate voltage. `prices`: the price of a set by its size,
    such as {1: 32, 2: 80, 4: 175}. The spread of a set, largest less smallest in percent of its mean, is at most
    `plate_current_pct` and `gm_pct` (a measure that no tube has is not matched on). `balance_pct`: the widest
    difference of a tube's two sections, in percent of their mean; tubes beyond it, and tubes that lack a reading others
    have, stay single. Among partitions that earn as much the one with the tightest quads, then the tightest pairs.
    ValueError for codes given twice, prices or readings that are not above zero.
    """
    tubes = _checked(tubes).reset_index(drop=True)
    for size, price in prices.items():
        if not 0 <= float(price) < np.inf:
            raise ValueError(f"prices: size {size} at {price}; give sizes from 1 and prices from 0")
    cents = {int(size): int(money(price) * 100) for size, price in prices.items()}
    wrong = [size for size in cents if size < 1]
    if wrong:
        raise ValueError(f"prices: size {wrong[0]} at {prices[wrong[0]]}; give sizes from 1 and prices from 0")
    names = [name for name in ("plate_current", "gm") if name in tubes and tubes[name].notna().any()]
    tolerances = [{"plate_current": plate_current_pct, "gm": gm_pct}[name] for name in names]
    reasons = _single_only(tubes, names, balance_pct)
    free = np.array([not reason for reason in reasons], bool)
    found = best_partition(tubes.loc[free, names].to_numpy(float), tolerances, cents, seconds=seconds)
    at = np.flatnonzero(free)
    sets = [tuple(at[list(one)]) for one in found.sets] + [(one,) for one in np.flatnonzero(~free)]
    alone = cents.get(1, 0)
    value = found.value + alone * int((~free).sum())
    bound = found.bound + alone * int((~free).sum())
    rows = _set_rows(tubes, sets, cents)
    number = {sku: row.set for row in rows.itertuples() for sku in row.skus.split(", ")}
    left = pd.DataFrame([(sku, reason) for sku, reason in zip(tubes["sku"], reasons) if reason],
                        columns=list(LEFT_OUT_COLUMNS))
    return MatchedSets(
        rows, tubes.assign(set=tubes["sku"].map(number)), left, value / 100, alone * len(tubes) / 100, bound / 100,
        found.proven, found.tightest,
        _words(rows, value / 100, alone * len(tubes) / 100, bound / 100, found.proven, found.tightest, names))


@dataclass(frozen=True, eq=False)  # it travels in the plan's attrs, which pandas compares: frames have no one answer
class MatchedStock:
    """The sets of a whole shop: `pools` (a row a group of tubes that may share sets: what it is, tubes, prices, value,
    words), `sets` (SET_COLUMNS with `pool`, `conditions`), `left_out` (sku, reason, row of Readings), `tubes` (sku,
    plate_current, gm with their `pool` and `set`)."""

    pools: pd.DataFrame
    sets: pd.DataFrame
    left_out: pd.DataFrame
    tubes: pd.DataFrame

    @property
    def words(self) -> str:
        """What the sets bring beside singles, in one sentence."""
        if self.pools.empty:
            return "No two tubes in stock have plate current measured alike, so no set can be made."
        gain = self.pools["value"].sum() - self.pools["singles_value"].sum()
        made = self.sets["size"].value_counts()
        parts = [counted(int(made.get(size, 0)), NAMES[size]) for size in SIZES]
        tubes = int(self.pools["tubes"].sum())
        return f"{', '.join(parts)} from {counted(tubes, 'measured tube')}: {gain:,.2f} more than as singles."


def match_stock(shop: Any, model: Any, *, seconds: float = 8.0) -> MatchedStock:
    """Sets to make of the tubes in stock whose plate current is in Readings, by the tolerances of Settings.

    A pool holds single tubes of one type, maker and grade (ALIKE) read on one tester at one voltage; prices are the
    model's fair prices of a single and of matched sets of the pool's first piece at the pool's median reading.
    `seconds` is for all pools together.
    """
    settings = shop.settings
    measured, left = measured_tubes(shop)
    pools, sets, members = [], [], []
    groups = [(key, tubes) for key, tubes in measured.groupby([*ALIKE, "tester", "volts"], dropna=False, sort=True)]
    for number, (key, tubes) in enumerate(groups, start=1):
        prices = pool_prices(model, tubes)
        found = match_sets(
            tubes, prices, plate_current_pct=settings.match_plate_current_pct, gm_pct=settings.match_gm_pct,
            balance_pct=settings.section_balance_pct, seconds=seconds * len(tubes) / len(measured))
        told = dict(zip((*ALIKE, "tester", "volts"), key))
        conditions = _conditions(told["tester"], told["volts"])
        pools.append({"pool": number, **told, "type": tubes["designation"].mode().iloc[0], "conditions": conditions,
                      "tubes": len(tubes), **{NAMES[size]: prices[size] for size in SIZES}, "value": found.value,
                      "singles_value": found.singles_value, "gain": round(found.value - found.singles_value, 2),
                      "words": found.words})
        sets.append(found.sets.assign(pool=number, type=pools[-1]["type"], maker=told["maker"], grade=told["grade"],
                                      conditions=conditions))
        members.append(found.tubes[[*_MEMBER, "set"]].assign(pool=number))
        left += [{"sku": sku, "reason": reason, "row": tubes.set_index("sku")["reading_row"][sku]}
                 for sku, reason in zip(found.left_out["sku"], found.left_out["reason"])]
    columns = ["pool", *ALIKE, "tester", "volts", "type", "conditions", "tubes", *(NAMES[size] for size in SIZES),
               "value", "singles_value", "gain", "words"]
    return MatchedStock(
        pd.DataFrame(pools, columns=columns),
        pd.concat(sets, ignore_index=True) if sets else pd.DataFrame(
            columns=[*SET_COLUMNS, "pool", "type", "maker", "grade", "conditions"]),
        pd.DataFrame(left, columns=["sku", "reason", "row"]),
        pd.concat(members, ignore_index=True) if members else pd.DataFrame(columns=[*_MEMBER, "set", "pool"]))


def measured_tubes(shop: Any) -> tuple[pd.DataFrame, list[dict[str, Any]]]:
    """(single tubes on hand with `plate_current`, `gm`, `balance_pct`, `tester`, `volts`, `reading_row` beside their
    Stock columns; what was measured and cannot be matched: sku, reason, row of Readings).

    The newest plate current of each code counts, and gm read with it on the same tester at the same volts; sections are
    averaged.
    """
    readings = shop.readings[shop.readings["test"].isin(["plate current", "gm"]) & (shop.readings["value"] > 0)]
    readings = readings[readings["sku"].isin(readings.loc[readings["test"] == "plate current", "sku"])]
    day = readings["tested_on"].fillna(pd.Timestamp.min)
    readings = readings.assign(day=day).sort_values(["day", "row"], kind="stable")
    keys = ["sku", "tester", "volts"]
    newest = readings.drop_duplicates([*keys, "test", "section"], keep="last")
    tests = newest.groupby([*keys, "test"], dropna=False, as_index=False).agg(
        value=("value", "mean"), percent=("percent_of_nominal", "min"), day=("day", "max"), row=("row", "max"))
    current = tests[tests["test"] == "plate current"].sort_values(["day", "row"], kind="stable").drop_duplicates(
        "sku", keep="last").rename(columns={"value": "plate_current", "row": "reading_row"})
    gm = tests[tests["test"] == "gm"].rename(columns={"value": "gm", "percent": "gm_percent"})
    met = current[[*keys, "plate_current", "reading_row"]].merge(gm[[*keys, "gm", "gm_percent"]], on=keys, how="left")
    stock = shop.stock.assign(on_hand=sets_on_hand(shop.stock, shop.sales)).drop_duplicates("sku")
    stock = stock.drop(columns=["tester"]).rename(columns={"row": "stock_row"})
    met = met.merge(stock, on="sku", how="left", indicator=True)
    limit = shop.settings.reject_below_pct
    reasons = np.select(
        [met["_merge"] == "left_only", met["on_hand"] == 0, met["set_size"] * met["qty"] > 1,
         met["gm_percent"] < limit],
        ["no such code in Stock", "sold", "a code of several tubes: a reading is of one",
         f"gm below the reject limit of {limit:g} % of nominal"], default="")
    left = [{"sku": sku, "reason": reason, "row": row}
            for sku, reason, row in zip(met["sku"], reasons, met["reading_row"]) if reason]
    return met[reasons == ""].drop(columns="_merge").reset_index(drop=True), left


def pool_prices(model: Any, tubes: pd.DataFrame) -> dict[int, float]:
    """Fair price of a single and of matched sets such as the pool's tubes, by size."""
    item = tubes.iloc[[0]].assign(reading_pct=tubes["reading_pct"].median())
    for name in ("era", "variant", "brand"):
        if tubes[name].nunique() > 1:
            item[name] = "unknown"
    items = pd.concat([item.assign(set_size=size, matched=size > 1, qty=1) for size in SIZES], ignore_index=True)
    return {size: float(money(price)) for size, price in zip(SIZES, model.estimate(items)["fair_price"])}


def section_difference_pct(balance_pct: Any) -> Any:
    """Difference of two sections in percent of their mean, from the weaker in percent of the stronger."""
    share = balance_pct / 100
    return 200 * (1 - share) / (1 + share)


def _checked(tubes: pd.DataFrame) -> pd.DataFrame:
    missing = [name for name in ("sku", "plate_current") if name not in tubes]
    if missing:
        raise ValueError(f"tubes lack the column {missing[0]}; needed: sku, plate_current")
    if tubes["sku"].isna().any() or (tubes["sku"].astype(str).str.strip() == "").any():
        raise ValueError("a tube has no code; give every tube a code of its own")
    tubes = tubes.assign(sku=tubes["sku"].astype(str))
    twice = tubes.loc[tubes["sku"].duplicated(), "sku"]
    if len(twice):
        raise ValueError(f"the code '{twice.iloc[0]}' stands twice; give every tube a code of its own")
    for name in ("plate_current", "gm"):
        if name in tubes:
            values = pd.to_numeric(tubes[name], errors="coerce")
            unread = values.isna() & tubes[name].notna()
            bad = tubes[unread | (values <= 0) | ~np.isfinite(values.fillna(1.0))]
            if len(bad):
                sku, met = bad["sku"].iloc[0], bad[name].iloc[0]
                raise ValueError(f"{name} of '{sku}' is {met}; write what the meter showed")
            tubes = tubes.assign(**{name: values})
    return tubes


def _single_only(tubes: pd.DataFrame, names: list[str], balance_pct: float | None) -> list[str]:
    """Why a tube is in no set, "" where it may be."""
    reasons = pd.Series("", index=tubes.index)
    for name, said in (("gm", "no gm read under these conditions"), ("plate_current", "no plate current")):
        if name in names:
            reasons[tubes[name].isna()] = said
    if balance_pct is not None and "balance_pct" in tubes:
        difference = section_difference_pct(tubes["balance_pct"])
        wide = difference > balance_pct + 1e-9
        reasons[wide] = [f"sections differ by {one:.1f} %, more than {balance_pct:g} %" for one in difference[wide]]
    if "plate_current" not in names:
        reasons[:] = "no plate current"
    return reasons.tolist()


def _set_rows(tubes: pd.DataFrame, sets: list[tuple[int, ...]], cents: Mapping[int, int]) -> pd.DataFrame:
    rows = []
    for one in sets:
        members = tubes.iloc[list(one)].sort_values("plate_current", kind="stable")
        row = {"size": len(one), "kind": NAMES.get(len(one), f"set of {len(one)}"), "skus": ", ".join(members["sku"]),
               "price": cents.get(len(one), 0) / 100}
        for name in ("plate_current", "gm"):
            values = members[name].to_numpy(float) if name in members else np.array([np.nan])
            row |= {f"{name}_low": values.min(), f"{name}_high": values.max(),
                    f"{name}_spread_pct": float(spread_pct(values)) if len(one) > 1 else np.nan}
        rows.append(row)
    frame = pd.DataFrame(rows, columns=list(SET_COLUMNS[1:])).sort_values(
        ["size", "plate_current_spread_pct", "plate_current_low"], ascending=[False, True, True], kind="stable",
        ignore_index=True)
    frame.insert(0, "set", np.arange(1, len(frame) + 1))
    return frame


def _conditions(tester: str, volts: float) -> str:
    """Such as: bench A at 250 V."""
    at = f"at {volts:g} V" if volts == volts else "at volts not stated"
    return f"{tester or 'a tester without a name'} {at}"


def _words(rows, value, alone, bound, proven, tightest, names) -> str:
    made = rows["kind"].value_counts(sort=False)
    parts = [counted(int(number), kind) for kind, number in made.items()]
    by = " and ".join(name.replace("_", " ") for name in names) or "nothing: none was read"
    said = f"{', '.join(parts)}: {value:,.2f}, as singles {alone:,.2f}; matched on {by}"
    if not proven:
        return f"{said}; no other sets can earn more than {bound:,.2f}"
    return said if tightest else f"{said}; no other sets earn more, tighter ones that earn as much may exist"
