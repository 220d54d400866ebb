"""Lots: the sum paid shared to the cent, bids whose simulation agrees with the closed form, the shop's own history."""

from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.decisions.lot_bid import bid_for_lot, fallout_of
from pricing.decisions.lots import allocate_cents, cost_lot
from pricing.decisions.net_proceeds import SellingTerms

# The shop's story: 60 tubes for 645, 20 of them rejects (worked numbers of the trade, arithmetic anyone can redo).
STORY = pd.DataFrame({"qty": [10, 15, 8, 7, 20], "sales_value": [60, 25, 70, 15, 5.0], "rejects": [0, 0, 0, 0, 20]})
TERMS = SellingTerms(fee_pct=Decimal("13.25"), fee_fixed=Decimal("0.40"), packing_cost=Decimal("1.20"),
                     return_pct=Decimal(4))


def total_cents(column):
    """Sum of a column of whole cents, exact."""
    return sum(round(amount * 100) for amount in column)


def test_story_of_a_lot_to_the_cent():
    """Unit costs 23.60, 9.83, 27.53, 5.90; rounded ones would sum to 644.99, so one tube carries a cent more."""
    costed = cost_lot(STORY, 645)
    assert costed["unit_cost"].tolist() == [23.60, 9.83, 27.53, 5.90, 0.0]
    assert costed["units_a_cent_dearer"].tolist() == [0, 1, 0, 0, 0]
    assert costed["line_cost"].tolist() == [236.00, 147.46, 220.24, 41.30, 0.0]
    assert total_cents(costed["line_cost"]) == 64500
    assert costed["unit_cost_by_count"].iloc[0] == 16.13 and total_cents(costed["line_cost_by_count"]) == 64500


def test_textbook_joint_cost_by_sales_value():
    """Horngren, Datar & Rajan, Cost Accounting, 14th ed., exhibits 16-2 and 16-3: cream 160,000, skim 240,000 of
    400,000."""
    milk = pd.DataFrame({"qty": [25_000, 75_000], "sales_value": [8.0, 4.0]})
    costed = cost_lot(milk, 400_000)
    assert costed["line_cost"].tolist() == [160_000.0, 240_000.0]
    assert costed["unit_cost"].tolist() == [6.40, 3.20]
    assert costed["line_cost_by_count"].tolist() == [100_000.0, 300_000.0]


def test_examination_question_on_joint_cost():
    """An accountants' examination question with its published answer (gaodun.com/q/1012ww): 2,000 of materials and
    3,000 of processing give 800 gallons worth 9 and 200 worth 4: 4,500 and 500, 5.625 a gallon of the first."""
    gallons = pd.DataFrame({"qty": [800, 200], "sales_value": [9.0, 4.0]})
    costed = cost_lot(gallons, 2_000, testing_cost=3_000)
    assert costed["line_cost"].tolist() == [4_500.0, 500.0] and costed["unit_cost"].tolist() == [5.62, 2.50]
    assert costed["units_a_cent_dearer"].tolist() == [400, 0]
    assert costed["line_cost_by_count"].tolist() == [4_000.0, 1_000.0]


def test_published_solution_of_a_joint_cost_exercise():
    """Exercise 9.36 of a cost accounting course with its solution (coursehero.com file 5696730): 80,000 over sales
    values of 80,000, 70,000 and 50,000 is 32,000, 28,000 and 20,000."""
    costed = cost_lot(pd.DataFrame({"qty": [1, 1, 1], "sales_value": [80_000.0, 70_000, 50_000]}), 80_000)
    assert costed["line_cost"].tolist() == [32_000.0, 28_000.0, 20_000.0]


def test_joint_cost_is_one_share_of_every_value():
    """486,000 over 810,000 of sales value is 60 % of each (from memory, of a cost-accounting textbook)."""
    costed = cost_lot(pd.DataFrame({"qty": [1, 1, 1], "sales_value": [400_000.0, 250_000, 160_000]}), 486_000)
    assert costed["unit_cost"].tolist() == [240_000.0, 150_000.0, 96_000.0]


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 10**9), st.lists(st.tuples(
    st.decimals(0, 10**5, places=2), st.integers(0, 300)), min_size=1, max_size=30))
