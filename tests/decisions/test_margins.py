"""Margins: textbook ratios, the bridge that adds up for any data, ageing and turnover worked by hand, tax schemes."""

from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.decisions.margin_lines import margin_lines, ratio_draws
from pricing.decisions.margins import review_margins
from pricing.decisions.markdown import discount_code, markdown
from pricing.decisions.net_proceeds import SellingTerms, net_proceeds
from pricing.decisions.price_bridge import TOTAL, grouped_bridge, price_bridge
from pricing.decisions.stock_ledger import (
    average_stock_cost,
    days_of_stock,
    gmroi,
    months_of_cover,
    sell_through_pct,
    sell_through_within,
    stock_ageing,
    stock_turnover,
    tubes_left,
)
from pricing.shop_tables import Settings, clean_sales, clean_stock

FREE = Settings(currency="EUR", payment_fee_pct=0, payment_fee_fixed=0, packing_cost=0)


def sales_of(*rows):
    """Clean Sales of (sold_on, type, qty, price, other cells)."""
    frame = pd.DataFrame([{"sold_on": day, "type": kind, "qty": qty, "price": price, "channel": "own site", **other}
                          for day, kind, qty, price, other in rows])
    clean, problems = clean_sales(frame, settings=FREE)
    assert len(clean) == len(rows), problems
    return clean


def stock_of(*rows):
    """Clean Stock of (sku, type, qty, cost, acquired_on, other cells)."""
    frame = pd.DataFrame([{"sku": sku, "type": kind, "qty": qty, "cost": cost, "acquired_on": day, **other}
                          for sku, kind, qty, cost, day, other in rows])
    return clean_stock(frame, settings=FREE)[0]


def test_textbook_ratios():
    """Published worked figures, and three of the trade's own (arithmetic anyone can redo)."""
    assert gmroi(65e6, 20e6) == 3.25  # Investopedia, "Gross Margin Return on Investment": 100 m less 35 m over 20 m
    # "GMROI", scribd.com document 67179751: sales 500,000 that cost 260,000, thirteen inventories of 1,300,000 in all
    assert gmroi(500_000 - 260_000, 1_300_000 / 13) == 2.40
    # a question of the CMA examination with its answer (gaodun.com/q/f053ff): 5.03 times, 72.5 days
    turnover = stock_turnover(4_380_000, 870_000)
    assert turnover == pytest.approx(5.03, abs=0.005) and days_of_stock(turnover) == pytest.approx(72.5, abs=0.05)
    assert stock_turnover(180_000, 50_000) == 3.6 and days_of_stock(3.6) == pytest.approx(101.4, abs=0.05)
    assert sell_through_pct(3, 12) == 20.0 and months_of_cover(12, 3, 12) == 48.0
    assert months_of_cover(12, 0, 12) == np.inf and months_of_cover(0, 0, 12) == 0.0
    assert np.isnan(gmroi(5, 0)) and np.isnan(sell_through_pct(0, 0)) and np.isnan(days_of_stock(0))


def periods(*items):
    """Frames before and after of (item, tubes before, price before, tubes after, price after)."""
    before = pd.DataFrame([(name, q0, q0 * p0) for name, q0, p0, _, _ in items], columns=["item", "tubes", "sales"])
    after = pd.DataFrame([(name, q1, q1 * p1) for name, _, _, q1, p1 in items], columns=["item", "tubes", "sales"])
    return before, after


def test_story_of_a_review():
    """200@40, 100@30, 50@20 -> 180@44, 150@28, 70@22: +1,660 = quantity 1,714.29, mix -614.29, price 560."""
    bridge = price_bridge(*periods(("a", 200, 40, 180, 44), ("b", 100, 30, 150, 28), ("c", 50, 20, 70, 22)))
    total = bridge.loc[TOTAL]
    assert total[["change", "quantity", "mix", "price"]].tolist() == [1660.0, 1714.29, -614.29, 560.0]


def test_textbook_quantity_and_mix():
    """Horngren, Datar & Rajan, Cost Accounting, problem 14-22 and its published solution: two kinds of tickets, 4,000
    at 20 and 6,000 at 5 planned, 3,300 and 7,700 sold: quantity 8,000 and 3,000, mix -22,000 and 5,500."""
    bridge = price_bridge(*periods(("lower", 4000, 20, 3300, 20), ("upper", 6000, 5, 7700, 5)))
    assert bridge["quantity"].tolist() == [8_000.0, 3_000.0, 11_000.0]
    assert bridge["mix"].tolist() == [-22_000.0, 5_500.0, -16_500.0]
    assert bridge["price"].tolist() == [0.0, 0.0, 0.0] and bridge["change"].iloc[-1] == -5_500.0


