"""Student-t noise by reweighting: REML passes on weighted cross-products.

A t error with nu degrees of freedom is a normal one whose variance is divided by a hidden weight; given residual r
and leverage h (the fitted value's variance over s2) the weight's mean is (nu + 1) / (nu + r^2 / s2 + h)
(Lange, Little & Taylor, "Robust Statistical Modeling Using the t Distribution", JASA 84, 1989).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pricing.price_model.block_arrow import factorise
from pricing.price_model.cross_products import CrossProducts, FixedPrior
from pricing.price_model.mixed_model import LogNormalPrior, NoisePrior, criterion_of, newton_reml
from pricing.price_model.observations import Observations
from pricing.price_model.posterior import Posterior

# Estimating nu along with everything else collapses on short histories: it is held.
DEGREES_OF_FREEDOM = 4.0
SETTLED = 0.01


@dataclass(frozen=True)
class RobustFit:
    """Posterior at the last weights; `weights` and `leverage` (variance over s2) by sale."""

    posterior: Posterior
    weights: np.ndarray
    leverage: np.ndarray
    residuals: np.ndarray
    criterion: float
    evaluations: int
    passes: int


def t_weights(residuals: np.ndarray, leverage: np.ndarray, s2: float) -> np.ndarray:
    """Mean hidden weight of each observation."""
    return (DEGREES_OF_FREEDOM + 1.0) / (DEGREES_OF_FREEDOM + residuals**2 / s2 + leverage)


def fit_robust(
    observations: Observations,
    y: np.ndarray,
    *,
    theta: np.ndarray,
    prior: LogNormalPrior,
    noise_prior: NoisePrior,
    fixed_prior: FixedPrior | None,
    passes: int = 6,
    estimate_theta: bool = True,
    weights: np.ndarray | None = None,
    t_noise: bool = True,
) -> RobustFit:
    """Alternate REML at fixed weights and weights at the fit, until the variances settle.

    With estimate_theta=False the variances stay as given and only effects, noise and weights are found.
    """
    weights = np.ones(len(y)) if weights is None else weights
    evaluations = 0
    for number in range(1, passes + 1):
        products = CrossProducts.of(observations, y, weights, fixed_prior)
        before = theta
        if estimate_theta:
            theta, used = newton_reml(products, theta, prior=prior, noise_prior=noise_prior)
            evaluations += used
        factor = factorise(products, theta)
        criterion, s2 = criterion_of(factor, products, noise_prior)
        posterior = Posterior.of(observations.layout, factor, theta, s2)
        residuals = y - posterior.mean(observations)
        leverage = posterior.leverage(observations)
        settled = number > 2 and np.abs(np.log(theta / before)).max(initial=0.0) < SETTLED
        if not t_noise or number == passes or (settled and estimate_theta):
            break
        weights = t_weights(residuals, leverage, s2)
    return RobustFit(posterior, weights, leverage, residuals, criterion, evaluations, number)
