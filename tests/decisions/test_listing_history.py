"""Facts of listings beside the stock, by hand-made tables; suggestions on the demo shop against its truth."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import pricing
from pricing.decisions.listing_history import HISTORY_COLUMNS, kin_in_words, listing_history, listing_spells
from pricing.decisions.time_to_sale import unsold_suggestions
from pricing.shop_tables import clean_asks, clean_sales, clean_stock

DEMO = Path(__file__).parents[2] / "demo_data"
AS_OF = "2025-06-30"
STOCK = pd.DataFrame(
    [
        ("A", "EL84", "Tivenshaw", "used, good", 3, 30.0, "2025-01-01"),
        ("B", "EL84", "Tivenshaw", "used, good", 1, 40.0, "2024-03-01"),
        ("C", "EL84", "Tivenshaw", "new old stock", 1, 60.0, None),
        ("D", "12AX7", "", "used, good", 1, 50.0, "2025-06-20"),
    ],
    columns=["sku", "type", "maker", "grade", "qty", "ask", "listed_on"],
)
SALES = pd.DataFrame(
    [
        ("2025-03-02", "EL84", "Tivenshaw", "used, good", 30.0, "own site", "A", "2025-01-01"),
        ("2025-02-03", "EL84", "Tivenshaw", "used, good", 25.0, "own site", "", "2025-02-01"),
        ("2025-02-10", "EL84", "Tivenshaw", "used, good", 12.0, "auction", "", "2025-02-01"),
        ("2025-02-05", "EL84", "Tivenshaw", "used, good", 26.0, "own site", "", "2025-02-01"),
    ],
    columns=["sold_on", "type", "maker", "grade", "price", "channel", "sku", "listed_on"],
)
ASKS = pd.DataFrame(
    [("B", 55.0, "2023-09-01", "2024-03-01", "lowered"), ("B", 40.0, "2024-03-01", None, "")],
    columns=["sku", "ask", "from_date", "until_date", "outcome"],
)


def shop_of(asks=ASKS, stock=STOCK, sales=SALES):
    """A shop with just the tables that listings are read from."""
    return SimpleNamespace(stock=clean_stock(stock)[0], sales=clean_sales(sales)[0], asks=clean_asks(asks)[0])


@pytest.fixture
def history():
    """Facts of the four pieces by sku."""
    shop = shop_of()
    out = listing_history(shop.stock, shop, AS_OF)
    assert tuple(out.columns) == HISTORY_COLUMNS and list(out.index) == list(shop.stock.index)
    return out.set_index(shop.stock["sku"])


def test_days_at_the_present_ask(history):
    """A since its last sale on 2 March: 120 days. B since it was lowered: 486. C not listed. D: 10 days."""
    assert history["days_listed"].fillna(-1).tolist() == [120, 486, -1, 10]


def test_highest_unsold_ask_of_its_kind(history):
    """B stood at 55.00 for 182 days: the highest for A and, its own standing ask aside, for B; C has no kin of its own
    grade and takes the maker's; nothing for D."""
    assert history["unsold_ask"].fillna(0).tolist() == [55, 55, 55, 0]
    assert history["unsold_days"].fillna(0).tolist() == [182, 182, 182, 0]


def test_days_to_sale_leave_auctions_out(history):
    """2 and 4 days, and 60 for the sold set of A (no row in Asks, so its Sales line counts): the median is 4."""
    assert history["days_to_sale"].fillna(-1).tolist() == [4, 4, 4, -1]
    assert history["sold_with_days"].tolist() == [3, 3, 3, 0]


def test_words_only_where_strong(history):
    """486 days: may be too high. Three sold in 4 days (median): may be too low. Ten days say nothing."""
    assert history.loc["B", "listing_words"] == "unsold for 486 days at this ask: it may be too high"
    assert "sold in 4 days (median of 3)" in history.loc["A", "listing_words"]
    assert history.loc["D", "listing_words"] == ""


