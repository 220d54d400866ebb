"""Under-priced offers: the limit on false finds kept on simulated shops, every offer listed, and words that say why."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from simulator import simulate_shop
from simulator.offers import bare_shop, simulate_offers

import pricing
from pricing.decisions.seller_asks import GRID, learn_asks, marked
from pricing.decisions.underpriced import OFFER, OWN, find_underpriced
from pricing.shop_tables import Settings, clean_offers, clean_sales, clean_stock

SEEDS = (11, 12, 13, 14, 15, 16)


@pytest.fixture(scope="module")
def offered():
    """Simulated shops of 1,500 sales with 400 offers each: (model, shop, offers)."""
    out = []
    for seed in SEEDS:
        shop = simulate_shop(1_500, seed, n_types=40)
        out.append((pricing.fit_price_model(shop.sales), shop, simulate_offers(shop, seed, 400)))
    return out


@pytest.mark.parametrize("limit_pct", [10, 20])
def test_the_share_of_false_finds_keeps_to_the_limit(offered, limit_pct):
    """Over all shops within two standard errors of the limit (tests/benchmarks/underpriced.py has twenty shops)."""
    n, false = [], []
    for model, shop, offers in offered:
        settings = Settings.from_rows({"currency": "EUR", "most false finds": limit_pct})
        table = find_underpriced(model, None, bare_shop(shop, settings, pricing.load_register()), shelf=offers).table
        pays = table["code"].map(offers.set_index("code")["log_fair"]) >= np.log(table["needed"].astype(float))
        assert len(table) == len(offers)
        n.append(table["marked"].sum())
        false.append((table["marked"] & ~pays).sum())
    share = sum(false) / sum(n)
    error = max(np.sqrt(((np.array(false) - share * np.array(n)) ** 2).sum()) / sum(n),
                np.sqrt(limit_pct / 100 * (1 - limit_pct / 100) / sum(n)))
    assert abs(share - limit_pct / 100) < 2 * error


def test_more_finds_than_the_habit_among_as_many_marked(offered):
    """As many marked by "cheapest against the median of its type" hold fewer finds."""
    ours = habits = 0
    for model, shop, offers in offered:
        settings = Settings.from_rows({"currency": "EUR", "most false finds": 20})
        found = find_underpriced(model, None, bare_shop(shop, settings, pricing.load_register()), shelf=offers).table
        found = found.set_index("code").reindex(offers["code"])
        pays = offers["log_fair"].to_numpy() >= np.log(found["needed"].to_numpy(float))
        each = shop.sales["price_home"] / (shop.sales["set_size"] * shop.sales["qty"])
        median = offers["canonical_type"].map(each.groupby(shop.sales["canonical_type"]).median())
        cheapest = np.argsort((offers["each"] / median.fillna(np.inf)).to_numpy())[:int(found["marked"].sum())]
        ours += int((found["marked"].to_numpy(bool) & pays).sum())
        habits += int(pays[cheapest].sum())
    assert ours > 1.3 * habits


def test_marks_are_the_longest_list_within_the_limit():
    """By hand: .99, .95, .90, .60: expected false shares .01, .03, .053, .14."""
    chance = np.array([0.60, 0.99, 0.90, 0.95])
    assert marked(chance, 0.06).tolist() == [False, True, True, True]
    assert marked(chance, 0.14).all() and not marked(chance, 0.005).any() and not marked(chance, -1.0).any()


def test_sellers_errors_are_told_apart_from_ours():
    """Errors of .3 seen through our own .2: the spread learnt is nearer .3 than their sum of .36 (deconvolution)."""
    draw = np.random.default_rng(5)
    sd = np.full(3_000, 0.2)
    asks = learn_asks(0.3 * draw.standard_normal(3_000) + 0.2 * draw.standard_normal(3_000), sd)
    mean = (asks.share * GRID).sum()
    assert np.sqrt((asks.share * (GRID - mean) ** 2).sum()) == pytest.approx(0.3, abs=0.025)


STOCK = pd.DataFrame([("A1", "EL84", "Tivenshaw", 5.0), ("A2", "EL84", "Tivenshaw", 40.0)],
                     columns=["sku", "type", "maker", "ask"])
OFFERS = pd.DataFrame([
    ("O1", "EL84", "Tivenshaw", 88, 4.0, "", 2.0), ("O2", "EL84", "", None, 33.0, "", None),
    ("O3", "QQ99", "Nobody", None, 9.0, "", 0.0), ("O4", "7189", "Luskarn", 90, 8.0, "", 0.0),
    ("O5", "EL84", "Luskarn", 90, 12.0, "XXX", 0.0), ("O6", "EL84", "Luskarn", 90, None, "", 0.0),
], columns=["offer", "type", "maker", "reading_pct", "ask", "currency", "postage"])


@pytest.fixture(scope="module")
def small():
    """A hand-made shop of 240 sales of three types with two pieces and six offers; its model."""
    draw, register = np.random.default_rng(1), pricing.load_register()
    settings = Settings.from_rows({"currency": "EUR"})
    sales = pd.DataFrame([
        (f"2025-{1 + n % 12:02d}-10", kind, maker, round(price * worth * draw.lognormal(0, 0.1), 2))
        for n in range(40) for kind, price in (("EL84", 30), ("7189", 20), ("12AX7", 25))
        for maker, worth in (("Tivenshaw", 1.2), ("Luskarn", 0.8))], columns=["sold_on", "type", "maker", "price"])
    clean, problems = clean_offers(OFFERS, register, settings)
    shop = SimpleNamespace(sales=clean_sales(sales, register, settings)[0], settings=settings, register=register,
                           stock=clean_stock(STOCK, register, settings)[0], offers=clean)
    return pricing.fit_price_model(shop.sales, settings, register, calibrated=False), shop, problems


def test_every_offer_is_listed_or_explained(small):
    """Rows in = rows listed + rows that reading has reported."""
    model, shop, problems = small
    table = find_underpriced(model, None, shop).table
    listed = set(table.loc[table["source"] == OFFER, "code"])
    assert listed == {"O1", "O2", "O3", "O4"}
    assert {one.row for one in problems if one.effect != "please check"} >= {6, 7}
    assert set(table.loc[table["source"] == OWN, "code"]) == {"A1", "A2"}


def test_money_of_an_offer(small):
    """Cost with postage; the price needed leaves 30 % after fees; the gain is what is left of the worth."""
    model, shop, _ = small
    one = find_underpriced(model, None, shop).table.set_index("code").loc["O1"]
    assert one["cost"] == 6.0 and one["chance"] > 0.9
    # needed p: p - 2.9 % - 0.30 - 1.20 - 4 % - 6 = 30 % of p  ->  p = 7.50 / 0.631
    assert one["needed"] == pytest.approx(7.5 / 0.631, abs=0.02)
    assert one["gain"] == pytest.approx(one["worth"] * 0.931 - 1.5 - 6, abs=0.03)


def test_words_say_why_and_what_could_be_wrong(small):
    """Price, range, chance; missing reading, unknown maker and type, a price too good."""
    model, shop, _ = small
    table = find_underpriced(model, None, shop).table.set_index("code")
    assert "its like sells at" in table.loc["O1", "why"] and "in 100 that it does" in table.loc["O1", "why"]
    assert "may be wrong" in table.loc["O1", "doubts"] and "no reading" not in table.loc["O1", "doubts"]
    assert "maker not stated" in table.loc["O2", "doubts"] and "no reading" in table.loc["O2", "doubts"]
    assert "does not know the type" in table.loc["O3", "doubts"]
    assert "asked at 5.00 EUR" in table.loc["A1", "why"] and table.loc["A1", "chance"] > table.loc["A2", "chance"]


def test_what_it_may_replace_counts(small):
    """A 7189 may stand in for an EL84, which sells higher here; the EL84 in turn for nothing. Asked at what the price
    of a 7189 hardly pays and that of an EL84 does, it is marked as that; asked at more, not."""
    model, shop, _ = small
    table = find_underpriced(model, None, shop).table.set_index("code")
    one = table.loc["O4"]
    assert one["replaces"] == "EL84" and one["replaces_fair"] > one["needed"] > 0.9 * one["fair_price"]
    assert not one["marked"] and one["marked_as"] == "EL84" and "may stand in for EL84" in one["why"]
    assert table.loc["O1", "replaces"] == "" and table.loc["O1", "marked_as"] == ""
    dear = shop.offers[shop.offers["offer"] == "O4"].assign(ask=12.0, ask_home=12.0)
    assert find_underpriced(model, dear, shop).table.set_index("code").loc["O4", "marked_as"] == ""


def test_too_little_history_marks_nothing(small):
    """Listed all the same, and said so."""
    _, shop, _ = small
    model = pricing.fit_price_model(shop.sales.head(100), shop.settings, shop.register, calibrated=False)
    found = find_underpriced(model, None, shop)
    assert not found.table["marked"].any() and len(found.table) and "too few" in found.words[0]


def test_no_offers_and_no_stock(small):
    """Nothing to compare, in words."""
    model, shop, _ = small
    bare = SimpleNamespace(**{**vars(shop), "offers": shop.offers.iloc[:0], "stock": shop.stock.iloc[:0]})
    found = find_underpriced(model, None, bare)
    assert found.table.empty and "nothing to compare" in found.words[0]
    assert find_underpriced(model, shop.offers.head(1), bare).table["code"].tolist() == ["O1"]
