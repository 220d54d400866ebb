"""What a fitted model says of itself, gathered as frames in the words of the Model sheet."""

from __future__ import annotations

from dataclasses import dataclass
from math import expm1
from typing import Any

import pandas as pd


@dataclass(frozen=True)
class ModelFacts:
    """`spread`: source, sd_pct. `effects`, `makers`: group, percent, low, high, n_sales. `index`: month,
    index, low, high. `outliers`: what, price, expected, z, row. `record`, `notes`: sentences. Everything
    "pct" is in percent.
    """

    noise_pct: float
    spread: pd.DataFrame
    effects: pd.DataFrame
    makers: pd.DataFrame
    index: pd.DataFrame
    outliers: pd.DataFrame
    record: list[str]
    notes: list[str]


def facts_of(model: Any, shop: Any) -> ModelFacts:
    """The facts of a fitted PriceModel."""
    summary = model.summary()
    effects = _percent(summary["effects"])
    effects["group"] = [f"{row.factor}: {row.level}, against {row.against}" for row in effects.itertuples()]
    outliers = model.outliers.sort_values("z", key=abs, ascending=False)
    return ModelFacts(
        noise_pct=_sd_pct(summary["noise_sd"]),
        spread=pd.DataFrame(
            [
                {"source": MEANINGS.get(name, name), "sd_pct": _sd_pct(sd)}
                for name, sd in summary["components"].items()
            ],
            columns=["source", "sd_pct"],
        ),
        effects=effects[effects["factor"] != "maker"],
        makers=effects[effects["factor"] == "maker"].sort_values("percent", ascending=False),
        index=model.time_index,
        outliers=outliers.assign(what=outliers["type"] + ": " + outliers["story"]),
        record=[],
        notes=list(model.notes),
    )


MEANINGS = {
    "family": "family: families of types have price levels of their own",
    "type": "type: types within a family differ",
    "maker": "maker: makers differ across all types they made",
}


def _sd_pct(sd: float) -> float:
    """A standard deviation of the log price as a percentage of the price: exp(sd) - 1."""
    return expm1(sd) * 100


def _percent(effects: pd.DataFrame) -> pd.DataFrame:
    out = effects.copy()
    for name, source in (("percent", "multiplier"), ("low", "low"), ("high", "high")):
        out[name] = (effects[source] - 1) * 100
    return out
