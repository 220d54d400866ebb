"""The best linear prediction of a simulated shop: a bound to measure an estimator against, not a way to
price."""

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.linalg import cho_factor, cho_solve
from scipy.sparse.linalg import splu

from . import world as w
from .shop import SimulatedShop

# Random effects by the columns that name a level. Nested: no level belongs to two types.
NESTED = {
    "type": ("canonical_type",),
    "type_maker": ("canonical_type", "maker"),
    "cell": ("canonical_type", "maker", "era"),
    "variant": ("canonical_type", "maker", "variant"),
    "designation": ("canonical_type", "designation"),
}
SHARED = {
    "family": ("family",),
    "maker": ("maker",),
    "maker_era": ("maker", "era"),
    "brand": ("brand",),
    "family_grade": ("family", "grade"),
    "family_set": ("family", "set_size"),
}
LEVEL_OF_PRICE = {"family", "type", "maker"}
# A blank brand or variant and a single tube have no effect at all.
ADDS_NOTHING = {"brand": ("brand", "unknown"), "variant": ("variant", "unknown"),
                "family_set": ("set_size", 1)}


def oracle(shop: SimulatedShop, *, future_drift_known: bool = True, drift_known: bool = True) -> pd.Series:
    """Best linear unbiased prediction of `log_fair_set` of the future items, on their index.

    Known to it: which sales are gross errors (left out); every variance, that of a clean sale included;
    market, season and the drift of every type, taken off each sale and put on each item (up to the end of the
    history only, and as best foreseen from there, with `future_drift_known=False`); the shape of the
    reading's effect; by how much each grade stretches the price level. Not known, and estimated by
    generalised least squares: the intercept, all coefficients (grade, era, channel, set size, matched, log
    quantity, depth of the reading's effect, missing reading). Not known, and predicted: every random effect.
    Linear: normal variances for the t-distributed noise and cells, so that a robust estimator may come out a
    little better on a well-known cell.

    With `drift_known=False` the drift of each type is predicted as well: a monthly random walk and a straight
    line of the true variances (hype is a mixture; its mean and variance are known), observed through the sales
    only. That is the best linear prediction with the true variances and nothing of the paths: what an estimator
    can hope to come near.

    Henderson's mixed model equations (Biometrics 31, 1975, 423-447). What is nested in a type is eliminated
    by a sparse factor, what types share by a dense Schur complement.
    """
    world = shop.components
    clean = (shop.truth["gross_error"] == "").to_numpy()
    sales, truth, items = shop.sales[clean], shop.truth[clean], shop.future_items
    log_time = items["log_time" if future_drift_known else "log_time_foreseen"].to_numpy()
    taken_off = truth["log_time"].to_numpy()
    if not drift_known:
        taken_off, log_time = _market_and_season(sales, shop), _market_and_season(items, shop)
    y = np.log(sales["price_home"] / (sales["qty"] * sales["set_size"])).to_numpy() - taken_off
    sd = world.sd | {"type": np.sqrt(world.sd["type"] ** 2 - world.sd["family"] ** 2)}

    nested, nested_items, nested_precision = _random_effects(NESTED, sales, items, sd, world)
    nested_precision = sparse.diags(nested_precision)
    if not drift_known:
        walks, walks_items, walks_precision = _drift(shop, sales, items)
        nested = sparse.hstack([nested, walks], format="csr")
        nested_items = sparse.hstack([nested_items, walks_items], format="csr")
        nested_precision = sparse.block_diag([nested_precision, walks_precision])
    shared, shared_items, shared_precision = _random_effects(SHARED, sales, items, sd, world)
    fixed, fixed_items = _fixed_effects(sales), _fixed_effects(items)
    used = np.asarray(abs(fixed).sum(axis=0)).ravel() > 0         # a level nobody sold has no coefficient
    border = sparse.hstack([shared, fixed[:, used]], format="csc")
    border_items = sparse.hstack([shared_items, fixed_items[:, used]], format="csc")
    precision = np.concatenate([shared_precision, np.full(used.sum(), 1e-8)])

    noise_variance = sd["noise"] ** 2
    factor = splu((nested.T @ nested / noise_variance + nested_precision).tocsc(),
                  permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    cross = (nested.T @ border / noise_variance).toarray()
    eliminated = factor.solve(cross)
    nested_y, border_y = nested.T @ y / noise_variance, border.T @ y / noise_variance
    schur = (border.T @ border / noise_variance).toarray() + np.diag(precision) - cross.T @ eliminated
    of_border = cho_solve(cho_factor(schur), border_y - eliminated.T @ nested_y)
    of_nested = factor.solve(nested_y) - eliminated @ of_border

    log_tube = nested_items @ of_nested + border_items @ of_border + log_time
    return pd.Series(log_tube + np.log(items["set_size"].to_numpy()), index=items.index)


def _random_effects(effects, sales, items, sd, world):
    """Design of sales and of items, one column a level met in the sales, and the precision of each column."""
    past, future, precision = [], [], []
    for name, columns in effects.items():
        level, level_items = _levels(columns, sales, items)
        weight, weight_items = np.ones(len(sales)), np.ones(len(items))
        if name in LEVEL_OF_PRICE:
            stretch = pd.Series(1 + world.grade_level_slope, index=w.GRADES)
            weight = sales["grade"].map(stretch).to_numpy()
            weight_items = items["grade"].map(stretch).to_numpy()
        if name in ADDS_NOTHING:
            column, value = ADDS_NOTHING[name]
            weight, weight_items = weight * (sales[column] != value), weight_items * (items[column] != value)
        n_levels = level.max(initial=-1) + 1
        past.append(_indicator(level, weight, n_levels))
        future.append(_indicator(level_items, weight_items, n_levels))
        precision.append(np.full(n_levels, sd[name] ** -2.0))
    return sparse.hstack(past, format="csr"), sparse.hstack(future, format="csr"), np.concatenate(precision)


def _years(frame: pd.DataFrame, shop: SimulatedShop) -> np.ndarray:
    """Years from the first day of the history."""
    days = round(shop.components.years * 365.25)
    return ((frame["sold_on"] - shop.as_of).dt.days.to_numpy() + days - 1) / 365.25


def _market_and_season(frame: pd.DataFrame, shop: SimulatedShop) -> np.ndarray:
    """Known part of time: the market, the season, and the mean of all types' hype."""
    years = _years(frame, shop)
    mean_hype = (w.HYPED_SHARE if shop.components.hard else 0.0) * w.HYPE_A_YEAR
    return shop.components.market(years) + w.season(frame["sold_on"].dt.day_of_year.to_numpy()) + mean_hype * years


def _drift(shop: SimulatedShop, sales: pd.DataFrame, items: pd.DataFrame):
    """Monthly walks and straight lines of every type: design of sales, of items, and their precision."""
    world = shop.components
    types = pd.Index(world.type_names)
    months = int(np.ceil(world.years * 12))
    share = w.HYPED_SHARE if world.hard else 0.0
    slope_variance = max(w.HYPE_A_YEAR**2 * share * (1 - share), 1e-12)

    def design(frame):
        code, years = types.get_indexer(frame["canonical_type"]), _years(frame, shop)
        at = np.clip(years * 12, 0, months)
        month = np.minimum(np.floor(at).astype(int), months - 1)
        parts = []
        for step, weight in ((0, 1 - (at - month)), (1, at - month)):
            seen = np.flatnonzero(month + step > 0)             # every walk starts at zero
            column = code[seen] * months + month[seen] + step - 1
            parts.append(sparse.csr_matrix((weight[seen], (seen, column)), shape=(len(frame), len(types) * months)))
        line = sparse.csr_matrix((years, (np.arange(len(frame)), code)), shape=(len(frame), len(types)))
        return sparse.hstack([parts[0] + parts[1], line], format="csr")

    step_precision = 12 / max(world.sd["type_drift"], 1e-6) ** 2
    diagonal = np.full(months, 2.0)
    diagonal[-1] = 1.0
    walk = step_precision * sparse.diags([diagonal, -np.ones(months - 1), -np.ones(months - 1)], [0, 1, -1])
    precision = sparse.block_diag([sparse.kron(sparse.eye(len(types)), walk),
                                   sparse.eye(len(types)) / slope_variance])
    return design(sales), design(items), precision


def _levels(columns, sales, items) -> tuple[np.ndarray, np.ndarray]:
    """Position of each row's level among those met in the sales; -1 for an item's level never met."""
    code = np.zeros(len(sales), np.int64)
    code_items = np.zeros(len(items), np.int64)
    for column in columns:
        values = pd.Index(sales[column].unique())
        part, part_items = values.get_indexer(sales[column]), values.get_indexer(items[column])
        unseen = (code_items < 0) | (part_items < 0)
        code = code * len(values) + part
        code_items = np.where(unseen, -1, code_items * len(values) + part_items)
    met, position = np.unique(code, return_inverse=True)
    return position, pd.Index(met).get_indexer(code_items)


def _indicator(level, weight, n_levels) -> sparse.csr_matrix:
    seen = np.flatnonzero(level >= 0)
    weight = np.asarray(weight, float)
    return sparse.csr_matrix((weight[seen], (seen, level[seen])), shape=(len(level), n_levels))


def _fixed_effects(frame: pd.DataFrame) -> sparse.csr_matrix:
    """Intercept, contrasts of grade, era, channel and set size, matched, log quantity, reading."""
    reading = w.reading_shape(frame["reading_pct"].to_numpy())
    columns = [np.ones(len(frame)), frame["matched"].to_numpy(float), np.log(frame["qty"].to_numpy(float)),
               np.where(np.isnan(reading), 0.0, reading), np.isnan(reading).astype(float)]
    for name, base, levels in (("grade", "used, good", w.GRADES), ("era", "1960s", w.ERAS),
                               ("channel", "own site", w.CHANNELS), ("set_size", 1, w.SET_SIZES)):
        columns += [(frame[name] == level).to_numpy(float) for level in levels if level != base]
    return sparse.csr_matrix(np.column_stack(columns))
