"""The mixed model of listening scores.

    score = mean + type + maker + item + system + listener + listener x system + error

with all but the mean random: the scores decide how far an item heard a few times leans on its maker and type, and how
much of a score is the listener's strictness or the amplifier. A maker that is not known is a maker of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from pricing.decisions.listening_scores import ITEM, UNKNOWN
from pricing.price_model.block_arrow import average_information
from pricing.price_model.cross_products import CrossProducts
from pricing.price_model.layout import Layout, RandomTerm
from pricing.price_model.mixed_model import LogNormalPrior, NoisePrior, evaluate, fit_mixed_model
from pricing.price_model.observations import Observations, Rows
from pricing.price_model.posterior import Posterior
from pricing.price_model.robust import fit_robust

# Standard deviation of each effect over that of a single score, as the prior has it, and how sure that is (log). Common
# practice, no source: it only counts where the notes are few.
TERMS = {"item": 0.6, "type": 0.5, "maker": 0.5, "listener": 0.8, "system": 0.5, "listener x system": 0.3}
OF_AN_ITEM = ("item", "type", "maker")
PRIOR_SPREAD = 1.0
# Pairs of plausible standard deviations tried: few notes leave them open, and ranges that forget it are too narrow.
_PAIRS = 8
_SEED = 20_260_101


@dataclass(frozen=True)
class QualityModel:
    """Posterior of the effects, and the levels (labels, in the order of their codes) of every term that was fitted.

    A term that splits the notes as one before it does, or not at all, cannot be told apart and is left out.
    `prior_spread`: as in `fit_quality`.
    """

    posterior: Posterior
    levels: dict[str, pd.Index]
    observations: Observations
    weights: np.ndarray
    products: CrossProducts
    prior_spread: float | None

    @cached_property
    def plausible(self) -> tuple[Posterior, ...]:
        """Posteriors at other standard deviations that the notes allow; none of plain REML.

        Their logs are drawn in pairs, to either side, from the normal law at the mode, whose information is the average
        information and the prior's.
        """
        if self.prior_spread is None:
            return ()
        theta = self.posterior.theta
        here = evaluate(self.products, theta)
        information = average_information(self.products, here.factor, theta, here.s2) / 2
        information[np.diag_indices(len(information))] += 1.0 / self.prior_spread**2
        root = np.linalg.cholesky(np.linalg.inv(information))
        steps = np.random.default_rng(_SEED).standard_normal((_PAIRS, len(root))) @ root.T
        points = (evaluate(self.products, theta * np.exp(step)) for one in steps for step in (one, -one))
        return tuple(Posterior.of(self.posterior.layout, point.factor, point.theta, point.s2) for point in points)

    def rows(self, items: pd.DataFrame) -> tuple[Rows, np.ndarray]:
        """(rows of mean + type + maker + item of each item; whether a term never heard it, items by terms)."""
        labels = item_labels(items)
        terms, unmet = [], np.zeros((len(items), len(self.levels)))
        for number, name in enumerate(self.levels):
            codes = np.full(len(items), -1)
            if name in OF_AN_ITEM:
                codes = self.levels[name].get_indexer(labels[name])
                unmet[:, number] = codes < 0
            terms.append(RandomTerm(name, codes, len(self.levels[name])))
        return Rows.of(self.posterior.layout, terms, np.ones((len(items), 1))), unmet

    def mean_and_covariance(self, items: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
        """Posterior mean (n) of the items' qualities and covariance (n by n), on the scale of the scores.

        The covariance is that at each plausible set of standard deviations, averaged, and that of the means there (law
        of total variance).
        """
        rows, unmet = self.rows(items)
        mean = self.posterior.mean(rows)
        if not self.plausible:
            return mean, _covariance(self.posterior, rows, unmet)
        shifts = np.array([one.mean(rows) - mean for one in self.plausible])
        return mean, sum(_covariance(one, rows, unmet) for one in self.plausible) / len(shifts) \
            + shifts.T @ shifts / len(shifts)

    def own_share(self, items: pd.DataFrame, codes: np.ndarray) -> np.ndarray:
        """How far each item's quality follows its own notes (derivative by a shift of all of them); `codes`: item of
        each note."""
        influence = self.observations.times(self.posterior.solve(self.rows(items)[0])) * self.weights[:, None]
        return np.bincount(codes, influence[np.arange(len(codes)), codes], minlength=len(items))

    def effects(self, term: str) -> pd.DataFrame:
        """Effect and standard deviation by level of a term: columns level, effect, sd; empty where it was not fitted.

        Centred on the mean of the levels, as only differences are told.
        """
        if term not in self.levels:
            return pd.DataFrame({"level": pd.Series(dtype=str), "effect": [], "sd": []})
        n = len(self.levels[term])
        terms = [RandomTerm(name, np.arange(n) if name == term else np.full(n, -1), len(self.levels[name]))
                 for name in self.levels]
        rows = Rows.of(self.posterior.layout, terms, np.zeros((n, 1)))
        mean = self.posterior.mean(rows)
        covariance = centred(self.posterior.noise_variance * rows.times(self.posterior.solve(rows)))
        return pd.DataFrame({"level": self.levels[term], "effect": mean - mean.mean(),
                             "sd": np.sqrt(np.maximum(np.diag(covariance), 0.0))})

    def spreads(self) -> pd.DataFrame:
        """Standard deviation by source, on the scale of the scores: columns source, sd; "error" is what is left."""
        sd = np.sqrt(self.posterior.noise_variance)
        return pd.DataFrame({"source": [*self.levels, "error"], "sd": [*(sd * self.posterior.theta), sd]})


def fit_quality(notes: pd.DataFrame, prior_spread: float | None = PRIOR_SPREAD) -> QualityModel:
    """The model fitted to notes with `score`, `weight`, the columns of an item, `listener` and `system`.

    With `prior_spread` None by plain REML, as R's lme4 fits it; else the relative standard deviations have a log-normal
    prior of that spread, so that none is put to nought by chance. Raises ValueError where all scores are the same.
    """
    y = notes["score"].to_numpy(float)
    if len(y) < 2 or np.ptp(y) == 0:
        raise ValueError("the scores do not differ, so there is nothing to learn from them")
    weights = notes["weight"].to_numpy(float)
    levels, terms = _terms(notes)
    one = np.ones((len(y), 1))
    if prior_spread is None:
        fit = fit_mixed_model(y, one, terms, weights=weights, block="item")
        layout, posterior = fit.layout, Posterior.of(fit.layout, fit.factor, fit.theta, fit.residual_variance)
        observations = Observations.of(layout, terms, one)
        return QualityModel(posterior, levels, observations, weights, CrossProducts.of(observations, y, weights), None)
    layout = Layout.of(terms, "item", 1)
    observations = Observations.of(layout, terms, one)
    start = np.array([TERMS[name] for name in levels])
    fit = fit_robust(
        observations, y, theta=start, prior=LogNormalPrior(np.log(start), prior_spread), noise_prior=NoisePrior(),
        fixed_prior=None, weights=weights, t_noise=False,
    )
    products = CrossProducts.of(observations, y, weights)
    return QualityModel(fit.posterior, levels, observations, weights, products, prior_spread)


def _covariance(posterior: Posterior, rows: Rows, unmet: np.ndarray) -> np.ndarray:
    """Covariance of the rows' combinations; what was never heard has its term's whole variance."""
    covariance = rows.times(posterior.solve(rows)) + np.diag(unmet @ posterior.theta**2)
    return posterior.noise_variance * (covariance + covariance.T) / 2


def centred(covariance: np.ndarray) -> np.ndarray:
    """Covariance of the deviations from the mean of all."""
    out = covariance - covariance.mean(0)
    return out - out.mean(1)[:, None]


def item_labels(items: pd.DataFrame) -> dict[str, pd.Index]:
    """Label of every item in each of its terms."""
    of = {name: items[name].astype(str) for name in ITEM}
    item = of["canonical_type"].str.cat([of[name] for name in ITEM[1:]], sep="\x1f")
    maker = of["maker"].where(of["maker"] != UNKNOWN, "brand " + of["brand"])
    nobody = (of["maker"] == UNKNOWN) & (of["brand"] == UNKNOWN)
    labels = {"item": item, "type": of["canonical_type"], "maker": maker.where(~nobody, "maker of " + item)}
    return {name: pd.Index(label) for name, label in labels.items()}


def _terms(notes: pd.DataFrame) -> tuple[dict[str, pd.Index], list[RandomTerm]]:
    """Levels and random terms that can be told apart in these notes."""
    listener, system = notes["listener"].astype(str), notes["system"].astype(str)
    labels = item_labels(notes) | {
        "listener": pd.Index(listener), "system": pd.Index(system), "listener x system": pd.Index(
            listener + "\x1f" + system),
    }
    levels, terms = {}, []
    for name in TERMS:
        codes, met = pd.factorize(labels[name], sort=True)
        if len(met) < 2 and name != "item" or any(_same_split(codes, term.codes) for term in terms):
            continue
        levels[name] = pd.Index(met)
        terms.append(RandomTerm(name, codes, len(met)))
    return levels, terms


def _same_split(one: np.ndarray, other: np.ndarray) -> bool:
    """Whether two codings divide the notes alike."""
    pairs = len(np.unique(np.column_stack([one, other]), axis=0))
    return pairs == one.max() + 1 == other.max() + 1