rows = st.lists(st.tuples(st.sampled_from("abcde"), st.sampled_from("xyz"), st.integers(0, 500),
                          st.decimals(-50, 9999, places=2)), max_size=25)


@settings(max_examples=300, deadline=None)
@given(rows, rows)
def test_bridge_adds_up_for_any_data(before, after):
    """Every row and column adds up to the cent, also grouped: new items, vanished ones, empty periods, refunds."""
    frames = [pd.DataFrame(part, columns=["family", "item", "tubes", "sales"]) for part in (before, after)]
    bridge = price_bridge(*frames, by=("family", "item"))
    for one in (bridge, grouped_bridge(bridge, "family")):
        whole = (one * 100).round().astype(int)
        assert (whole["quantity"] + whole["mix"] + whole["price"] == whole["change"]).all()
        assert (whole["sales_after"] - whole["sales_before"] == whole["change"]).all()
        assert (whole.iloc[:-1].sum() == whole.iloc[-1]).all()
        assert whole["sales_before"].iloc[-1] == sum(int(amount * 100) for *_, amount in before)


def test_new_and_vanished_items_in_the_bridge():
    """What is new or gone is mix, not price; after a period without sales all is quantity."""
    bridge = price_bridge(*periods(("stays", 10, 20, 10, 20), ("new", 0, 0, 5, 80), ("gone", 5, 10, 0, 0)))
    assert bridge["price"].tolist() == [0.0] * 4 and bridge.loc[TOTAL, "quantity"] == 0
    assert bridge.loc["new", "mix"] == 400 and bridge.loc[TOTAL, "mix"] == 350
    first = price_bridge(*periods(("a", 0, 0, 4, 30)))
    assert first.loc[TOTAL, ["quantity", "mix", "price"]].tolist() == [120.0, 0.0, 0.0]


def test_story_of_a_markdown():
    """Cost 20, 48 -> 36, fee 13.25 % + 0.40: 21.24 -> 10.83, 1.96 times the units; below cost no volume pays."""
    terms = SellingTerms(fee_pct=Decimal("13.25"), fee_fixed=Decimal("0.40"))
    found = markdown(48, 36, 20, terms)
    assert (found.before, found.after) == (Decimal("21.24"), Decimal("10.83"))
    assert found.volume_times == pytest.approx(1.96, abs=0.005)
    assert markdown(48, 20, 20, terms).volume_times is None


def test_a_discount_code_is_a_markdown_with_a_floor_under_it():
    """The same story as a code of 25 %: 36.00, 1.96 times the sales; the list price that keeps 30 % with it."""
    terms = SellingTerms(fee_pct=Decimal("13.25"), fee_fixed=Decimal("0.40"))
    code = discount_code(48, 25, 20, terms, minimum_margin_pct=30)
    assert (code.price, code.effect.before, code.effect.after) == (36, Decimal("21.24"), Decimal("10.83"))
    assert code.effect.volume_times == pytest.approx(1.96, abs=0.005)
    # floor p: p - 13.25 % - 0.40 - 20 = 30 % of p  ->  20.40 / 0.5675 = 35.95; over 0.75: 47.94
    assert (code.floor, code.lowest_list) == (Decimal("35.95"), Decimal("47.94"))
    assert discount_code(48, 60, 20, terms).effect.volume_times is None
    with pytest.raises(ValueError, match="percentage from 0 to 99"):
        discount_code(48, 100, 20, terms)


def test_published_bootstrap():
    """Efron & Tibshirani, An Introduction to the Bootstrap (1993), section 10.3, patch data: ratio -0.0713, standard
    error 0.10 (figures from memory; the ratio follows from the data)."""
    placebo = np.array([8406, 2342, 8187, 8459, 4795, 3516, 4796, 10238.0])
    new = np.array([-1200, 2601, -2705, 1982, -1290, 351, -638, -2719.0])
    draws = ratio_draws(new, placebo, 20_000, np.random.default_rng(0))
    assert new.sum() / placebo.sum() == pytest.approx(-0.0713, abs=0.00005)
    assert draws.std() == pytest.approx(0.102, abs=0.005)


