"""Books as they should not be, through every decision: no crash, no price that is no number, and words that tell."""

from decimal import Decimal
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from spreadsheet.stand_in import StandInModel

from pricing import shop_tables
from pricing.decisions.list_price import plan_list_prices
from pricing.decisions.lot_bid import bid_for_lot, bid_for_offered_lot
from pricing.decisions.lots import cost_lot
from pricing.decisions.margins import TOTAL, review_shop
from pricing.decisions.matched_sets import match_sets, match_stock
from pricing.decisions.net_proceeds import SellingTerms
from pricing.decisions.shop_lots import review_lots

TABLES = ("sales", "stock", "asks", "lots", "readings", "offers")


def sale(month=1, price=20.0, **cells):
    """A sale of one EL84."""
    return {"sold_on": f"2025-{month:02d}-05", "type": "EL84", "price": price, "channel": "own site", **cells}


def piece(sku="A", **cells):
    """A stock row of one EL84."""
    return {"sku": sku, "type": "EL84", "cost": 5.0, "ask": 22.0, **cells}


SIX = [sale(month, 18.0 + month) for month in range(1, 7)]


def shop_of(sales=SIX, stock=(), settings=None, **tables):
    """A clean shop of raw rows."""
    settings = shop_tables.Settings.from_rows({"currency": "EUR", **(settings or {})})
    assert not settings.problems
    rows = {"sales": sales, "stock": stock, **tables}
    found = {name: getattr(shop_tables, f"clean_{name}")(pd.DataFrame(list(rows.get(name, ()))), settings=settings)
             for name in TABLES}
    clean = {name: table for name, (table, _) in found.items()}
    clean["readings"] = clean["readings"].assign(percent_of_nominal=np.nan, canonical_type="EL84", family="EL84 kin")
    clean["stock"] = clean["stock"].assign(balance_pct=np.nan)
    return SimpleNamespace(**clean, settings=settings, codes=[one.code for _, told in found.values() for one in told])


