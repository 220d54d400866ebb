"""The most to bid for a lot: expected net cash over one plus the return wanted, with a range by simulation.

What fails testing and what does not sell in reasonable time brings nothing; a few pieces often carry most of the bid,
so every line says what the bid would be without it.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from pricing.decisions.lots import numbers
from pricing.decisions.net_proceeds import ZERO, SellingTerms, money

# Common practice, no source: what is taken where neither the line nor the shop's own lots say.
PASS_PCT, PASS_PCT_NEW, SELL_PCT, MONTHS, TUBES_PER_ORDER = 70.0, 95.0, 65.0, 9.0, 1.5
# How sure a stated share is: as sure as that share of so many tubes would be (Beta with these pseudo-counts).
PASS_WEIGHT, SELL_WEIGHT = 12.0, 12.0
PIECE_LOG_SD = 0.35  # one sale around what its like brings; the trade's usual range is .25 to .45 (no source)
LEVEL_LOG_SD = 0.15  # how far the expected price of a line may be off
LOW, HIGH = 10, 90  # percentiles of the low and the high bid
LINE_COLUMNS = ("qty", "price", "pass_pct", "sell_pct", "months", "sold", "sales", "net", "share_pct", "bid_without")


@dataclass(frozen=True)
class LotBid:
    """`bid`: the most to pay, freight and all; `low`, `middle`, `high`: the bids that one outcome in ten, every second
    and nine in ten outcomes fall short of. `net`: expected cash before the purchase; `cash`: how it comes about;
    `lines`: LINE_COLUMNS, what each carries; `simulated`: the bid each simulated outcome would have borne, unrounded
    and below nothing where it is; `words`. Money in the shop's currency.
    """

    bid: Decimal
    low: Decimal
    middle: Decimal
    high: Decimal
    net: Decimal
    cash: pd.Series
    lines: pd.DataFrame
    simulated: np.ndarray
    words: str


def bid_for_lot(
    lines: pd.DataFrame,
    terms: SellingTerms | None = None,
    *,
    target_return_pct: float = 60.0,
    testing_each: float = 0.0,
    tubes_per_order: float = TUBES_PER_ORDER,
    holding_pct_year: float = 0.0,
    pass_weight: float = PASS_WEIGHT,
    runs: int = 4000,
    seed: int = 1,
) -> LotBid:
    """Bid for a lot of `lines`, a row a kind of tube: `qty`, `price` (expected, each), and if known `pass_pct` (share
    that passes testing), `sell_pct` (share of those that sells within the time you give it), `months` (mean time to
    sale), `grade` (unused stock passes more often where pass_pct is blank), `price_low`, `price_high` (80 % range of
    the expected price).

        net = sum qty pass sell (price (1 - fees - returns) - order cost / tubes per order) - testing
        bid = net / (1 + target return + holding cost x mean years until sold)

    Sales tax on the price comes off the price; under the margin scheme the tax is on sales less what the sold pieces
    cost, which is part of the bid, and the equation is solved for it. The simulation draws a lot's fallout (shared by
    its lines), each line's sell-through and prices; its mean is this bid. Never below 0. ValueError for lines without
    a price, shares outside 0 to 100, what is no number, and a return, order size or number of runs that leaves nothing
    to divide by.
    """
    terms = terms or SellingTerms()
    for name, value, above in (("target_return_pct", target_return_pct, -100), ("tubes_per_order", tubes_per_order, 0),
                               ("runs", runs, 0)):
        if not above < value < np.inf:
            raise ValueError(f"{name} is {value}; write a number above {above}")
    table = _lines(lines)
    sold_share = table["pass_pct"] * table["sell_pct"] / 1e4
    sold = table["qty"] * sold_share
    keeps, tax_share, fee_share = _of_price(terms)
    an_order = terms.fee_fixed + terms.payment_fixed + terms.packing_cost + terms.postage_paid
    order_cost = float(an_order) / tubes_per_order
    sales = sold * table["price"]
    each = sales * keeps - sold * order_cost
    testing = testing_each * table["qty"]
    over = _over(table, sales, terms, target_return_pct, holding_pct_year)
    scheme = sales * tax_share if terms.tax_scheme == "margin scheme" else 0 * sales
    net_lines = each - testing - scheme
    net = float(net_lines.sum())
    bid = net / over

    simulated = _simulated(table, keeps - (tax_share if terms.tax_scheme == "margin scheme" else 0.0), order_cost,
                           float(testing.sum()), pass_weight, runs, seed) / over
    low, middle, high = (money(max(0.0, one)) for one in np.percentile(simulated, [LOW, 50, HIGH]))
    earned = each - scheme
    table = table.assign(
        sold=sold, sales=sales.round(2), net=net_lines.round(2),
        share_pct=100 * earned / earned.sum() if earned.sum() > 0 else np.nan,
        bid_without=[float(money(max((net - one) / over, 0.0))) for one in earned])
    fees = float((sales * fee_share).sum())
    relief = bid * _relief(table, sales, terms) if net > 0 else 0.0
    cash = pd.Series({
        "tubes": float(table["qty"].sum()), "passed": float((table["qty"] * table["pass_pct"] / 100).sum()),
        "sold": float(sold.sum()), "sales": float(sales.sum()), "sales tax": -float((sales * tax_share).sum()) + relief,
        "fees": -fees, "orders": -float(sold.sum()) * order_cost,
        "returns": -float(sales.sum() * float(terms.return_pct) / 100), "testing": -float(testing.sum()),
    })
    cash["net"] = float(cash["sales":].sum())
    cash = cash.round(2)
    words = _words(money(max(bid, 0.0)), low, high, table, net)
    return LotBid(money(max(bid, 0.0)), low, middle, high, money(net), cash, table, simulated, words)


def bid_for_offered_lot(lines: pd.DataFrame, shop: Any, model: Any = None, **settings: Any) -> LotBid:
    """`bid_for_lot` by the shop's Settings and history: prices by `model` where a line has none (the fair price, a
    median, stands for the mean, which is a few percent higher: a bid leans to the careful side), the shop's own fallout
    and sell-through where a line does not say, terms of its most used channel.
    """
    from pricing.decisions.list_price import policy_of
    from pricing.decisions.stock_ledger import sell_through_within

    own = fallout_of(shop.lots)
    table = lines.copy()
    if "price" not in table or table["price"].isna().any():
        if model is None:
            raise ValueError("some lines have no price; give one, or a fitted model to estimate it")
        quote = model.estimate(table)
        size = table["set_size"].to_numpy(float) if "set_size" in table else 1.0
        for column, source in (("price", "fair_price"), ("price_low", "fair_low"), ("price_high", "fair_high")):
            found = quote[source] / size
            table[column] = table[column].fillna(found) if column in table else found
    if "set_size" in table:
        table["qty"] = table["qty"] * table["set_size"]
    if own.lots >= 5:
        new = _is_new(table)
        blank = table["pass_pct"].isna() if "pass_pct" in table else pd.Series(True, index=table.index)
        table["pass_pct"] = (table["pass_pct"] if "pass_pct" in table else np.nan)
        table.loc[blank & ~new, "pass_pct"] = own.pass_pct
    if "family" in table:
        history = sell_through_within(shop.stock, shop.sales).reindex(table["family"])
        for column in ("sell_pct", "months"):
            found = pd.Series(history[column].to_numpy(), index=table.index)
            table[column] = table[column].fillna(found) if column in table else found
    chosen = {"target_return_pct": shop.settings.target_return_pct, "testing_each": own.testing_each,
              "holding_pct_year": shop.settings.holding_cost_pct_year,
              "pass_weight": own.weight if own.lots >= 5 else PASS_WEIGHT}
    return bid_for_lot(table, policy_of(shop).terms, **(chosen | settings))


@dataclass(frozen=True)
class Fallout:
    """What the shop's own lots say: how many had counts, the share that passed, how alike lots are (pseudo-count of a
    Beta distribution), cost of testing a tube."""

    lots: int
    pass_pct: float
    weight: float
    testing_each: float


def fallout_of(lots: pd.DataFrame) -> Fallout:
    """Pooled over Lots with `tubes` and `rejects`; the weight by moments of the beta-binomial."""
    counted = lots[(lots["tubes"] > 0) & (lots["rejects"] >= 0) & (lots["rejects"] <= lots["tubes"])]
    if counted.empty:
        return Fallout(0, PASS_PCT, PASS_WEIGHT, 0.0)
    tubes, passed = counted["tubes"].to_numpy(float), (counted["tubes"] - counted["rejects"]).to_numpy(float)
    mean = passed.sum() / tubes.sum()
    spread = float(np.sum((passed - tubes * mean) ** 2))
    chance = mean * (1 - mean)
    # E (x - n m)^2 = n m (1 - m) (1 + (n - 1) r), summed over lots, r = 1 / (weight + 1)
    pairs = float((tubes * (tubes - 1)).sum()) * chance
    r = min(max((spread - tubes.sum() * chance) / pairs, 1e-3), 0.5) if pairs > 0 else 1 / (PASS_WEIGHT + 1)
    return Fallout(len(counted), 100 * mean, 1 / r - 1, float(counted["testing_cost"].fillna(0).sum() / tubes.sum()))


def _lines(lines: pd.DataFrame) -> pd.DataFrame:
    """LINE_COLUMNS that are given or taken, checked."""
    if "price" not in lines or lines["price"].isna().any():
        raise ValueError("every line needs a price: what one tube is expected to sell for")
    out = lines.assign(price=numbers(lines, "price"))
    new = _is_new(lines)
    for name, default in (("qty", 1.0), ("pass_pct", np.where(new, PASS_PCT_NEW, PASS_PCT)), ("sell_pct", SELL_PCT),
                          ("months", MONTHS)):
        stated = pd.Series(numbers(lines, name), index=lines.index)
        out[name] = stated.fillna(pd.Series(default, index=lines.index)).astype(float)
    for name, most in (("price", np.inf), ("qty", np.inf), ("pass_pct", 100), ("sell_pct", 100), ("months", np.inf)):
        wrong = out[(out[name] < 0) | (out[name] > most)]
        if len(wrong):
            allowed = "0" if most == np.inf else "0 to 100"
            raise ValueError(f"{name} is {wrong[name].iloc[0]:g}; write a number from {allowed}")
    return out


def _is_new(lines: pd.DataFrame) -> pd.Series:
    if "grade" not in lines:
        return pd.Series(False, index=lines.index)
    return lines["grade"].astype(str).str.startswith("new old stock")


def _of_price(terms: SellingTerms) -> tuple[float, float, float]:
    """(share of the price kept after tax on the price, fees and returns; share that is sales tax; share that is
    fees)."""
    rate = float(terms.tax_pct) / 100
    buyer, tax = 1.0, 0.0
    if terms.tax_scheme == "on the price":
        if terms.price_includes_tax:
            tax = rate / (1 + rate)
        else:
            buyer = 1 + rate
    elif terms.tax_scheme == "margin scheme":
        tax = rate / (1 + rate)
    fees = (buyer if terms.fee_on_total else 1.0) * float(terms.fee_pct) / 100 + buyer * float(terms.payment_pct) / 100
    off = tax if terms.tax_scheme == "on the price" else 0.0
    return 1 - off - fees - float(terms.return_pct) / 100, tax, fees


def _relief(table, sales, terms) -> float:
    """Under the margin scheme: the share of the bid that comes off the tax, because the sold pieces cost it."""
    if terms.tax_scheme != "margin scheme":
        return 0.0
    rate = float(terms.tax_pct) / 100
    value = table["qty"] * table["pass_pct"] / 100 * table["price"]
    return rate / (1 + rate) * float(sales.sum() / value.sum()) if value.sum() > 0 else 0.0


def _over(table, sales, terms, target_return_pct, holding_pct_year) -> float:
    """What the net cash is divided by to give the bid."""
    years = float((sales * table["months"]).sum() / sales.sum()) / 12 if sales.sum() > 0 else 0.0
    return 1 + target_return_pct / 100 + holding_pct_year / 100 * years - _relief(table, sales, terms)


def _simulated(table, keeps, order_cost, testing, pass_weight, runs, seed) -> np.ndarray:
    """Net cash of `runs` outcomes of the lot, before the purchase."""
    rng = np.random.default_rng(seed)
    luck = rng.random(runs)  # a lot that is worse than thought is so in all its lines
    net = np.full(runs, -testing)
    level_sd = np.full(len(table), LEVEL_LOG_SD)
    if {"price_low", "price_high"} <= set(table):
        known = (table["price_low"] > 0) & (table["price_high"] > table["price_low"])
        stated = np.log(table["price_high"].where(known, 1.0) / table["price_low"].where(known, 1.0)) / (
            2 * stats.norm.ppf(0.9))
        level_sd = np.where(known, stated, level_sd)
    for line, sd in zip(table.to_dict("records"), level_sd):
        passing = _beta_quantiles(luck, line["pass_pct"] / 100, pass_weight)
        selling = _beta_quantiles(rng.random(runs), line["sell_pct"] / 100, SELL_WEIGHT)
        sold = rng.binomial(int(round(line["qty"])), passing * selling)
        level = rng.lognormal(-sd * sd / 2, sd, runs)
        # the mean of n lognormal prices, as a lognormal of the same mean and variance (Fenton 1960)
        own = np.sqrt(np.log1p(np.expm1(PIECE_LOG_SD**2) / np.maximum(sold, 1)))
        price = line["price"] * level * np.exp(rng.standard_normal(runs) * own - own**2 / 2)
        net += sold * (price * keeps - order_cost)
    return net


def _beta_quantiles(chance: np.ndarray, mean: float, weight: float) -> np.ndarray:
    if mean in (0.0, 1.0) or weight == np.inf:
        return np.full(len(chance), mean)
    return stats.beta.ppf(chance, mean * weight, (1 - mean) * weight)


def _words(bid: Decimal, low: Decimal, high: Decimal, table: pd.DataFrame, net: float) -> str:
    if bid <= ZERO:
        return "Do not bid: expected sales do not cover fees, orders and testing."
    said = f"Bid up to {bid:,.2f} ({low:,.2f}-{high:,.2f})"
    top = table.sort_values("share_pct", ascending=False, kind="stable")
    if len(top) > 1 and top["share_pct"].iloc[0] >= 40:
        one = top.iloc[0]
        name = one.get("type") or f"line {one.name}"
        said += f"; {name} carries {one['share_pct']:.0f} % of it: without it {one['bid_without']:,.2f}"
    return said + "."
