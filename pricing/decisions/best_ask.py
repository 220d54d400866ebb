"""The ask that earns most when lower asks sell sooner: expected discounted money of sets sold one after another.

A set asked at p sells after T days, T by the Weibull hazard of `price_model.sale_hazard`. Money t days away is worth
exp(-k t) of today's, k the holding cost. Identical sets share one demand: the next is offered when the last is sold, so
that selling one also brings the next nearer. With n left

    V(n) = max over p of d(p) (net(p) - value + V(n - 1)),   d(p) = E exp(-k T),   V(0) = 0

`net` is what the price leaves after fees, tax, packing and returns; `value` what the set is worth unsold: what another
would cost, or what clearing it would bring. What was paid for a piece already owned is sunk and no part of it, except
where the tax on a margin depends on it. The ask is held until the set sells: best for a constant hazard (shape 1).
A log fair price known only to `sd`, and a hazard known only to its covariance, are averaged over, set by set: as asking
too much costs more time than asking too little costs money, doubt lowers the ask.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pricing.price_model.sale_hazard import Hazard

DAYS_A_YEAR = 365.25
FURTHEST = 3.0  # without bounds, asks from a third of the fair price to three times it are tried
_NODES, _WEIGHTS = np.polynomial.laguerre.laggauss(40)
_DOUBTS, _DOUBT_WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
_ASKS = 241


@dataclass(frozen=True)
class BestAsk:
    """`ask` that earns most, median `days` until a set sells there, `earned` the expected discounted money of all sets
    on hand over their value unsold, and `held_by` the bound that holds the ask: "lowest", "highest" or ""."""

    ask: float
    days: float
    earned: float
    held_by: str


def discount_factor(hazard: Hazard, rho: np.ndarray, holding_pct_year: float) -> np.ndarray:
    """E exp(-k T) at each log(ask / fair), (n,), by Gauss-Laguerre quadrature over the cumulative hazard at the sale,
    which is exponential; for shape 1 its closed form h / (h + k) with h the hazard a day."""
    k = np.log1p(holding_pct_year / 100) / DAYS_A_YEAR
    log_rate = hazard.pace - hazard.eta * np.asarray(rho, float)
    if abs(hazard.shape - 1) < 1e-9:
        return 1 / (1 + k * np.exp(-log_rate))
    return np.exp(-k * np.exp(-log_rate / hazard.shape)[:, None] * _NODES ** (1 / hazard.shape)) @ _WEIGHTS


def best_ask(
    hazard: Hazard, fair: float, net: Callable[[np.ndarray], np.ndarray], *, sd: float = 0.0, value: float = 0.0,
    units: int = 1, holding_pct_year: float = 12.0, lowest: float | None = None, highest: float | None = None,
) -> BestAsk:
    """The ask between `lowest` and `highest` that earns most with `units` identical sets on hand.

    `sd`: standard deviation of the log fair price. `net(asks)`: money a set leaves at each of an array of asks. Raises
    ValueError for a fair price or holding cost not above zero, fewer than one set, or bounds that leave no price.
    """
    if not fair > 0 or not holding_pct_year > 0 or units < 1:
        raise ValueError("a best ask needs a fair price and a holding cost above zero and at least one set")
    low = fair / FURTHEST if lowest is None else max(lowest, 0.01)
    high = fair * FURTHEST if highest is None else highest
    if high < low:
        raise ValueError(f"no price lies between {low:,.2f} and {high:,.2f}")
    asks = np.geomspace(low, high, _ASKS)
    rho = np.log(asks / fair)
    # What the listings leave open of the hazard's pace and fall, as doubt about the log fair price.
    slope = np.stack([np.ones(_ASKS), -rho], axis=1)
    of_hazard = ((slope @ hazard.covariance[:2, :2]) * slope).sum(1) / hazard.eta**2
    doubt = np.sqrt(sd**2 + of_hazard)
    factor = discount_factor(hazard, (rho[:, None] - doubt[:, None] * _DOUBTS).ravel(), holding_pct_year)
    factor = factor.reshape(_ASKS, -1) @ _DOUBT_WEIGHTS / _DOUBT_WEIGHTS.sum()
    left = net(asks) - value
    earned = 0.0
    for _ in range(units):
        outcomes = factor * (left + earned)
        at = int(outcomes.argmax())
        earned = float(outcomes[at])
    held_by = "lowest" if at == 0 else "highest" if at == _ASKS - 1 else ""
    return BestAsk(float(asks[at]), float(hazard.median_days(rho[at])), earned, held_by)
