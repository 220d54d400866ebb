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
from typing import Any

import numpy as np
import pandas as pd

from pricing.price_model.design import GRADE_SCORE, SEPARATOR, TERMS, UNKNOWN
from pricing.price_model.fixed_effects import READING_KNOTS, fixed_columns
from pricing.price_model.model import PriceModel
from pricing.shop_tables import GRADES

_NAN = float("nan")
_SIZES = {"single": 1, "pair": 2, "quad": 4, "other": 3}
_KINDS = {size: kind for kind, size in _SIZES.items() if kind != "other"}


@dataclass(frozen=True)
class QuickPrice:
    """Effects of a fitted model by the words that name them (log units), at the model's date.

    `random`: columns, texts without an effect, whether it grows with the grade, and effects by level, of every term."""

    model: PriceModel
    random: tuple[tuple[tuple[str, ...], tuple[str, ...], bool, dict[str, float]], ...]
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
        random = tuple(
            (term.columns, term.absent, term.scored, dict(zip(model.history.design.levels[term.name],
                                                               by_term[term.name].tolist())))
            for term in TERMS if not term.step_months
        )
        fixed = posterior.coefficients[n_random:]
        base = {"grade": UNKNOWN, "reading_pct": _NAN, "set_size": 1, "matched": False, "qty": 1,
                "sold_on": model.as_of}
        sets = list(product(_SIZES, (False, True)))
        steps = [base, *({**base, "grade": grade} for grade in GRADES),
                 *({**base, "reading_pct": knot} for knot in READING_KNOTS),
                 *({**base, "set_size": _SIZES[kind], "matched": matched} for kind, matched in sets)]
        values = fixed_columns(pd.DataFrame(steps)) @ fixed
        first, grades, readings, of_sets = np.split(values, np.cumsum([1, len(GRADES), len(READING_KNOTS)]))
        return cls(
            model, random, dict(zip(GRADES, grades.tolist())), readings - first,
            dict(zip(sets, (of_sets - first).tolist())), model.type_families, model.usual_channel,
        )

    def fair_price(self, item: Mapping[str, Any]) -> float:
        """Fair price of a clean item (as `clean_item` gives it), per set in the shop's currency."""
        words = {
            **item, "set_kind": _KINDS.get(item["set_size"], "other"),
            "family": self.families.get(item["canonical_type"], item["family"]),
            "channel": self.usual_channel if item["channel"] == UNKNOWN else item["channel"],
            "other_designation": "" if item["designation"] == item["canonical_type"] else item["designation"],
        }
        if words["maker"] != UNKNOWN or words["brand"] == UNKNOWN:
            return float(np.exp(self._log(words)))
        mixture = self.model.mixture_of(pd.DataFrame([words]))
        logs = np.array([self._log({**words, "maker": maker}) for maker in mixture.pieces["maker"]])
        return float(np.exp(mixture.median(logs, np.sqrt(self.model.fit.posterior.noise_variance))[0]))

    def _log(self, words: Mapping[str, Any]) -> float:
        """Log price of a piece of one maker."""
        grade, reading = words["grade"], words["reading_pct"]
        log = self.grade[grade] + self.set[words["set_kind"], words["matched"]]
        log += float(np.interp(reading, READING_KNOTS, self.reading)) if reading == reading else 0.0
        for columns, absent, scored, effects in self.random:
            if words[columns[-1]] not in absent:
                effect = effects.get(SEPARATOR.join([words[name] for name in columns]), 0.0)
                log += effect * GRADE_SCORE.get(grade, 0.0) if scored else effect
        return min(max(log + math.log(words["set_size"]), -50.0), 50.0)
