"""Asks, sold and unsold, as evidence of fair prices.

A price model fitted to sales of a fixed-price shop knows only asks that sold. Three things set them right, piece by
piece: what the ask itself says of a piece the model hardly knows; how soon the pieces of its type, family and grade
sold at their asks; how long it has stood itself. The fair price that comes out is the ask at which a piece sells at the
shop's usual pace (or in half the cases within `reference_days`).

  prior       log fair ~ N(m_type + m_own, V_type + V_own): the model's, V_own as the scatter of asks bears it out
  the ask     log ask - log fair ~ N(mean, sd^2), the owner's own scatter: the type's mean ask speaks of m_type, what an
              ask strays from it of m_own, each with precision 1/V + 1/sd^2
  time        the hazard of `sale_hazard`, with what is left of V_own, an effect of the type, and coefficients of
              family, grade and season, drawn to zero where listings are few

The hazard is learnt with every piece's own sales left out of its fair price: otherwise pieces that sold would seem to
have been asked at the fair price.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pricing.price_model.ask_scatter import AskScatter, ask_scatter
from pricing.price_model.piece_fair import PieceFair, fair_of_pieces, left_out_fair
from pricing.price_model.sale_hazard import Hazard, Listings, fit_hazard

if TYPE_CHECKING:
    from pricing.price_model.model import PriceModel

CUT_DAYS = 90  # a listing that stands longer is cut, so that its fair price and the season may move
FEWEST_SOLD, FEWEST_UNSOLD = 40, 40
MOST_SPELLS = 4000  # the newest teach the hazard
CLEAR_ETA = 3.0  # standard errors eta must lie above zero
# Prior standard deviations of coefficients in log hazard: choices, not measurements.
FAMILY_SD, GRADE_SD, SEASON_SD = 0.4, 0.3, 0.3


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
    asked = _Asked.of(cut, left_out_fair(model, cut, cut["on"], cut["piece"].to_numpy()))
    scatter = ask_scatter(asked.rho, asked.own_variance, asked.kind)
    hazard = fit_hazard(asked.listings(scatter)[0])
    if not hazard.eta >= CLEAR_ETA * hazard.eta_sd:  # an error that cannot be computed is no proof either
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
    asked = _Asked.of(cut, fair_of_pieces(model, cut, cut["on"]))
    listings, pull = asked.listings(evidence.scatter)
    effects = hazard.effects(listings)
    mode, spread = effects.total(asked.kind)
    # Season passes; family and grade stay with the piece.
    standing = asked.covariates.standing
    first = np.unique(asked.piece, return_index=True)[1]
    mode = mode + listings.covariates[first][:, :standing] @ effects.coefficients[:standing]
    level = hazard.rho_of(reference_days) if reference_days else 0.0
    by_time = mode / hazard.eta
    sd = np.sqrt(spread / hazard.eta**2 + (by_time * hazard.eta_sd / hazard.eta) ** 2)
    by_piece = pd.DataFrame({"log_change": pull + by_time + level, "sd": sd, "by_time": by_time},
                            index=pd.Index(asked.pieces, name="piece"))
    of_family = pd.Series(effects.coefficients[:standing], index=asked.covariates.names[:standing])
    family = cut.drop_duplicates("canonical_type")["family"].map(lambda name: of_family[f"family {name}"]).to_numpy()
    return by_piece, pd.Series((effects.kind + family) / hazard.eta + level, index=asked.types)


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


@dataclass(frozen=True)
class _Covariates:
    """Family and grade as indicators, then the season: `x` (rows, p), prior `sd` and `names` (p,); the first `standing`
    columns do not change while a piece stands."""

    x: np.ndarray
    sd: np.ndarray
    names: list[str]
    standing: int

    @classmethod
    def of(cls, cut: pd.DataFrame) -> _Covariates:
        levels = [(f"{name} {level}", (cut[name] == level).to_numpy(float), sd)
                  for name, sd in (("family", FAMILY_SD), ("grade", GRADE_SD)) for level in cut[name].unique()]
        angle = 2 * np.pi * cut["on"].dt.day_of_year.to_numpy() / 365.25
        columns = [*levels, ("season, sine", np.sin(angle), SEASON_SD), ("season, cosine", np.cos(angle), SEASON_SD)]
        return cls(np.stack([values for _, values, _ in columns], 1), np.array([sd for _, _, sd in columns]),
                   [name for name, _, _ in columns], len(levels))


@dataclass(frozen=True)
class _Asked:
    """Asks beside fair prices: cut spells, log(ask / fair) of each (`row_rho`); by piece `rho`, `own_variance` and
    `kind`; `piece` of each row and what the codes of pieces and types stand for."""

    cut: pd.DataFrame
    row_rho: np.ndarray
    rho: np.ndarray
    own_variance: np.ndarray
    type_variance: np.ndarray
    kind: np.ndarray
    piece: np.ndarray
    pieces: pd.Index
    types: pd.Index
    covariates: _Covariates

    @classmethod
    def of(cls, cut: pd.DataFrame, known: PieceFair) -> _Asked:
        piece, pieces = pd.factorize(cut["piece"])
        row_kind, types = pd.factorize(cut["canonical_type"])
        count = np.bincount(piece)
        row_rho = np.log(cut["ask"].to_numpy(float)) - known.log_fair
        kind = np.zeros(len(count), int)
        kind[piece] = row_kind
        return cls(cut, row_rho, np.bincount(piece, row_rho) / count, np.bincount(piece, known.own_variance) / count,
                   known.type_variance, kind, piece, pieces, types, _Covariates.of(cut))

    def listings(self, scatter: AskScatter) -> tuple[Listings, np.ndarray]:
        """(Listings after the asks have spoken, what the asks move in the log fair price of each piece)."""
        owner, own = scatter.sd**2, scatter.borne_out(self.own_variance)
        precision = 1 / (own + owner)
        type_rho = np.bincount(self.kind, precision * self.rho) / np.bincount(self.kind, precision)
        of_type = self.type_variance / (self.type_variance + owner) * (type_rho - scatter.mean)
        pull = of_type[self.kind] + own * precision * (self.rho - type_rho[self.kind])
        cut, covariates = self.cut, self.covariates
        return Listings.of(
            self.row_rho - pull[self.piece], cut["end"], cut["sold"], begin=cut["begin"], kind=self.kind[self.piece],
            piece=self.piece, variance=own * owner * precision, covariates=covariates.x, covariate_sd=covariates.sd,
        ), pull