@pytest.mark.parametrize("scheme, included", [("none", True), ("on the price", True), ("on the price", False),
                                              ("margin scheme", True)])
def test_lines_agree_with_net_proceeds(scheme, included):
    """A line's net margin under every tax scheme is the contribution worked out for one sale, to the cent."""
    shop = Settings(currency="EUR", tax_scheme=scheme, tax_rate_pct=19, prices_include_tax=included,
                    fees_pct={"marketplace": 13.25}, fees_fixed={"marketplace": 0.40}, return_rate_pct=0)
    sales, _ = clean_sales(pd.DataFrame([
        {"sold_on": "2025-03-01", "type": "EL84", "price": price, "cost": cost, "channel": "marketplace",
         "postage_charged": charged, "postage_paid": paid}
        for price, cost, charged, paid in (
            (48, 20, 0, 0), (17.35, 5.05, 5.5, 6.13), (9.99, 30, 11, 9.84), (120, 0, 0, 7))
    ]), settings=shop)
    lines = margin_lines(sales, None, shop)
    for line, sale in zip(lines.to_dict("records"), sales.to_dict("records")):
        terms = SellingTerms(
            Decimal("13.25"), Decimal("0.40"), True, Decimal("2.9"), Decimal("0.3"), Decimal("1.2"),
            Decimal(str(sale["postage_charged"])), Decimal(str(sale["postage_paid"])), Decimal(0), scheme, Decimal(19),
            included)
        bill = net_proceeds(sale["price"], sale["cost"], terms)
        assert Decimal(str(line["net"])) == bill.contribution
        assert Decimal(str(line["tax"])) == bill.sales_tax
        assert Decimal(str(line["fees"])) == bill.channel_fee + bill.payment_fee


def test_costs_known_looked_up_and_estimated():
    """A line's own cost, the sku's in Stock by the tube, else the family's usual share; a cost of nothing is a cost."""
    sales = sales_of(("2025-01-01", "EL84", 1, 40, {"cost": 10}), ("2025-01-02", "EL84", 2, 60, {"sku": "S1"}),
                     ("2025-01-03", "EL84", 1, 50, {}), ("2025-01-04", "EL84", 1, 20, {"cost": 0}))
    stock = stock_of(("S1", "EL84", 5, 7.5, "2024-01-01", {}))
    lines = margin_lines(sales, stock, FREE)
    assert lines["cost_basis"].tolist() == ["own", "from Stock", "estimated", "own"]
    assert lines["cost"].tolist() == [10.0, 15.0, 10.42, 0.0]  # 50 x 25 / 120
    bare = margin_lines(sales_of(("2025-01-01", "EL84", 1, 40, {})), None, FREE)
    assert bare["cost"].isna().all() and bare["cost_basis"].tolist() == ["unknown"]


def test_returns_part_returns_and_losses():
    """A returned line is no sale and has no cost, its fee, postage and packing are lost; losses show as negative."""
    costs = Settings(currency="EUR", payment_fee_pct=0, payment_fee_fixed=0, packing_cost=1.20)
    sales = sales_of(
        ("2025-05-01", "EL84", 3, 90, {"cost": 30}),
        ("2025-05-01", "EL84", 1, 30, {"cost": 10, "fee": 2, "postage_paid": 6, "returned_on": "2025-05-20"}),
        ("2025-06-01", "6AQ5", 1, 3, {"cost": 9}))
    review = review_margins(sales, None, costs, date_from="2025-01-01", date_to="2025-12-31")
    kin = review.table.loc["EL84 kin"]
    assert (kin["sales"], kin["refunded"], kin["cost"], kin["gross"]) == (90.0, 30.0, 30.0, 60.0)
    assert kin["net"] == pytest.approx(60 - 2 - 6 - 2 * 1.20) and kin["returned_pct"] == 50.0
    loser = review.table[review.table["net"] < 0].iloc[0]
    assert loser["net"] == pytest.approx(-7.20) and loser["action"] == "look" and loser["gross_pct"] == -200.0
    assert review.table.loc[TOTAL, "sales"] == 93.0 and "1 returned line (30.00)" in review.words[-1]


