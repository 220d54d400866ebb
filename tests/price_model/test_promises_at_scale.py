"""The price model's promises over many random pieces: build-up to the cent, sum of weights, order of grades."""

from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np
import pandas as pd
import pytest
from simulator import simulate_shop

import pricing
from pricing.price_model.fit import fit_effects
from pricing.price_model.fixed_effects import fixed_prior
from pricing.shop_tables import GRADE_ORDER

# In the trade's order (common practice, no source); the other grades are not comparable with these.
KNOWN_ORDER = ("new old stock, boxed", "new old stock", "used, strong", "used, good", "used, weak")
CENT = Decimal("0.01")


@pytest.fixture(scope="module")
def shop():
    """A simulated shop of 1,500 sales; its later pieces hold new cells and new types too."""
    return simulate_shop(1_500, 104)


@pytest.fixture(scope="module")
def model(shop):
    """Its price model, without calibrated ranges."""
    return pricing.fit_price_model(shop.sales, calibrated=False)


def to_the_cent(price):
    """A price as it is written on a ticket."""
    return Decimal(float(price)).quantize(CENT, ROUND_HALF_EVEN)


@pytest.mark.parametrize("count", [100, pytest.param(1_000, marks=pytest.mark.slow)])
def test_build_up_multiplies_to_the_last_cent(model, shop, count):
    """Pieces of every kind: the factors' product, rounded to a cent, is the fair price rounded to a cent."""
    items = shop.future_items.sample(count, random_state=1)
    fair = model.estimate(items)["fair_price"]
    for at in range(count):
        reasons = model.explain(items.iloc[[at]])
        assert to_the_cent(reasons["multiplier"].prod()) == to_the_cent(fair.iloc[at])
        assert to_the_cent(reasons["price_after"].iloc[-1]) == to_the_cent(fair.iloc[at])


def test_sales_weights_and_assumptions_make_the_price(model, shop):
    """300 log fair prices, each the weighted sum of all sales' log prices plus what the stated assumptions add.

    The weights are the smoother's own, so they speak of the fit before the order of grades is enforced.
    """
    rows, _ = model.rows(model.describe(shop.future_items.head(300)))
    plain = fit_effects(model.history, ordered=False)
    np.testing.assert_array_equal(plain.weights, model.fit.weights)
    prior = fixed_prior()
    on_fixed = plain.posterior.solve(rows)[-len(prior.mean):]
    assumed = (prior.precision * prior.mean) @ on_fixed
    expected = model.sale_weights(rows) @ model.history.y + assumed
    np.testing.assert_allclose(plain.posterior.mean(rows), expected, atol=1e-8)


def test_comparables_show_the_heaviest_of_all_weights(model, shop):
    """Asked for every sale, `comparables` lists them all, and their weights are those of the whole sum."""
    item = shop.future_items.iloc[[7]]
    rows, _ = model.rows(model.describe(item))
    near = model.comparables(item, model.n_sales)
    assert len(near) == model.n_sales
    assert near["weight"].sum() == pytest.approx(model.sale_weights(rows).sum(), rel=1e-12)


def pairs(shop, count):
    """(worse, better): random pieces, each twice, with a better stated grade, a higher reading or both."""
    rng = np.random.default_rng(1)
    items = pd.concat([shop.future_items, shop.sales])[[*shop.sales.columns.intersection(shop.future_items.columns)]]
    items = items.drop(columns="sold_on").sample(count, replace=True, random_state=2, ignore_index=True)
    for column in ("canonical_type", "maker", "era"):  # a tenth of them swapped about: pieces nobody ever sold
        other = rng.random(count) < 0.1
        items.loc[other, column] = rng.permutation(items[column].to_numpy())[other]
    items = items.assign(type=items["canonical_type"], designation=items["canonical_type"])
    grades = np.sort(rng.integers(0, len(KNOWN_ORDER), (count, 2)), axis=1)
    readings = np.sort(rng.uniform(20, 130, (count, 2)), axis=1)
    by_grade, by_reading = rng.random((2, count)) < 2 / 3
    order = np.array(KNOWN_ORDER, dtype=object)
    out = []
    for place in (1, 0):
        out.append(items.assign(
            grade=np.where(by_grade, order[grades[:, place]], order[grades[:, 0]]),
            reading_pct=np.where(by_reading, readings[:, 1 - place], items["reading_pct"]),
        ))
    return out


def test_no_inversion_in_10_000_pairs(model, shop):
    """The same piece with a better stated grade or a higher reading is never priced lower."""
    worse, better = pairs(shop, 10_000)
    fair = model.estimate(pd.concat([worse, better], ignore_index=True))["fair_price"].to_numpy()
    assert (fair[10_000:] >= fair[:10_000] * (1 - 1e-9)).all()
    assert (fair[10_000:] > fair[:10_000] * 1.01).mean() > 0.5  # pairs that differ, differ in price


def test_only_the_known_order_is_held():
    """A shop whose weak tubes sold dear, its untested and ungraded ones dearest: weak ones are held below the good,
    the others, whose place nobody knows, are priced as they sold."""
    assert GRADE_ORDER == KNOWN_ORDER
    sales = simulate_shop(800, 105, gross_error_share=0.0).sales
    odd = {"used, weak": 3.0, "pulled or untested": 5.0, "unknown": 5.0}
    sales = sales.assign(price=sales["price"] * sales["grade"].map(odd).fillna(1.0))
    item = sales.iloc[[-1]].assign(reading_pct=np.nan, qty=1)
    items = pd.concat([item.assign(grade=grade) for grade in (*KNOWN_ORDER, "pulled or untested", "unknown")])
    fair = pricing.fit_price_model(sales, calibrated=False).estimate(items)["fair_price"].to_numpy()
    assert (np.diff(fair[:5]) <= 1e-9 * fair[:4]).all()
    assert fair[4] > 0.95 * fair[3]  # held at the good, no lower than it must be
    assert (fair[5:] > fair[0]).all()
    free = pricing.fit_price_model(sales, calibrated=False, ordered=False).estimate(items)["fair_price"].to_numpy()
    assert free[4] > 1.2 * free[3]  # what the sales say if nobody holds them