def test_no_cent_is_lost(total, lines):
    """Whatever is shared, the units' cents sum to the total; none is more than a cent from its exact share."""
    weights, units = zip(*lines)
    shares = allocate_cents(total, weights, units)
    whole = sum(weight * count for weight, count in lines)
    assert sum(each * count + more for (each, more), count in zip(shares, units)) == (total if whole else 0)
    for (each, more), weight, count in zip(shares, weights, units):
        if whole and count:
            assert abs(Decimal(each) - total * weight / whole) <= 1 and 0 <= more < max(count, 1)


@settings(max_examples=60, deadline=None)
@given(st.decimals(0, 10**5, places=2), st.decimals(0, 999, places=2), st.lists(st.tuples(
    st.integers(1, 60), st.floats(0.01, 900), st.integers(0, 5)), min_size=1, max_size=12))
def test_cost_of_lines_is_what_was_paid(paid, freight, lines):
    """The sum of line costs is paid + freight to the cent, by value and by count, for any lot with a piece that
    passed."""
    frame = pd.DataFrame([(qty + rejects, value, rejects) for qty, value, rejects in lines],
                         columns=["qty", "sales_value", "rejects"])
    costed = cost_lot(frame, paid, freight=freight)
    for column in ("line_cost", "line_cost_by_count"):
        assert total_cents(costed[column]) == round((paid + freight) * 100)


def test_lots_at_the_edges():
    """A gift costs nothing; nothing but rejects carries nothing; unknown values take the mean, no values the count."""
    assert cost_lot(STORY, 0)["line_cost"].sum() == 0
    assert cost_lot(STORY.assign(rejects=STORY["qty"]), 645)["line_cost"].sum() == 0
    some = cost_lot(STORY.assign(sales_value=[60, np.nan, 70, 15, np.nan]), 645)
    assert some["value_basis"].iloc[1] == "mean of the lot's others" and total_cents(some["line_cost"]) == 64500
    none = cost_lot(STORY.drop(columns="sales_value"), 645)
    assert (none["line_cost"] == none["line_cost_by_count"]).all()


@pytest.mark.parametrize("change, said", [
    ({"rejects": [11, 0, 0, 0, 0]}, "line 1: 11 rejects of 10 pieces"),
    ({"qty": [1.5, 1, 1, 1, 20]}, "line 1: qty is 1.5; write a whole number"),
    ({"sales_value": [-1, 1, 1, 1, 1]}, "line 1: sales_value is -1"),
])
def test_lots_that_cannot_be(change, said):
    """The error names the line, the value met and the remedy."""
    with pytest.raises(ValueError, match=said):
        cost_lot(STORY.assign(**change), 645)
    with pytest.raises(ValueError, match="paid is -5; write what it came to"):
        cost_lot(STORY, -5)


@pytest.mark.parametrize("pass_pct, net, bid", [(70, "1159.59", "724.74"), (55, "825.39", "515.87")])
def test_story_of_a_bid_to_the_cent(pass_pct, net, bid):
    """200 tubes at 22, 65 % sell, fees 13.25 % + 0.40, packing 1.20 an order of 1.5 tubes, 4 % returns, testing 2
    each."""
    lines = pd.DataFrame({"qty": [200], "price": [22.0], "pass_pct": [pass_pct], "sell_pct": [65]})
    found = bid_for_lot(lines, TERMS, testing_each=2, target_return_pct=60, runs=200)
    assert (found.net, found.bid) == (Decimal(net), Decimal(bid))
    assert found.cash["net"] == float(net) == round(found.cash["sales":"testing"].sum(), 2)


def mixed_lines(rng):
    """A random lot of several lines."""
    size = int(rng.integers(1, 6))
    return pd.DataFrame({"qty": rng.integers(1, 120, size), "price": rng.uniform(3, 150, size).round(2),
                         "pass_pct": rng.uniform(20, 100, size), "sell_pct": rng.uniform(20, 100, size),
                         "months": rng.uniform(1, 24, size)})


@pytest.mark.parametrize("scheme", ["none", "on the price", "margin scheme"])
@pytest.mark.parametrize("seed", range(4))
def test_simulated_mean_is_the_closed_form(scheme, seed):
    """The mean of the simulated bids lies within 4 standard errors of the bid worked out by formula."""
    terms = SellingTerms(fee_pct=Decimal(10), payment_pct=Decimal("2.9"), payment_fixed=Decimal("0.30"),
                         packing_cost=Decimal("1.20"), return_pct=Decimal(4), tax_scheme=scheme, tax_pct=Decimal(19))
    found = bid_for_lot(mixed_lines(np.random.default_rng(seed)), terms, testing_each=0.5, holding_pct_year=8,
    runs=20_000,
                        seed=seed)
    error = found.simulated.std() / np.sqrt(len(found.simulated))
    assert found.bid > 0 and abs(found.simulated.mean() - float(found.bid)) < 4 * error + 0.01


