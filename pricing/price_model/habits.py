"""What a shop does without a model: the habits that the price model's record is held against.

Each takes clean past sales and clean items and returns the price of one set of each item, in the shop's currency, as a
Series on the items' index.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.sparse.linalg import lsmr

from pricing.price_model.fit import log_tube_price

DUMMIES = ("canonical_type", "maker", "era", "grade", "channel")
# From the closest kin to the farthest: the first that the shop has sold tells the price.
KIN = (("canonical_type", "maker", "grade"), ("canonical_type", "maker"), ("canonical_type", "grade"),
       ("canonical_type",), ("family",))


def last_sale(past: pd.DataFrame, items: pd.DataFrame) -> pd.Series:
    """What a tube of the type last sold for; of its family, or of anything, where the type never sold."""
    by_date = past.sort_values("sold_on", kind="stable")
    return _by_kin(by_date, items, (("canonical_type",), ("family",)), "last")


def median_of_kin(past: pd.DataFrame, items: pd.DataFrame) -> pd.Series:
    """Median price a tube of the closest kin sold (KIN), of all sales where there is none."""
    return _by_kin(past, items, KIN, "median")


def least_squares(past: pd.DataFrame, items: pd.DataFrame) -> pd.Series:
    """Ordinary least squares of the log price a tube on DUMMIES, log set size and a linear trend.

    Every level has its dummy and the solution of least norm is taken, about the mean: an unseen level stands near the
    average. Solved on the sparse design (Fong & Saunders, "LSMR", SIAM J. Sci. Comput. 33, 2011), as a dense one would
    not fit a long history.
    """
    y = log_tube_price(past)
    levels = {name: pd.Index(past[name].unique()) for name in DUMMIES}
    first = past["sold_on"].min()
    slopes = lsmr(_design(past, levels, first), y - y.mean(), atol=1e-10, btol=1e-10, maxiter=5_000)[0]
    log_tube = y.mean() + _design(items, levels, first) @ slopes
    return pd.Series(np.exp(log_tube), items.index) * items["set_size"]


HABITS = {
    "last sale of the type": last_sale,
    "median of type, maker and grade": median_of_kin,
    "least squares on type, maker, era and grade": least_squares,
}


def _by_kin(past: pd.DataFrame, items: pd.DataFrame, kin: tuple[tuple[str, ...], ...], statistic: str) -> pd.Series:
    price = past.assign(tube=np.exp(log_tube_price(past)))
    found = pd.Series(np.nan, items.index)
    for columns in kin:
        told = price.groupby(list(columns))["tube"].agg(statistic).rename("told")
        found = found.fillna(items[list(columns)].join(told, on=list(columns))["told"])
    of_all = price["tube"].iloc[-1] if statistic == "last" else price["tube"].median()
    return found.fillna(of_all) * items["set_size"]


def _design(frame: pd.DataFrame, levels: dict[str, pd.Index], first: pd.Timestamp) -> sparse.csr_array:
    """Constant, log set size, years since `first`, and a column a level (none of them set for an unseen level)."""
    years = (frame["sold_on"] - first).dt.days.to_numpy() / 365.25
    parts = [np.column_stack([np.ones(len(frame)), np.log(frame["set_size"].to_numpy(float)), years])]
    for name, known in levels.items():
        place = known.get_indexer(frame[name])
        rows = np.flatnonzero(place >= 0)
        parts.append(sparse.csr_array((np.ones(len(rows)), (rows, place[rows])), shape=(len(frame), len(known))))
    return sparse.hstack([sparse.csr_array(part) for part in parts], format="csr")
