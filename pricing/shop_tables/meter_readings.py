"""What a meter reading says: percent of nominal, the balance of a tube's sections, the newest reading of a piece."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from pricing.problems import IGNORED, Problem, problem
from pricing.shop_tables.cells import HIGH_PCT, LOW_PCT
from pricing.shop_tables.ledger import Ledger
from pricing.shop_tables.settings import Settings

# Tests whose reading has a nominal value, the ones that grade a tube first. Gas, leakage and noise have limits instead.
PERCENT_TESTS: tuple[str, ...] = ("gm", "emission", "plate current")
OTHER_TESTS: tuple[str, ...] = ("gas", "leakage", "noise")
UNKNOWN = "unknown"


def check_meter(out: dict[str, Any], cells: Sequence[Any], ledger: Ledger) -> None:
    """Values and nominals that cannot be as typed; a value typed as a percentage gets the nominal 100."""
    for position, (test, value, nominal) in enumerate(zip(out["test"], out["value"], out["nominal"])):
        typed = cells[position]
        if value != value:
            if not ledger.has(position, "value"):
                ledger.cell(position, "value", "required_missing", typed, IGNORED)
        elif test in PERCENT_TESTS and value <= 0:
            ledger.cell(position, "value", "reading_not_positive", typed, test=test)
        elif test in PERCENT_TESTS and isinstance(typed, str) and typed.strip().endswith("%"):
            ledger.cell(position, "value", "percent_in_value", typed)
            out["nominal"][position] = 100.0
        if nominal <= 0:
            ledger.cell(position, "nominal", "nominal_not_positive", nominal)
            out["nominal"][position] = float("nan")


def percent_of_nominal(
    readings: pd.DataFrame, settings: Settings, pieces: pd.DataFrame | None = None
) -> tuple[pd.DataFrame, list[Problem]]:
    """Clean Readings with `percent_of_nominal` (NaN where the test or the row has none), and the problems met.

    The nominal is the row's own or that of the type on the tester in Settings; `pieces` (sku, designation,
    canonical_type, family: Stock, Sales) says what type a sku is. Adds those columns too, "unknown" where nobody says.
    """
    out = readings.copy()
    known = None if pieces is None else pieces.drop_duplicates("sku").set_index("sku")
    for column in ("designation", "canonical_type", "family"):
        met = pd.Series(UNKNOWN, index=out.index) if known is None else out["sku"].map(known[column])
        out[column] = met.astype(object).fillna(UNKNOWN).astype("str")
    measured = (out["test"].isin(PERCENT_TESTS) & (out["value"] > 0)).to_numpy()
    nominal = out["nominal"].to_numpy(float, copy=True)
    problems: list[Problem] = []
    bare = out[measured & ~np.isfinite(nominal)]
    for (tester, kind, canonical, test), rows in bare.groupby(["tester", "designation", "canonical_type", "test"]):
        found = settings.nominal(tester, kind, test) or settings.nominal(tester, canonical, test)
        if found:
            nominal[out.index.get_indexer(rows.index)] = found
            continue
        key = " ".join(word for word in (tester, "TYPE" if kind == UNKNOWN else kind, test) if word)
        first = rows.iloc[0]
        problems.append(problem(
            "nominal_missing", sheet=first["sheet"], row=int(first["row"]), column="nominal", value="", count=len(rows),
            what=f"{test} of {'a piece of unknown type' if kind == UNKNOWN else kind}",
            tester=tester or "a tester without a name", key=key))
    percent = np.where(measured, 100 * out["value"].to_numpy(float) / nominal, np.nan)
    for at in np.flatnonzero((percent < LOW_PCT) | (percent > HIGH_PCT)):
        row = out.iloc[at]
        problems.append(problem(
            "percent_out_of_range", sheet=row["sheet"], row=int(row["row"]), column="value", value=f"{row['value']:g}",
            percent=f"{percent[at]:.0f}", nominal=f"{nominal[at]:g}"))
        percent[at] = np.nan
    out["percent_of_nominal"] = percent
    return out, problems


def section_balance(readings: pd.DataFrame) -> pd.DataFrame:
    """Weaker over stronger section of every piece with two or more sections measured on one tester, a row a sku.

    Columns: balance_pct, weaker (section), test, tester, tested_on. Each section's newest reading counts, in percent of
    nominal (sections may differ) or as read where no nominal is known. Of several the newest, gm first.
    """
    columns = ["balance_pct", "weaker", "test", "tester", "tested_on"]
    rows = readings[
        readings["test"].isin(PERCENT_TESTS) & (readings["value"] > 0) & (readings["section"] != "")
    ]
    keys = ["sku", "tester", "test"]
    rows = rows[rows.groupby(keys)["section"].transform("nunique") > 1]
    if rows.empty:
        return pd.DataFrame(columns=columns, index=pd.Index([], name="sku", dtype="str"))
    day = rows["tested_on"].fillna(pd.Timestamp.min)
    rows = rows[day == day.groupby([rows[key] for key in (*keys, "section")]).transform("max")]
    nominal_known = rows["percent_of_nominal"].notna().groupby([rows[key] for key in keys]).transform("all")
    rows = rows.assign(amount=np.where(nominal_known, rows["percent_of_nominal"], rows["value"]))
    sections = rows.groupby([*keys, "section"], as_index=False).agg(
        amount=("amount", "mean"), tested_on=("tested_on", "max"))
    sections = sections.sort_values("amount", kind="stable")
    both = sections.groupby(keys, as_index=False).agg(
        low=("amount", "first"), high=("amount", "last"), weaker=("section", "first"), tested_on=("tested_on", "max"))
    both["balance_pct"] = 100 * both["low"] / both["high"]
    return _newest(both, ["tested_on"]).set_index("sku")[columns]


def tests_of_pieces(readings: pd.DataFrame) -> pd.DataFrame:
    """One row a piece, day, tester and test: mean `percent`, `lowest` section and number of `sections`, by sku and day,
    the reading to be believed last."""
    rows = readings[readings["percent_of_nominal"].notna()]
    sections = rows.groupby(["sku", "tester", "test", "tested_on", "section"], dropna=False, as_index=False).agg(
        percent=("percent_of_nominal", "mean"), family=("family", "first"))
    tests = sections.groupby(["sku", "tester", "test", "tested_on"], dropna=False, as_index=False).agg(
        percent=("percent", "mean"), lowest=("percent", "min"), sections=("section", "nunique"),
        family=("family", "first"))
    # Plate current says how a tube sits in a circuit rather than how worn it is: used where nothing else was tested.
    return tests.assign(grades=tests["test"] != "plate current").sort_values(
        ["sku", "grades", "tested_on", "test"], ascending=[True, True, True, False], na_position="first",
        ignore_index=True).drop(columns="grades")


def _newest(rows: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """The last row of every sku by date; on one day the first of PERCENT_TESTS."""
    order = rows["test"].map({test: -place for place, test in enumerate(PERCENT_TESTS)})
    ordered = rows.assign(order=order).sort_values([*by, "order"], na_position="first", kind="stable")
    return ordered.drop_duplicates("sku", keep="last").sort_values("sku")