# what is odd: (tables of the shop, (action, part of the reason) of its first piece, codes of problems)
SHOPS = {
    "one listing": (dict(stock=[piece(listed_on="2024-02-01")]), ("keep", "unsold for 490 days"), []),
    "a family wholly unsold": (dict(stock=[piece(type="5U4GB", qty=9)]), ("look", "no sale of this type"), []),
    "a gift": (dict(stock=[piece(cost=0)]), ("keep", "similar pieces"), []),
    "cost blank": (dict(stock=[piece(cost=None)]), ("keep", "similar pieces"), []),
    "cost above the price": (dict(stock=[piece(cost=90)]), ("look", "it cost 90.00, more than"), []),
    "ask of nothing": (dict(stock=[piece(ask=0)]), ("list", "no ask yet"), []),
    "ask blank": (dict(stock=[piece(ask=None)]), ("list", "no ask yet"), []),
    "ask of millions": (dict(stock=[piece(ask=9e6)]), ("look", "times above the estimate"), []),
    "all of it in fees": (dict(stock=[piece()], settings={"fee": 80, "payment fee": 60}),
                          ("look", "fees and margin in Settings leave no price that pays"), []),
    "every sale returned by rate": (dict(stock=[piece()], settings={"return rate": 100}),
                                    ("look", "leave no price that pays"), []),
    "lowest mark-up above the highest": (
        dict(stock=[piece(cost=3)], settings={"lowest mark-up": 10, "highest mark-up": 2}),
        ("look", "its floor of 30.00 is above what similar pieces bring"), []),
    "no raise and no cut": (dict(stock=[piece(ask=40)], settings={"largest raise": 0, "largest cut": 0}),
                            ("keep", "cut by 0 % at most"), []),
    "no ending near": (dict(stock=[piece(ask=18)], settings={"price endings": "999"}),
                       ("raise", "no price ending of Settings lies near 21.50"), []),
    "sales in two currencies": (
        dict(sales=[*SIX, sale(7, 50.0, currency="USD")], stock=[piece()], settings={"rate: USD 2025-07": 0.5}),
        ("keep", "7 sales of the type"), []),
    "a currency without a rate": (dict(sales=[*SIX, sale(7, 50.0, currency="USD")], stock=[piece()]),
                                  ("keep", "6 sales of the type"), ["no_rate"]),
    "sales of nothing and less": (dict(sales=[*SIX, sale(7, 0.0), sale(7, -5.0)], stock=[piece()]),
                                  ("keep", "6 sales"), ["price_not_positive", "price_not_positive"]),
    "part of a line came back": (
        dict(sales=[*SIX, sale(7, 40.0, qty=2, sku="A"), sale(7, 20.0, sku="A", returned_on="2025-07-20")],
             stock=[piece(qty=5)]), ("keep", "similar pieces"), []),
    "all sales came back": (dict(sales=[one | {"returned_on": "2025-12-01"} for one in SIX], stock=[piece()]),
                            ("keep", "similar pieces"), []),
    "one sale": (dict(sales=SIX[:1], stock=[piece()]), ("lower", "1 sale of the type"), []),
    "more sold than bought": (dict(sales=[*SIX, sale(7, 180.0, qty=9, sku="A")], stock=[piece()]),
                              ("sold out", "none left"), []),
    "a code twice": (dict(stock=[piece(), piece()]), ("keep", "similar pieces"), []),
    "a set larger than any sold": (dict(stock=[piece(set_size=6, ask=120)]), ("keep", "similar pieces"), []),
    "tax on the margin, cost blank": (
        dict(stock=[piece(cost=None)], settings={"sales tax scheme": "margin scheme", "sales tax rate": 19}),
        ("keep", "similar pieces"), []),
    "a lot of rejects, a lot for nothing": (
        dict(stock=[piece(lot="L1")], lots=[{"lot": "L1", "paid": 50, "tubes": 9, "rejects": 9},
                                            {"lot": "L2", "paid": 0}]), ("keep", "similar pieces"), []),
    "readings of codes unknown, of sets, of one tube": (
        dict(stock=[piece(), piece("B", set_size=2)], readings=[
            {"sku": sku, "test": "plate current", "tester": "bench", "value": 44.0, "volts": 250} for sku in "ABZ"]),
        ("keep", "similar pieces"), []),
}


@pytest.mark.parametrize("name", SHOPS)
def test_odd_shops(name):
    """Plan, lots, sets and margins of the shop: finite or blank prices, no "nan" in any sentence."""
    tables, (action, said), codes = SHOPS[name]
    shop = shop_of(**tables)
    model = StandInModel(shop.sales)
    plan = plan_list_prices(model, shop.stock, shop)
    assert plan["action"].iloc[0] == action and said in plan["reason"].iloc[0]
    assert shop.codes == codes
    prices = plan[["list_price", "floor", "leaves"]].to_numpy(float)
    assert not np.isinf(prices).any() and not (prices[~np.isnan(prices)] < 0).any()
    assert plan["list_price"].notna().all() == (action != "sold out" and "leave no price" not in said)
    lots = review_lots(shop, model)
    sentences = [*plan["reason"], plan.attrs["unsold_asks"], *lots.words, *lots.lots["words"],
                 match_stock(shop, model).words]
    for by in ("family", "channel", "lot"):
        review = review_shop(shop, by=by, runs=20)
        sentences += [*review.words, *review.table["reason"]]
        assert review.bridge["change"].iloc[-1] == pytest.approx(review.table.loc[TOTAL, "sales"])
    assert not [one for one in sentences if "nan" in one.casefold().split() or " inf" in one.casefold()]


def test_nothing_sold_for_good():
    """Where all came back the review says what that lost: six packings of 1.20."""
    review = review_shop(shop_of([one | {"returned_on": "2025-12-01", "cost": 5} for one in SIX]))
    assert "nothing sold for good; what came back lost 7.20 EUR" in review.words[0]
    assert review.table["action"].iloc[0] == "look"


