"""The plan for a whole stock: what is left, whose fees count, and what each row says."""

from decimal import Decimal as D
from types import SimpleNamespace

import pandas as pd
import pytest
from spreadsheet.stand_in import StandInModel

from pricing.decisions.list_price import PLAN_COLUMNS, _alike_on_hand, piece_in_words, plan_list_prices, policy_of
from pricing.decisions.shop_habits import sets_on_hand, usual_channel, usual_postage
from pricing.shop_tables import Settings, clean_sales, clean_stock

SALES = pd.DataFrame(
    [
        ("2025-01-10", "EL84", 1, 1, 20.0, "marketplace", 6.0, "A", None),
        ("2025-02-10", "EL84", 1, 3, 66.0, "marketplace", 8.0, "A", None),
        ("2025-03-10", "EL84", 1, 1, 24.0, "own site", 7.0, "A", "2025-03-20"),
        ("2025-04-10", "EL84", 2, 1, 50.0, "marketplace", 10.0, "B", None),
        ("2025-05-10", "EL84", 1, 1, 23.0, "marketplace", None, "B", None),
        ("2025-06-10", "EL84", 1, 1, 21.0, "", 9.0, "", None),
    ],
    columns=["sold_on", "type", "set_size", "qty", "price", "channel", "postage_paid", "sku", "returned_on"],
)
STOCK = pd.DataFrame(
    [
        ("A", "EL84", "Tivenshaw", 1, 6, 8.0, 22.0),
        ("B", "EL84", "", 2, 3, 20.0, 30.0),
        ("C", "EL84", "", 1, 1, None, None),
    ],
    columns=["sku", "type", "maker", "set_size", "qty", "cost", "ask"],
)


def shop_of(sales=SALES, stock=STOCK, **settings):
    """A shop with just what the plan looks at."""
    settings = Settings.from_rows(
        {"currency": "EUR", **{key.replace("_", " "): v for key, v in settings.items()}}
    )
    sales, _ = clean_sales(sales, settings=settings)
    stock, _ = clean_stock(stock, settings=settings)
    return SimpleNamespace(sales=sales, stock=stock, settings=settings)


def test_sets_on_hand():
    """A: 6 less 1 and 3, the returned one comes back: 2. B: 3 pairs less a pair and a single: 3 tubes, one
    whole pair.
    """
    shop = shop_of()
    assert sets_on_hand(shop.stock, shop.sales) == [2, 1, 1]


def test_more_sold_than_bought_is_none_left():
    """A count below nothing is nothing."""
    shop = shop_of(stock=STOCK.assign(qty=1))
    assert sets_on_hand(shop.stock, shop.sales)[0] == 0


def test_usual_channel_and_postage():
    """The channel of most lines, unknown ones aside; the median of 6, 8 and 10 is 8."""
    shop = shop_of()
    assert usual_channel(shop.sales) == "marketplace"
    assert usual_postage(shop.sales, "marketplace") == D("8.00")
    assert usual_postage(shop.sales, "auction") == 0


def test_fees_are_those_of_the_usual_channel():
    """Marketplace fees, not the general ones; postage only where prices include it."""
    rows = {"fee": 3, "fee: marketplace": 13.25, "fixed fee: marketplace": 0.4, "postage included": "no"}
    terms = policy_of(shop_of(**rows)).terms
    assert (terms.fee_pct, terms.fee_fixed, terms.postage_paid) == (D("13.25"), D("0.4"), 0)
    rows["postage included"] = "yes"
    assert policy_of(shop_of(**rows)).terms.postage_paid == D("8.00")


def test_plan_has_a_row_a_piece_in_stock_order():
    """Same index as the stock, the agreed columns, money at stake = change times sets on hand."""
    shop = shop_of()
    plan = plan_list_prices(StandInModel(shop.sales), shop.stock, shop)
    assert list(plan.index) == list(shop.stock.index) and list(plan.columns) == list(PLAN_COLUMNS)
    assert plan["action"].tolist() == ["keep", "raise", "list"]
    assert plan["difference"].tolist()[:2] == [0.0, (plan["list_price"] - plan["ask"]).iloc[1] * 1]
    assert pd.isna(plan["difference"].iloc[2]) and pd.isna(plan["margin"].iloc[2])


def test_plan_names_the_sales_behind():
    """Rows of the Sales sheet as the model gives them, heaviest first."""
    shop = shop_of()
    rows = plan_list_prices(StandInModel(shop.sales), shop.stock, shop)["sales_rows"].tolist()
    assert rows[0] == ", ".join(map(str, shop.sales["row"].head(5)))


def test_plan_of_an_empty_stock():
    """No stock, no rows, same columns."""
    shop = shop_of(stock=STOCK.iloc[:0])
    plan = plan_list_prices(StandInModel(shop.sales), shop.stock, shop)
    assert plan.empty and list(plan.columns) == list(PLAN_COLUMNS)


@pytest.mark.parametrize("markup, price, words", [(0, 23.0, "then aim at the fair price (mark-up without listings"),
                                                  (10, 25.0, "then aim 10 % above the fair price")])
def test_markup_where_no_listing_tells_the_time_to_sale(markup, price, words):
    """Without listings a piece of fair price 22.50 is listed at the owner's mark-up on it, and the plan says so."""
    shop = shop_of(stock=STOCK.assign(ask=None), mark_up_without_listings=markup, price_endings=".00")
    plan = plan_list_prices(StandInModel(shop.sales), shop.stock, shop)
    assert plan["list_price"].iloc[2] == price and words in plan.attrs["unsold_asks"]
    assert "no listing history" in plan.attrs["unsold_asks"]
    assert ("10 % on top by Settings" in plan["reason"].iloc[2]) == bool(markup)


def test_margin_of_the_books_beside_what_a_sale_leaves():
    """22.00 less 2.9 % + 0.30, packing 1.20 and 4 % returns leaves 18.98; less the cost of 8, 10.98: 137 % of the
    cost. A gift has no return, an unknown cost no book margin."""
    shop = shop_of(stock=STOCK.assign(ask=22.0, set_size=1, qty=9, cost=[8.0, 0.0, None]))
    plan = plan_list_prices(StandInModel(shop.sales), shop.stock, shop)
    assert plan["leaves"].tolist() == [18.98] * 3
    assert plan["margin"].tolist()[:2] == [10.98, 18.98] and pd.isna(plan["margin"].iloc[2])
    assert plan["return_pct"].iloc[0] == pytest.approx(137.25) and plan["return_pct"].iloc[1:].isna().all()


def test_rows_of_one_description_share_their_demand():
    """Two of A and one of C, told apart only by their codes, are three sets to one demand."""
    shop = shop_of(stock=STOCK.assign(maker="Tivenshaw"))
    assert _alike_on_hand(shop.stock, [2, 1, 1]) == [3, 1, 3]
    assert _alike_on_hand(shop.stock.iloc[:0], []) == []


@pytest.mark.parametrize(
    "piece, words",
    [
        (
            {
                "maker": "Tivenshaw",
                "brand": "Tivenshaw",
                "era": "1960s",
                "grade": "used, good",
                "set_size": 2,
                "reading_pct": 91.6,
            },
            "Tivenshaw, 1960s, used, good, 92 %, pair",
        ),
        (
            {
                "maker": "unknown",
                "brand": "Halcyard",
                "era": "unknown",
                "grade": "unknown",
                "set_size": 3,
                "reading_pct": float("nan"),
            },
            "printed Halcyard, grade unknown, set of 3",
        ),
    ],
)
def test_piece_in_words(piece, words):
    """What is known, in the order an owner would say it."""
    assert piece_in_words(piece) == words