WORKED_STOCK = (("S1", "EL84", 10, 6.0, "2023-01-01", {}), ("S2", "EL84", 4, 5.0, "2025-07-01", {"set_size": 2}),
                ("S3", "12AX7", 2, 12.0, "2024-12-31", {}), ("S4", "12AX7", 3, None, None, {}))


def test_stock_over_time():
    """What is left day by day: sold-out rows, pairs, a return that comes back, a row bought later."""
    stock = stock_of(*WORKED_STOCK)
    sales = sales_of(("2025-03-31", "EL84", 4, 80, {"sku": "S1"}),
                     ("2025-10-01", "EL84", 1, 30, {"sku": "S2", "set_size": 2}),
                     ("2025-02-01", "12AX7", 2, 90, {"sku": "S3"}),
                     ("2025-04-01", "EL84", 1, 20, {"sku": "S1", "returned_on": "2025-04-20"}))
    left = tubes_left(stock, sales, ["2025-01-01", "2025-04-10", "2025-06-30", "2025-12-31"])
    assert left[0].tolist() == [10, 5, 6, 6] and left[1].tolist() == [0, 0, 0, 6]
    assert left[2].tolist() == [2, 0, 0, 0] and left[3].tolist() == [3, 3, 3, 3]
    ages = stock_ageing(stock, sales, "2025-12-31").set_index("sku")
    assert ages["age"].to_dict() == {"S1": "over 2 years", "S2": "6-12 months", "S4": "date unknown"}
    assert ages["cost"].to_dict() == {"S1": 36.0, "S2": 15.0, "S4": 36.0}  # S4 at the family's median of 12
    average = average_stock_cost(stock, sales, "2025-01-01", "2025-12-31")
    # S1: 60 on 3 month-ends (Dec, Jan, Feb), 36 on ten; S2: 20 on Jul, Aug, Sep and 15 on Oct, Nov, Dec; S3: 24 twice
    assert average.tolist()[:3] == pytest.approx([(3 * 60 + 10 * 36) / 13, (3 * 20 + 3 * 15) / 13, 2 * 24 / 13])


def test_turnover_and_gmroi_of_worked_stock():
    """A year's review: gross margin and cost of the sales that drew on Stock, over its average at cost."""
    stock = stock_of(("S1", "EL84", 10, 6.0, "2023-01-01", {}))
    sales = sales_of(("2025-06-30", "EL84", 5, 100, {"sku": "S1"}), ("2025-07-01", "EL84", 1, 500, {"cost": 1}))
    review = review_margins(sales, stock, FREE, date_from="2025-01-01", date_to="2025-12-31")
    row = review.table.loc["EL84 kin"]
    average = (6 * 60 + 7 * 30) / 13
    year = 12 * 30.4375 / 365
    assert row["stock_cost"] == pytest.approx(average, abs=0.01)
    assert row["gmroi"] == pytest.approx(70 * year / average, rel=1e-3)
    assert row["turnover"] == pytest.approx(30 * year / average, rel=1e-3)
    assert (row["on_hand"], row["on_hand_cost"], row["aged_pct"]) == (5, 30.0, 100.0)
    assert row["sell_through_pct"] == pytest.approx(100 * 6 / 11)
    assert row["months_of_cover"] == pytest.approx(5 / 6 * 12, rel=1e-3)
    assert "of the 17 % of sales whose sku Stock lists" in review.words[-1]


def test_restock_and_mark_down():
    """Little left of what sells at a sure margin: restock; years of cover and old: mark down, with the reason."""
    stock = stock_of(("A", "EL84", 31, 4.0, "2024-09-01", {}), ("B", "12AX7", 15, 20.0, "2022-01-01", {"ask": 48}))
    rows = [(f"2025-{1 + n % 12:02d}-10", "EL84", 1, 20 + n % 3, {"sku": "A"}) for n in range(30)]
    rows += [(f"2025-0{n}-05", "12AX7", 1, 40, {"sku": "B"}) for n in (3, 5, 7)]
    terms = Settings(currency="EUR", fees_pct={"": 13.25}, fees_fixed={"": 0.40}, payment_fee_pct=0,
                     payment_fee_fixed=0, packing_cost=0, return_rate_pct=0, largest_cut_pct=25)
    table = review_margins(sales_of(*rows), stock, terms, by="type", date_from="2025-01-01", date_to="2025-12-31").table
    assert table.loc["EL84", "action"] == "restock"
    assert table.loc["EL84", "reason"].startswith("1 left: 0 months at the pace of 30 in 12 months")
    assert table.loc["12AX7", "action"] == "mark down"
    stands, old, cut = table.loc["12AX7", "reason"].split("; ")
    assert (stands, old) == ("12 left: 48 months at the pace of 3 in 12 months", "100 % of it over 2 years old")
    assert cut == "25 % off 48.00 a tube leaves 10.83 of 21.24: pays from 1.96 times the sales"


