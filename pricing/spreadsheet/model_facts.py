"""What a fitted model says of itself, gathered as frames in the words of the Model sheet.

Read from `model.summary()`: one row a number, columns part, factor, level, value, low, high, n_sales, learnt.
Parts: "noise" and "component" (value: standard deviation of the log price), "effect" (value, low, high:
added to the log price).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

# What a component means, by its name in the model's design.
_MEANINGS = {
    "family": "families of types have price levels of their own",
    "type": "types within a family differ",
    "printed designation": "the same tube under another printed type number",
    "maker": "makers differ across all types they made",
    "printed brand": "the brand printed on it, whoever made it",
    "era": "decades of making differ",
    "maker and era": "a maker's good and poor years",
    "type and maker": "a maker's name counts for more in some types",
    "type, maker and era": "the single maker and decade of one type",
    "variant of maker": "plates, getters and bases of one maker",
    "variant": "plates, getters and bases",
    "grade in family": "grade counts for more in some families",
    "grade in type": "grade counts for more in some types",
    "set in family": "pairs and quads count for more in some families",
    "channel": "where it was sold",
    "market": "the whole market, over a year",
    "market of family": "a family against the market, over a year",
    "market of type": "a type against its family, over a year",
}
# What the levels of an effect are compared with.
_AGAINST = {
    "grade": "used, good",
    "reading": "100 % of nominal and above",
    "set": "a single tube, per tube",
    "matched": "a set not called matched",
    "channel": "the average channel",
    "maker": "the average maker",
    "era": "the average decade",
}


@dataclass(frozen=True)
class ModelFacts:
    """`spread`: source, sd_pct. `effects`, `makers`: group, percent, low, high, n_sales, learnt_pct. `n_doubtful`:
    suspected booking errors. `record`, `notes`: sentences. Everything "pct" is in percent.
    """

    noise_pct: float
    spread: pd.DataFrame
    effects: pd.DataFrame
    makers: pd.DataFrame
    n_doubtful: int
    record: list[str]
    notes: list[str]


def facts_of(model: Any) -> ModelFacts:
    """The facts of a fitted PriceModel. A model that keeps a record of unseen sales offers it as `record`
    (words).
    """
    summary = model.summary()
    noise, components, effects = (
        summary[summary["part"] == part] for part in ("noise", "component", "effect")
    )
    components = components.sort_values("value", ascending=False, kind="stable")
    return ModelFacts(
        noise_pct=float(_percent(noise["value"]).iloc[0]),
        spread=pd.DataFrame(
            {
                "source": [_meaning(name) for name in components["factor"]],
                "sd_pct": _percent(components["value"]),
            }
        ),
        effects=_effects(effects[effects["factor"] != "maker"]),
        makers=_effects(effects[effects["factor"] == "maker"]).sort_values(
            "percent", ascending=False, kind="stable"
        ),
        n_doubtful=len(model.outliers),
        record=list(getattr(model, "record", ())),
        notes=list(model.notes),
    )


def _meaning(name: str) -> str:
    return f"{name}: {_MEANINGS[name]}" if name in _MEANINGS else name


def _effects(effects: pd.DataFrame) -> pd.DataFrame:
    """Log effects as percentages of the price, each named with what it is compared with."""
    words = []
    for row in effects.itertuples():
        against = f", against {_AGAINST[row.factor]}" if row.factor in _AGAINST else ""
        words.append(f"{row.factor}: {row.level}{against}" if row.level else f"{row.factor}{against}")
    return pd.DataFrame(
        {
            "group": words,
            "percent": _percent(effects["value"]),
            "low": _percent(effects["low"]),
            "high": _percent(effects["high"]),
            "n_sales": effects["n_sales"],
            "learnt_pct": effects["learnt"] * 100,
        }
    )


def _percent(log: pd.Series) -> pd.Series:
    """exp(log) - 1 in percent: of an effect its change of the price, of a standard deviation one step
    upwards.
    """
    return np.expm1(log.astype(float)) * 100
