"""How soon listings sell at their asks: a hazard that falls with the ask, unsold listings censored.

A listing asked at rho = log(ask / fair) has by day t the cumulative hazard

    H(t) = exp(pace - eta (rho - u_piece) + s_kind + covariates) t^shape         (Weibull; shape 1 is a constant hazard)

u_piece ~ N(0, variance) is what nobody knows of the piece's log fair price, an error in variables that would otherwise
draw eta towards zero; s_kind ~ N(0, spread^2) is common to the pieces of a kind. A listing that sold counts with its
density, one that did not with its survival (Kalbfleisch & Prentice, The Statistical Analysis of Failure Time Data,
chapter 3; from memory). The random effects are integrated out by Laplace's approximation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import optimize

# Weak prior on the log spread of kinds, centre and standard deviation: a choice, not a measurement.
SPREAD_PRIOR = (np.log(0.5), 1.0)
_NEWTON_STEPS, _SETTLED, _LONGEST_STEP = 60, 1e-9, 2.0


@dataclass(frozen=True)
class Listings:
    """Spells at risk, n rows: a listing at one ask, whole or cut where its fair price has moved.

    `rho` log(ask / fair) and `begin`, `end` days since the ask began, (n,); `sold` whether it sold at `end`; `kind` and
    `piece` codes from 0, a piece belonging to one kind; `variance` (pieces,) of its log fair price; `covariates` (n, p)
    of the log hazard.
    """

    rho: np.ndarray
    begin: np.ndarray
    end: np.ndarray
    sold: np.ndarray
    kind: np.ndarray
    piece: np.ndarray
    variance: np.ndarray
    covariates: np.ndarray

    @classmethod
    def of(cls, rho, end, sold, *, begin=None, kind=None, piece=None, variance=None, covariates=None) -> Listings:
        """Listings of plain arrays; without kinds or variances those effects are nothing. Raises ValueError for an
        `end` not after its `begin`."""
        n = len(rho)
        begin = np.zeros(n) if begin is None else np.asarray(begin, float)
        end = np.asarray(end, float)
        if (end <= begin).any():
            raise ValueError(f"{int((end <= begin).sum())} spells end before they begin")
        piece = np.arange(n) if piece is None else np.asarray(piece)
        return cls(
            np.asarray(rho, float), begin, end, np.asarray(sold, float),
            np.zeros(n, int) if kind is None else np.asarray(kind), piece,
            np.zeros(piece.max(initial=-1) + 1) if variance is None else np.asarray(variance, float),
            np.zeros((n, 0)) if covariates is None else np.asarray(covariates, float),
        )

    @property
    def kind_of_piece(self) -> np.ndarray:
        """Kind of each piece."""
        out = np.zeros(len(self.variance), int)
        out[self.piece] = self.kind
        return out


@dataclass(frozen=True)
class Effects:
    """Posterior of the random effects at given parameters, in log hazard: modes of `kind` (s) and of `piece` (eta u),
    variance of each kind, and of each piece `own` (its variance given the kind) and `share` (how far it gives way when
    its kind moves)."""

    kind: np.ndarray
    piece: np.ndarray
    kind_variance: np.ndarray
    own: np.ndarray
    share: np.ndarray
    log_likelihood: float

    def total(self, kind_of_piece: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(mode, variance) of kind and piece together, by piece."""
        variance = self.own + (1 - self.share) ** 2 * self.kind_variance[kind_of_piece]
        return self.kind[kind_of_piece] + self.piece, variance


@dataclass(frozen=True)
class Hazard:
    """A fitted hazard of sale: `pace` the log cumulative hazard of the first day at the fair price, `eta` its fall with
    log ask, `shape` of the Weibull, `spread` standard deviation of kinds, `coefficients` of the covariates;
    `covariance` of (pace, eta, *coefficients, log shape, log spread)."""

    pace: float
    eta: float
    shape: float
    spread: float
    coefficients: np.ndarray
    covariance: np.ndarray

    @property
    def eta_sd(self) -> float:
        """Standard error of eta."""
        return float(np.sqrt(self.covariance[1, 1]))

    def effects(self, listings: Listings) -> Effects:
        """Posterior of the random effects of `listings` at the fitted parameters."""
        parameters = [self.pace, self.eta, *self.coefficients, np.log(self.shape)]
        if self.spread > 0:
            parameters.append(np.log(self.spread))
        return solve_effects(listings, np.array(parameters), len(self.coefficients), self.spread > 0)

    def median_days(self, rho=0.0):
        """Days by which half the listings at log(ask / fair) = rho have sold, at average kind and covariates of 0."""
        return (np.log(2) * np.exp(self.eta * np.asarray(rho) - self.pace)) ** (1 / self.shape)

    def rho_of(self, days: float) -> float:
        """log(ask / fair) at which half the listings sell within `days`."""
        return float((self.pace - np.log(np.log(2)) + self.shape * np.log(days)) / self.eta)


