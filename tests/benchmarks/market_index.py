"""The market index on simulated shops whose market is known: error, how often the 80 % band holds it, and the same
errors of least squares on year dummies.

Run: PYTHONPATH=tests python tests/benchmarks/market_index.py [sales ...]
"""

import sys

import numpy as np
import pandas as pd
import statsmodels.formula.api as smf
from simulator import simulate_shop
from simulator.world import FAMILIES

import pricing
from pricing.price_model.build_up import WALKS, only

FIRST_SEED = 101
SHOPS = {500: 30, 3_000: 12, 20_000: 2}
ONE_MARKET = {"hard": False, "sd": {"type_drift": 0.0}, "gross_error_share": 0.0}  # all prices move together
QUALITIES = ("C(canonical_type) + C(maker) + C(era) + C(grade) + C(channel) + C(set_size) + matched + reading"
             " + not_stated + np.log(qty) + sine + cosine")


def true_log_index(shop, months, types=None) -> np.ndarray:
    """Log of the true index at `months`, 0 in the last: the market's path and the mean drift of `types` (a mask), by
    how often each is asked for; None: the market alone. Season left out."""
    world = shop.components
    first = shop.as_of - pd.Timedelta(days=round(world.years * 365.25) - 1)
    days = pd.date_range(months.iloc[0], shop.as_of)
    years = np.maximum((days - first).days.to_numpy() / 365.25, 0.0)
    log = world.market(years)
    if types is not None:
        share = np.bincount(world.cell_type, world.cell_weight, minlength=len(world.type_names)) * types
        path = world.drift_path @ (share / share.sum())
        log = log + np.interp(years * 12, np.arange(len(path)), path)
    by_month = pd.Series(log).groupby(days.to_period("M").to_timestamp()).mean()
    return (by_month - by_month.iloc[-1]).reindex(months).to_numpy()


def band_scores(index: pd.DataFrame, true_log: np.ndarray) -> tuple[float, float]:
    """(share of months inside the band, mean absolute log error), the last month, 100 by definition, left out."""
    low, middle, high = (np.log(index[name].to_numpy()[:-1] / 100) for name in ("low", "index", "high"))
    true_log = true_log[:-1]
    return float(np.mean((low <= true_log) & (true_log <= high))), float(np.abs(middle - true_log).mean())


def measure(n_sales: int, seed: int) -> dict[str, float]:
    """Coverage and error of one shop's overall and family indices."""
    shop = simulate_shop(n_sales, seed, n_future=10)
    model = pricing.fit_price_model(shop.sales, calibrated=False)
    index, everything = model.time_index, np.ones(len(shop.components.type_names))
    out = {}
    for name, types in (("market alone", None), ("market and mean drift of types", everything)):
        inside, error = band_scores(index, true_log_index(shop, index["month"], types))
        out |= {f"{name}: inside the band": inside, f"{name}: error": error}
    families = [
        band_scores(own, true_log_index(shop, own["month"], shop.components.type_family == FAMILIES.index(family)))
        for family, own in model.family_index.groupby("family")
    ]
    inside, error = np.mean(families, axis=0)
    return out | {"families: inside the band": inside, "families: error": error}


def by_year(frame, what):
    """(coefficients, standard errors) of year dummies against the newest year, qualities held apart."""
    fit = smf.ols(f"{what} ~ C(years_ago) + {QUALITIES}", frame).fit()
    names = [name for name in fit.params.index if name.startswith("C(years_ago)")]
    return fit.params[names].to_numpy(), fit.bse[names].to_numpy()


def regression_frame(shop, model):
    """Sales as least squares takes them: qualities, years before the model's date, log price, fitted market parts."""
    sales, posterior = model.history.sales, model.fit.posterior
    angle = 2 * np.pi * (sales["sold_on"].dt.month - 0.5) / 12
    walks = only(posterior.layout, model.history.observations.rows(), WALKS)
    months = model.time_index.set_index("month")["index"]
    return sales.assign(
        log_price=model.history.y, walks=posterior.mean(walks), sine=np.sin(angle), cosine=np.cos(angle),
        market=np.log(months.loc[sales["sold_on"].dt.to_period("M").dt.to_timestamp()].to_numpy() / 100),
        years_ago=np.minimum((shop.as_of - sales["sold_on"]).dt.days // 365.25, 5),
        reading=sales["reading_pct"].fillna(0).clip(upper=100), not_stated=sales["reading_pct"].isna(),
    )[np.abs(model.fit.residuals) < 0.6]  # least squares has no defence against rows booked wrongly


def against_least_squares(seed: int, world: dict) -> dict[str, float]:
    """Mean absolute error of the years' log indices in a rich shop, ours and that of least squares.

    Where types drift apart least squares gives the mean over them: ours is the same regression on the fitted walks.
    """
    shop = simulate_shop(4_000, seed, n_types=40, n_makers=12, n_future=10, **world)
    model = pricing.fit_price_model(shop.sales, calibrated=False)
    frame = regression_frame(shop, model)
    frame = frame.assign(truth=shop.truth["log_time"].loc[frame.index])
    found = {what: by_year(frame, what)[0] for what in ("log_price", "market" if world else "walks", "truth")}
    truth = found.pop("truth")
    return {what: np.abs(log - truth).mean() for what, log in found.items()}


if __name__ == "__main__":
    for name, world in (("all prices move together", ONE_MARKET), ("types drift apart", {})):
        rows = pd.DataFrame([against_least_squares(FIRST_SEED + place, world) for place in range(10)])
        print(f"{name}, 4,000 sales, mean error of years: {rows.mean().round(4).to_dict()}", flush=True)
    for n_sales in [int(word) for word in sys.argv[1:]] or SHOPS:
        shops = pd.DataFrame([measure(n_sales, FIRST_SEED + place) for place in range(SHOPS[n_sales])])
        print(f"{n_sales:,} sales, {len(shops)} shops")
        print(shops.agg(["mean", "std", "min", "max"]).T.round(3).to_string(), "\n", flush=True)
