"""Asks, sold and unsold, as evidence of fair prices.

A price model fitted to sales of a fixed-price shop knows only asks that sold. Three things set them right, piece by
piece: what the ask itself says of a piece the model hardly knows; how soon the pieces of its type sold at their asks;
how long it has stood itself. The fair price that comes out is the ask at which a piece sells at the shop's usual pace
(or in half the cases within `reference_days`).

  prior       log fair ~ N(m, c v): the model's, its variance calibrated by how far asks stray where v is large
  the ask     log ask - log fair ~ N(mean, ask_sd^2), the owner's own scatter: posterior precision 1/(c v) + 1/ask_sd^2
  time        the hazard of `sale_hazard`, with what is left of the piece's variance and an effect of its type

The hazard is learnt with every piece's own sales left out of its fair price: otherwise pieces that sold would seem to
have been asked at the fair price.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import optimize, stats
from threadpoolctl import threadpool_limits

from pricing.price_model.sale_hazard import Hazard, Listings, fit_hazard

if TYPE_CHECKING:
    from pricing.price_model.model import PriceModel

CUT_DAYS = 180  # a listing that stands longer is cut, so that its fair price may move
FEWEST_SOLD, FEWEST_UNSOLD = 40, 40
MOST_SPELLS = 4000  # the newest teach the hazard
CLEAR_ETA = 3.0  # standard errors eta must lie above zero
SCATTER_DEGREES_OF_FREEDOM = 10.0
_AT_ONCE = 200


@dataclass(frozen=True)
class AskScatter:
    """How the owner's asks stand to fair prices in log: their `mean` and `sd` about it, and the factor `inflation` on
    the model's own variance that the scatter of asks bears out (at most 1)."""

    mean: float
    sd: float
    inflation: float


@dataclass(frozen=True)
class AskEvidence:
    """What a shop's listings teach: hazard of sale, scatter of asks, spells they were learnt from."""

    hazard: Hazard
    scatter: AskScatter
    n_sold: int
    n_unsold: int


def learn_from_asks(model: PriceModel, spells: pd.DataFrame) -> AskEvidence | str:
    """The evidence of listing spells, or in words why there is none.

    `spells`: the descriptive item columns and `piece` (a stock code; its sales bear it as their sku), `canonical_type`,
    `ask` (a set), `from_date`, `days` (> 0), `sold`.
    """
    spells = spells.sort_values("from_date", kind="stable").tail(MOST_SPELLS)
    n_sold = int(spells["sold"].sum())
    n_unsold = len(spells) - n_sold
    if n_sold < FEWEST_SOLD or n_unsold < FEWEST_UNSOLD:
        return (f"no listing history to learn from: {n_sold:,} asks with a date that sold and {n_unsold:,} that did "
                f"not, {FEWEST_SOLD} of each are needed")
    cut = cut_spells(spells)
    log_fair, variance = left_out_fair(model, cut, cut["on"], cut["piece"].to_numpy())
    scatter = ask_scatter(np.log(cut["ask"].to_numpy(float)) - log_fair, variance, cut)
    hazard = fit_hazard(_listings(cut, log_fair, variance, scatter)[0])
    if hazard.eta < CLEAR_ETA * hazard.eta_sd:
        return (f"the listings do not show that a lower ask sells sooner (eta {hazard.eta:.1f}, standard error "
                f"{hazard.eta_sd:.1f})")
    return AskEvidence(hazard, scatter, n_sold, n_unsold)


def fair_given_asks(
    model: PriceModel, spells: pd.DataFrame, evidence: AskEvidence, reference_days: float | None = None
) -> tuple[pd.DataFrame, pd.Series]:
    """(by piece, by type): what the listings move in log fair prices.

    By piece, index `piece`: `log_change` to add to the model's log fair price, `sd` of the log fair price then,
    `by_time` the part of the change that time on the shelf makes. By type: the change for a piece not listed yet. With
    `reference_days` the fair price is the ask at which half the listings sell within so many days.
    """
    hazard = evidence.hazard
    cut = cut_spells(spells)
    quote = model.estimate(cut, on=cut["on"])
    log_fair = np.log(quote["fair_price"].to_numpy())
    variance = (np.log(quote["fair_high"] / quote["fair_low"]).to_numpy() / (2 * stats.norm.ppf(0.9))) ** 2
    listings, pull, pieces, types = _listings(cut, log_fair, variance, evidence.scatter)
    effects = hazard.effects(listings)
    kind = listings.kind_of_piece
    mode, spread = effects.total(kind)
    level = hazard.rho_of(reference_days) if reference_days else 0.0
    by_time = mode / hazard.eta
    sd = np.sqrt(spread / hazard.eta**2 + (by_time * hazard.eta_sd / hazard.eta) ** 2)
    by_piece = pd.DataFrame({"log_change": pull + by_time + level, "sd": sd, "by_time": by_time},
                            index=pd.Index(pieces, name="piece"))
    return by_piece, pd.Series(effects.kind / hazard.eta + level, index=types)