def fit_hazard(listings: Listings, *, with_kinds: bool = True) -> Hazard:
    """Maximum of the marginal likelihood. Raises ValueError when nothing sold."""
    if not listings.sold.sum():
        raise ValueError("no listing sold: a hazard cannot be fitted")
    p = listings.covariates.shape[1]
    from statsmodels.tools.numdiff import approx_hess3

    # Centred regressors and time in typical spells: the parameters are then nearly uncorrelated.
    unit = float(listings.end.mean())
    centre = np.concatenate([[listings.rho.mean()], listings.covariates.mean(0)])
    scale = np.concatenate([[listings.rho.std()], listings.covariates.std(0)])
    scale[scale == 0] = 1.0
    scaled = replace(
        listings, rho=(listings.rho - centre[0]) / scale[0], begin=listings.begin / unit, end=listings.end / unit,
        variance=listings.variance / scale[0] ** 2, covariates=(listings.covariates - centre[1:]) / scale[1:],
    )
    start = np.concatenate([[np.log(scaled.sold.sum() / (scaled.end - scaled.begin).sum()), 0.5], np.zeros(p), [0.0],
                            [SPREAD_PRIOR[0]] if with_kinds else []])

    def lost(parameters):
        spread_at = (parameters[3 + p] - SPREAD_PRIOR[0]) / SPREAD_PRIOR[1] if with_kinds else 0.0
        return spread_at**2 / 2 - solve_effects(scaled, parameters, p, with_kinds).log_likelihood

    bounds = [(-8, 8), (-8, 8), *[(-8, 8)] * p, (-2, 2), *([(-4, 2)] if with_kinds else [])]
    found = optimize.minimize(lost, start, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-13, "gtol": 1e-7})
    # Back to log(ask / fair), days and plain covariates: linear in the parameters but for the shape's part of the pace.
    shape = float(np.exp(found.x[2 + p]))
    slopes = found.x[1:2 + p] / scale
    pace = found.x[0] + slopes[0] * centre[0] - slopes[1:] @ centre[1:] - shape * np.log(unit)
    jacobian = np.eye(len(found.x))
    jacobian[1:2 + p, 1:2 + p] /= scale
    jacobian[0, 1:2 + p] = np.concatenate([[centre[0]], -centre[1:]]) / scale
    jacobian[0, 2 + p] = -shape * np.log(unit)
    covariance = jacobian @ np.linalg.pinv(approx_hess3(found.x, lost)) @ jacobian.T
    spread = float(np.exp(found.x[3 + p])) if with_kinds else 0.0
    return Hazard(float(pace), float(slopes[0]), shape, spread, slopes[1:], covariance)


def solve_effects(listings: Listings, parameters: np.ndarray, p: int, with_kinds: bool) -> Effects:
    """Posterior mode of kinds and pieces by Newton's method (the log posterior is concave), and Laplace's integral."""
    pace, eta, shape = parameters[0], parameters[1], np.exp(parameters[2 + p])
    omega2 = np.exp(2 * parameters[3 + p]) if with_kinds else 0.0
    kinds, kind_of_piece = int(listings.kind.max(initial=0)) + 1, listings.kind_of_piece
    q = eta**2 * listings.variance
    base = pace - eta * listings.rho + listings.covariates @ parameters[2:2 + p]
    exposure = np.exp(base) * (listings.end**shape - listings.begin**shape)
    at_risk = np.bincount(listings.piece, exposure, len(q))
    events = np.bincount(listings.piece, listings.sold, len(q))
    s, u = np.zeros(kinds), np.zeros(len(q))
    for _ in range(_NEWTON_STEPS):
        hazard = at_risk * np.exp(s[kind_of_piece] + u)
        # Precision-free form: everything is multiplied by the prior variances, which may be nothing.
        own = q / (1 + q * hazard)
        pull = own * (events - hazard) - own * np.divide(u, q, out=np.zeros_like(u), where=q > 0)
        grown = hazard / (1 + q * hazard)
        gain = np.bincount(kind_of_piece, events - hazard - hazard * pull, kinds)
        ds = (omega2 * gain - s) / (1 + omega2 * np.bincount(kind_of_piece, grown, kinds))
        du = pull - own * hazard * ds[kind_of_piece]
        longest = max(np.abs(ds).max(initial=0), np.abs(du).max(initial=0), 1e-300)
        step = min(1.0, _LONGEST_STEP / longest)
        s, u = s + step * ds, u + step * du
        if longest < _SETTLED:
            break
    hazard = at_risk * np.exp(s[kind_of_piece] + u)
    grown = hazard / (1 + q * hazard)
    precision = 1 + omega2 * np.bincount(kind_of_piece, grown, kinds)
    log_likelihood = (
        float((listings.sold * (base + np.log(shape) + (shape - 1) * np.log(listings.end))).sum())
        + float((events * (s[kind_of_piece] + u)).sum()) - float(hazard.sum())
        - 0.5 * float((np.divide(u**2, q, out=np.zeros_like(u), where=q > 0)).sum())
        - 0.5 * (float((s**2).sum() / omega2) if omega2 > 0 else 0.0)
        - 0.5 * float(np.log1p(q * hazard).sum()) - 0.5 * float(np.log(precision).sum())
    )
    own = q / (1 + q * hazard)
    return Effects(s, u, omega2 / precision, own, own * hazard, log_likelihood)
