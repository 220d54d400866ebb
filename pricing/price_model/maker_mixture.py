"""Pieces whose maker is attributed: each stands as several pieces of stated maker, weighted.

Its fair price is the median of the mixture, its ranges are quantiles. (The median came nearer to the truth of simulated
shops than exp of the mean of logs: tests/benchmarks/attribution.py.) Whether buyers pay for a maker that a brand only
hints at is the shop's own experience: `share_by_maker` is how far its past sales of this kind followed the attributed
makers' prices, and how far those of pieces of unknown maker.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import sparse, stats

from pricing.price_model.attribution import NOT_MET, UNKNOWN, Attribution, attribution_in_words
from pricing.price_model.fixed_effects import fixed_columns
from pricing.price_model.observations import Rows
from pricing.price_model.robust import DEGREES_OF_FREEDOM

if TYPE_CHECKING:
    from pricing.price_model.model import PriceModel

# Makers less likely than this are left out of a price, the others scaled up.
LEAST_PROBABILITY = 0.01
# Past sales of brand alone that are looked at (the newest), and how many at once.
MOST_SALES, AT_ONCE = 400, 100
# Prior of the share that sells by its maker: Beta(3, 1), as if two sales had followed their makers' prices.
PRIOR_FOLLOWING = 2.0
SOLD_AS_UNKNOWN = "; such pieces sold here more like those of unknown maker"


@dataclass(frozen=True)
class MakerMixture:
    """`pieces`: clean rows of stated maker (or left unknown); `item`: the place of the item each belongs to, in order;
    `weight` sums to one by item; `probability` is that of the maker."""

    pieces: pd.DataFrame
    item: np.ndarray
    weight: np.ndarray
    probability: np.ndarray

    @classmethod
    def of(cls, clean: pd.DataFrame, attribution: Attribution, by_maker: float) -> MakerMixture:
        """Items with each attributed maker in turn; `by_maker` is the weight of these, the rest is of maker unknown."""
        at, probability = attribution.probabilities(clean)
        plain = np.setdiff1d(np.arange(len(clean)), at)
        kept = np.where(probability < LEAST_PROBABILITY, 0.0, probability)
        weight = by_maker * kept / kept.sum(axis=1, keepdims=True)
        weight = np.column_stack([weight, np.full(len(at), 1 - by_maker)])
        makers = np.append(attribution.makers.to_numpy(object), UNKNOWN)
        row, maker = np.nonzero(weight)
        item = np.concatenate([plain, at[row]])
        order = np.argsort(item, kind="stable")
        names = np.concatenate([clean["maker"].to_numpy(object)[plain], makers[maker]])[order]
        pieces = clean.iloc[item[order]].assign(maker=names)
        probability = np.column_stack([probability, np.zeros(len(at))])
        ones = np.ones(len(plain))
        return cls(pieces, item[order], np.concatenate([ones, weight[row, maker]])[order],
                   np.concatenate([ones, probability[row, maker]])[order])

    @classmethod
    def plain(cls, clean: pd.DataFrame) -> MakerMixture:
        """Items as they are: none is attributed."""
        return cls(clean, np.arange(len(clean)), np.ones(len(clean)), np.ones(len(clean)))

    @property
    def n_items(self) -> int:
        """Number of items."""
        return int(self.item.max(initial=-1)) + 1

    def mean(self, values: np.ndarray) -> np.ndarray:
        """Weighted mean by item."""
        return np.bincount(self.item, self.weight * values, minlength=self.n_items)

    def variance(self, means: np.ndarray, variances: np.ndarray) -> np.ndarray:
        """Variance by item: within its pieces and between them."""
        return self.mean(variances + (means - self.mean(means)[self.item]) ** 2)

    def rows(self, rows: Rows) -> Rows:
        """Rows averaged by item."""
        average = sparse.csr_array((self.weight, (self.item, np.arange(len(self.item)))),
                                   shape=(self.n_items, len(self.item)))
        first = np.searchsorted(self.item, np.arange(self.n_items))
        return Rows((average @ rows.block).tocsr(), (average @ rows.border).tocsr(), average @ rows.fixed,
                    rows.block_codes[first])

    def median(self, means: np.ndarray, sd: float) -> np.ndarray:
        """Median by item of normal distributions about the means. One sd for all: where every mean rises, as with a
        better grade, the median does not fall."""
        return self._quantile(means, np.full(len(means), sd), 0.5)

    def range(self, means: np.ndarray, half_widths: np.ndarray, coverage: float) -> tuple[np.ndarray, np.ndarray]:
        """(lower, upper) bound by item of the central range; a piece's own is its mean less and plus its half width."""
        sd = half_widths / stats.norm.ppf((1 + coverage) / 2)
        return self._quantile(means, sd, (1 - coverage) / 2), self._quantile(means, sd, (1 + coverage) / 2)

    def _quantile(self, means: np.ndarray, sd: np.ndarray, share: float) -> np.ndarray:
        """Quantile by item of a mixture of normal distributions, by halving between the pieces' own."""
        own, sd = means + sd * stats.norm.ppf(share), np.maximum(sd, 1e-12)
        low, high = (np.full(self.n_items, fill) for fill in (np.inf, -np.inf))
        np.minimum.at(low, self.item, own)
        np.maximum.at(high, self.item, own)
        for _ in range(60 if (high > low).any() else 0):
            middle = (low + high) / 2
            below = self.mean(stats.norm.cdf((middle[self.item] - means) / sd)) < share
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.where(high > low, (low + high) / 2, low)

    def words(self) -> list[str]:
        """"maker attributed to X, 80 % sure" by item, "" for those that are not attributed."""
        unknown = self.mean((self.pieces["maker"] == UNKNOWN).to_numpy(float))
        out = []
        for (makers, probabilities), as_unknown in zip(self._attributed(), unknown):
            words = f"maker {attribution_in_words(makers, probabilities)}" if len(makers) else ""
            out.append(words + (SOLD_AS_UNKNOWN if words and as_unknown > 0.5 else ""))
        return out

    def likely_maker(self) -> np.ndarray:
        """By item its own maker, or the one attributed where it is likelier than not, else NOT_MET."""
        first = np.searchsorted(self.item, np.arange(self.n_items))
        out = self.pieces["maker"].to_numpy(object)[first]
        for at, (makers, probabilities) in enumerate(self._attributed()):
            if len(makers):
                best = int(np.argmax(probabilities))
                out[at] = makers[best] if probabilities[best] >= 0.5 else NOT_MET
        return out

    def _attributed(self) -> Iterator[tuple[np.ndarray, np.ndarray]]:
        """(makers, probabilities) by item, none where the item is a single piece."""
        makers = self.pieces["maker"].to_numpy(object)
        ends = np.searchsorted(self.item, np.arange(self.n_items + 1))
        for start, end in zip(ends[:-1], ends[1:]):
            there = slice(start, end if end - start > 1 else start)
            named = makers[there] != UNKNOWN
            yield makers[there][named], self.probability[there][named]


