"""Figures of the price model's record: errors by method and richness, coverage of the ranges, paired comparison.

All are functions of the frame `scored`, a row a sale; see `Backtest`. Errors are log(price named / price paid).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pricing.price_model.habits import HABITS

MODEL = "price model"
METHODS = (MODEL, *HABITS)
RANGES = (0.80, 0.95)
RICHNESS = (
    "five or more sold of the type, maker and era", "one to four sold of the type, maker and era",
    "type and maker sold, not of the era", "type sold, not by the maker", "type never sold",
)
RESAMPLES = 500
# What is drawn again as one: sales that share a type share its error. Where there are too few types, smaller kinds.
CLUSTERS = (["canonical_type"], ["canonical_type", "maker", "era"], ["canonical_type", "maker", "era", "grade"])
FEWEST_CLUSTERS = 20


def ends_of(coverage: float) -> tuple[str, str]:
    """Columns of `scored` that hold the ends of the range."""
    return f"low_{100 * coverage:.0f}", f"high_{100 * coverage:.0f}"


def richness(past: pd.DataFrame, items: pd.DataFrame) -> pd.Series:
    """One of RICHNESS for each item: what of its like is among the past sales."""
    def sold(*columns: str) -> np.ndarray:
        counts = past.groupby(list(columns)).size().rename("sold")
        return items[list(columns)].join(counts, on=list(columns))["sold"].fillna(0).to_numpy()

    cell = sold("canonical_type", "maker", "era")
    met = [cell >= 5, cell >= 1, sold("canonical_type", "maker") > 0, sold("canonical_type") > 0]
    return pd.Series(np.select(met, RICHNESS[:-1], RICHNESS[-1]), items.index)


def log_errors(scored: pd.DataFrame) -> pd.DataFrame:
    """log(named / paid), a row a sale, a column a method."""
    return pd.DataFrame({method: np.log(scored[method] / scored["paid"]) for method in METHODS})


def error_table(scored: pd.DataFrame) -> pd.DataFrame:
    """See Backtest.by_method."""
    errors = log_errors(scored)
    table = pd.DataFrame({
        "method": METHODS, "n": len(scored),
        "median_abs_log": errors.abs().median().to_numpy(),
        "p90_abs_log": errors.abs().quantile(0.9).to_numpy(),
        "bias_log": errors.median().to_numpy(),
    })
    for log, percent in (("median_abs", "median_off"), ("p90_abs", "p90_off"), ("bias", "bias")):
        table[f"{percent}_pct"] = percent_of(table[f"{log}_log"])
    return table


def error_table_by_richness(scored: pd.DataFrame) -> pd.DataFrame:
    """See Backtest.by_richness."""
    parts = [error_table(scored[scored["richness"] == kind]).assign(richness=kind) for kind in _met(scored)]
    table = pd.concat(parts, ignore_index=True) if parts else error_table(scored).head(0).assign(richness="")
    return table[["richness", *(name for name in table if name != "richness")]]


def coverage_table(scored: pd.DataFrame) -> pd.DataFrame:
    """See Backtest.coverage."""
    rows = []
    for coverage in RANGES:
        low, high = (scored[end] for end in ends_of(coverage))
        inside, width = (low <= scored["paid"]) & (scored["paid"] <= high), 100 * (high - low) / scored[MODEL]
        for kind in ("all", *_met(scored)):
            of_kind = (scored["richness"] == kind) | (kind == "all")
            rows.append((coverage, kind, int(of_kind.sum()), 100 * inside[of_kind].mean(), width[of_kind].median()))
    return pd.DataFrame(rows, columns=["coverage", "richness", "n", "inside_pct", "median_width_pct"])


def compare(scored: pd.DataFrame) -> pd.DataFrame:
    """See Backtest.compared: percentile bootstrap of the ratio of typical errors on the same sales, clusters drawn
    whole (Davison & Hinkley, Bootstrap Methods and their Application, 1997, sections 2.4 and 3.8)."""
    errors = log_errors(scored).abs()
    typical = percent_of(errors.median())
    rng = np.random.default_rng(0)
    cluster = _clusters(scored)
    n_clusters = cluster.max(initial=-1) + 1
    order = {method: np.argsort(errors[method].to_numpy(), kind="stable") for method in METHODS}
    drawn = {method: np.empty(RESAMPLES) for method in METHODS}
    for number in range(RESAMPLES if n_clusters else 0):
        times = rng.multinomial(n_clusters, np.full(n_clusters, 1 / n_clusters))[cluster]
        for method in METHODS:
            below = np.cumsum(times[order[method]])
            middle = order[method][np.searchsorted(below, below[-1] / 2)]
            drawn[method][number] = percent_of(errors[method].iat[middle])
    rows = []
    for habit in HABITS:
        low, high = np.quantile(drawn[habit] / drawn[MODEL], [0.025, 0.975]) if n_clusters else (np.nan, np.nan)
        closer = 100 * (errors[MODEL] < errors[habit]).mean()
        rows.append((habit, len(scored), typical[habit] / typical[MODEL], low, high, closer))
    return pd.DataFrame(rows, columns=["habit", "n", "times", "low", "high", "closer_pct"])


def percent_of(log: pd.Series | float) -> pd.Series | float:
    """A log ratio as percent above one."""
    return 100 * np.expm1(log)


def _met(scored: pd.DataFrame) -> list[str]:
    met = set(scored["richness"])
    return [kind for kind in RICHNESS if kind in met]


def _clusters(scored: pd.DataFrame) -> np.ndarray:
    """Number of every sale's cluster: the largest kinds of which there are enough, else the sale itself."""
    for columns in CLUSTERS:
        cluster = scored.groupby(columns).ngroup().to_numpy()
        if cluster.max(initial=-1) + 1 >= FEWEST_CLUSTERS:
            return cluster
    return np.arange(len(scored))
