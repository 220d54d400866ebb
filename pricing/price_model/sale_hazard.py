"""How soon listings sell at their asks: a hazard that falls with the ask, unsold listings censored.

A listing asked at rho = log(ask / fair) has by day t the cumulative hazard

    H(t) = exp(pace - eta (rho - u_piece) + s_kind + x'b) t^shape         (Weibull; shape 1 is a constant hazard)

u_piece ~ N(0, variance) is what nobody knows of the piece's log fair price, an error in variables that would otherwise
draw eta towards zero; s_kind ~ N(0, spread^2) is common to the pieces of a kind; b ~ N(0, covariate_sd^2) are the
coefficients of covariates x. A listing that sold counts with its density, one that did not with its survival
(Kalbfleisch & Prentice, The Statistical Analysis of Failure Time Data, chapter 3; from memory). A piece's u is
integrated out by adaptive Gauss-Hermite quadrature (Liu & Pierce, Biometrika 81, 1994, from memory): Laplace's
approximation is too coarse where a piece has one spell, and drew eta from 6 to 4.3 at a variance of .08. The kinds,
with many spells each, are integrated out by Laplace's; b is held at its mode.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy import sparse

from pricing.price_model.optimum import minimum

# Weak prior on the log spread of kinds, centre and standard deviation: a choice, not a measurement.
SPREAD_PRIOR = (np.log(0.5), 1.0)
_NEWTON_STEPS, _SETTLED, _LONGEST_STEP = 60, 1e-9, 2.0
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(13)
_LOG_WEIGHTS = np.log(_WEIGHTS / np.sqrt(2 * np.pi)) + _NODES**2 / 2


@dataclass(frozen=True)
class Listings:
    """Spells at risk, n rows: a listing at one ask, whole or cut where its fair price has moved.

    `rho` log(ask / fair) and `begin`, `end` days since the ask began, (n,); `sold` whether it sold at `end`; `kind` and
    `piece` codes from 0, a piece belonging to one kind; `variance` (pieces,) of its log fair price; `covariates` (n, p)
    of the log hazard and `covariate_sd` (p,), the prior standard deviation of their coefficients, infinite for none.
    """

    rho: np.ndarray
    begin: np.ndarray
    end: np.ndarray
    sold: np.ndarray
    kind: np.ndarray
    piece: np.ndarray
    variance: np.ndarray
    covariates: np.ndarray
    covariate_sd: np.ndarray

    @classmethod
    def of(cls, rho, end, sold, *, begin=None, kind=None, piece=None, variance=None, covariates=None,
           covariate_sd=None) -> Listings:
        """Listings of plain arrays; without kinds or variances those effects are nothing. Raises ValueError for an
        `end` not after its `begin`."""
        n = len(rho)
        begin = np.zeros(n) if begin is None else np.asarray(begin, float)
        end = np.asarray(end, float)
        if (end <= begin).any():
            raise ValueError(f"{int((end <= begin).sum())} spells end before they begin")
        piece = np.arange(n) if piece is None else np.asarray(piece)
        covariates = np.zeros((n, 0)) if covariates is None else np.asarray(covariates, float)
        return cls(
            np.asarray(rho, float), begin, end, np.asarray(sold, float),
            np.zeros(n, int) if kind is None else np.asarray(kind), piece,
            np.zeros(piece.max(initial=-1) + 1) if variance is None else np.asarray(variance, float), covariates,
            np.full(covariates.shape[1], np.inf) if covariate_sd is None else np.asarray(covariate_sd, float),
        )

    @property
    def kind_of_piece(self) -> np.ndarray:
        """Kind of each piece."""
        out = np.zeros(len(self.variance), int)
        out[self.piece] = self.kind
        return out


@dataclass(frozen=True)
class Effects:
    """Posterior of the random effects at given parameters, in log hazard.

    `kind` mode of s and its `kind_variance`; of each piece the mean of eta u (`piece`), its variance given the kind
    (`own`), and how far it gives way when its kind moves (`share`); `coefficients` at their mode. `z` (pieces,) are
    modes of u in its standard deviations.
    """

    kind: np.ndarray
    piece: np.ndarray
    kind_variance: np.ndarray
    own: np.ndarray
    share: np.ndarray
    coefficients: np.ndarray
    z: np.ndarray
    log_likelihood: float

    def total(self, kind_of_piece: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(mean, variance) of kind and piece together, by piece."""
        variance = self.own + (1 - self.share) ** 2 * self.kind_variance[kind_of_piece]
        return self.kind[kind_of_piece] + self.piece, variance


