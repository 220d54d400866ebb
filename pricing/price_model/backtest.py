"""The price model's record: past sales priced from what came before them, beside a shop's habits.

Rolling origin: the later sales are cut into stretches of time, and every sale of a stretch is priced, at its own date,
by a model and by habits that know only the sales before the stretch began (Tashman, "Out-of-sample tests of forecasting
accuracy", International Journal of Forecasting 16, 2000).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from pricing.price_model import record, record_words
from pricing.price_model.fit import History, fit_effects
from pricing.price_model.fitting import calibrate, errors_of, one_family_a_type, usable_sales
from pricing.price_model.habits import HABITS
from pricing.price_model.robust import RobustFit
from pricing.shop_tables import Settings

# Sales before this share of the history are only learnt from.
FIRST_SCORED = 0.6
FEWEST_PAST = 30
# Passes of a fit: of the first stretch, and of the others, which start at the variances of the one before. With the
# model's own 25 the demo shop's typical error moves by a hundredth of itself, at twice the time.
PASSES = (12, 6)
DESCRIBED = ("sheet", "row", "sold_on", "canonical_type", "maker", "era", "grade", "set_size", "qty")


@dataclass(frozen=True)
class Backtest:
    """The record of the price model and of the habits.

    scored: a row a sale, oldest first: DESCRIBED, fold, richness (one of record.RICHNESS), paid (price of a set), what
    each method (record.METHODS) named for it, low_80, high_80, low_95, high_95, z (error in predicted standard
    deviations). folds: fold, first_day, last_day, n_past, n_scored, calibrated (whether past sales were enough to set
    the ranges on). noise_scale: scale of one sale's own noise, log units, in the last fit. n_sales: usable sales.
    """

    scored: pd.DataFrame
    folds: pd.DataFrame
    noise_scale: float
    n_sales: int

    @cached_property
    def by_method(self) -> pd.DataFrame:
        """method, n, median_abs_log, p90_abs_log, bias_log of log(named / paid), and the same in percent:
        median_off_pct, p90_off_pct, bias_pct (100 (exp(log) - 1)). The bias is a median: above 0 where most prices
        named were higher than those paid."""
        return record.error_table(self.scored)

    @cached_property
    def by_richness(self) -> pd.DataFrame:
        """As `by_method`, by `richness`: how much of its like the shop had sold before."""
        return record.error_table_by_richness(self.scored)

    @cached_property
    def coverage(self) -> pd.DataFrame:
        """coverage (0.80, 0.95), richness ("all" first), n, inside_pct (sales inside the model's range),
        median_width_pct (high less low, as a percentage of the price named)."""
        return record.coverage_table(self.scored)

    @cached_property
    def compared(self) -> pd.DataFrame:
        """habit, n, times (its typical error over the model's, both in percent), low, high (95 % interval by
        resampling), closer_pct (share of the sales that the model priced closer)."""
        return record.compare(self.scored)

    @cached_property
    def words(self) -> list[str]:
        """What the figures say, and what they cannot say, in sentences."""
        return record_words.words_of(self)

    @property
    def headline(self) -> str:
        """The record in one sentence."""
        return record_words.headline(self)

    def __str__(self) -> str:
        return "\n".join(self.words)


def backtest(
    sales: pd.DataFrame, settings: Settings | None = None, register: Any = None, *, folds: int = 4
) -> Backtest:
    """The record of the price model and of a shop's habits on the shop's own later sales.

    `sales`: any frame with the Sales columns, raw or clean, cleaned once; returned sales are left out unless the
    settings say otherwise. The last two fifths of the sales are scored, in `folds` stretches of about as many sales
    each; nothing of a later date takes part in a stretch's prices, variances or ranges. Sales that look like booking
    errors are scored like any other. Raises ValueError for fewer than one fold, and when no row can be used.
    """
    if folds < 1:
        raise ValueError(f"folds is a number of stretches from 1 on, not {folds}")
    used, *_ = usable_sales(sales, settings, register)
    if not len(used):
        raise ValueError(
            f"none of the {len(sales):,} sales can be used: each needs a readable date, a type and a price above zero"
        )
    fit, scored, stretches = None, [_nothing_scored()], []
    for number, (past, later) in enumerate(_stretches(used, folds), start=1):
        fit, part, calibrated = _score(past, later, fit)
        scored.append(part.assign(fold=number))
        stretches.append((number, later["sold_on"].min(), later["sold_on"].max(), len(past), len(later), calibrated))
    return Backtest(
        pd.concat(scored[1:] or scored, ignore_index=True),
        pd.DataFrame(stretches, columns=["fold", "first_day", "last_day", "n_past", "n_scored", "calibrated"]),
        np.nan if fit is None else float(np.sqrt(fit.posterior.noise_variance)), len(used),
    )


def _stretches(used: pd.DataFrame, folds: int) -> Iterator[tuple[pd.DataFrame, pd.DataFrame]]:
    """(past, later) of every stretch that has both; a day's sales stay together."""
    dates = used["sold_on"].to_numpy()
    places = (len(used) * np.linspace(FIRST_SCORED, 1.0, folds + 1)[:-1]).astype(int)
    starts = np.unique(np.searchsorted(dates, dates[places]))
    for start, stop in zip(starts, [*starts[1:], len(used)]):
        if start >= FEWEST_PAST:
            yield used.iloc[:start], used.iloc[start:stop]


def _score(
    past: pd.DataFrame, later: pd.DataFrame, before: RobustFit | None
) -> tuple[RobustFit, pd.DataFrame, bool]:
    """(fit to the past, scored later sales, whether its ranges are calibrated). `before`: fit of the stretch before,
    whose variances and weights are where this one starts."""
    past = one_family_a_type(past)
    family = later["canonical_type"].map(dict(zip(past["canonical_type"], past["family"])))
    later = later.assign(family=family.fillna(later["family"]))
    history = History.of(past, past["sold_on"].max().normalize())
    if before is None:
        fit = fit_effects(history, passes=PASSES[0])
    else:
        weights = np.ones(len(past))
        weights[: len(before.weights)] = before.weights
        fit = fit_effects(history, theta=before.posterior.theta, weights=weights, passes=PASSES[1])
    ranges = calibrate(history, fit)
    error, relative = errors_of(history, fit, later)
    sd = np.sqrt(fit.posterior.noise_variance * (1 + relative))
    paid = later["price_home"] / later["qty"]
    named = paid * np.exp(-error)
    out = later[list(DESCRIBED)].assign(richness=record.richness(past, later), paid=paid)
    out[record.MODEL] = named
    for name, habit in HABITS.items():
        out[name] = habit(past, later)
    for coverage in record.RANGES:
        half_width = sd * ranges.sale_multiplier(relative, coverage)
        for end, sign in zip(record.ends_of(coverage), (-1, 1)):
            out[end] = named * np.exp(sign * half_width)
    return fit, out.assign(z=error / sd), ranges.enough


def _nothing_scored() -> pd.DataFrame:
    ends = [end for coverage in record.RANGES for end in record.ends_of(coverage)]
    numbers = {name: pd.Series(dtype=float) for name in ("paid", *record.METHODS, *ends, "z", "fold")}
    return pd.DataFrame({name: pd.Series(dtype=object) for name in (*DESCRIBED, "richness")} | numbers)
