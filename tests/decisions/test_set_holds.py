"""Singles held for a set: with whom, for how much more, and which one more piece would complete one."""

from types import SimpleNamespace

import pandas as pd
import pytest
from spreadsheet.stand_in import StandInModel

from pricing.decisions.list_price import plan_list_prices
from pricing.decisions.matched_sets import match_stock
from pricing.decisions.set_holds import fits_between, set_holds
from pricing.shop_tables import Settings, clean_readings, clean_sales, clean_stock

# Plate currents of eight EL84, singles at 32, pairs at 80, quads at 175 (worked by hand, arithmetic anyone can redo).
EIGHT = dict(zip("ABCDEFGH", [44.0, 45.1, 46.0, 46.3, 47.9, 48.2, 48.4, 51.0]))


class SetPrices(StandInModel):
    """Singles, pairs and quads at stated prices."""

    prices = {1: 32.0, 2: 80.0, 4: 175.0}

    def estimate(self, items, on=None, coverage=0.80):
        fair = items["set_size"].map(self.prices).astype(float)
        return super().estimate(items).assign(fair_price=fair, low=fair * 0.7, high=fair * 1.4, fair_low=fair * 0.9,
                                              fair_high=fair * 1.1)


def shop_of(measured, unmeasured=(), **stock):
    """A shop with a tube a code on one bench."""
    settings = Settings(currency="EUR")
    sales, _ = clean_sales(pd.DataFrame({"sold_on": ["2025-03-01"] * 4, "type": "EL84", "price": 32.0}),
                           settings=settings)
    codes = [*measured, *unmeasured]
    held, _ = clean_stock(pd.DataFrame({"sku": codes, "type": "EL84", "maker": "Tivenshaw", "grade": "used, good",
                                        "cost": 5.0, **stock}), settings=settings)
    readings, _ = clean_readings(pd.DataFrame({"sku": list(measured), "test": "plate current", "tester": "bench A",
                                               "value": list(measured.values()), "volts": 250}), settings=settings)
    return SimpleNamespace(sales=sales, stock=held.assign(balance_pct=float("nan")),
                           readings=readings.assign(percent_of_nominal=float("nan")), settings=settings)


def holds_of(shop, prices=SetPrices.prices):
    """Words by code, with the model's set prices."""
    model = SetPrices(shop.sales)
    model.prices = prices
    return set_holds(match_stock(shop, model), shop)


def test_tubes_of_a_set_that_brings_more_are_held_with_their_mates():
    """The quad D E F G at 175 against 128, the pair B C at 80 against 64; A and H are in no set, nor completed by one
    more: with A the pair spreads 4.44 % and one more makes a quad of 175 against 144."""
    held = holds_of(shop_of(EIGHT))
    assert held["D"] == "matched with E, F, G, plate current within 4.4 %: 175.00 as a quad, 128.00 one by one"
    assert held["B"] == "matched with C, plate current within 2.0 %: 80.00 as a pair, 64.00 one by one"
    assert held["A"] == "with B, C one more of 43.8-46.3 mA makes a quad: 175.00, 144.00 as a pair and two singles"
    assert "H" not in held


@pytest.mark.parametrize("values, tolerance", [([44.0, 45.1, 46.0], 5.0), ([48.4], 5.0), ([39.0, 40.0, 40.5], 10.0)])
def test_one_more_within_the_tolerance(values, tolerance):
    """At both ends of the range the set's spread is the tolerance, a little beyond it is more."""
    for end, beyond in zip(fits_between(values, tolerance), (-0.01, 0.01)):
        for x, within in ((end, True), (end + beyond, False)):
            whole = [*values, x]
            spread = 100 * (max(whole) - min(whole)) / (sum(whole) / len(whole))
            assert (spread <= tolerance + 1e-9) == within


def test_a_single_waits_for_its_unmeasured_kin_only():
    """One tube alone is held where others of its type, maker and grade have no plate current yet, not where they do."""
    alone = {"H": 51.0}
    assert holds_of(shop_of(alone)) == {}
    said = holds_of(shop_of(alone, list("PQRST")))["H"]
    assert said == ("one more of 48.5-53.6 mA makes a pair: 80.00, 64.00 one by one; of its kind, not measured yet: P, "
                    "Q, R and 2 more codes")
    assert holds_of(shop_of(alone, ["P"], maker=["Tivenshaw", "Dravelko"])) == {}


def test_a_little_more_is_no_reason_to_wait():
    """A pair at 66 brings 3 % more than two singles at 32: not held; a tube out of balance never is."""
    held = holds_of(shop_of(EIGHT), {1: 32.0, 2: 66.0, 4: 132.0})
    assert held == {}
    shop = shop_of(EIGHT)
    shop.stock["balance_pct"] = [100.0] * 7 + [60.0]
    assert "H" not in holds_of(shop)


def test_the_plan_says_hold_and_with_which_pieces():
    """Action and reason on the price plan; what is dear enough to be looked at stays so, with the same words."""
    shop = shop_of(EIGHT, ask=[30.0] * 7 + [300.0])
    plan = plan_list_prices(SetPrices(shop.sales), shop.stock, shop).set_index("sku")
    assert plan["action"].tolist() == ["hold for a set"] * 7 + ["look"]
    assert plan.loc["D", "reason"].startswith("matched with E, F, G") and "similar pieces" in plan.loc["D", "reason"]
    assert plan.loc["D", "list_price"] == 30.0 and plan.attrs["matched"].pools["gain"].tolist() == [63.0]