@dataclass(frozen=True)
class Hazard:
    """A fitted hazard of sale: `pace` the log cumulative hazard of the first day at the fair price, `eta` its fall with
    log ask, `shape` of the Weibull, `spread` standard deviation of kinds, `coefficients` of the covariates;
    `covariance` of (pace, eta, log shape[, log spread])."""

    pace: float
    eta: float
    shape: float = 1.0
    spread: float = 0.0
    coefficients: np.ndarray = field(default_factory=lambda: np.zeros(0))
    covariance: np.ndarray = field(default_factory=lambda: np.zeros((3, 3)))

    @property
    def eta_sd(self) -> float:
        """Standard error of eta."""
        return float(np.sqrt(self.covariance[1, 1]))

    def effects(self, listings: Listings) -> Effects:
        """Posterior of the random effects of `listings` at the fitted parameters."""
        parameters = [self.pace, self.eta, np.log(self.shape), *([np.log(self.spread)] if self.spread > 0 else [])]
        return solve_effects(listings, np.array(parameters))

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
    # Centred regressors and time in typical spells: the parameters are then nearly uncorrelated.
    unit, centre, scale = float(listings.end.mean()), float(listings.rho.mean()), float(listings.rho.std()) or 1.0
    middle = listings.covariates.mean(0)
    scaled = replace(
        listings, rho=(listings.rho - centre) / scale, begin=listings.begin / unit, end=listings.end / unit,
        variance=listings.variance / scale**2, covariates=listings.covariates - middle,
    )
    start = [np.log(scaled.sold.sum() / (scaled.end - scaled.begin).sum()), 0.5, 0.0, SPREAD_PRIOR[0]]
    bounds = [(-8, 8), (-8, 8), (-2, 2), (-4, 2)]
    used = 4 if with_kinds else 3
    near = None

    def lost(parameters):
        nonlocal near
        near = solve_effects(scaled, parameters, near)
        spread_at = (parameters[3] - SPREAD_PRIOR[0]) / SPREAD_PRIOR[1] if with_kinds else 0.0
        return spread_at**2 / 2 - near.log_likelihood

    found, curvature = minimum(lost, start[:used], bounds[:used])
    best = solve_effects(scaled, found, near)
    # Back to log(ask / fair), days and plain covariates: linear in the parameters but for the shape's part of the pace.
    shape, eta = float(np.exp(found[2])), float(found[1] / scale)
    pace = float(found[0] + eta * centre - best.coefficients @ middle - shape * np.log(unit))
    jacobian = np.eye(used)
    jacobian[1, 1] = 1 / scale
    jacobian[0, 1:3] = centre / scale, -shape * np.log(unit)
    return Hazard(pace, eta, shape, float(np.exp(found[3])) if with_kinds else 0.0, best.coefficients,
                  jacobian @ np.linalg.pinv(curvature) @ jacobian.T)


