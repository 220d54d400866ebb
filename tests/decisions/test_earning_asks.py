"""List prices that aim at what earns most: bounds kept, words said, and the fair price where nothing is known."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import pricing
from pricing.decisions.earning_asks import MOST_ABOVE_FAIR, EarningAsks
from pricing.decisions.list_price import policy_of
from pricing.decisions.net_proceeds import net_proceeds
from pricing.price_model.sale_hazard import Hazard
from pricing.shop_tables import Settings

DEMO = Path(__file__).parents[2] / "demo_data"
HAZARD = Hazard(np.log(np.log(2) / 100), 5.0)


@pytest.fixture(scope="module")
def shop():
    """The demo shop with 60 pieces, and its model."""
    shop = pricing.read_shop(DEMO)
    model = pricing.fit_price_model(shop.sales, shop.settings, shop.register, calibrated=False)
    return replace(shop, stock=shop.stock.head(200)), model


@pytest.mark.parametrize("holding_pct", [5.0, 12.0, 60.0])
def test_the_ask_is_the_best_of_a_fine_search(shop, holding_pct):
    """One set, fair price known: discounted money at a thousand asks, each made out in full, has no better."""
    policy = policy_of(shop[0])
    earning = EarningAsks(HAZARD, policy, holding_pct)
    quote = {"fair_price": 50.0, "fair_low": 50.0, "fair_high": 50.0}
    best = earning.ask_for({"cost": 10.0}, quote, 1, 20.0)
    k = np.log1p(holding_pct / 100) / 365.25
    asks = np.linspace(20, 75, 1_001)
    rate = np.log(2) / 100 * np.exp(-5 * np.log(asks / 50))
    money = [rate_ / (rate_ + k) * float(net_proceeds(round(ask, 2), 10, policy.terms).net)
             for ask, rate_ in zip(asks, rate)]
    assert best.ask == pytest.approx(asks[int(np.argmax(money))], rel=0.01)
    assert best.days == pytest.approx(100 * (best.ask / 50) ** 5, rel=0.01)


def test_bounds_and_nothing_to_ask():
    """Never under the floor or far above the fair price; none where the floor is beyond, or none is on hand."""
    policy = policy_of(pricing.read_shop(DEMO))
    earning = EarningAsks(HAZARD, policy, 12.0)
    quote = {"fair_price": 50.0, "fair_low": 40.0, "fair_high": 62.0}
    assert 60 <= earning.ask_for({"cost": None}, quote, 3, 60.0).ask <= 50 * MOST_ABOVE_FAIR + 1e-9
    assert earning.ask_for({"cost": 1}, quote, 1, 80.0) is None
    assert earning.ask_for({"cost": 1}, quote, 0, 20.0) is None


def test_the_plan_follows_the_aim(shop):
    """List prices aim at what earns most; where Settings aim at the fair price they lie lower, within the same raises.
    """
    demo, model = shop
    aimed = pricing.plan_list_prices(model, demo.stock, demo)
    fair = Settings.from_rows({"currency": "EUR", "list price aim": "fair price"})
    assert not fair.problems
    plain = pricing.plan_list_prices(model, demo.stock, replace(demo, settings=replace(
        demo.settings, list_price_aim=fair.list_price_aim)))
    both = plain["list_price"].notna() & aimed["list_price"].notna() & (plain["action"] != "look")
    assert (aimed["list_price"] / plain["list_price"])[both].median() >= 1
    assert plain["expected_days"].notna().any() and (plain["expected_days"].dropna() > 0).all()
    raised = aimed[aimed["action"] == "raise"]
    assert (raised["list_price"] <= raised["ask"] * 1.25 + 0.51).all()
    assert raised["reason"].str.contains("earns most").any()
    assert (aimed["list_price"] >= aimed["floor"] - 1e-9)[both].all()