def share_by_maker(model: PriceModel, attribution: Attribution) -> tuple[float, int]:
    """(share of past sales of brand alone that sold by their attributed maker, number of sales looked at).

    Each sale is foretold with itself left out, once by its attributed makers and once as of unknown maker, and the
    share weighs the two densities ("stacking": Yao, Vehtari, Simpson & Gelman, Bayesian Analysis 13, 2018, cited from
    memory), averaged over its posterior.
    """
    sales, posterior, weights = model.history.sales, model.fit.posterior, model.fit.weights
    at = np.flatnonzero(attribution.attributed(sales))[-MOST_SALES:]
    logs = []
    for start in range(0, len(at), AT_ONCE):
        now = at[start:start + AT_ONCE]
        own = model.history.observations.take(now).rows()
        parts = MakerMixture.of(sales.iloc[now], attribution, 0.5)
        terms = model.history.design.terms(parts.pieces)
        rows = Rows.of(posterior.layout, terms, fixed_columns(parts.pieces))
        unmet = model.history.design.missing(parts.pieces, terms) @ posterior.theta**2
        with_own = rows.times(posterior.solve(own))[np.arange(len(parts.item)), parts.item]
        sale = now[parts.item]
        kept = np.clip(1 - weights[sale] * posterior.relative_variance(own)[parts.item], 1e-6, None)
        own_pull = weights[sale] * with_own / kept
        error = model.history.y[sale] - posterior.mean(rows) + own_pull * model.fit.residuals[sale]
        relative = posterior.relative_variance(rows) + unmet + own_pull * with_own
        sd = np.sqrt(posterior.noise_variance * (1 + relative))
        density = stats.t.pdf(error / sd, DEGREES_OF_FREEDOM) / sd
        by_maker = (parts.pieces["maker"] != UNKNOWN).to_numpy()
        logs.append([2 * parts.mean(density * by_maker), 2 * parts.mean(density * ~by_maker)])
    share = (np.arange(200) + 0.5) / 200
    log = PRIOR_FOLLOWING * np.log(share)
    for followed, unknown in (np.concatenate(logs, axis=1).T if logs else ()):
        log = log + np.log(share * followed + (1 - share) * unknown + 1e-300)
    posterior_share = np.exp(log - log.max())
    return float((share * posterior_share).sum() / posterior_share.sum()), len(at)
