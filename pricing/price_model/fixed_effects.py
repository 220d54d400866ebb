"""Fixed effects of the price model: what they are, their priors, and their design matrix.

Prior standard deviations are in log units. They are choices made before looking at a shop, of the size found in
simulated and open data; the shop's own sales move them.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
from formulaic import Formula, ModelSpec

from pricing.price_model.cross_products import FixedPrior
from pricing.shop_tables import GRADE_ORDER

NOISE_SD = 0.13
SET_SIZES = {"single": 1, "pair": 2, "quad": 4, "other": 3}  # a size of each kind of set
MONTHS_A_YEAR = 12

# Grade and reading steps run from worse to better, so that all are at least zero (held in `fit.order_rows`). Reading
# pieces cover 40-60, 60-75, 75-90 and 90-100 per cent of nominal: flat above.
READING_KNOTS = (40.0, 60.0, 75.0, 90.0, 100.0)
READING_PIECES = tuple(zip(READING_KNOTS[:-1], READING_KNOTS[1:]))
GRADE_STEPS = tuple(f"grade: {better} over {worse}" for better, worse in zip(GRADE_ORDER[:-1], GRADE_ORDER[1:]))
GRADES_APART = ("pulled or untested", "for parts", "unknown")
READING_STEPS = tuple(f"reading: {low:.0f} to {high:.0f} %" for low, high in READING_PIECES)

# Columns of FORMULA in their order: name, prior mean, prior sd.
FIXED = (
    ("level", 0.0, np.inf),
    *((name, 0.15, 0.30) for name in GRADE_STEPS),
    ("grade: pulled or untested", -0.25, 0.40),
    ("grade: for parts", -1.20, 0.60),
    ("grade: unknown", -0.10, 0.30),
    *((name, 0.06, 0.15) for name in READING_STEPS),
    ("reading: not stated", -0.05, 0.20),
    ("set: pair", 0.05, 0.20),
    ("set: quad", 0.10, 0.25),
    ("set: other", 0.0, 0.30),
    ("matched", 0.05, 0.15),
    ("quantity (log)", -0.05, 0.15),
    ("season: sine", 0.0, 0.05),
    ("season: cosine", 0.0, 0.05),
)
FIXED_NAMES = tuple(name for name, _, _ in FIXED)
FORMULA = (
    "1 + grade_steps(grade) + grades_apart(grade) + reading_pieces(reading_pct) + not_stated(reading_pct)"
    " + set_kinds(set_size) + matched_set(matched, set_size) + np.log(qty) + season(sold_on)"
)


def fixed_prior() -> FixedPrior:
    """Prior on the fixed effects relative to a noise of NOISE_SD; the level has a flat one."""
    mean = np.array([mean for _, mean, _ in FIXED])
    sd = np.array([sd for _, _, sd in FIXED])
    return FixedPrior(mean, (NOISE_SD / sd) ** 2)


def fixed_columns(items: pd.DataFrame) -> np.ndarray:
    """n by len(FIXED) matrix for clean items (grade, reading_pct, set_size, matched, qty, sold_on)."""
    return np.asarray(_spec().get_model_matrix(items, context=_WORDS), float)


@cache
def _spec() -> ModelSpec:
    return ModelSpec(formula=Formula(FORMULA), output="numpy", na_action="ignore")


def set_kind(set_size: pd.Series) -> np.ndarray:
    """'single', 'pair', 'quad' or 'other' by set size."""
    size = set_size.to_numpy()
    return np.select([size == 1, size == 2, size == 4], ["single", "pair", "quad"], "other")


def _grade_steps(grade: pd.Series) -> dict[str, np.ndarray]:
    """Steps climbed above 'used, good' (1) or below it (-1): a better grade has more of them."""
    base = GRADE_ORDER.index("used, good")
    place = grade.map({name: position for position, name in enumerate(GRADE_ORDER)}).fillna(base).to_numpy()
    return {name: (place <= step) - float(base <= step) for step, name in enumerate(GRADE_STEPS)}


def _reading_pieces(reading_pct: pd.Series) -> dict[str, np.ndarray]:
    """How far short of the top of each piece, as a share of it (-1 .. 0); a missing reading falls short of none."""
    reading = reading_pct.fillna(READING_KNOTS[-1]).to_numpy(float)
    return {name: np.clip((reading - low) / (high - low), 0, 1) - 1
            for name, (low, high) in zip(READING_STEPS, READING_PIECES)}


def _season(sold_on: pd.Series) -> dict[str, np.ndarray]:
    """One wave a year, by the middle of the month."""
    angle = 2 * np.pi * (pd.DatetimeIndex(sold_on).month.to_numpy() - 0.5) / MONTHS_A_YEAR
    return {"sine": np.sin(angle), "cosine": np.cos(angle)}


# The words of FORMULA.
_WORDS = {
    "np": np,
    "grade_steps": _grade_steps,
    "grades_apart": lambda grade: {name: (grade == name).to_numpy(float) for name in GRADES_APART},
    "reading_pieces": _reading_pieces,
    "not_stated": lambda reading_pct: reading_pct.isna().to_numpy(float),
    "set_kinds": lambda size: {kind: (set_kind(size) == kind).astype(float) for kind in ("pair", "quad", "other")},
    "matched_set": lambda matched, size: (matched.to_numpy(bool) & (size.to_numpy() != 1)).astype(float),
    "season": _season,
}
