"""What to ask for each piece in stock: list price, floor, action and its reason, by the owner's own policy.

Money is decimal. Every fee is rounded to the cent by itself, half up, as a bill would show it; the floor is the
lowest whole cent that still leaves the minimum margin. Prices and costs are per set, as the model's are.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

CENT = Decimal("0.01")
ZERO = Decimal(0)
TAX_SCHEMES = ("none", "on the price", "margin scheme")
ACTIONS = ("raise", "lower", "keep", "look", "list", "sold out")
_HIGHEST_PRICE = Decimal(10_000_000)


def money(value: Any) -> Decimal:
    """`value` to the cent, half up; a float is read by its shortest spelling, so that 0.145 is 0.15."""
    return Decimal(str(value)).quantize(CENT, ROUND_HALF_UP)


@dataclass(frozen=True)
class SellingTerms:
    """What selling one set through one channel costs. Percentages are of 100, amounts in the shop's currency."""

    fee_pct: Decimal = ZERO
    fee_fixed: Decimal = ZERO
    fee_on_total: bool = True  # the channel takes its percentage of postage and tax too, not of the goods alone
    payment_pct: Decimal = ZERO
    payment_fixed: Decimal = ZERO
    packing_cost: Decimal = ZERO
    postage_charged: Decimal = ZERO
    postage_paid: Decimal = ZERO
    return_pct: Decimal = ZERO
    tax_scheme: str = "none"
    tax_pct: Decimal = ZERO
    price_includes_tax: bool = True

    def __post_init__(self) -> None:
        if self.tax_scheme not in TAX_SCHEMES:
            raise ValueError(f"unknown sales-tax scheme {self.tax_scheme!r}; use one of {', '.join(TAX_SCHEMES)}")


@dataclass(frozen=True)
class Proceeds:
    """Where the buyer's money goes, to the cent. `contribution` is what is left after the cost of the piece."""

    buyer_pays: Decimal
    sales_tax: Decimal
    channel_fee: Decimal
    payment_fee: Decimal
    packing: Decimal
    postage_paid: Decimal
    returns: Decimal
    net: Decimal
    contribution: Decimal


def net_proceeds(price: Any, cost: Any, terms: SellingTerms) -> Proceeds:
    """Proceeds of one set sold at `price` that cost `cost`.

    Sales tax: "on the price" takes the rate out of what the buyer pays (or adds it when prices exclude tax); the
    margin scheme for second-hand goods taxes what the buyer pays less the cost, tax included in that margin, never
    below nothing (Council Directive 2006/112/EC, articles 312 to 315; articles from memory). Returns: the share of
    sales that comes back is counted as its price lost (common practice, no source).
    """
    price, cost = Decimal(str(price)), Decimal(str(cost))
    goods_and_postage = price + terms.postage_charged
    rate = terms.tax_pct / 100
    buyer_pays, tax = goods_and_postage, ZERO
    if terms.tax_scheme == "on the price":
        if terms.price_includes_tax:
            tax = money(goods_and_postage * rate / (1 + rate))
        else:
            tax = money(goods_and_postage * rate)
            buyer_pays = goods_and_postage + tax
    elif terms.tax_scheme == "margin scheme":
        tax = money(max(goods_and_postage - cost, ZERO) * rate / (1 + rate))
    channel_fee = money((buyer_pays if terms.fee_on_total else price) * terms.fee_pct / 100 + terms.fee_fixed)
    payment_fee = money(buyer_pays * terms.payment_pct / 100 + terms.payment_fixed)
    returns = money(price * terms.return_pct / 100)
    net = buyer_pays - tax - channel_fee - payment_fee - terms.packing_cost - terms.postage_paid - returns
    return Proceeds(buyer_pays, tax, channel_fee, payment_fee, terms.packing_cost, terms.postage_paid, returns,
                    money(net), money(net - cost))


def floor_price(cost: Any, terms: SellingTerms, *, minimum_margin_pct: Any = 0,
                minimum_margin: Any = 0) -> Decimal | None:
    """Lowest price in whole cents whose contribution reaches both minimum margins; None when none does.

    `minimum_margin_pct` is of the price, `minimum_margin` an amount a set. Found by halving between nothing and a very
    high price (contribution grows with price), then cent by cent, because rounding fees makes the last cent uneven.
    """
    share, amount = Decimal(str(minimum_margin_pct)) / 100, Decimal(str(minimum_margin))

    def reached(price: Decimal) -> bool:
        return net_proceeds(price, cost, terms).contribution >= max(amount, price * share)

    if not reached(_HIGHEST_PRICE):
        return None
    low, high = ZERO, _HIGHEST_PRICE
    while high - low > CENT:
        middle = ((low + high) / 2).quantize(CENT, ROUND_HALF_UP)
        low, high = (low, middle) if reached(middle) else (middle, high)
    for step in range(5, 0, -1):
        lower = high - step * CENT
        if lower >= 0 and reached(lower):
            return lower
    return high


