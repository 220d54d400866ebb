"""The price model's random effects: which there are, and where each item stands in them.

log price per tube = fixed effects (grade steps, reading, set size, matched, quantity, season: `fixed_effects`)
                   + random effects (TERMS) + noise.

Prior standard deviations are in log units. They are choices made before looking at a shop, of the size found in
simulated and open data; the shop's own sales move them (see `fit`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pricing.price_model.fixed_effects import MONTHS_A_YEAR, NOISE_SD, set_kind
from pricing.price_model.layout import RandomTerm
from pricing.shop_tables import GRADE_ORDER

NONE = -1
UNKNOWN = "unknown"

# Where a grade stands for the type's own slope of grade: best first, the others outside the order stand at 0.
GRADE_SCORE = dict(zip(GRADE_ORDER, (1.0, 0.6, 0.0, -0.4, -1.0)))


@dataclass(frozen=True)
class Term:
    """A random effect: a level is one combination of `columns`; rows whose last column is in `absent` have none.

    A walk has steps of `step_months`, standing at zero at the model's date; `scored` multiplies by the grade's score.
    """

    name: str
    columns: tuple[str, ...]
    prior_sd: float
    absent: tuple[str, ...] = ()
    step_months: int = 0
    scored: bool = False


TERMS = (
    Term("family", ("family",), 0.45),
    Term("type", ("canonical_type",), 0.72),
    Term("printed designation", ("canonical_type", "other_designation"), 0.06, absent=("",)),
    Term("maker", ("maker",), 0.32),
    Term("printed brand", ("brand",), 0.06, absent=(UNKNOWN,)),
    Term("era", ("era",), 0.10),
    Term("maker and era", ("maker", "era"), 0.18),
    Term("type and maker", ("canonical_type", "maker"), 0.22),
    Term("type, maker and era", ("canonical_type", "maker", "era"), 0.14),
    Term("variant", ("canonical_type", "variant"), 0.06, absent=(UNKNOWN,)),
    Term("variant of maker", ("canonical_type", "maker", "variant"), 0.12, absent=(UNKNOWN,)),
    Term("grade in family", ("family", "grade"), 0.06),
    Term("grade in type", ("canonical_type",), 0.06, scored=True),
    Term("set in family", ("family", "set_kind"), 0.05, absent=("single",)),
    Term("channel", ("channel",), 0.12),
    Term("market", ("everything",), 0.05, step_months=1),
    Term("market of family", ("family",), 0.03, step_months=12),
    Term("market of type", ("canonical_type",), 0.06, step_months=6),
)


def prior_theta() -> np.ndarray:
    """Prior standard deviations of TERMS relative to the noise."""
    return np.array([term.prior_sd for term in TERMS]) / NOISE_SD


def months_since(dates: pd.Series | pd.DatetimeIndex, first: pd.Timestamp) -> np.ndarray:
    """Whole months from the month of `first`."""
    dates = pd.DatetimeIndex(dates)
    return (dates.year.to_numpy() - first.year) * MONTHS_A_YEAR + dates.month.to_numpy() - first.month


def walk_basis(n_months: int, step_months: int) -> np.ndarray:
    """n_months by steps: how much of each step back from the last month lies between a month and the last one.

    Columns are scaled so that a coefficient of variance s2 a step is a random walk of variance s2 a year.
    """
    steps = max(int(np.ceil((n_months - 1) / step_months)), 0)
    back = (n_months - 1) - np.arange(n_months)[:, None]
    share = np.clip((back - step_months * np.arange(steps)[None, :]) / step_months, 0.0, 1.0)
    return share * np.sqrt(step_months / MONTHS_A_YEAR)


@dataclass(frozen=True)
class Design:
    """Levels met at the fit. `levels[term]` is the index of its combinations; months count from `first_month`."""

    levels: dict[str, pd.Index]
    first_month: pd.Timestamp
    last_month: pd.Timestamp
    owners: dict[str, np.ndarray]

    @classmethod
    def of(cls, sales: pd.DataFrame, as_of: pd.Timestamp) -> Design:
        """Design for clean sales, with its walks anchored at the month of `as_of`."""
        keys = Keys.of(sales)
        levels = {term.name: pd.Index(np.sort(keys.of_term(term)[1])) for term in TERMS}
        types = levels["type"]
        owners = {
            term.name: types.get_indexer([key.split(SEPARATOR)[0] for key in levels[term.name]])
            for term in TERMS if term.columns[0] == "canonical_type"
        }
        return cls(levels, sales["sold_on"].min(), as_of, owners)

    @property
    def n_months(self) -> int:
        """Months from the first sale to the model's date, both included."""
        return int(months_since(pd.DatetimeIndex([self.last_month]), self.first_month)[0]) + 1

    def step_months(self, term: Term) -> int:
        """Step of a walk: long histories take longer ones, so that a type keeps a dozen steps at most."""
        longest = self.n_months / 14
        return int(max(term.step_months, 1 if term.step_months == 1 else np.ceil(longest)))

    def basis(self, term: Term) -> np.ndarray | None:
        """Points by coefficients of a walk or of the grade's score, None for plain levels."""
        if term.step_months:
            return walk_basis(self.n_months, self.step_months(term))
        if term.scored:
            return np.array([[score] for score in (*GRADE_SCORE.values(), 0.0)])
        return None

    def terms(self, items: pd.DataFrame) -> list[RandomTerm]:
        """The random terms of clean items; a level the fit never met has code -1."""
        keys = Keys.of(items)
        out = []
        for term in TERMS:
            place, texts = keys.of_term(term)
            codes = np.append(self.levels[term.name].get_indexer(texts), NONE)[place]
            points = None
            if term.step_months:
                points = np.clip(months_since(items["sold_on"], self.first_month), 0, self.n_months - 1)
            elif term.scored:
                at = {grade: place for place, grade in enumerate(GRADE_SCORE)}
                points = np.array([at.get(grade, len(at)) for grade in items["grade"]])
            out.append(RandomTerm(term.name, codes, len(self.levels[term.name]), points, self.basis(term)))
        return out

    def missing(self, items: pd.DataFrame, terms: list[RandomTerm]) -> np.ndarray:
        """n by terms: the prior variance factor that an item carries for a level never met (0 where met or absent)."""
        keys = Keys.of(items)
        ahead = np.maximum(months_since(items["sold_on"], self.first_month) - (self.n_months - 1), 0)
        behind = np.maximum((self.n_months - 1) - months_since(items["sold_on"], self.first_month), 0)
        out = np.zeros((len(items), len(TERMS)))
        for number, (term, random) in enumerate(zip(TERMS, terms)):
            unmet = (random.codes < 0) & (keys.of_term(term)[0] != NONE)
            if term.step_months:
                # A walk goes on from the model's date; one never begun has gone all the way between.
                out[:, number] = np.where(unmet, ahead + behind, ahead) / MONTHS_A_YEAR
            elif term.scored:
                out[:, number] = unmet * random.basis[random.points, 0] ** 2
            else:
                out[:, number] = unmet
        return out


