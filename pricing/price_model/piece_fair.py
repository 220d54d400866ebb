"""What a fitted model knows of the fair prices of many pieces: their own part of the doubt, and that of their types."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import sparse, stats
from threadpoolctl import threadpool_limits

from pricing.price_model.observations import Rows

if TYPE_CHECKING:
    from pricing.price_model.model import PriceModel

_AT_ONCE = 200


@dataclass(frozen=True)
class PieceFair:
    """Log fair prices (of the set) of n items: `log_fair` (n,), the variance `own_variance` (n,) of each about the mean
    of the items of its type, and the variance `type_variance` (types,) of those means, types in the order met."""

    log_fair: np.ndarray
    own_variance: np.ndarray
    type_variance: np.ndarray


def fair_of_pieces(model: PriceModel, items: pd.DataFrame, on: pd.Series) -> PieceFair:
    """Fair prices of items on their dates, as `model.estimate` has them."""
    quote = model.estimate(items, on=on)
    half = np.log(quote["fair_high"] / quote["fair_low"]).to_numpy() / 2
    rows, unmet, types = _rows_of(model, items, on)
    whole, own, of_types = _variances(model, rows, types)
    scale = _scale(model)
    # What the ranges hold over the rows' own variance is the doubt about an open maker: the piece's own.
    open_ = np.maximum((half / stats.norm.ppf(0.9)) ** 2 - scale * (whole + unmet), 0.0)
    return PieceFair(np.log(quote["fair_price"].to_numpy()), scale * (own + unmet) + open_, scale * of_types)


def left_out_fair(model: PriceModel, items: pd.DataFrame, on: pd.Series, sku: np.ndarray) -> PieceFair:
    """Fair prices of items on their dates, each without the sales that bear its sku.

    With A the weights of the own sales in the item's price, H their weights in each other's, r their residuals and w
    their weights in the fit: mean - A (I - H)^-1 r, relative variance + A (I - H)^-1 A' / w (the leave-one-out
    identity, for a group; Cook & Weisberg, Residuals and Influence in Regression, 1982, from memory).
    """
    weights, residuals, sales = model.fit.weights, model.fit.residuals, model.history.sales
    rows, unmet, types = _rows_of(model, items, on)
    log_fair = model.fit.posterior.mean(rows) + np.log(model.describe(items, on)["set_size"].to_numpy(float))
    _, own, of_types = _variances(model, rows, types)
    places = {key: at for key, at in sales.groupby("sku").indices.items() if key != ""}
    met = np.flatnonzero([key in places for key in sku])
    used = np.unique(np.concatenate([places[key] for key in set(sku[met])])) if len(met) else np.zeros(0, int)
    among = {}
    with threadpool_limits(1):
        for start in range(0, len(used), _AT_ONCE):
            part = used[start:start + _AT_ONCE]
            of_sales, _ = model.rows(sales.iloc[part])
            for at, line in zip(part, model.sale_weights(of_sales)):
                among[at] = line[places[sales["sku"].iat[at]]]
        for start in range(0, len(met), _AT_ONCE):
            part = met[start:start + _AT_ONCE]
            for item, line in zip(part, model.sale_weights(rows.take(part))):
                at = places[sku[item]]
                weight = line[at]
                left = np.eye(len(at)) - np.array([among[one] for one in at])
                log_fair[item] -= weight @ np.linalg.solve(left, residuals[at])
                own[item] += weight @ np.linalg.solve(left, weight / weights[at])
    scale = _scale(model)
    return PieceFair(log_fair, scale * (own + unmet), scale * of_types)


def _rows_of(model: PriceModel, items: pd.DataFrame, on: pd.Series) -> tuple[Rows, np.ndarray, np.ndarray]:
    """(rows of the model, relative variance of levels never met, codes of types)."""
    rows, unmet = model.rows(model.describe(items, on))
    return rows, unmet, pd.factorize(items["canonical_type"])[0]


def _variances(model: PriceModel, rows: Rows, types: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Relative variances of rows, of rows about the mean of their type, and of those means."""
    count = np.bincount(types)
    mean = sparse.csr_array((1 / count[types], (types, np.arange(len(types)))), shape=(len(count), len(types)))
    first = np.unique(types, return_index=True)[1]
    means = Rows((mean @ rows.block).tocsr(), (mean @ rows.border).tocsr(), mean @ rows.fixed, rows.block_codes[first])
    variance = model.fit.posterior.relative_variance
    with threadpool_limits(1):
        return variance(rows), variance(rows - means.take(types)), variance(means)


def _scale(model: PriceModel) -> float:
    return model.fit.posterior.noise_variance * model.calibration.inflation**2
