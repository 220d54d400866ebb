"""A fitted model as tables of factors, for a program that can look up and add and no more.

The log of a fair price is a sum of effects, each named by a few words of the description; every effect is a row. How
sure the sum is needs covariances; `Spreads` comes near it with sums alone, see there.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import product

import numpy as np
import pandas as pd
from scipy import stats

from pricing.price_model.build_up import GROUPS, WALKS, only
from pricing.price_model.calibration import RICHNESS_EDGES
from pricing.price_model.design import SEPARATOR, TERMS, UNKNOWN
from pricing.price_model.fixed_effects import FIXED_NAMES, READING_KNOTS, SET_SIZES, fixed_columns
from pricing.price_model.model import PriceModel
from pricing.price_model.robust import DEGREES_OF_FREEDOM
from pricing.price_model.spreads import Spreads
from pricing.shop_tables import CHANNELS, ERAS, GRADES

PLAIN_TERMS = tuple(term for term in TERMS if not term.step_months)
PAST = ("past level", "past level of family", "past level of type")
GROUP_OF = {term: group.factor for group in GROUPS for term in group.terms} | {
    "level": "shop", "season": "season", "every grade": "grade", "set and matching": "set",
    **dict(zip(PAST, ("shop", "family", "type"))),
}


@dataclass(frozen=True)
class PriceFactors:
    """`rows`: factor, parts (tuple of words), log. `readings`: log by READING_KNOTS, None for not stated; linear
    between them, flat outside. `types`: word, canonical_type, family, other_designation ("" where it is the type
    itself), met. `words`: by column of the description the words met. `attributed`: brands that tell of the maker.
    `multipliers`: of the 80 % range of one sale, by class of relative variance between RICHNESS_EDGES, where
    `calibrated`. `t80`, `z80`: half widths of the noise's and a normal 80 % range, in standard deviations."""

    rows: pd.DataFrame
    readings: dict[float | None, float]
    types: pd.DataFrame
    words: dict[str, list[str]]
    attributed: list[str]
    spreads: Spreads
    noise_variance: float
    multipliers: np.ndarray
    calibrated: bool
    inflation: float
    t80: float
    z80: float

    @classmethod
    def of(cls, model: PriceModel) -> PriceFactors:
        """Factors of `model` at its date."""
        types = _types(model)
        rows, readings = _fixed(model)
        middles = np.array([0.0, *RICHNESS_EDGES])
        return cls(
            pd.concat([_random(model), rows, _past(model)], ignore_index=True), readings, types, _words(model, types),
            sorted({*model.attribution.brands} - {UNKNOWN}), Spreads.of(model),
            float(model.fit.posterior.noise_variance), model.calibration.sale_multiplier(middles, 0.8),
            model.calibration.enough, model.calibration.inflation,
            float(stats.t.ppf(0.9, DEGREES_OF_FREEDOM)), float(stats.norm.ppf(0.9)),
        )


def _random(model: PriceModel) -> pd.DataFrame:
    """Every level of every random term but the walks, which stand at zero."""
    posterior = model.fit.posterior
    n_random = posterior.layout.n_block_columns + posterior.layout.n_border
    by_term = posterior.layout.by_term(posterior.coefficients[:n_random])
    return pd.concat([
        _rows(term.name, [tuple(key.split(SEPARATOR)) for key in model.history.design.levels[term.name]],
              by_term[term.name])
        for term in PLAIN_TERMS
    ])


def _fixed(model: PriceModel) -> tuple[pd.DataFrame, dict[float | None, float]]:
    """(rows of level, season, grades and sets; logs of readings)."""
    values = model.fit.posterior.coefficients[-len(FIXED_NAMES):]
    base = {"grade": UNKNOWN, "reading_pct": np.nan, "set_size": 1, "matched": False, "qty": 1, "sold_on": model.as_of}

    def logs(steps: list[dict[str, object]], *names: str) -> np.ndarray:
        wanted = np.array([name.split(":")[0] in names for name in FIXED_NAMES])
        return (fixed_columns(pd.DataFrame([{**base, **step} for step in steps])) * wanted) @ values

    sets = list(product(SET_SIZES, ("yes", "no")))
    rows = [
        _rows("level", [()], logs([{}], "level")), _rows("season", [()], logs([{}], "season")),
        _rows("every grade", [(grade,) for grade in GRADES], logs([{"grade": grade} for grade in GRADES], "grade")),
        _rows("set and matching", sets,
              logs([{"set_size": SET_SIZES[kind], "matched": matched == "yes"} for kind, matched in sets],
                   "set", "matched")),
    ]
    steps = [None, *READING_KNOTS]
    readings = logs([{"reading_pct": np.nan if step is None else step} for step in steps], "reading")
    return pd.concat(rows), dict(zip(steps, readings.tolist()))


def _past(model: PriceModel) -> pd.DataFrame:
    """What the market stood at on average over the history's sales, against the model's date."""
    sales, out = model.history.sales, []
    everything = model.history.observations.take(np.arange(model.n_sales)).rows()
    for walk, factor, column in zip(WALKS, PAST, ("", "family", "canonical_type")):
        logs = pd.Series(model.fit.posterior.mean(only(model.fit.posterior.layout, everything, (walk,))))
        by_word = logs.groupby(sales[column].to_numpy()).mean() if column else pd.Series({(): logs.mean()})
        out.append(_rows(factor, [(word,) if column else () for word in by_word.index], by_word.to_numpy()))
    return pd.concat(out)


def _types(model: PriceModel) -> pd.DataFrame:
    """Every designation and alias that the register knows or the shop sold, and what it is priced as."""
    register, sold = model.register, model.history.sales
    words = [*sold["canonical_type"].unique(), *sold["designation"].unique()]
    if register is not None:
        words += [*register.designations, *(alias for alias, _ in register.aliases)]
    words = list({word.casefold(): word for word in reversed(words) if word}.values())
    clean = model.describe(pd.DataFrame({"type": words}))
    types = pd.DataFrame({
        "word": words, "canonical_type": clean["canonical_type"].to_numpy(), "family": clean["family"].to_numpy(),
        "other_designation": clean["designation"].where(clean["designation"] != clean["canonical_type"], "").to_numpy(),
    })
    types["met"] = types["canonical_type"].isin(model.history.design.levels["type"])
    return types.sort_values("word", key=lambda words: words.str.casefold(), ignore_index=True)


def _words(model: PriceModel, types: pd.DataFrame) -> dict[str, list[str]]:
    """Words by column of the description, in the order of a drop-down."""
    own, channels = model.own_spellings, {*model.history.sales["channel"]}
    return {
        "canonical_type": sorted({*types["canonical_type"]}), "family": sorted({*types["family"]}),
        "other_designation": sorted({*types["other_designation"]} - {""}),
        "maker": sorted({*own["maker"].values()}, key=str.casefold), "variant": _unknown_first(own["variant"].values()),
        "brand": _unknown_first([*own["brand"].values(), *model.attribution.brands]),
        "era": list(ERAS), "grade": list(GRADES), "set_kind": list(SET_SIZES),
        "channel": [*CHANNELS, *sorted(channels - {*CHANNELS, UNKNOWN})],
    }


def _rows(factor: str, parts: list[tuple[str, ...]], logs: np.ndarray) -> pd.DataFrame:
    return pd.DataFrame({"factor": factor, "parts": parts, "log": logs})


def _unknown_first(words: Iterable[str]) -> list[str]:
    return [UNKNOWN, *sorted({*words} - {UNKNOWN}, key=str.casefold)]