def test_simulated_spread_is_the_binomial_one():
    """One line with certain shares and prices: tubes sold are binomial, so is the spread of the bid (closed form)."""
    lines = pd.DataFrame({"qty": [300], "price": [20.0], "pass_pct": [70.0], "sell_pct": [100.0],
                          "price_low": [20.0], "price_high": [20.0 + 1e-9]})
    found = bid_for_lot(lines, target_return_pct=0, pass_weight=np.inf, runs=40_000)
    # one sale scatters by 0.35 in log around its mean: variance of a sum of N such prices, N binomial
    variance = 300 * 0.7 * 20**2 * np.expm1(0.35**2) + 300 * 0.7 * 0.3 * 20**2
    assert found.simulated.std() == pytest.approx(np.sqrt(variance), rel=0.02)


def test_margin_scheme_is_solved_for_the_bid():
    """At the bid, sales less costs, less tax on sales less what the sold pieces cost, is the bid and its return."""
    terms = SellingTerms(tax_scheme="margin scheme", tax_pct=Decimal(19))
    lines = pd.DataFrame({"qty": [100], "price": [20.0], "pass_pct": [80.0], "sell_pct": [50.0]})
    bid = float(bid_for_lot(lines, terms, target_return_pct=60, runs=100).bid)
    sold_cost = bid * 0.5  # half of what passed is sold, and rejects carry nothing
    tax = (800 - sold_cost) * 19 / 119
    assert 800 - tax == pytest.approx(bid * 1.6, abs=0.02)


def test_the_line_that_carries_a_bid_is_named():
    """A star tube sets the bid; the words say what the rest is worth. Worse fallout, later sales: a lower bid."""
    lines = pd.DataFrame({"type": ["6SN7GT", "WE-type"], "qty": [50, 1], "price": [4.0, 900.0], "pass_pct": [70, 70.0],
                          "sell_pct": [65, 65.0]})
    found = bid_for_lot(lines, TERMS, runs=500)
    assert "WE-type carries" in found.words and found.lines["bid_without"].iloc[1] < float(found.bid) / 3
    assert found.low <= found.middle <= found.high
    slower = bid_for_lot(lines.assign(months=36.0), TERMS, holding_pct_year=12, runs=100)
    assert slower.bid < bid_for_lot(lines.assign(months=3.0), TERMS, holding_pct_year=12, runs=100).bid
    nothing = bid_for_lot(lines.assign(price=0.5), TERMS, testing_each=2, runs=100)
    assert nothing.bid == 0 and nothing.words.startswith("Do not bid")


def test_bids_on_wrong_lines():
    """No price, or a share outside 0 to 100, is named."""
    with pytest.raises(ValueError, match="every line needs a price"):
        bid_for_lot(pd.DataFrame({"qty": [3]}))
    with pytest.raises(ValueError, match="pass_pct is 120; write a number from 0 to 100"):
        bid_for_lot(pd.DataFrame({"qty": [3], "price": [9.0], "pass_pct": [120]}))


def test_fallout_of_own_lots():
    """Shares and their likeness between lots are found again from lots drawn with a known Beta (weight 12)."""
    rng = np.random.default_rng(5)
    tubes = rng.integers(20, 300, 400)
    rejects = rng.binomial(tubes, rng.beta(0.3 * 12, 0.7 * 12, 400))
    lots = pd.DataFrame({"tubes": tubes, "rejects": rejects, "testing_cost": 0.5 * tubes})
    own = fallout_of(pd.concat([lots, pd.DataFrame({"tubes": [5.0], "rejects": [9.0], "testing_cost": [0.0]})]))
    assert own.lots == 400 and own.pass_pct == pytest.approx(70, abs=2)
    assert own.weight == pytest.approx(12, rel=0.25) and own.testing_each == pytest.approx(0.5)
    assert fallout_of(lots.iloc[:0]).lots == 0