def test_without_asks_the_sales_tell():
    """No Asks sheet: A's sold set is a spell of 60 days from its listing, and it stands since its sale."""
    shop = shop_of(asks=ASKS.iloc[:0])
    spells = listing_spells(shop.stock, shop, AS_OF)
    of_a = spells[spells["sku"] == "A"]
    assert of_a["days"].tolist() == [60, 120] and of_a["sold"].tolist() == [True, False]
    assert spells["standing"].sum() == 3


def test_an_open_ask_that_stock_does_not_bear_out():
    """Where Stock asks another price than the open row of Asks, nobody knows since when: no days, no spell."""
    shop = shop_of(stock=STOCK.assign(ask=[30.0, 35.0, 60.0, 50.0]))
    assert pd.isna(listing_history(shop.stock, shop, AS_OF)["days_listed"].iloc[1])


def test_nothing_written_down():
    """No dates at all: blank columns, no words; no stock: no rows."""
    shop = shop_of(asks=ASKS.iloc[:0], stock=STOCK.assign(listed_on=None), sales=SALES.assign(listed_on=None))
    out = listing_history(shop.stock, shop, AS_OF)
    assert out[list(HISTORY_COLUMNS[:4])].isna().all().all() and (out["listing_words"] == "").all()
    empty = shop_of(stock=STOCK.iloc[:0])
    assert listing_history(empty.stock, empty, AS_OF).empty


def test_one_sentence_for_a_quote():
    """A quoted piece need not be in stock."""
    shop = shop_of()
    item = shop.stock.drop(columns=["sku", "ask", "listed_on", "qty"]).iloc[[0]]
    assert kin_in_words(item, shop, AS_OF) == (
        "Of such pieces the highest unsold ask is 55.00, for 182 days and 3 sold in 4 days (median)."
    )


@pytest.fixture(scope="module")
def demo():
    """(stock with what is standing, truth, model's log fair prices, suggestions) of the demo shop."""
    shop = pricing.read_shop(DEMO)
    recent = shop.sales[shop.sales["sold_on"] >= "2023-11-01"]
    model = pricing.fit_price_model(recent, settings=shop.settings, register=shop.register, calibrated=False)
    truth = shop.stock["row"].map(pd.read_csv(DEMO / "truth" / "stock.csv").set_index("row")["log_fair"])
    standing = listing_history(shop.stock, shop, model.as_of)["days_listed"].notna()
    fair = np.log(model.estimate(shop.stock)["fair_price"])
    return standing, truth, fair, unsold_suggestions(model, shop.stock, shop)


def test_suggestions_on_the_demo_shop(demo):
    """Asks were made with eta 6, found in 4 to 7.5; the scatter of error of standing pieces falls by a fifth."""
    standing, truth, fair, found = demo
    assert 4 < found.evidence.hazard.eta < 7.5
    before = (fair - truth)[standing]
    after = (np.log(found.by_piece["fair_given_asks"]) - truth)[standing]
    assert after.std() < 0.8 * before.std()


def test_a_suggestion_is_said_only_when_clear(demo):
    """Words only where the range leaves the model's price out; they name the size and the way."""
    _, _, fair, found = demo
    said = found.by_piece[found.by_piece["asks_words"] != ""]
    assert 0 < len(said) < 0.5 * len(found.by_piece)
    outside = (np.log(said["given_asks_low"]) > fair[said.index]) | (np.log(said["given_asks_high"]) < fair[said.index])
    assert outside.all() and said["asks_words"].str.contains("asks and days listed suggest").all()
    assert "half the pieces asked at the fair price sell within" in found.words


def test_a_shop_without_listings_says_so():
    """Nothing to learn from: blank suggestions and the reason in words."""
    shop = shop_of(asks=ASKS.iloc[:0])
    found = unsold_suggestions(SimpleNamespace(as_of=pd.Timestamp(AS_OF)), shop.stock, shop)
    assert found.evidence is None and found.by_piece["asks_change_pct"].isna().all()
    assert "no listing history to learn from" in found.words
