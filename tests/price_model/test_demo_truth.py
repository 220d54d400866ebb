"""The demo shop through the main job: what its owner does not know is found again."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import pricing
from pricing.shop_tables import GRADE_ORDER

DEMO = Path(__file__).parents[2] / "demo_data"


@pytest.fixture(scope="module")
def shop():
    """The demo shop as read."""
    return pricing.read_shop(DEMO)


@pytest.fixture(scope="module")
def model(shop):
    """Fitted to all its sales."""
    return pricing.fit_price_model(shop.sales, shop.settings, shop.register)


@pytest.fixture(scope="module")
def effects():
    """True effects in log price: kind and level to effect."""
    return pd.read_csv(DEMO / "truth/effects.csv").set_index(["kind", "level"])["log_effect"]


def test_ranges_hold_later_sales(shop):
    """Fitted to all but the last year: 75 to 85 % of that year's honest sales fall inside the 80 % range."""
    sales, truth = shop.sales, pd.read_csv(DEMO / "truth/sales.csv").set_index("row")
    honest = truth["error"].reindex(sales["row"]).isna().to_numpy() & sales["returned_on"].isna().to_numpy()
    late = (sales["sold_on"] >= sales["sold_on"].max() - pd.DateOffset(years=1)).to_numpy()
    model = pricing.fit_price_model(sales[~late], shop.settings, shop.register)
    later = sales[late & honest]
    quote = model.estimate(later, on=later["sold_on"])
    each = later["price_home"] / later["qty"]
    inside = ((quote["low"] <= each) & (each <= quote["high"])).mean()
    assert 0.75 <= inside <= 0.85


def test_makers_are_ranked_as_they_are(model, effects):
    """Rank correlation over .9; no two makers that differ by half in truth are swapped."""
    found = model.summary().query("factor == 'maker' and level != 'unknown' and part == 'effect'")
    true = effects["maker"].reindex(found["level"]).to_numpy()
    ours = found["value"].to_numpy()
    assert np.corrcoef(pd.Series(ours).rank(), pd.Series(true).rank())[0, 1] > 0.9
    apart = true[:, None] - true[None, :] > np.log(1.5)
    assert (ours[:, None] - ours[None, :])[apart].min() > 0


def test_grades_are_ordered_and_of_the_right_size(model, effects):
    """Against 'used, good': each gap within .12 of the truth (which varies by family and price level about it)."""
    found = model.summary().query("factor == 'grade'").set_index("level")["value"]
    true = effects["grade"] - effects["grade"]["used, good"]
    ordered = [*(found[grade] for grade in GRADE_ORDER[:3]), 0.0, found["used, weak"]]
    assert (np.diff(ordered) <= 0).all()
    for grade in GRADE_ORDER:
        if grade != "used, good":
            assert found[grade] == pytest.approx(true[grade], abs=0.12)


def test_stock_is_priced_near_the_truth(model, shop):
    """Median absolute log error under .12 on the shelf, and no bias over .04."""
    truth = pd.read_csv(DEMO / "truth/stock.csv").set_index("row")["log_fair"].reindex(shop.stock["row"]).to_numpy()
    error = np.log(model.estimate(shop.stock)["fair_price"].to_numpy()) - truth
    assert np.median(np.abs(error)) < 0.12
    assert abs(np.median(error)) < 0.04


def test_every_sale_is_used_or_explained(model, shop):
    """Rows in the file = sales fitted + returned + rows left out with a reason."""
    counts = shop.row_counts().set_index("table").loc["Sales"]
    returned = int(shop.sales["returned_on"].notna().sum())
    assert model.n_sales + returned == counts["used"] == len(shop.sales)
    assert counts["rows_in"] == counts["used"] + counts["left_out"]
