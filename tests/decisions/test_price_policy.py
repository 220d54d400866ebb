"""Net proceeds, floor and endings, each held to arithmetic done by hand."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.decisions.net_proceeds import SellingTerms, floor_price, money, net_proceeds, price_with_ending
from pricing.decisions.price_policy import Evidence, PricePolicy, age_in_words, decide_list_price

# The fee of the worked markdown case: 13.25 % and 0.40, no postage, no tax.
MARKETPLACE = SellingTerms(fee_pct=D("13.25"), fee_fixed=D("0.40"))


@pytest.mark.parametrize("price, contribution", [(48, "21.24"), (36, "10.83")])
def test_markdown_case(price, contribution):
    """48: fee 6.36 + 0.40 = 6.76, 48 - 6.76 - 20 = 21.24. 36: fee 4.77 + 0.40 = 5.17, 36 - 5.17 - 20 =
    10.83.
    """
    assert net_proceeds(price, 20, MARKETPLACE).contribution == D(contribution)


def test_units_needed_after_the_markdown():
    """21.24 / 10.83 = 1.96: a quarter off the price needs nearly twice the units."""
    before, after = (net_proceeds(p, 20, MARKETPLACE).contribution for p in (48, 36))
    assert round(before / after, 2) == D("1.96")


def test_every_deduction_stands_in_the_bill():
    """Price 50 + postage 10 = 60: fee 6.40, card 2.04, packing 1.20, postage 9.00, returns 2.00; 39.36 net,
    19.36 left.
    """
    terms = SellingTerms(
        fee_pct=D(10),
        fee_fixed=D("0.40"),
        payment_pct=D("2.9"),
        payment_fixed=D("0.30"),
        packing_cost=D("1.20"),
        postage_charged=D(10),
        postage_paid=D(9),
        return_pct=D(4),
    )
    bill = net_proceeds(50, 20, terms)
    assert (bill.buyer_pays, bill.channel_fee, bill.payment_fee) == (D(60), D("6.40"), D("2.04"))
    assert (bill.packing, bill.postage_paid, bill.returns) == (D("1.20"), D(9), D("2.00"))
    assert (bill.net, bill.contribution) == (D("39.36"), D("19.36"))


def test_fee_on_goods_only():
    """10 % of the goods at 50 is 5.00; of goods and postage at 60 it is 6.00."""
    on_total = SellingTerms(fee_pct=D(10), postage_charged=D(10))
    on_goods = SellingTerms(fee_pct=D(10), postage_charged=D(10), fee_on_total=False)
    assert net_proceeds(50, 0, on_total).channel_fee == D(6)
    assert net_proceeds(50, 0, on_goods).channel_fee == D(5)


def test_tax_included_in_the_price():
    """119 with 19 % inside is 100 + 19."""
    bill = net_proceeds(119, 0, SellingTerms(tax_scheme="on the price", tax_pct=D(19)))
    assert (bill.sales_tax, bill.net) == (D(19), D(100))


def test_tax_on_top_of_the_price():
    """100 without tax: the buyer pays 119, the channel takes 10 % of 119 = 11.90, 88.10 stays."""
    terms = SellingTerms(fee_pct=D(10), tax_scheme="on the price", tax_pct=D(19), price_includes_tax=False)
    bill = net_proceeds(100, 0, terms)
    assert (bill.buyer_pays, bill.sales_tax, bill.channel_fee, bill.net) == (
        D(119),
        D(19),
        D("11.90"),
        D("88.10"),
    )


@pytest.mark.parametrize("price, cost, tax", [(80, 20, "10.00"), (20, 20, "0.00"), (15, 20, "0.00")])
def test_margin_scheme(price, cost, tax):
    """20 % inside a margin of 60 is 60 x 20/120 = 10.00; no margin, no tax; a loss earns none back."""
    terms = SellingTerms(tax_scheme="margin scheme", tax_pct=D(20))
    assert net_proceeds(price, cost, terms).sales_tax == D(tax)


def test_rounding_is_half_up_to_the_cent():
    """0.145 is 0.15 although the nearest float lies below it; 2.675 is 2.68."""
    assert (money(0.145), money(2.675), money("-0.005")) == (D("0.15"), D("2.68"), D("-0.01"))


def test_floor_at_no_profit():
    """(20 + 0.40) / (1 - 0.1325) = 23.5158...; 23.52 leaves 23.52 - 3.12 - 0.40 - 20 = 0.00, 23.51 is a
    cent short.
    """
    assert floor_price(20, MARKETPLACE) == D("23.52")
    assert net_proceeds("23.51", 20, MARKETPLACE).contribution == D("-0.01")


def test_floor_with_a_margin_of_the_price():
    """(20 + 0.40) / (1 - 0.1325 - 0.25) = 33.036...: 33.04 keeps 8.26 = 25.0 % of it."""
    assert floor_price(20, MARKETPLACE, minimum_margin_pct=25) == D("33.04")


def test_floor_with_an_amount():
    """(20 + 0.40 + 5) / 0.8675 = 29.2795...; 29.28 keeps 29.28 - 3.88 - 0.40 - 20 = 5.00."""
    assert floor_price(20, MARKETPLACE, minimum_margin=5) == D("29.28")


def test_no_floor_when_fees_eat_the_price():
    """60 % fee and a 50 % margin of the price leave nothing at any price."""
    assert floor_price(1, SellingTerms(fee_pct=D(60)), minimum_margin_pct=50) is None


@given(
    cost=st.integers(0, 50_000),
    fee=st.integers(0, 3000),
    fixed=st.integers(0, 200),
    margin=st.integers(0, 4000),
    scheme=st.sampled_from(["none", "on the price", "margin scheme"]),
)
def test_floor_reaches_the_margin_and_a_few_cents_less_does_not(cost, fee, fixed, margin, scheme):
    """The floor keeps the margin; six cents below it never does, whatever the fees."""
    terms = SellingTerms(fee_pct=D(fee) / 100, fee_fixed=D(fixed) / 100, tax_scheme=scheme, tax_pct=D(19))
    share = D(margin) / 100
    floor = floor_price(D(cost) / 100, terms, minimum_margin_pct=share)
    assert floor is not None
    bill = net_proceeds(floor, D(cost) / 100, terms)
    assert bill.contribution >= bill.net_sales * share / 100
    lower = floor - D("0.06")
    if lower > 0:
        bill = net_proceeds(lower, D(cost) / 100, terms)
        assert bill.contribution < bill.net_sales * share / 100


@pytest.mark.parametrize(
    "target, endings, at_least, price",
    [
        ("26.00", [".00", ".50"], 0, "26.00"),
        ("26.20", [".90"], 0, "25.90"),
        ("26.39", [".90"], 0, "25.90"),
        ("26.40", [".90"], 0, "26.90"),  # equally near: the higher one
        ("26.20", [".90"], "25.91", "26.90"),  # the nearest is below the floor
        ("26.20", ["4.90", "9.90"], 0, "24.90"),
        ("28.00", ["4.90", "9.90"], 0, "29.90"),
        ("26.20", ["5", "9"], 0, "25.00"),
        ("160.00", ["99"], 0, "199.00"),
        ("0.40", [".90"], 0, "0.90"),
        ("0.02", [".00"], 0, "1.00"),
        ("12.345", [], 0, "12.35"),
        ("12.00", [], "12.341", "12.35"),
    ],
)
def test_price_endings(target, endings, at_least, price):
    """The nearest permitted ending, the higher of two, never below the floor."""
    assert price_with_ending(target, endings, at_least) == D(price)


@given(
    target=st.integers(1, 200_000),
    floor=st.integers(0, 200_000),
    endings=st.lists(st.sampled_from([".00", ".50", ".9", "4.90", "9", "49", "99.99"]), max_size=3),
)
def test_price_endings_never_pass_the_floor(target, floor, endings):
    """Whatever the endings, the price is positive and not below the floor."""
    price = price_with_ending(D(target) / 100, endings, D(floor) / 100)
    assert price > 0 and price >= D(floor) / 100


POLICY = PricePolicy(
    MARKETPLACE,
    endings=(".00", ".50"),
    minimum_margin_pct=D(10),
    lowest_markup=D("1.3"),
    highest_markup=D(12),
    largest_raise_pct=D(25),
    largest_cut_pct=D(20),
)
EVIDENCE = dict(
    fair=26.0,
    low=20.0,
    high=34.0,
    fair_low=24.0,
    fair_high=28.2,
    type_sales=20,
    last_sale="last 2 months ago",
)


def decide(ask, cost=8.0, on_hand=1, policy=POLICY, **evidence):
    """The decision for the ordinary piece above, changed where asked."""
    return decide_list_price(
        policy, Evidence(**{**EVIDENCE, **evidence}), ask=ask, cost=cost, on_hand=on_hand
    )


@pytest.mark.parametrize(
    "ask, action, price",
    [
        (22, "raise", "26.00"),
        (18, "raise", "22.50"),
        (30, "lower", "26.00"),
        (40, "lower", "32.00"),
        (28.2, "keep", "28.20"),
        (23.5, "keep", "23.50"),
        (None, "list", "26.00"),
        (100, "look", "80.00"),
        (5, "look", "14.50"),
    ],
)
def test_actions(ask, action, price):
    """Kept near the fair price; moved by at most a quarter up and a fifth down; looked at when three times
    off.

    5.00: a quarter up is 6.25, but the floor of (8 + 0.40) / (1 - 0.1325 - 0.10) = 10.94 is above that and
    so is 8 x 1.3 = 10.40, and the ending above 10.94 is 11.00.
    """
    if ask == 5:
        price = "11.00"
    plan = decide(ask)
    assert (plan.action, plan.list_price) == (action, D(price))


def test_reason_in_plain_words():
    """The reason says what it asks, what similar pieces sell for, and what is behind that."""
    assert decide(22).reason == (
        "asks 22.00; similar pieces sell around 26.00 (20.00-34.00; 20 sales of the type, last 2 months ago)"
    )


@pytest.mark.parametrize(
    "ask, words", [(18, "raised by 25 % at most in one go"), (40, "cut by 20 % at most")]
)
def test_a_step_that_was_held_says_so(ask, words):
    """Where the largest raise or cut held the list price, the reason names it."""
    assert words in decide(ask).reason


def test_ask_below_its_floor_is_not_kept():
    """Cost 18: floor (18 + 0.40) / 0.7675 = 23.974, so 23.98; an ask of 23.50 near the fair price goes up
    to 24.00, the ending.
    """
    plan = decide(23.5, cost=18.0, fair=24.0, fair_low=22.0)
    assert (plan.floor, plan.action, plan.list_price) == (D("23.98"), "raise", D("24.00"))


def test_highest_markup_holds_where_few_sales_carry_the_price():
    """Cost 1.50 x 12 = 18.00 holds with 2 sales of the type, not with 20."""
    assert decide(None, cost=1.5, type_sales=2).list_price == D("18.00")
    assert decide(None, cost=1.5).list_price == D("26.00")


@pytest.mark.parametrize(
    "change, words",
    [
        (dict(high=120.0), "range is wide"),
        (dict(type_known=False, type_sales=1), "does not know this type"),
        (dict(type_sales=0), "no sale of this type"),
        (dict(cost=30.0), "more than similar pieces bring"),
        (dict(cost=25.0), "its floor of"),
        (dict(fair=float("nan")), "no price could be estimated"),
    ],
)
def test_look_when_in_doubt(change, words):
    """Each doubt sends the row to a person and says why."""
    plan = decide(24, **change)
    assert plan.action == "look" and words in plan.reason


def test_sold_out_rows_stay_as_history():
    """Nothing on hand: no list price, no change asked."""
    plan = decide(24, on_hand=0)
    assert (plan.action, plan.list_price) == ("sold out", None)


def test_margin_unknown_without_a_cost():
    """A piece with no cost has no margin; nought is never taken for the cost in what is shown."""
    plan = decide(22, cost=None)
    assert plan.margin is None and plan.margin_pct is None


@given(cost=st.one_of(st.none(), st.integers(0, 1_400)), ask=st.one_of(st.none(), st.integers(1, 20_000)))
def test_what_a_piece_cost_is_spent(cost, ask):
    """Whatever it cost, up to where the owner's own floor binds: same list price, action and money left by a sale; the
    book margin alone moves, by the cost. (Floor at a cost of 14.00: 14.40 / 0.7675 = 18.77, or 18.20.)"""
    cost, ask = (None if one is None else one / 100 for one in (cost, ask))
    paid, gift = decide(ask, cost=cost), decide(ask, cost=0)
    if min(paid.list_price, gift.list_price) >= paid.floor:
        same = ("list_price", "action", "reason", "leaves")
        assert [getattr(paid, name) for name in same] == [getattr(gift, name) for name in same]
        assert cost is None or paid.margin == paid.leaves - money(cost)


def test_a_cost_above_the_price_says_what_a_sale_would_leave():
    """26.00 less 3.45 + 0.40 is 22.15, whatever the piece cost."""
    assert "what it cost is spent, a sale at 26.00 would leave 22.15" in decide(24, cost=30.0).reason


@pytest.mark.parametrize(
    "then, words",
    [
        ("2026-02-27", "last this week"),
        ("2026-02-01", "last 4 weeks ago"),
        ("2025-12-30", "last 2 months ago"),
        ("2020-03-01", "last 6 years ago"),
        (None, ""),
    ],
)
def test_age_in_words(then, words):
    """Weeks up to two months, months up to two years, then years."""
    assert age_in_words(then, "2026-03-01") == words
