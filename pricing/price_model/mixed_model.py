"""Linear mixed models with many crossed random effects, by profiled REML on cross-products.

The model of n observations is

    y = X beta + sum_k Z_k b_k + e,   b_k ~ N(0, s2 theta_k^2 I),   e_i ~ N(0, s2 / w_i).

With spherical effects u = b / theta the penalised least-squares system has the joint matrix

    J = [ L Z'WZ L + I   L Z'WX ]
        [ X'WZ L         X'WX   ],      L = diag(theta by column),

and, up to constants, minus twice the restricted log likelihood profiled over s2 is

    log|J| - sum log w + (n - p) (1 + log(2 pi s2)),   s2 = r2(theta) / (n - p)

(Bates, Maechler, Bolker, Walker, "Fitting Linear Mixed-Effects Models Using lme4", Journal of Statistical Software
67(1), 2015, sections 3.3-3.4). Its derivative by log theta_k is 2 [q_k - tr(J^-1)_kk - u_k'u_k / s2].

What lies in `block_arrow` and `cross_products` makes one evaluation cost the same for any number of observations.
Nothing in Python fits crossed effects at this size with weights, which is why this solver is ours.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import minimize

from pricing.price_model.block_arrow import Factor, average_information, factorise
from pricing.price_model.cross_products import CrossProducts
from pricing.price_model.layout import Layout, RandomTerm
from pricing.price_model.observations import Observations

LOG_THETA_BOUNDS = (-9.0, 5.0)
VANISHING = 1e-3
NEWTON_LONGEST = 1.5
# A gradient this short is within reach of `polish`.
NEWTON_NEAR = 0.01
# A relative deviation that would move by less than this (log) is found.
POLISHED = 1e-7


@dataclass(frozen=True)
class LogNormalPrior:
    """Weak prior on the relative standard deviations: log theta_k ~ N(centre_k, spread^2)."""

    centre: np.ndarray
    spread: float

    def penalty(self, log_theta: np.ndarray) -> tuple[float, np.ndarray]:
        """Minus twice the log density (without constants) and its gradient."""
        z = (log_theta - self.centre) / self.spread
        return float(z @ z), 2.0 * z / self.spread


@dataclass(frozen=True)
class NoisePrior:
    """Prior on the residual variance as `weight` observations of variance `variance` would give it."""

    variance: float = 0.0
    weight: float = 0.0


@dataclass(frozen=True)
class MixedFit:
    """A fitted mixed model. Variances are squared units of y; effects are on the scale of y."""

    layout: Layout
    theta: np.ndarray
    factor: Factor
    criterion: float
    residual_variance: float
    evaluations: int
    converged: bool
    variances: dict[str, float] = field(default_factory=dict)

    @property
    def fixed_effects(self) -> np.ndarray:
        """p vector of fixed effects."""
        return self.factor.fixed

    @property
    def fixed_covariance(self) -> np.ndarray:
        """p by p covariance of the fixed effects."""
        return self.residual_variance * self.factor.fixed_inverse

    @property
    def random_effects(self) -> dict[str, np.ndarray]:
        """Best linear predictions by term, one value a level (a row a level where a term has a basis)."""
        return self.layout.by_term(self.factor.random * self.layout.column_theta(self.theta))


def criterion_of(
    factor: Factor, products: CrossProducts, noise_prior: NoisePrior = NoisePrior()
) -> tuple[float, float]:
    """(minus twice the restricted log likelihood, s2) at the factor's theta."""
    degrees = max(products.n - products.n_flat, 0) + noise_prior.weight
    s2 = (factor.penalised_rss + noise_prior.weight * noise_prior.variance) / max(degrees, 1e-12)
    s2 = max(s2, 1e-12)
    value = factor.log_determinant - products.sum_log_weight + degrees * (1 + np.log(2 * np.pi * s2))
    return value, s2


@dataclass(frozen=True)
class Point:
    """The criterion at one theta, priors included: its value, its gradient by log theta, s2, and the factor."""

    theta: np.ndarray
    value: float
    gradient: np.ndarray
    s2: float
    factor: Factor


def evaluate(
    products: CrossProducts,
    theta: np.ndarray,
    prior: LogNormalPrior | None = None,
    noise_prior: NoisePrior = NoisePrior(),
) -> Point:
    """Minus twice the restricted log likelihood (plus that of the priors) at theta, with its gradient."""
    factor = factorise(products, theta)
    value, s2 = criterion_of(factor, products, noise_prior)
    gradient = 2.0 * (products.layout.level_counts - factor.inverse_trace - factor.sum_of_squares / s2)
    if prior is not None:
        penalty, slope = prior.penalty(np.log(theta))
        value, gradient = value + penalty, gradient + slope
    return Point(theta, value, gradient, s2, factor)


def newton_step(
    products: CrossProducts, point: Point, prior: LogNormalPrior, longest: float = NEWTON_LONGEST
) -> np.ndarray:
    """Step in log theta by the average information, no component longer than `longest`.

    The prior keeps the system well conditioned, so that a handful of steps find the maximum.
    """
    curvature = average_information(products, point.factor, point.theta, point.s2)
    curvature[np.diag_indices(len(curvature))] += 2.0 / prior.spread**2
    step = -np.linalg.solve(curvature, point.gradient)
    return step * min(1.0, longest / np.abs(step).max(initial=1e-12))


