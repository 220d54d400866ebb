"""Fitting the price model to a shop's sales."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from pricing.price_model.design import Design, prior_theta
from pricing.price_model.fixed_effects import FIXED_NAMES, NOISE_SD, READING_STEPS, fixed_columns, fixed_prior
from pricing.price_model.layout import Layout
from pricing.price_model.mixed_model import LogNormalPrior, NoisePrior
from pricing.price_model.observations import Observations, Rows
from pricing.price_model.robust import RobustFit, fit_robust
from pricing.shop_tables import GRADE_ORDER

BLOCK = "type"
# What a history keeps of a clean sale: enough to price, to compare and to find the row again.
HISTORY_COLUMNS = (
    "sheet", "row", "sold_on", "type", "designation", "canonical_type", "family", "maker", "brand", "era", "variant",
    "grade", "reading_pct", "set_size", "matched", "qty", "channel", "currency", "price", "price_home", "sku",
)
# Spread of the prior on log relative standard deviations, and what the prior on the noise counts for, in sales.
THETA_SPREAD = 0.35
NOISE_PRIOR = NoisePrior(NOISE_SD**2, 4.0)


@dataclass(frozen=True)
class History:
    """Sales as the model sees them: `sales` clean rows, `y` log price per tube in the shop's currency."""

    sales: pd.DataFrame
    y: np.ndarray
    design: Design
    observations: Observations

    @classmethod
    def of(cls, sales: pd.DataFrame, as_of: pd.Timestamp) -> History:
        """History of clean sales, its walks anchored at the month of `as_of`."""
        design = Design.of(sales, as_of)
        terms = design.terms(sales)
        layout = Layout.of(terms, BLOCK, len(FIXED_NAMES), design.owners)
        return cls(sales, log_tube_price(sales), design, Observations.of(layout, terms, fixed_columns(sales)))

    @property
    def layout(self) -> Layout:
        """Places of the coefficients."""
        return self.observations.layout


def log_tube_price(sales: pd.DataFrame) -> np.ndarray:
    """Log of the price per tube in the shop's currency."""
    tubes = sales["set_size"].to_numpy(float) * sales["qty"].to_numpy(float)
    return np.log(sales["price_home"].to_numpy(float) / tubes)


def fit_effects(
    history: History,
    *,
    theta: np.ndarray | None = None,
    passes: int = 25,
    estimate_theta: bool = True,
    weights: np.ndarray | None = None,
    ordered: bool = True,
    t_noise: bool = True,
) -> RobustFit:
    """The robust fit of a history, held in the known order of grades and readings."""
    centre = prior_theta()
    with threadpool_limits(1):  # small blocks: a second BLAS thread makes the fit several times slower
        fit = fit_robust(
            history.observations, history.y,
            theta=centre if theta is None else theta, prior=LogNormalPrior(np.log(centre), THETA_SPREAD),
            noise_prior=NOISE_PRIOR, fixed_prior=fixed_prior(), passes=passes, estimate_theta=estimate_theta,
            weights=weights, t_noise=t_noise,
        )
        if ordered:
            held = fit.posterior.held_in_order(order_rows(history))
            fit = replace(fit, posterior=held, residuals=history.y - held.mean(history.observations))
    return fit


def order_rows(history: History) -> Rows:
    """Differences that must not be negative: a better grade over the next worse in every type, family and at large,
    and every piece of the reading's rise."""
    sales = history.sales
    kinds = sales[["canonical_type", "family"]].drop_duplicates("canonical_type")
    families = sales["family"].unique()
    unseen = pd.DataFrame({"canonical_type": "\x00", "family": [*families, "\x00"]})
    kinds = pd.concat([kinds, unseen], ignore_index=True)
    items = kinds.assign(
        designation=kinds["canonical_type"], maker="\x00", brand="unknown", era="\x00", variant="unknown",
        reading_pct=np.nan, set_size=1, matched=False, qty=1, channel="\x00", sold_on=history.design.last_month,
    )
    layout = history.layout

    def at_grade(grade: str) -> Rows:
        graded = items.assign(grade=grade)
        return Rows.of(layout, history.design.terms(graded), fixed_columns(graded))

    by_grade = [at_grade(grade) for grade in GRADE_ORDER]
    steps = [better - worse for better, worse in zip(by_grade[:-1], by_grade[1:])]
    readings = np.zeros((len(READING_STEPS), len(FIXED_NAMES)))
    for number, name in enumerate(READING_STEPS):
        readings[number, FIXED_NAMES.index(name)] = 1.0
    return Rows.stack([*steps, Rows.outside_blocks(layout, len(readings), fixed=readings)])
