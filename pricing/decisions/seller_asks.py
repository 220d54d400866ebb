"""What an ask says of the fair price of the piece it is put on.

A low ask has two readings: the seller errs, or our fair price does. How far sellers err is learnt from the whole
batch: log(ask / our fair price) is the seller's own error plus ours, and ours is of known size, so the seller's can be
told apart ("deconvolution" by empirical Bayes: Efron, "Empirical Bayes deconvolution estimates", Biometrika 103, 2016,
from memory). Given that distribution, the posterior of each piece's true fair price is free of the winner's curse: what
looks cheapest is drawn back by as much as our own uncertainty deserves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

# The seller's error, log(ask / true fair price), on a grid.
GRID = np.linspace(-4, 4, 321)
_STEP = GRID[1] - GRID[0]
# Before any offer is seen sellers err about nought by a quarter (t with 4 degrees of freedom), as if so many had been.
PRIOR_SCALE, PRIOR_DEGREES_OF_FREEDOM, PRIOR_OFFERS = 0.25, 4, 10.0
FEWEST_TO_LEARN_FROM = 20
# Errors of the model's own fair prices over their standard deviation: tails of about t with 20 degrees of freedom
# (chosen with forty simulated shops of 1,000 and 3,000 sales in view; those of the benchmark are others).
FAIR_DEGREES_OF_FREEDOM = 20
_MOST_PASSES, _SETTLED = 300, 1e-7


@dataclass(frozen=True)
class SellerAsks:
    """How far sellers err: `share` of asks at each log(ask / true fair price) of GRID; `n` offers taught it."""

    share: np.ndarray
    n: int

    def posterior(self, log_gap: np.ndarray, fair_sd: np.ndarray) -> np.ndarray:
        """pieces by GRID: distribution of each seller's error, given log(ask / our fair price) and the standard
        deviation of the log of our fair price."""
        weight = self.share * _likelihood(log_gap, fair_sd)
        return weight / weight.sum(axis=1, keepdims=True)


def learn_asks(log_gap: np.ndarray, fair_sd: np.ndarray) -> SellerAsks:
    """Distribution of sellers' errors from a batch of offers; the prior alone under FEWEST_TO_LEARN_FROM.

    The mode under a Dirichlet prior worth PRIOR_OFFERS asks, by the EM algorithm for mixing distributions (Laird,
    Journal of the American Statistical Association 73, 1978).
    """
    prior = stats.t.pdf(GRID / PRIOR_SCALE, PRIOR_DEGREES_OF_FREEDOM)
    prior /= prior.sum()
    n = len(log_gap)
    if n < FEWEST_TO_LEARN_FROM:
        return SellerAsks(prior, 0)
    likelihood, share = _likelihood(log_gap, fair_sd), prior
    for _ in range(_MOST_PASSES):
        met = likelihood * share
        met /= met.sum(axis=1, keepdims=True)
        new = (PRIOR_OFFERS * prior + met.sum(axis=0)) / (PRIOR_OFFERS + n)
        settled, share = np.abs(new - share).max() < _SETTLED, new
        if settled:
            break
    return SellerAsks(share, n)


def chance_below(posterior: np.ndarray, log_limit: np.ndarray) -> np.ndarray:
    """Probability that each seller's error lies under its own limit; a cell of the grid counts in part."""
    inside = np.clip((np.asarray(log_limit)[:, None] - (GRID - _STEP / 2)) / _STEP, 0, 1)
    return (posterior * inside).sum(axis=1)


def marked(probability: np.ndarray, most_false: float) -> np.ndarray:
    """Whether each is in the longest list, the likeliest first, whose mean of 1 - probability stays at `most_false`.

    That mean is the expected share of false finds (Bayesian false discovery rate: Efron, Tibshirani, Storey & Tusher,
    Journal of the American Statistical Association 96, 2001).
    """
    order = np.argsort(-probability, kind="stable")
    expected = np.cumsum(1 - probability[order]) / np.arange(1, len(order) + 1)
    out = np.zeros(len(order), bool)
    out[order[expected <= most_false + 1e-12]] = True
    return out


def _likelihood(log_gap: np.ndarray, fair_sd: np.ndarray) -> np.ndarray:
    z = (np.clip(log_gap, GRID[0], GRID[-1])[:, None] - GRID) / np.maximum(fair_sd, 1e-3)[:, None]
    return stats.t.pdf(z, FAIR_DEGREES_OF_FREEDOM)