def test_no_sales_but_lots_and_prices():
    """A new shop bids by prices of its own and is told what is missing elsewhere."""
    shop = shop_of([], lots=[{"lot": "L1", "paid": 50, "tubes": 10, "rejects": 2}])
    assert bid_for_offered_lot(pd.DataFrame({"qty": [10], "price": [20.0]}), shop).bid > 0
    with pytest.raises(ValueError, match="give one, or a fitted model"):
        bid_for_offered_lot(pd.DataFrame({"qty": [10]}), shop)
    with pytest.raises(ValueError, match="no usable sale to review"):
        review_shop(shop)


@pytest.mark.parametrize("lines, terms", [
    ({"qty": [10], "price": [20.0]}, SellingTerms(fee_pct=Decimal(120))), ({"qty": [0], "price": [20.0]}, None),
    ({"qty": [], "price": []}, None), ({"qty": [3], "price": [0.0]}, None),
    ({"qty": [3], "price": [9.0], "pass_pct": [0]}, None), ({"qty": [3], "price": [9.0], "sell_pct": [0]}, None),
])
def test_lots_not_to_bid_for(lines, terms):
    """Nothing that would pass, sell or pay: a bid of nothing in words, its range at nothing too."""
    found = bid_for_lot(pd.DataFrame(lines), terms, runs=50)
    assert (found.bid, found.low, found.high) == (0, 0, 0) and found.words.startswith("Do not bid")
    assert str(found.low) == "0.00"


@pytest.mark.parametrize("call, said", [
    (lambda: bid_for_lot(pd.DataFrame({"qty": [3], "price": [np.inf]})), "line 1: price is inf"),
    (lambda: bid_for_lot(pd.DataFrame({"qty": [3], "price": ["ten"]})), "line 1: price is ten; write a number"),
    (lambda: bid_for_lot(pd.DataFrame({"qty": [3], "price": [9], "sell_pct": ["most"]})), "sell_pct is most"),
    (lambda: bid_for_lot(pd.DataFrame({"qty": [3], "price": [9.0]}), tubes_per_order=0), "tubes_per_order is 0"),
    (lambda: bid_for_lot(pd.DataFrame({"qty": [3], "price": [9.0]}), target_return_pct=-100), "number above -100"),
    (lambda: cost_lot(pd.DataFrame({"qty": [1]}), None), "paid is None; write what it came to"),
    (lambda: cost_lot(pd.DataFrame({"qty": [1]}), "free"), "paid is free"),
    (lambda: cost_lot(pd.DataFrame({"qty": [1], "sales_value": ["dear"]}), 5), "sales_value is dear; write a number"),
    (lambda: match_sets(pd.DataFrame({"sku": ["A"], "plate_current": ["x"]}), {1: 5}), "plate_current of 'A' is x"),
    (lambda: match_sets(pd.DataFrame({"sku": [None], "plate_current": [44.0]}), {1: 5}), "a tube has no code"),
    (lambda: match_sets(pd.DataFrame({"sku": ["A"], "plate_current": [44.0]}), {1: np.nan}), "size 1 at nan"),
])
def test_what_cannot_be_reckoned_is_named(call, said):
    """The error names the line, the value met and what to write."""
    with pytest.raises(ValueError, match=said):
        call()


def test_a_lot_of_nothing_but_rejects_and_sets_larger_than_the_bench():
    """Rejects carry nothing and say so; twelve of a kind cannot be made of two."""
    assert cost_lot(pd.DataFrame({"qty": [" "], "sales_value": ["9"]}), 40)["unit_cost"].tolist() == [40.0]
    costed = cost_lot(pd.DataFrame({"qty": [3], "rejects": [3], "sales_value": [9.0]}), 40)
    assert costed["line_cost"].sum() == 0 and costed["value_basis"].iloc[0].startswith("nothing passed")
    two = pd.DataFrame({"sku": ["A", "B"], "plate_current": [44.0, 44.0]})
    assert match_sets(two, {1: 10, 12: 500}).sets["size"].tolist() == [1, 1]
