"""How an owner's asks stand to fair prices: their scatter, told apart from what the model does not know."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pricing.price_model.optimum import minimum

DEGREES_OF_FREEDOM = 10.0
FEWEST = 40
FEWEST_OF_A_TYPE = 3  # asks of a type from which on their scatter about its mean counts
# The model's own variance v is taken as factor * MIDDLE (v / MIDDLE)^power. Normal priors on the logs of factor and
# power, by their standard deviations: a choice made on simulated shops (seeds 401 to 408).
MIDDLE = 0.04
FACTOR_SD, POWER_SD = 0.5, 0.2
_LEAST = 1e-6


@dataclass(frozen=True)
class AskScatter:
    """log ask - log fair: its `mean`, its `sd` about the mean of its type, and `factor` and `power` that turn the
    model's own variance of a piece into what the asks bear out."""

    mean: float
    sd: float
    factor: float = 1.0
    power: float = 1.0

    def borne_out(self, own_variance: np.ndarray) -> np.ndarray:
        """Variance of log fair prices that the model's own stands for."""
        return self.factor * MIDDLE * (np.maximum(own_variance, _LEAST) / MIDDLE) ** self.power


def ask_scatter(rho: np.ndarray, own_variance: np.ndarray, kind: np.ndarray) -> AskScatter:
    """Scatter of log(ask / fair) of n pieces about the mean of their types (`kind`, codes): sd^2 + what the variance
    bears out, by t likelihood. What the owner gets wrong of a whole type is no part of it."""
    count = np.bincount(kind)
    deviation = (rho - (np.bincount(kind, rho) / count)[kind]) / np.sqrt(np.maximum(1 - 1 / count[kind], 0.1))
    many = count[kind] >= FEWEST_OF_A_TYPE
    if many.sum() < FEWEST:
        many[:] = True
        deviation = rho - np.median(rho)
    square, variance, nu = deviation[many] ** 2, own_variance[many], DEGREES_OF_FREEDOM

    def of(parameters) -> AskScatter:
        sd, factor, power = np.exp(parameters)
        return AskScatter(float(np.median(rho)), float(sd), float(factor), float(power))

    def lost(parameters):
        total = np.exp(2 * parameters[0]) + of(parameters).borne_out(variance)
        return float((0.5 * np.log(total) + (nu + 1) / 2 * np.log1p(square / total / (nu - 2))).sum()
                     + 0.5 * (parameters[1] / FACTOR_SD) ** 2 + 0.5 * (parameters[2] / POWER_SD) ** 2)

    bounds = [(np.log(0.03), 1.0), (-3.0, 1.5), (-1.0, 1.0)]
    return of(minimum(lost, [np.log(0.2), 0.0, 0.0], bounds)[0])
