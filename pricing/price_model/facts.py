"""What a fitted model says of itself: components, effects, left-out errors, record."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import sparse, stats

from pricing.price_model.calibration import ENOUGH_AT_ALL
from pricing.price_model.design import SEPARATOR, TERMS
from pricing.price_model.fixed_effects import FIXED_NAMES
from pricing.price_model.observations import Rows
from pricing.shop_tables import GRADE_ORDER

if TYPE_CHECKING:
    from pricing.price_model.model import PriceModel

SUSPECT_Z = 5.0
# Effects of one level each, shown in full.
SHOWN_TERMS = ("maker", "channel", "era")


def summary(model: PriceModel) -> pd.DataFrame:
    """See PriceModel.summary."""
    posterior = model.fit.posterior
    noise = np.sqrt(posterior.noise_variance)
    out = [("noise", "noise", "", noise, np.nan, np.nan, model.n_sales, np.nan)]
    for term, theta in zip(TERMS, posterior.theta):
        out.append(("component", term.name, "", theta * noise, np.nan, np.nan, model.n_sales, np.nan))
    z, theta_of = stats.norm.ppf(0.9), dict(zip(posterior.layout.names, posterior.theta))
    for factor, level, row, count in [*_fixed_effects(model), *_level_effects(model)]:
        value = float(posterior.mean(row)[0])
        relative = float(model.fit.relative_variance(row)[0])
        sd = np.sqrt(posterior.noise_variance * relative)
        learnt = 1 - relative / theta_of[factor] ** 2 if factor in SHOWN_TERMS else np.nan
        out.append(("effect", factor, level, value, value - z * sd, value + z * sd, count, learnt))
    return pd.DataFrame(out, columns=["part", "factor", "level", "value", "low", "high", "n_sales", "learnt"])


def _fixed_effects(model: PriceModel) -> list[tuple[str, str, Rows, int]]:
    """Grades against 'used, good', readings against 100 %, sets against singles, as combinations of fixed effects."""
    sales = model.history.sales
    base = GRADE_ORDER.index("used, good")
    out = []
    for place, grade in enumerate(GRADE_ORDER):
        if place == base:
            continue
        steps = range(place, base) if place < base else range(base, place)
        names = [f"grade: {GRADE_ORDER[step]} over {GRADE_ORDER[step + 1]}" for step in steps]
        row = _combination(model, names, 1.0 if place < base else -1.0)
        out.append(("grade", grade, row, int((sales["grade"] == grade).sum())))
    for grade in ("pulled or untested", "for parts", "unknown"):
        out.append(("grade", grade, _combination(model, [f"grade: {grade}"]), int((sales["grade"] == grade).sum())))
    reading = sales["reading_pct"]
    pieces = [name for name in FIXED_NAMES if name.startswith("reading:") and name != "reading: not stated"]
    for at, stated in zip((90, 75, 60, 40), range(len(pieces) - 1, -1, -1)):
        near = int(((reading > at - 7.5) & (reading <= at + 7.5)).sum())
        out.append(("reading", f"{at} % of nominal", _combination(model, pieces[stated:], -1.0), near))
    out.append(("reading", "not stated", _combination(model, ["reading: not stated"]), int(reading.isna().sum())))
    for name, size in (("pair", 2), ("quad", 4)):
        out.append(("set", name, _combination(model, [f"set: {name}"]), int((sales["set_size"] == size).sum())))
    out.append(("matched", "", _combination(model, ["matched"]),
                int((sales["matched"] & (sales["set_size"] > 1)).sum())))
    return out


def _level_effects(model: PriceModel) -> list[tuple[str, str, Rows, int]]:
    """Every level of the shown random terms, with its number of sales."""
    layout, design, sales = model.fit.posterior.layout, model.history.design, model.history.sales
    out = []
    for name in SHOWN_TERMS:
        place = layout.places[layout.names.index(name)]
        counts = sales[name].value_counts()
        for code, key in enumerate(design.levels[name]):
            column = place.columns[code, 0]
            border = sparse.csr_array(([1.0], ([0], [column])), shape=(1, layout.n_border))
            row = Rows.outside_blocks(layout, 1, border=border)
            out.append((name, key.split(SEPARATOR)[0], row, int(counts.get(key, 0))))
    return out


def _combination(model: PriceModel, names: list[str], sign: float = 1.0) -> Rows:
    layout = model.fit.posterior.layout
    fixed = np.zeros((1, layout.n_fixed))
    fixed[0, [FIXED_NAMES.index(name) for name in names]] = sign
    return Rows.outside_blocks(layout, 1, fixed=fixed)


def left_out_scores(model: PriceModel) -> tuple[np.ndarray, np.ndarray]:
    """(log error, z) of every sale against the prediction from all the others at the same variances.

    With c'J^-1 c = v and weight w: error r / (1 - w v), variance s2 (1 + v / (1 - w v)).
    """
    fit = model.fit
    kept = np.clip(1 - fit.weights * model.leverage, 1e-6, None)
    error = fit.residuals / kept
    sd = np.sqrt(fit.posterior.noise_variance * (1 + model.leverage / kept))
    return error, error / sd


def record(model: PriceModel) -> list[str]:
    """See PriceModel.record."""
    scored = len(model.calibration.scores)
    if scored < ENOUGH_AT_ALL:
        return [f"Only {scored} later sales could be scored: ranges are the model's own, widened by "
                f"{model.calibration.inflation - 1:.0%}, and not yet checked against enough sales."]
    return [
        f"Ranges were set on {scored:,} sales that the model had not seen when it priced them. Before that, "
        f"{model.calibration.coverage_of(0.8):.0%} of them fell inside its 80 % range and "
        f"{model.calibration.coverage_of(0.95):.0%} inside its 95 % range.",
    ]


_BASIS = (
    (("canonical_type", "maker", "era", "grade"), "of this type, maker, era and grade"),
    (("canonical_type", "maker", "era"), "of this type, maker and era"),
    (("canonical_type", "maker"), "of this type and maker"),
    (("canonical_type",), "of this type"),
    (("family",), "of its family"),
)


def basis_of(sales: pd.DataFrame, items: pd.DataFrame) -> tuple[list[str], pd.Series]:
    """(words, oldest sale) by item: the closest kind of which the shop has sold any, and how many of its type."""
    words = np.full(len(items), "", dtype=object)
    oldest = pd.Series(pd.NaT, index=items.index, dtype="datetime64[ns]")
    of_type = items["canonical_type"].map(sales["canonical_type"].value_counts()).fillna(0).astype(int)
    for columns, kind in _BASIS:
        todo = words == ""
        if not todo.any():
            break
        met = sales.groupby(list(columns))["sold_on"].agg(["size", "min"])
        keys = items[list(columns)]
        found = keys.join(met, on=list(columns))
        hit = todo & found["size"].notna().to_numpy()
        counts = found["size"].fillna(0).astype(int)
        for at in np.flatnonzero(hit):
            more = f", {of_type.iloc[at]} of the type" if kind not in ("of this type", "of its family") else ""
            plural = "sale" if counts.iloc[at] == 1 else "sales"
            lead = "no sale of this type; " if kind == "of its family" else ""
            words[at] = f"{lead}{counts.iloc[at]} {plural} {kind}{more}"
        oldest[hit] = found["min"][hit].to_numpy()
    words[words == ""] = "no sale of this type or its family; from the shop's general level"
    return list(words), oldest