SEPARATOR = "\x1f"


@dataclass(frozen=True)
class Keys:
    """What names the levels of clean items: for each column the place of every row's text among the texts met."""

    places: dict[str, np.ndarray]
    texts: dict[str, np.ndarray]

    @classmethod
    def of(cls, items: pd.DataFrame) -> Keys:
        """Keys of clean items."""
        columns = {name: items[name] for name in {name for term in TERMS for name in term.columns} & {*items.columns}}
        columns["set_kind"] = set_kind(items["set_size"])
        columns["everything"] = np.zeros(len(items), int)
        printed, pooled = items["designation"].to_numpy(object), items["canonical_type"].to_numpy(object)
        columns["other_designation"] = np.where(printed == pooled, "", printed)
        places, texts = {}, {}
        for name, values in columns.items():
            places[name], met = pd.factorize(values, use_na_sentinel=False)
            texts[name] = np.asarray(met).astype(str).astype(object)
        return cls(places, texts)

    def of_term(self, term: Term) -> tuple[np.ndarray, np.ndarray]:
        """(place of each row's level among `texts`, NONE where it takes no part; the texts that name the levels)."""
        first, *others = term.columns
        combined = self.places[first].astype(np.int64)
        for name in others:
            combined = combined * len(self.texts[name]) + self.places[name]
        if term.absent:
            combined = np.where(np.isin(self.texts[term.columns[-1]], term.absent)[self.places[term.columns[-1]]], NONE,
                                combined)
        place, met = pd.factorize(combined)
        if term.absent and (met == NONE).any():
            skipped = int(np.flatnonzero(met == NONE)[0])
            place = np.where(place == skipped, NONE, place - (place > skipped))
            met = np.delete(met, skipped)
        parts = []
        for name in reversed(others):
            met, part = np.divmod(met, len(self.texts[name]))
            parts.append(self.texts[name][part])
        text = self.texts[first][met]
        for part in reversed(parts):
            text = text + SEPARATOR + part
        return place, text