def price_with_ending(target: Any, endings: Iterable[Any], at_least: Any = 0) -> Decimal:
    """The permitted price nearest to `target`, never below `at_least`; the lower one of two equally near.

    An ending below 1 repeats every 1 (0.95 gives 7.95 and 8.95), one below 10 every 10 (4.90 gives 14.90), and so on.
    With no endings the price is only rounded to the cent, upwards where `at_least` asks for it.
    """
    target, at_least = Decimal(str(target)), Decimal(str(at_least)).quantize(CENT, ROUND_CEILING)
    candidates = []
    for ending in map(lambda value: Decimal(str(value)), endings):
        period = Decimal(1)
        while period <= ending:
            period *= 10
        below = (target - ending) // period * period + ending
        above_floor = -((ending - at_least) // period) * period + ending
        candidates += [below - period, below, below + period, above_floor, above_floor - period, above_floor + period]
    permitted = [money(c) for c in candidates if c > 0 and c >= at_least]
    if not permitted:
        return max(money(target), at_least)
    return min(permitted, key=lambda price: (abs(price - target), price))


@dataclass(frozen=True)
class PricePolicy:
    """The owner's simple policy; see the Settings sheet for each value's meaning."""

    terms: SellingTerms
    markup_low: Decimal = Decimal("0.90")
    markup: Decimal = Decimal("1.00")
    markup_high: Decimal = Decimal("1.15")
    endings: Sequence[Decimal] = ()
    minimum_margin_pct: Decimal = ZERO
    minimum_margin: Decimal = ZERO
    look_range_ratio: float = 4.0
    look_ask_ratio: float = 3.0
    look_min_sales: float = 1.0
    look_min_type_sales: int = 3


@dataclass(frozen=True)
class ListPrice:
    """Decision for one stock row. `list_price` and `floor` are None where nothing can be computed."""

    list_price: Decimal | None
    floor: Decimal | None
    margin: Decimal | None
    margin_pct: float | None
    action: str
    reason: str


def _amount(value: Any) -> str:
    return f"{Decimal(str(value)).quantize(CENT, ROUND_HALF_UP):,.2f}"


def _known(value: Any) -> bool:
    return value is not None and value == value


def decide_list_price(policy: PricePolicy, *, fair: float | None, low: float | None, high: float | None,
                      n_sales: float, ask: float | None, cost: float | None, on_hand: int,
                      type_known: bool = True, type_sales: int | None = None, last_sale: str = "") -> ListPrice:
    """List price, floor, action and its reason for one set.

    The ask is kept while it stands between markup_low and markup_high times the fair price and not below the floor;
    otherwise the list price is the permitted ending nearest to fair x markup. "look" means a person should decide.
    `type_sales`: usable sales of the same pricing type (None: not counted); `last_sale`: words for the age of the last.
    """
    ask = ask if _known(ask) and ask > 0 else None
    cost = cost if _known(cost) and cost >= 0 else None
    floor = floor_price(cost or 0, policy.terms, minimum_margin_pct=policy.minimum_margin_pct,
                        minimum_margin=policy.minimum_margin)
    if on_hand <= 0:
        return ListPrice(None, floor, None, None, "sold out", "none left: kept as history")
    if not _known(fair) or fair <= 0:
        return ListPrice(None, floor, None, None, "look", "no price could be estimated for this piece")
    if floor is None:
        return ListPrice(None, None, None, None, "look", "fees and margin in Settings leave no price that pays")

    fair_d = Decimal(str(round(fair, 6)))
    target = max(fair_d * policy.markup, floor)
    price = price_with_ending(target, policy.endings, at_least=floor)
    proceeds = net_proceeds(price, cost or 0, policy.terms)
    margin_pct = float(proceeds.contribution / price * 100)

    behind = f"{_count(n_sales)}{', ' + last_sale if last_sale else ''}"
    around = f"similar pieces sell around {_amount(fair)} ({_amount(low)}-{_amount(high)}, {behind})"
    asks = f"asks {_amount(ask)}; " if ask else "no ask yet; "

    doubts = []
    if not type_known and (type_sales or 0) < policy.look_min_type_sales:
        doubts.append("the register does not know this type and the shop has hardly sold it")
    if type_sales == 0:
        doubts.append("no sale of this type is behind the estimate")
    elif n_sales < policy.look_min_sales:
        doubts.append("hardly any sale is behind the estimate")
    if high / low > policy.look_range_ratio:
        doubts.append(f"the range is wide: the high end is {high / low:.1f} times the low end")
    if cost is not None and cost > fair:
        doubts.append(f"it cost {_amount(cost)}, more than similar pieces bring")
    elif floor > fair_d * policy.markup_high:
        doubts.append(f"its floor of {_amount(floor)} is above what similar pieces bring")
    if ask and not 1 / policy.look_ask_ratio <= ask / fair <= policy.look_ask_ratio:
        times = max(ask / fair, fair / ask)
        doubts.append(f"the ask is {times:.1f} times {'above' if ask > fair else 'below'} the estimate: "
                      "check the description, the set size and the ask")

    if doubts:
        action, reason = "look", f"{asks}{around}; {'; '.join(doubts)}"
    elif ask is None:
        action, reason = "list", f"{asks}{around}"
    else:
        ask_d = money(ask)
        kept = policy.markup_low * fair_d <= ask_d <= policy.markup_high * fair_d and ask_d >= floor
        if kept or ask_d == price:
            action, price, reason = "keep", ask_d, f"{asks}{around}"
            proceeds = net_proceeds(price, cost or 0, policy.terms)
            margin_pct = float(proceeds.contribution / price * 100)
        else:
            action, reason = ("raise" if price > ask_d else "lower"), f"{asks}{around}"
            if price == price_with_ending(floor, policy.endings, at_least=floor) and target == floor:
                reason += f"; held at the floor of {_amount(floor)}"
    return ListPrice(price, floor, proceeds.contribution if cost is not None else None,
                     margin_pct if cost is not None else None, action, reason)


def _count(n_sales: float) -> str:
    """Effective sales in words: "14 sales", "1 sale", "under 1 sale"."""
    if n_sales < 0.5:
        return "under 1 sale"
    n = round(n_sales)
    return f"{n:,} sale" if n == 1 else f"{n:,} sales"


def age_in_words(then: Any, now: Any) -> str:
    """ "last 2 months ago" for a last sale at `then` seen from `now`; "" when `then` is not a date."""
    import pandas as pd

    if pd.isna(then):
        return ""
    days = max((pd.Timestamp(now) - pd.Timestamp(then)).days, 0)
    if days < 7:
        return "last this week"
    for limit, length, unit in ((60, 7, "week"), (700, 30.44, "month"), (float("inf"), 365.25, "year")):
        if days < limit:
            count = round(days / length)
            return f"last {count} {unit}{'s' if count > 1 else ''} ago"
    return ""


def plan_list_prices(model: Any, stock: pd.DataFrame, shop: Any) -> pd.DataFrame:
    """List price, floor, action and reason for every stock row, same index, in stock order.

    `model` is a fitted PriceModel, `stock` a clean Stock table, `shop` the Shop whose Settings hold the policy and
    whose Sales tell what is left of each sku. Columns: the description of the piece, `on_hand` (sets), `cost`, `ask`,
    `fair_price`, `low`, `high`, `n_sales`, `basis`, `list_price`, `floor`, `margin`, `margin_pct`, `difference`
    (list price less ask, times sets on hand), `action` (one of ACTIONS), `reason`, `row` (of the Stock sheet).
    """
    import pandas as pd

    from pricing.decisions.shop_policy import policy_from_settings

    policy = policy_from_settings(shop.settings)
    on_hand = sets_on_hand(stock, shop.sales)
    estimate = _estimate(model, stock)
    type_sales = shop.sales["canonical_type"].value_counts() if len(shop.sales) else pd.Series(dtype=int)
    last_sold = shop.sales.groupby("canonical_type")["sold_on"].max() if len(shop.sales) else pd.Series(dtype=object)

    plans = []
    for position, (index, piece) in enumerate(stock.iterrows()):
        canonical = piece["canonical_type"]
        quote = estimate.iloc[position]
        plans.append(decide_list_price(
            policy, fair=quote["fair_price"], low=quote["low"], high=quote["high"], n_sales=quote["n_sales"],
            ask=piece.get("ask"), cost=piece.get("cost"), on_hand=int(on_hand.loc[index]),
            type_known=bool(piece.get("type_known", True)), type_sales=int(type_sales.get(canonical, 0)),
            last_sale=age_in_words(last_sold.get(canonical), model.as_of),
        ))