def maximise_reml(products: CrossProducts, start: np.ndarray) -> tuple[Point, int, bool]:
    """(point, evaluations, converged) that maximises the restricted likelihood.

    Newton steps on the average information come within reach in a handful of evaluations; where they do not, as when a
    variance vanishes and the criterion is flat, L-BFGS-B goes on within bounds.
    """
    point, evaluations = _newton(products, np.clip(start, *np.exp(LOG_THETA_BOUNDS)))
    if np.abs(point.gradient).max(initial=0.0) < NEWTON_NEAR and not np.any(point.theta < VANISHING):
        return point, evaluations, True

    def objective(log_theta: np.ndarray) -> tuple[float, np.ndarray]:
        point = evaluate(products, np.exp(log_theta))
        return point.value, point.gradient

    found = minimize(
        objective, np.log(point.theta), jac=True, method="L-BFGS-B",
        bounds=[LOG_THETA_BOUNDS] * products.layout.n_terms,
        options={"ftol": 1e-15, "gtol": 1e-7, "maxiter": 200, "maxcor": 20},
    )
    return evaluate(products, np.exp(found.x)), evaluations + int(found.nfev) + 1, bool(found.success)


def _newton(products: CrossProducts, start: np.ndarray, steps: int = 15) -> tuple[Point, int]:
    """(point, evaluations) after steps on the average information, each shortened until the criterion falls."""
    point, evaluations = evaluate(products, start), 1
    for _ in range(steps if len(start) else 0):
        curvature = average_information(products, point.factor, point.theta, point.s2)
        curvature[np.diag_indices(len(curvature))] += 1e-3 * np.trace(curvature) / len(curvature)
        step = -np.linalg.lstsq(curvature, point.gradient, rcond=None)[0]
        step *= min(1.0, NEWTON_LONGEST / np.abs(step).max(initial=1e-12))
        for _ in range(6):
            trial = evaluate(products, np.clip(point.theta * np.exp(step), *np.exp(LOG_THETA_BOUNDS)))
            evaluations += 1
            if trial.value <= point.value:
                break
            step = step / 3.0
        else:
            break
        point = trial
        if np.abs(point.gradient).max() < NEWTON_NEAR or np.any(point.theta < VANISHING):
            break
    return point, evaluations


def polish(products: CrossProducts, point: Point, steps: int = 8) -> tuple[Point, int]:
    """(point, evaluations) carried on by the gradient, which near the optimum tells more than the criterion's digits.

    A step is kept while it shortens the gradient; terms at zero variance stay where they are.
    """
    free = np.log(point.theta) > LOG_THETA_BOUNDS[0] + 0.5
    if not free.any():
        return point, 0
    curvature = average_information(products, point.factor, point.theta, point.s2)[np.ix_(free, free)]
    for number in range(steps):
        step = np.zeros(len(point.theta))
        step[free] = -np.linalg.lstsq(curvature, point.gradient[free], rcond=1e-10)[0]
        if np.abs(step).max() < POLISHED:
            return point, number
        trial = evaluate(products, point.theta * np.exp(step))
        if np.abs(trial.gradient[free]).max() >= np.abs(point.gradient[free]).max() or np.abs(step).max() > 0.1:
            return point, number + 1
        # What the step taught of the curvature (symmetric rank one; Nocedal & Wright, Numerical Optimization, 6.2).
        missed = (trial.gradient - point.gradient)[free] - curvature @ step[free]
        if abs(missed @ step[free]) > 1e-8 * np.linalg.norm(missed) * np.linalg.norm(step):
            curvature = curvature + np.outer(missed, missed) / (missed @ step[free])
        point = trial
    return point, steps


def fit_mixed_model(
    y: np.ndarray,
    x: np.ndarray,
    terms: list[RandomTerm],
    *,
    weights: np.ndarray | None = None,
    block: str | None = None,
    start: np.ndarray | None = None,
) -> MixedFit:
    """REML fit of a linear mixed model with crossed random intercepts.

    y: n vector; x: n by p matrix of full column rank; terms: random terms; weights: n vector of positive prior
    weights; block: name of the term whose levels split the data (terms nested in it are eliminated level by level).
    Raises ValueError when x lacks full column rank.
    """
    y, x = np.asarray(y, float), np.asarray(x, float)
    if np.linalg.matrix_rank(x) < x.shape[1]:
        raise ValueError(f"x has {x.shape[1]} columns but rank {np.linalg.matrix_rank(x)}: drop the redundant ones")
    layout = Layout.of(terms, block, x.shape[1])
    weights = np.ones(len(y)) if weights is None else np.asarray(weights, float)
    products = CrossProducts.of(Observations.of(layout, terms, x), y, weights)
    start = np.ones(layout.n_terms) if start is None else start
    point, evaluations, converged = maximise_reml(products, start)
    if np.any(point.theta < VANISHING):
        # Near zero the criterion is flat, and a long first step may have landed there: look from nearby as well.
        other, more, also = maximise_reml(products, 0.2 * start)
        evaluations += more
        if other.value < point.value:
            point, converged = other, also
    point, more = polish(products, point)
    evaluations += more
    variances = {name: float(point.s2 * t**2) for name, t in zip(layout.names, point.theta)}
    return MixedFit(layout, point.theta, point.factor, point.value, point.s2, evaluations, converged, variances)