def test_review_by_lot_maker_and_channel():
    """Groups add up to the total whatever they are by; fallout by lot is from Lots, lots without sales are shown."""
    sales = sales_of(("2025-05-01", "EL84", 1, 40, {"cost": 10, "lot": "L1", "maker": "Tivenshaw"}),
                     ("2025-05-02", "12AX7", 1, 25, {"cost": 5}))
    stock = stock_of(("S1", "EL84", 2, 3.0, "2025-01-01", {"lot": "L2"}))
    lots = pd.DataFrame({"lot": ["L1", "L2"], "tubes": [10.0, 20.0], "rejects": [2.0, 4.0]})
    for by in ("family", "type", "maker", "channel", "lot"):
        review = review_margins(sales, stock, FREE, by=by, lots=lots)
        assert review.table["gross"].iloc[:-1].sum() == review.table.loc[TOTAL, "gross"] == 50.0
    assert review.table.loc["L1", "fallout_pct"] == 20.0 and review.table.loc["L2", "on_hand"] == 2
    assert "no lot" in review.table.index


def test_bad_calls():
    """Unknown `by`, an empty period and a reversed one are named with what to use."""
    sales = sales_of(("2025-05-01", "EL84", 1, 40, {}))
    with pytest.raises(ValueError, match="by is 'colour'; use one of family, type, maker, channel, lot"):
        review_margins(sales, by="colour")
    with pytest.raises(ValueError, match="no sale from 2020-01-01 to 2020-12-31"):
        review_margins(sales, date_from="2020-01-01", date_to="2020-12-31")
    with pytest.raises(ValueError, match="ends before it begins"):
        review_margins(sales, date_from="2026-01-01")
    review = review_margins(sales)
    assert review.table["gross"].isna().all() and "no margin can be told" in review.words[0]


def test_currencies_are_converted_by_month():
    """A line in another currency counts at the rate of its month."""
    rated = Settings(currency="EUR", payment_fee_pct=0, payment_fee_fixed=0, packing_cost=0,
                     rates={"USD": {"2025-01": 0.9, "2025-06": 0.8}})
    sales, _ = clean_sales(pd.DataFrame({"sold_on": ["2025-01-10", "2025-06-10"], "type": "EL84", "price": [100, 100],
                                         "currency": "USD", "cost": [40, 40]}), settings=rated)
    assert review_margins(sales, settings=rated).table.loc[TOTAL, ["sales", "gross"]].tolist() == [170.0, 90.0]


def test_sell_through_by_family():
    """Of tubes acquired two years ago the share sold within two years; thin families lean on the shop."""
    stock = stock_of(("A", "EL84", 100, 4.0, "2022-01-01", {}), ("B", "12AX7", 100, 4.0, "2022-01-01", {}),
                     ("C", "12AX7", 50, 4.0, "2025-11-01", {}))
    sales = sales_of(("2022-07-02", "EL84", 80, 800, {"sku": "A"}), ("2024-12-01", "EL84", 5, 50, {"sku": "A"}),
                     ("2023-01-01", "12AX7", 20, 200, {"sku": "B"}), ("2025-12-01", "12AX7", 1, 10, {"sku": "C"}))
    found = sell_through_within(stock, sales)
    assert found.loc["EL84 kin", "sell_pct"] == pytest.approx(100 * (80 + 20 * 0.5) / 120)
    assert found.loc["12AX7 kin", "sell_pct"] == pytest.approx(100 * (20 + 20 * 0.5) / 120)
    mean = (80 * 5.98 + 20 * 11.99) / 100  # of the whole shop, counting as 20 tubes of each family
    assert found["months"].tolist() == pytest.approx([(20 * 11.99 + 20 * mean) / 40, (80 * 5.98 + 20 * mean) / 100],
                                                     abs=0.01)
    assert sell_through_within(stock.iloc[:0], sales).empty