def solve_effects(listings: Listings, parameters: np.ndarray, near: Effects | None = None) -> Effects:
    """Posterior of kinds, coefficients and pieces by Newton's method (their log posterior is concave), and the marginal
    likelihood, at `parameters` (pace, eta, log shape[, log spread]); the search begins at `near`."""
    pace, eta, shape = parameters[0], parameters[1], np.exp(parameters[2])
    omega2 = np.exp(2 * parameters[3]) if len(parameters) > 3 else 0.0
    x, piece, kind_of_piece = listings.covariates, listings.piece, listings.kind_of_piece
    kinds, pieces = int(listings.kind.max(initial=0)) + 1, len(listings.variance)
    sd, prior = eta * np.sqrt(listings.variance), 1 / listings.covariate_sd**2
    s, b, z = (np.zeros(kinds), np.zeros(x.shape[1]), np.zeros(pieces)) if near is None else (
        near.kind, near.coefficients, near.z)
    by_piece = sparse.csr_array((np.ones(len(piece)), (piece, np.arange(len(piece)))), shape=(pieces, len(piece)))
    by_kind = sparse.csr_array((np.ones(pieces), (kind_of_piece, np.arange(pieces))), shape=(kinds, pieces))
    events = by_piece @ listings.sold
    grown = listings.end**shape - listings.begin**shape
    for _ in range(_NEWTON_STEPS):
        base = pace - eta * listings.rho + x @ b
        exposure = np.exp(base) * grown
        at_risk = by_piece @ exposure
        one = _piece_integrals(at_risk * np.exp(s[kind_of_piece]), events, sd, z)
        z = one.z
        # Scores and informations; those of kinds are multiplied by their prior variance, which may be nothing. An
        # information is never negative, by concavity; the quadrature may err where sd is absurdly large.
        informed = np.maximum(one.hazard - one.hazard_variance, 0.0)
        precision = 1 + omega2 * (by_kind @ informed)
        ds = (omega2 * (by_kind @ (events - one.hazard)) - s) / precision
        share = exposure / at_risk[piece]
        x_piece = by_piece @ (share[:, None] * x)
        expected = share * one.hazard[piece]
        among = by_kind @ (informed[:, None] * x_piece)
        information = ((expected[:, None] * x).T @ x - (one.hazard_variance[:, None] * x_piece).T @ x_piece
                       + np.diag(prior) - omega2 * (among / precision[:, None]).T @ among)
        db = np.linalg.solve(information, x.T @ (listings.sold - expected) - prior * b - among.T @ ds)
        ds = ds - omega2 * (among @ db) / precision
        longest = max(np.abs(ds).max(initial=0), np.abs(x @ db).max(initial=0))
        if longest < _SETTLED:
            break
        step = min(1.0, _LONGEST_STEP / longest)
        s, b = s + step * ds, b + step * db
    log_likelihood = (
        float((listings.sold * (base + np.log(shape) + (shape - 1) * np.log(listings.end))).sum())
        + float((one.log_integral + events * s[kind_of_piece]).sum()) - 0.5 * float(prior @ b**2)
        - 0.5 * (float((s**2).sum() / omega2) if omega2 > 0 else 0.0) - 0.5 * float(np.log(precision).sum())
    )
    return Effects(s, sd * one.mean, omega2 / precision, sd**2 * one.variance, sd * one.covariance, b, z,
                   log_likelihood)


@dataclass(frozen=True)
class _PieceIntegrals:
    """Over z ~ N(0, 1), by piece: log of the integral of exp(events sd z - H), H = at_risk exp(sd z), and under its
    posterior mean and variance of H and z and their covariance; `z` its mode."""

    log_integral: np.ndarray
    hazard: np.ndarray
    hazard_variance: np.ndarray
    mean: np.ndarray
    variance: np.ndarray
    covariance: np.ndarray
    z: np.ndarray


def _piece_integrals(at_risk: np.ndarray, events: np.ndarray, sd: np.ndarray, z: np.ndarray) -> _PieceIntegrals:
    for _ in range(_NEWTON_STEPS):
        hazard = at_risk * np.exp(sd * z)
        dz = (sd * (events - hazard) - z) / (1 + sd**2 * hazard)
        z = z + np.clip(dz, -_LONGEST_STEP, _LONGEST_STEP)
        if np.abs(dz).max(initial=0) < _SETTLED:
            break
    width = 1 / np.sqrt(1 + sd**2 * at_risk * np.exp(sd * z))
    at = z[:, None] + width[:, None] * _NODES
    hazard = at_risk[:, None] * np.exp(sd[:, None] * at)
    height = _LOG_WEIGHTS + (events * sd)[:, None] * at - hazard - at**2 / 2
    top = height.max(1, initial=-np.inf)
    weight = np.exp(height - top[:, None])
    total = weight.sum(1)
    weight /= total[:, None]
    mean, mean_hazard = (weight * at).sum(1), (weight * hazard).sum(1)
    from_mean, from_hazard = at - mean[:, None], hazard - mean_hazard[:, None]
    return _PieceIntegrals(
        np.log(width * total) + top, mean_hazard, (weight * from_hazard**2).sum(1), mean,
        (weight * from_mean**2).sum(1), (weight * from_mean * from_hazard).sum(1), z,
    )
