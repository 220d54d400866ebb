"""Course of the market: the price index that the fitted walks imply, for the whole shop and by family.

The time-dummy method of the price-index handbooks (Eurostat, Handbook on Residential Property Prices Indices, 2013,
chapter 5; ILO, Consumer Price Index Manual, on hedonic quality adjustment): one regression of log prices over all
periods, the qualities held apart, in which time has coefficients of its own; exp of their difference is the index.
Here the periods are months and their coefficients lean on their neighbours, as a random walk.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import sparse, stats

from pricing.price_model.design import TERMS
from pricing.price_model.observations import Rows

if TYPE_CHECKING:
    from pricing.price_model.model import PriceModel

COVERAGE = 0.80


def time_index(model: PriceModel) -> pd.DataFrame:
    """See PriceModel.time_index."""
    return _months(model).join(_band(model, _walk(model, "market", 0)))


def family_index(model: PriceModel) -> pd.DataFrame:
    """See PriceModel.family_index."""
    market, parts = _walk(model, "market", 0), []
    for code, family in enumerate(model.history.design.levels["market of family"]):
        band = _band(model, market + _walk(model, "market of family", code))
        parts.append(_months(model).join(band).assign(family=family))
    return pd.concat(parts, ignore_index=True)[["family", "month", "index", "low", "high"]]


def _months(model: PriceModel) -> pd.DataFrame:
    design = model.history.design
    start = design.first_month.to_period("M").to_timestamp()
    return pd.DataFrame({"month": pd.date_range(start, periods=design.n_months, freq="MS")})


def _walk(model: PriceModel, name: str, level: int) -> sparse.csr_array:
    """months by border columns: the walk of one level of a term, zero at the model's date."""
    design, layout = model.history.design, model.fit.posterior.layout
    number = layout.names.index(name)
    border = sparse.lil_array((design.n_months, layout.n_border))
    border[:, layout.places[number].columns[level]] = design.basis(TERMS[number])
    return border.tocsr()


def _band(model: PriceModel, border: sparse.csr_array) -> pd.DataFrame:
    """Index with its band: mean and variance of the sum of walks under their joint posterior, so that what one walk
    takes from the other widens neither."""
    posterior = model.fit.posterior
    rows = Rows.outside_blocks(posterior.layout, border.shape[0], border=border)
    log = posterior.mean(rows)
    half = stats.norm.ppf((1 + COVERAGE) / 2) * np.sqrt(posterior.noise_variance * model.fit.relative_variance(rows))
    return pd.DataFrame({
        "index": 100 * np.exp(log), "low": 100 * np.exp(log - half), "high": 100 * np.exp(log + half),
    })
