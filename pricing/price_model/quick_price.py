"""The fair price of single described pieces by look-up: what `PriceModel.estimate` gives, without its ranges.

A spreadsheet asks for one price a cell, thousands of times. The log price is a sum of effects, each of which depends on
a few words of the description, so their values are laid out once by those words and summed. Walks stand at zero at the
model's date.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product
from operator import itemgetter
from typing import Any

import numpy as np
import pandas as pd

from pricing.price_model.design import GRADE_SCORE, SEPARATOR, TERMS, UNKNOWN
from pricing.price_model.fixed_effects import READING_KNOTS, SET_SIZES, fixed_columns
from pricing.price_model.model import PriceModel
from pricing.shop_tables import GRADES
from pricing.shop_tables.vocabularies import plain

_NAN = float("nan")
_KINDS = {size: kind for kind, size in SET_SIZES.items() if kind != "other"}


@dataclass(frozen=True)
class QuickPrice:
    """Effects of a fitted model by the words that name them (log units), at the model's date.

    `random`: of every term what takes its level out of the words, the word that decides whether it has one, the texts
    that have none, whether it grows with the grade, and its effects by level."""

    model: PriceModel
    random: tuple[tuple[itemgetter, str, tuple[str, ...], bool, dict[Any, float]], ...]
    grade: dict[str, float]
    reading: np.ndarray
    set: dict[tuple[str, bool], float]
    families: dict[str, str]
    usual_channel: str

    @classmethod
    def of(cls, model: PriceModel) -> QuickPrice:
        """Effects of `model`."""
        posterior, layout = model.fit.posterior, model.fit.posterior.layout
        n_random = layout.n_block_columns + layout.n_border
        by_term = layout.by_term(posterior.coefficients[:n_random])
        random = []
        for term in TERMS:
            if not term.step_months:
                levels = (key.split(SEPARATOR) for key in model.history.design.levels[term.name])
                keys = (tuple(level) if len(level) > 1 else level[0] for level in levels)  # as itemgetter gives them
                random.append((itemgetter(*term.columns), term.columns[-1], term.absent, term.scored,
                               dict(zip(keys, by_term[term.name].tolist()))))
        fixed = posterior.coefficients[n_random:]
        base = {"grade": UNKNOWN, "reading_pct": _NAN, "set_size": 1, "matched": False, "qty": 1,
                "sold_on": model.as_of}
        sets = list(product(SET_SIZES, (False, True)))
        steps = [base, *({**base, "grade": grade} for grade in GRADES),
                 *({**base, "reading_pct": knot} for knot in READING_KNOTS),
                 *({**base, "set_size": SET_SIZES[kind], "matched": matched} for kind, matched in sets)]
        values = fixed_columns(pd.DataFrame(steps)) @ fixed
        first, grades, readings, of_sets = np.split(values, np.cumsum([1, len(GRADES), len(READING_KNOTS)]))
        return cls(
            model, tuple(random), dict(zip(GRADES, grades.tolist())), readings - first,
            dict(zip(sets, (of_sets - first).tolist())), model.type_families, model.usual_channel,
        )

    def fair_price(self, item: Mapping[str, Any]) -> float:
        """Fair price of a clean item (as `clean_item` gives it), per set in the shop's currency."""
        names = {column: known.get(plain(item[column]), item[column])
                 for column, known in self.model.own_spellings.items()}
        words = {
            **item, **names, "set_kind": _KINDS.get(item["set_size"], "other"),
            "family": self.families.get(item["canonical_type"], item["family"]),
            "channel": self.usual_channel if item["channel"] == UNKNOWN else item["channel"],
            "other_designation": "" if item["designation"] == item["canonical_type"] else item["designation"],
        }
        if words["maker"] != UNKNOWN or words["brand"] == UNKNOWN:
            return math.exp(self._log(words))
        mixture = self.model.mixture_of(pd.DataFrame([words]))
        logs = np.array([self._log({**words, "maker": maker}) for maker in mixture.pieces["maker"]])
        return math.exp(mixture.median(logs, np.sqrt(self.model.fit.posterior.noise_variance))[0])

    def _log(self, words: Mapping[str, Any]) -> float:
        """Log price of a piece of one maker."""
        grade, reading = words["grade"], words["reading_pct"]
        log = self.grade[grade] + self.set[words["set_kind"], words["matched"]]
        log += float(np.interp(reading, READING_KNOTS, self.reading)) if reading == reading else 0.0
        score = GRADE_SCORE.get(grade, 0.0)
        for level, deciding, absent, scored, effects in self.random:
            if absent and words[deciding] in absent:
                continue
            effect = effects.get(level(words))
            if effect is not None:
                log += effect * score if scored else effect
        return min(max(log + math.log(words["set_size"]), -50.0), 50.0)
