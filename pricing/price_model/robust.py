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
from pricing.price_model.mixed_model import LogNormalPrior, NoisePrior, evaluate, newton_step
from pricing.price_model.observations import Observations, Rows
from pricing.price_model.posterior import Posterior

# Estimating nu along with everything else collapses on short histories: it is held.
DEGREES_OF_FREEDOM = 4.0
# Fisher information of a t location over what weights taken as known would give (Lange, Little & Taylor, section 4.2 of
# the paper, from memory): without it the fair price looks surer than it is wherever sales are many.
INFORMATION = (DEGREES_OF_FREEDOM + 1.0) / (DEGREES_OF_FREEDOM + 3.0)
# Settled: no deviation moves by this much more (log), nor weights by this on average.
SETTLED, WEIGHTS_SETTLED = 0.02, 0.002
# Leverages cost as much as the rest of a pass and move little: they are found once, when variances move less than this.
NEAR = 0.3


@dataclass(frozen=True)
class RobustFit:
    """Posterior at the last weights (mean 1), and the residuals about it.

    `spread` has the covariance that ranges come from: there a sale counts for the INFORMATION it holds.
    """

    posterior: Posterior
    spread: Posterior
    weights: np.ndarray
    residuals: np.ndarray
    criterion: float
    passes: int

    def relative_variance(self, rows: Rows) -> np.ndarray:
        """Variance of each row's combination in units of the noise variance."""
        return self.spread.relative_variance(rows) * self.spread.noise_variance / self.posterior.noise_variance


def t_weights(residuals: np.ndarray, leverage: np.ndarray | float, s2: float) -> np.ndarray:
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
    passes: int = 25,
    estimate_theta: bool = True,
    weights: np.ndarray | None = None,
    t_noise: bool = True,
) -> RobustFit:
    """Alternate one step of REML at the weights and the weights at the fit, until variances and weights settle.

    At the maximum the weights' mean is one; holding it there on the way takes far fewer passes (Kent, Tyler & Vardi,
    "A Curious Likelihood Identity for the Multivariate t-Distribution", Communications in Statistics - Simulation and
    Computation 23, 1994).
    With estimate_theta=False the variances stay as given and only effects, noise and weights are found.
    """
    weights = np.ones(len(y)) if weights is None else weights
    leverage = None
    for number in range(1, passes + 1):
        products = CrossProducts.of(observations, y, weights, fixed_prior)
        point = evaluate(products, theta, prior, noise_prior)
        posterior = Posterior.of(observations.layout, point.factor, theta, point.s2)
        step = newton_step(products, point, prior) if estimate_theta else np.zeros(len(theta))
        residuals = y - posterior.mean(observations)
        longest = np.abs(step).max(initial=0.0)
        if leverage is None and longest < NEAR and t_noise:
            leverage = posterior.leverage(observations)
        s2 = posterior.noise_variance
        new_weights = t_weights(residuals, 0.0 if leverage is None else leverage, s2) if t_noise else weights
        new_weights = new_weights / new_weights.mean()
        settled = longest < SETTLED and np.abs(new_weights - weights).mean() < WEIGHTS_SETTLED
        if settled or number == passes:
            spread = spread_of(products, posterior) if t_noise else posterior
            return RobustFit(posterior, spread, weights, residuals, point.value, number)
        theta, weights = theta * np.exp(step), new_weights
        del posterior, point  # a large factor: let go before the next is made


def spread_of(products: CrossProducts, posterior: Posterior) -> Posterior:
    """The posterior with every sale counted at INFORMATION: noise larger by that, random effects as they are."""
    theta = posterior.theta * np.sqrt(INFORMATION)
    return Posterior.of(posterior.layout, factorise(products, theta), theta, posterior.noise_variance / INFORMATION)
