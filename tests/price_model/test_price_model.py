"""The fitted model's own promises: reasons multiply up, weights sum up, order holds, a saved model is the same."""

import numpy as np
import pandas as pd
import pytest
from simulator import simulate_shop

import pricing
from pricing.price_model.storage import load_model
from pricing.shop_tables import GRADE_ORDER


@pytest.fixture(scope="module")
def shop():
    """A simulated shop of 1,500 sales."""
    return simulate_shop(1_500, 4)


@pytest.fixture(scope="module")
def model(shop):
    """Its price model."""
    return pricing.fit_price_model(shop.sales)


def test_build_up_multiplies_to_the_fair_price(model, shop):
    """First factor a price, the rest multipliers: their product is the estimate."""
    items = shop.future_items.head(60)
    fair = model.estimate(items)["fair_price"]
    for at in range(len(items)):
        reasons = model.explain(items.iloc[[at]])
        assert reasons["multiplier"].prod() == pytest.approx(fair.iloc[at], rel=1e-11)
        assert reasons["price_after"].iloc[-1] == pytest.approx(fair.iloc[at], rel=1e-11)


def test_sale_weights_are_the_derivatives_of_the_fair_price(shop):
    """At fixed variances and weights, raising one past price by 1 % moves a fair price by its weight."""
    from pricing.price_model.block_arrow import factorise
    from pricing.price_model.cross_products import CrossProducts
    from pricing.price_model.fixed_effects import fixed_prior
    from pricing.price_model.posterior import Posterior

    model = pricing.fit_price_model(shop.sales, ordered=False, calibrated=False)
    rows, _ = model.rows(model.describe(shop.future_items.head(3)))
    weights = model.sale_weights(rows)
    history, fit = model.history, model.fit
    for sale in np.argsort(-np.abs(weights[0]))[:3]:
        y = history.y.copy()
        y[sale] += 0.01
        products = CrossProducts.of(history.observations, y, fit.weights, fixed_prior())
        moved = Posterior.of(fit.posterior.layout, factorise(products, fit.posterior.theta), fit.posterior.theta, 1.0)
        change = moved.mean(rows) - fit.posterior.mean(rows)
        np.testing.assert_allclose(change, 0.01 * weights[:, sale], atol=1e-9)


def test_comparables_are_heaviest_first_and_named_by_row(model, shop):
    """Sheet rows exist, weights fall, prices of today are positive."""
    near = model.comparables(shop.future_items.iloc[[0]], 8)
    assert len(near) == 8 and near["row"].isin(shop.sales["row"]).all()
    assert (np.diff(np.abs(near["weight"])) <= 0).all() and (near["price_today"] > 0).all()


def test_better_grades_and_readings_never_cost_less(model, shop):
    """In every type, over the known order of grades and over rising readings."""
    items = shop.future_items.head(150)
    previous = None
    for grade in GRADE_ORDER:
        fair = model.estimate(items.assign(grade=grade))["fair_price"].to_numpy()
        assert previous is None or (fair <= previous * (1 + 1e-9)).all()
        previous = fair
    previous = None
    for reading in (20, 45, 60, 70, 85, 95, 100, 120):
        fair = model.estimate(items.assign(reading_pct=float(reading)))["fair_price"].to_numpy()
        assert previous is None or (fair >= previous * (1 - 1e-9)).all()
        previous = fair


def test_reading_is_flat_above_100_percent(model, shop):
    """101 % and 130 % of nominal are worth what 100 % is."""
    item = shop.future_items.head(1)
    prices = [model.estimate(item.assign(reading_pct=pct))["fair_price"].iloc[0] for pct in (100.0, 101.0, 130.0)]
    assert prices[0] == prices[1] == prices[2]


def test_estimates_keep_the_index_and_accept_raw_items(model):
    """Owner-spelled items, a missing column, an index of names."""
    items = pd.DataFrame({"type": ["ecc83", "nothing known"], "grade": ["N.O.S.", None]}, index=["a", "b"])
    quote = model.estimate(items)
    assert list(quote.index) == ["a", "b"]
    assert "no sale of this type" in quote.loc["b", "basis"]


