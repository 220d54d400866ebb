"""Checks of a fitted model's assumptions, by statsmodels.

Residuals here are those of prediction: each sale against all the others, over the standard deviation predicted for it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import statsmodels.formula.api as smf
from scipy import stats
from statsmodels.stats.diagnostic import het_breuschpagan
from statsmodels.stats.stattools import durbin_watson

from pricing.price_model.facts import SUSPECT_Z, left_out_scores
from pricing.price_model.robust import DEGREES_OF_FREEDOM

if TYPE_CHECKING:
    from pricing.price_model.model import PriceModel

FEWEST = 50
# What the size of a residual is held against: it should depend on none of these.
SPREAD_FORMULA = "z ~ log_price + years + np.log(set_size)"
DUMMIES_FORMULA = "log_price ~ C(canonical_type) + C(maker) + C(era) + C(grade) + C(channel) + np.log(set_size) + years"


def diagnostics(model: PriceModel) -> pd.DataFrame:
    """name, value, p_value, words: how well the model's assumptions hold on its own sales.

    Breusch & Pagan (Econometrica 47, 1979) for a spread that moves with price, time or set size; Durbin & Watson by
    date within the shop; the share outside the 80 % range of a t distribution; and the residual spread beside that of a
    least-squares fit on dummies (formulaic's design). Empty under FEWEST sales.
    """
    if model.n_sales < FEWEST:
        return pd.DataFrame(columns=["name", "value", "p_value", "words"])
    sales = model.history.sales
    _, z = left_out_scores(model)
    frame = sales.assign(
        z=z, log_price=model.history.y, years=(sales["sold_on"] - sales["sold_on"].min()).dt.days / 365.25,
    )
    plausible = frame[np.abs(frame["z"]) < SUSPECT_Z]
    spread = smf.ols(SPREAD_FORMULA, plausible).fit()
    lagrange, p_value, _, _ = het_breuschpagan(spread.resid, spread.model.exog)
    share = float(np.mean(np.abs(z) > stats.t.ppf(0.9, DEGREES_OF_FREEDOM)))
    watson = float(durbin_watson(plausible.sort_values("sold_on")["z"]))
    plain = smf.ols(DUMMIES_FORMULA, frame).fit()
    robust_sd = stats.median_abs_deviation
    ratio = robust_sd(model.fit.residuals, scale="normal") / robust_sd(plain.resid, scale="normal")
    return pd.DataFrame([
        ("Breusch-Pagan", lagrange, p_value, "does the spread about the price move with price, time or set size"),
        ("Durbin-Watson by date", watson, np.nan, "near 2: no wave in time is left over"),
        ("share outside the 80 % range", share, np.nan, "near 0.20: the noise has the tails assumed"),
        ("spread over that of least squares", ratio, np.nan, "under 1: what the model explains beyond dummies"),
    ], columns=["name", "value", "p_value", "words"])
