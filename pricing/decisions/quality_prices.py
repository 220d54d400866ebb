"""What the items heard sell for: one tube in one grade, their ranges moving together; and what is on the shelf."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from pricing.decisions.efficient_front import draw_normal
from pricing.decisions.listening_scores import ITEM, UNKNOWN
from pricing.decisions.shop_habits import sets_on_hand

PRICE_COLUMNS = ("fair_price", "fair_low", "fair_high", "n_sales")
_COVERAGE = 0.80


def usual_grade(model: Any) -> str:
    """The grade the shop sold most of, so that all items are priced alike."""
    grades = model.history.sales["grade"]
    stated = grades[grades != UNKNOWN]
    return str((stated if len(stated) else grades).mode().iloc[0])


def priced_items(items: pd.DataFrame, grade: str) -> pd.DataFrame:
    """The items as a price model takes them: one tube each, in this grade."""
    return items[[*ITEM, "family"]].assign(
        type=items["canonical_type"], designation=items["canonical_type"], grade=grade, set_size=1)


def fair_prices(model: Any, items: pd.DataFrame, grade: str) -> pd.DataFrame:
    """fair_price, fair_low, fair_high (80 % range of the fair price itself), n_sales by item."""
    return model.estimate(priced_items(items, grade), coverage=_COVERAGE)[list(PRICE_COLUMNS)]


def draw_prices(model: Any, items: pd.DataFrame, grade: str, n: int, rng: np.random.Generator) -> np.ndarray:
    """n joint draws of the fair prices (n by items): the model's ranges on either side, in log, and its correlations,
    so that what two items share does not blur which is dearer."""
    fair, low, high = (np.log(items[name].to_numpy(float)) for name in PRICE_COLUMNS[:3])
    z = stats.norm.ppf((1 + _COVERAGE) / 2)
    errors = draw_normal(np.zeros(len(items)), price_correlation(model, priced_items(items, grade)), n, rng)
    return np.exp(fair + np.where(errors > 0, high - fair, fair - low) / z * errors)


def price_correlation(model: Any, items: pd.DataFrame) -> np.ndarray:
    """Posterior correlation of the log fair prices; independent where the model keeps no joint posterior."""
    posterior = getattr(getattr(model, "fit", None), "posterior", None)
    if posterior is None:
        return np.eye(len(items))
    rows, unmet = model.rows(model.describe(items))
    covariance = rows.times(posterior.solve(rows)) + np.diag(unmet)
    sd = np.sqrt(np.diag(covariance))
    return covariance / sd / sd[:, None]


def on_the_shelf(items: pd.DataFrame, shop: Any) -> pd.DataFrame:
    """on_hand (sets) and lowest_ask (a tube, in any grade) of the stock that the item describes; what the item leaves
    unknown, any piece fits."""
    stock = shop.stock.assign(left=sets_on_hand(shop.stock, shop.sales))
    stock = stock[stock["left"] > 0]
    each = stock["ask"] / stock["set_size"]
    rows = []
    for item in items.to_dict("records"):
        fits = np.ones(len(stock), bool)
        for name in ITEM:
            if item[name] != UNKNOWN:
                fits &= (stock[name] == item[name]).to_numpy()
        rows.append((int(stock["left"][fits].sum()), each[fits].min()))
    return pd.DataFrame(rows, columns=["on_hand", "lowest_ask"], index=items.index)