def cut_spells(spells: pd.DataFrame) -> pd.DataFrame:
    """Spells cut at CUT_DAYS, with `begin` and `end` in days of the ask; `sold` at the last, `on` its middle."""
    days = spells["days"].to_numpy(float)
    count = np.maximum(np.ceil(days / CUT_DAYS).astype(int), 1)
    at = np.repeat(np.arange(len(spells)), count)
    number = np.arange(len(at)) - np.repeat(np.cumsum(count) - count, count)
    begin = number * float(CUT_DAYS)
    end = np.minimum(begin + CUT_DAYS, days[at])
    out = spells.iloc[at].reset_index(drop=True)
    return out.assign(begin=begin, end=end, sold=out["sold"].to_numpy(bool) & (number == count[at] - 1),
                      on=out["from_date"] + pd.to_timedelta((begin + end) / 2, unit="D"), spell=at)


def left_out_fair(
    model: PriceModel, items: pd.DataFrame, on: pd.Series, sku: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(log fair price of the set, its variance) of items on their dates, each without the sales that bear its sku.

    With A the weights of the own sales in the item's price, H their weights in each other's, r their residuals and w
    their weights in the fit: mean - A (I - H)^-1 r, relative variance + A (I - H)^-1 A' / w (the leave-one-out
    identity, for a group; Cook & Weisberg, Residuals and Influence in Regression, 1982, from memory).
    """
    posterior, weights, residuals = model.fit.posterior, model.fit.weights, model.fit.residuals
    sales = model.history.sales
    clean = model.describe(items, on)
    rows, unmet = model.rows(clean)
    log_fair = posterior.mean(rows) + np.log(clean["set_size"].to_numpy(float))
    with threadpool_limits(1):
        relative = posterior.relative_variance(rows) + unmet
        places = {key: at for key, at in sales.groupby("sku").indices.items() if key != ""}
        met = np.flatnonzero([key in places for key in sku])
        own = np.unique(np.concatenate([places[key] for key in set(sku[met])])) if len(met) else np.zeros(0, int)
        among = {}
        for start in range(0, len(own), _AT_ONCE):
            part = own[start:start + _AT_ONCE]
            of_sales, _ = model.rows(sales.iloc[part])
            for at, line in zip(part, model.sale_weights(of_sales)):
                among[at] = line[places[sales["sku"].iat[at]]]
        for start in range(0, len(met), _AT_ONCE):
            part = met[start:start + _AT_ONCE]
            for item, line in zip(part, model.sale_weights(rows.take(part))):
                at = places[sku[item]]
                weight = line[at]
                left = np.eye(len(at)) - np.array([among[one] for one in at])
                log_fair[item] -= weight @ np.linalg.solve(left, residuals[at])
                relative[item] += weight @ np.linalg.solve(left, weight / weights[at])
    return log_fair, posterior.noise_variance * relative * model.calibration.inflation**2


def ask_scatter(rho: np.ndarray, variance: np.ndarray, cut: pd.DataFrame) -> AskScatter:
    """Scatter of log(ask / fair) about the mean of its type: sd^2 + inflation * variance, by t likelihood.

    What the owner gets wrong of a whole type falls to the types' effects of the hazard.
    """
    first = ~cut["spell"].duplicated().to_numpy()
    rho, variance, kind = rho[first], variance[first], pd.factorize(cut.loc[first, "canonical_type"])[0]
    count = np.bincount(kind)
    deviation = (rho - (np.bincount(kind, rho) / count)[kind]) / np.sqrt(np.maximum(1 - 1 / count[kind], 0.1))
    many = count[kind] >= 3
    if many.sum() < FEWEST_SOLD:
        many[:] = True
        deviation = rho - np.median(rho)
    square, variance, nu = deviation[many] ** 2, variance[many], SCATTER_DEGREES_OF_FREEDOM

    def lost(parameters):
        total = np.exp(2 * parameters[0]) + parameters[1] * variance
        return float((0.5 * np.log(total) + (nu + 1) / 2 * np.log1p(square / total / (nu - 2))).sum())

    found = optimize.minimize(lost, [np.log(0.2), 0.5], method="L-BFGS-B", bounds=[(np.log(0.03), 1.0), (0.0, 1.0)])
    return AskScatter(float(np.median(rho)), float(np.exp(found.x[0])), float(found.x[1]))


def _listings(cut: pd.DataFrame, log_fair: np.ndarray, variance: np.ndarray, scatter: AskScatter):
    """(Listings after the asks have spoken, what they moved by piece, pieces, types)."""
    piece, pieces = pd.factorize(cut["piece"])
    kind, types = pd.factorize(cut["canonical_type"])
    rho = np.log(cut["ask"].to_numpy(float)) - log_fair
    count = np.bincount(piece)
    known = scatter.inflation * np.bincount(piece, variance) / count
    trust = known / (known + scatter.sd**2)
    pull = trust * (np.bincount(piece, rho) / count - scatter.mean)
    listings = Listings.of(
        rho - pull[piece], cut["end"].to_numpy(float), cut["sold"].to_numpy(), begin=cut["begin"].to_numpy(float),
        kind=kind, piece=piece, variance=known * (1 - trust),
    )
    return listings, pull, pieces, types
