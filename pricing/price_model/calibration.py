"""Ranges calibrated on the shop's own later sales.

Forward conformal prediction: the model is fitted to the sales before a date and scored on those after it; the
quantiles of |error| over its predicted standard deviation, taken by how much is known of the piece, widen or narrow
the ranges of the final fit (Lei, G'Sell, Rinaldo, Tibshirani & Wasserman, "Distribution-Free Predictive Inference for
Regression", JASA 113, 2018, apply the idea to regression; here the split is by time).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from pricing.price_model.robust import DEGREES_OF_FREEDOM

# Relative variance (fair price's variance over the noise's) that parts rich from thin and thin from hardly known.
RICHNESS_EDGES = (0.25, 1.0)
ENOUGH_IN_CLASS = 120
ENOUGH_AT_ALL = 200


@dataclass(frozen=True)
class Calibration:
    """Scores |error| / sqrt(s2 (1 + relative variance)) of later sales, with their relative variance."""

    scores: np.ndarray
    relative_variance: np.ndarray

    @classmethod
    def none(cls) -> Calibration:
        """No later sales were scored."""
        return cls(np.zeros(0), np.zeros(0))

    @property
    def enough(self) -> bool:
        """Whether the history allowed calibrated ranges."""
        return len(self.scores) >= ENOUGH_AT_ALL

    def sale_multiplier(self, relative_variance: np.ndarray, coverage: float) -> np.ndarray:
        """Half width of a sale's range at `coverage`, in predicted standard deviations, by item."""
        nominal = nominal_multiplier(relative_variance, coverage)
        if not self.enough:
            return nominal * self.inflation
        out = np.full(len(relative_variance), _conformal(self.scores, coverage))
        own, theirs = (np.digitize(v, RICHNESS_EDGES) for v in (self.relative_variance, relative_variance))
        for kind in range(len(RICHNESS_EDGES) + 1):
            scores = self.scores[own == kind]
            if len(scores) >= ENOUGH_IN_CLASS:
                out[theirs == kind] = _conformal(scores, coverage)
        return out

    @property
    def inflation(self) -> float:
        """Factor on the model's own standard deviations: at least 1; 1.1 where too few sales were scored to tell."""
        if len(self.scores) < ENOUGH_AT_ALL // 4:
            return 1.1
        ratio = np.quantile(self.scores / nominal_multiplier(self.relative_variance, 0.8), 0.8)
        return float(np.clip(ratio, 1.0, 2.0))

    def coverage_of(self, coverage: float) -> float:
        """Share of scored sales inside the uncalibrated range of this coverage."""
        if not len(self.scores):
            return float("nan")
        return float(np.mean(self.scores <= nominal_multiplier(self.relative_variance, coverage)))


def nominal_multiplier(relative_variance: np.ndarray, coverage: float) -> np.ndarray:
    """Multiplier without calibration: t noise and a normal fair price, their quantiles added in squares."""
    t = stats.t.ppf((1 + coverage) / 2, DEGREES_OF_FREEDOM)
    z = stats.norm.ppf((1 + coverage) / 2)
    return np.sqrt((t**2 + z**2 * relative_variance) / (1 + relative_variance))


def _conformal(scores: np.ndarray, coverage: float) -> float:
    """The smallest score that covers: the ceil((n + 1) coverage)-th, the largest where n is too small."""
    rank = min(int(np.ceil((len(scores) + 1) * coverage)), len(scores))
    return float(np.sort(scores)[rank - 1])
