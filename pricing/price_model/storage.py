"""Saving and loading a fitted model: one zip of plain arrays and JSON, no pickle.

What is saved is the history (sales used), the variances, the weights and the coefficients; factors are made again on
loading, by the same arithmetic on the same numbers.
"""

from __future__ import annotations

import io
import json
import os
import zipfile
from collections.abc import Mapping
from dataclasses import asdict, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from pricing.price_model.block_arrow import factorise
from pricing.price_model.calibration import Calibration
from pricing.price_model.cross_products import CrossProducts
from pricing.price_model.design import TERMS
from pricing.price_model.fit import HISTORY_COLUMNS, NOISE_PRIOR, History
from pricing.price_model.fixed_effects import FIXED_NAMES, fixed_prior
from pricing.price_model.mixed_model import criterion_of
from pricing.price_model.model import PriceModel
from pricing.price_model.posterior import Posterior
from pricing.price_model.robust import RobustFit, spread_of
from pricing.problems import Problem
from pricing.register import load_register
from pricing.shop_tables import Settings

FORMAT = "tube shop price model"
VERSION = 2
_ARRAYS = ("theta", "weights", "residuals", "coefficients", "scores", "relative_variance")


def save_model(model: PriceModel, path: Path) -> None:
    """Write the model; an old file is replaced only once the new one is whole."""
    fit, calibration = model.fit, model.calibration
    arrays = {
        "theta": fit.posterior.theta, "weights": fit.weights, "residuals": fit.residuals,
        "coefficients": fit.posterior.coefficients, "scores": calibration.scores,
        "relative_variance": calibration.relative_variance,
    }
    sales, kinds = model.history.sales, {}
    for name in HISTORY_COLUMNS:
        values = sales[name]
        if pd.api.types.is_datetime64_any_dtype(values):
            kinds[name], arrays[f"sales {name}"] = "date", values.to_numpy("datetime64[ns]").astype("int64")
        elif pd.api.types.is_numeric_dtype(values):
            kinds[name], arrays[f"sales {name}"] = str(values.dtype), values.to_numpy()
        else:
            kinds[name], arrays[f"sales {name}"] = "text", values.astype(str).to_numpy(dtype=np.str_)
    about = {
        "format": FORMAT, "version": VERSION, "as_of": model.as_of.isoformat(), "columns": kinds,
        "terms": [term.name for term in TERMS], "fixed": list(FIXED_NAMES), "criterion": fit.criterion,
        "passes": fit.passes, "settings": _settings_fields(model.settings),
        "own_types": list(model.register.own_rows) if model.register is not None else [],
        "notes": model.notes, "problems": [asdict(problem) for problem in model.problems],
        "n_rows_given": model.n_rows_given,
    }
    part = path.with_name(path.name + ".part")
    with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("about.json", json.dumps(about, default=_plain))
        for name, array in arrays.items():
            buffer = io.BytesIO()
            np.save(buffer, array, allow_pickle=False)
            file.writestr(f"{name}.npy", buffer.getvalue())
    os.replace(part, path)


def load_model(path: Path | str) -> PriceModel:
    """The PriceModel saved at `path`. Raises ValueError naming the file and the reason when it cannot be used."""
    path = Path(path)
    try:
        with zipfile.ZipFile(path) as file:
            about = json.loads(file.read("about.json"))
            if about.get("format") != FORMAT or about.get("version") != VERSION:
                raise ValueError(f"it is not a price model of version {VERSION}")
            if about["terms"] != [term.name for term in TERMS] or about["fixed"] != list(FIXED_NAMES):
                raise ValueError("it was made by another version of the model: fit it again")
            names = [*_ARRAYS, *(f"sales {name}" for name in about["columns"])]
            arrays = {
                name: np.load(io.BytesIO(file.read(f"{name}.npy")), allow_pickle=False) for name in names
            }
        return _rebuild(about, arrays)
    except FileNotFoundError:
        raise
    except (zipfile.BadZipFile, KeyError, ValueError, TypeError, OSError, EOFError) as error:
        raise ValueError(f"{path} cannot be used as a price model: {error}") from error


def _rebuild(about: dict, arrays: dict[str, np.ndarray]) -> PriceModel:
    columns = {}
    for name, kind in about["columns"].items():
        values = arrays[f"sales {name}"]
        columns[name] = (
            values.astype("datetime64[ns]") if kind == "date" else values.astype(object) if kind == "text" else values
        )
    as_of, theta = pd.Timestamp(about["as_of"]), arrays["theta"]
    history = History.of(pd.DataFrame(columns), as_of)
    with threadpool_limits(1):
        products = CrossProducts.of(history.observations, history.y, arrays["weights"], fixed_prior())
        factor = factorise(products, theta)
        _, s2 = criterion_of(factor, products, NOISE_PRIOR)
        posterior = Posterior.of(history.layout, factor, theta, s2)
        spread = spread_of(products, posterior)
    if len(arrays["coefficients"]) != len(posterior.coefficients) or len(arrays["residuals"]) != len(history.y):
        raise ValueError("its parts do not fit one another")
    fit = RobustFit(
        replace(posterior, coefficients=arrays["coefficients"]), spread, arrays["weights"], arrays["residuals"],
        about["criterion"], about["passes"],
    )
    register = load_register().with_types(about["own_types"])[0] if about["own_types"] else None
    return PriceModel(
        history, fit, Calibration(arrays["scores"], arrays["relative_variance"]), as_of,
        _settings_of(about["settings"]), register, [Problem(**one) for one in about["problems"]], about["notes"],
        about["n_rows_given"],
    )


def _settings_fields(settings: Settings) -> dict[str, Any]:
    """The settings as JSON holds them: an item is read with the owner's own spellings."""
    out = {one.name: getattr(settings, one.name) for one in fields(Settings) if one.name != "problems"}
    return {name: sorted(value) if isinstance(value, frozenset) else _nested(value) for name, value in out.items()}


def _settings_of(stored: dict[str, Any]) -> Settings:
    """Settings from what `_settings_fields` gave."""
    exact = {"price_endings": tuple(stored["price_endings"]), "stated": frozenset(stored["stated"])}
    return Settings(**{**stored, **exact})


def _nested(value: Any) -> Any:
    return {key: _nested(one) for key, one in value.items()} if isinstance(value, Mapping) else value


def _plain(value: Any) -> Any:
    """JSON of numpy scalars."""
    return value.item() if isinstance(value, np.generic) else str(value)
