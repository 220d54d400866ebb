"""What shops do without a model. Every habit takes clean sales and items and returns the predicted price of
one set of each item, in the shop's currency, as a Series on the items' index."""

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.sparse.linalg import lsmr


def last_sale(sales: pd.DataFrame, items: pd.DataFrame) -> pd.Series:
    """Price a tube of the type's last sale, times the set size; the family's last, then anything's, for a new
    type."""
    by_date = sales.assign(price_tube=_price_tube(sales)).sort_values("sold_on", kind="stable")
    return _first_found(by_date, items, (["canonical_type"], ["family"]), "last")


def median_with_fallback(sales: pd.DataFrame, items: pd.DataFrame) -> pd.Series:
    """Median price a tube of type, maker and grade, times the set size.

    Where there is none: type and maker, type and grade, type, family, and last the median of all sales.
    """
    keys = (["canonical_type", "maker", "grade"], ["canonical_type", "maker"], ["canonical_type", "grade"],
            ["canonical_type"], ["family"])
    return _first_found(sales.assign(price_tube=_price_tube(sales)), items, keys, "median")


def ols_dummies(sales: pd.DataFrame, items: pd.DataFrame) -> pd.Series:
    """Least squares of log price a tube on dummies of type, maker, era, grade and channel, log set size and a
    trend.

    All levels have a dummy and the least-norm solution is taken, so that an unseen level stands near the
    average.
    """
    log_price = np.log(_price_tube(sales).to_numpy())
    mean, start = log_price.mean(), sales["sold_on"].min()

    def numbers(frame):
        trend = (frame["sold_on"] - start).dt.days.to_numpy() / 365.25
        return np.column_stack([np.ones(len(frame)), np.log(frame["set_size"].to_numpy(float)), trend])

    past, future = [sparse.csr_matrix(numbers(sales))], [sparse.csr_matrix(numbers(items))]
    for column in ("canonical_type", "maker", "era", "grade", "channel"):
        levels = pd.Index(sales[column].unique())
        past.append(_dummies(levels, sales[column]))
        future.append(_dummies(levels, items[column]))
    design = sparse.hstack(past, format="csr")
    coefficients = lsmr(design, log_price - mean, atol=1e-10, btol=1e-10, maxiter=5000)[0]
    predicted = mean + sparse.hstack(future, format="csr") @ coefficients
    return pd.Series(np.exp(predicted) * items["set_size"].to_numpy(), index=items.index)


HABITS = {"last sale of the type": last_sale, "median with fallback": median_with_fallback,
          "OLS with dummies": ols_dummies}


def _price_tube(sales: pd.DataFrame) -> pd.Series:
    return sales["price_home"] / (sales["qty"] * sales["set_size"])


def _first_found(sales: pd.DataFrame, items: pd.DataFrame, keys, statistic: str) -> pd.Series:
    """Statistic of the first group of past sales that holds any, a set."""
    found = pd.Series(np.nan, index=items.index)
    for key in keys:
        group = sales.groupby(key, as_index=False)["price_tube"].agg(statistic)
        looked_up = items[key].merge(group, on=key, how="left")["price_tube"].to_numpy()
        found = found.where(found.notna(), looked_up)
    every = sales["price_tube"].agg("median") if statistic == "median" else sales["price_tube"].iloc[-1]
    return found.fillna(every) * items["set_size"]


def _dummies(levels: pd.Index, column: pd.Series) -> sparse.csr_matrix:
    """One column a level, all zero for an unseen one."""
    code = levels.get_indexer(column)
    seen = np.flatnonzero(code >= 0)
    return sparse.csr_matrix((np.ones(len(seen)), (seen, code[seen])), shape=(len(column), len(levels)))