def test_a_new_maker_widens_the_range(model, shop):
    """An unseen maker is no base level: same type, wider range."""
    item = shop.future_items[shop.future_items["canonical_type"] == shop.sales["canonical_type"].mode()[0]].head(1)
    usual = shop.sales.loc[shop.sales["canonical_type"] == item["canonical_type"].iloc[0], "maker"].mode()[0]
    known, new = (model.estimate(item.assign(maker=maker, era="1960s")) for maker in (usual, "nobody yet"))
    assert (new["high"] / new["low"]).iloc[0] > 1.2 * (known["high"] / known["low"]).iloc[0]


def test_coverage_widens_ranges_and_is_checked(model, shop):
    """95 % holds 80 %; a coverage that is no share is refused."""
    items = shop.future_items.head(50)
    narrow, wide = model.estimate(items), model.estimate(items, coverage=0.95)
    assert (wide["low"] < narrow["low"]).all() and (wide["high"] > narrow["high"]).all()
    with pytest.raises(ValueError, match="coverage is a share between 0 and 1, not 80"):
        model.estimate(items, coverage=80)


def test_saved_model_gives_the_same_estimates_to_the_last_bit(model, shop, tmp_path):
    """Save, load, estimate: identical numbers."""
    model.save(tmp_path / "model.tubes")
    loaded = pricing.load_price_model(tmp_path / "model.tubes")
    pd.testing.assert_frame_equal(
        model.estimate(shop.future_items), loaded.estimate(shop.future_items), check_exact=True
    )


def test_damaged_and_foreign_files_are_refused(model, tmp_path):
    """A cut file, a text file, another zip, another version: each refused with the file's name and the reason."""
    path = tmp_path / "model.tubes"
    model.save(path)
    whole = path.read_bytes()
    for content in (whole[: len(whole) // 2], b"sold_on,type,price\n", b""):
        path.write_bytes(content)
        with pytest.raises(ValueError, match="cannot be used as a price model"):
            load_model(path)
    import zipfile

    with zipfile.ZipFile(path, "w") as file:
        file.writestr("about.json", '{"format": "something else"}')
    with pytest.raises(ValueError, match="not a price model of version"):
        load_model(path)
    with pytest.raises(FileNotFoundError):
        load_model(tmp_path / "none")


def test_one_foreign_currency_without_rates_is_the_shops(shop):
    """All sales in one currency: no rates are needed, and the prices are in it."""
    model = pricing.fit_price_model(shop.sales.head(300).drop(columns="price_home").assign(currency="USD"))
    assert model.n_sales == 300 and model.settings.currency == "USD"


def test_returned_sales_do_not_teach(shop):
    """They are left out of the fit, and the notes count them."""
    sales = shop.sales.head(300).copy()
    sales.loc[sales.index[:7], "returned_on"] = sales["sold_on"].iloc[:7]
    model = pricing.fit_price_model(sales)
    assert model.n_sales == 293 and "7 returned sales" in " ".join(model.notes)


def test_diagnostics_hold_on_a_shop_that_obeys(shop):
    """On a simulated shop: tails no heavier than assumed, no wave in time, less spread than OLS leaves."""
    checks = pricing.fit_price_model(shop.sales, calibrated=False).diagnostics().set_index("name")["value"]
    assert 0.08 < checks["share outside the 80 % range"] < 0.24  # thin cells are predicted with room to spare
    assert checks["Durbin-Watson by date"] == pytest.approx(2.0, abs=0.2)
    assert checks["spread over that of least squares"] < 1


def test_a_maker_leans_on_the_average_the_more_the_fewer_its_sales(model):
    """`learnt` is a share, rises with the number of sales, and is given for makers, channels and eras only."""
    effects = model.summary().query("part == 'effect'")
    makers = effects[effects["factor"] == "maker"]
    assert makers["learnt"].between(0, 1).all()
    assert makers["learnt"].corr(makers["n_sales"], method="spearman") > 0.8
    assert effects.loc[effects["factor"] == "grade", "learnt"].isna().all()


def test_a_name_in_other_capitals_is_the_same_maker(model, shop):
    """Items may spell makers and construction as nobody did in Sales: capitals and dots do not count."""
    sales = shop.sales
    item = sales.loc[(sales["maker"] != "unknown") & (sales["variant"] != "unknown")].iloc[[0]]
    other = item.assign(maker=item["maker"].str.upper(), variant=item["variant"].str.title() + ".")
    assert other["maker"].iloc[0] != item["maker"].iloc[0]
    assert model.estimate(other)["fair_price"].iloc[0] == model.estimate(item)["fair_price"].iloc[0]
