"""What a sale leaves after fees, tax, packing and returns; the floor below which none should be made; price
endings.

Money is decimal. Every fee is rounded to the cent by itself, half up, as a bill would show it; the floor is
the lowest whole cent that still leaves the minimum margin. Prices and costs are per set, as the model's
are.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from typing import Any

CENT = Decimal("0.01")
ZERO = Decimal(0)
TAX_SCHEMES = ("none", "on the price", "margin scheme")
_HIGHEST_PRICE = Decimal(10_000_000)


def money(value: Any) -> Decimal:
    """`value` to the cent, half up; a float is read by its shortest spelling, so that 0.145 is 0.15."""
    return Decimal(str(value)).quantize(CENT, ROUND_HALF_UP)


@dataclass(frozen=True)
class SellingTerms:
    """What selling one set through one channel costs. Percentages are of 100, amounts in the shop's
    currency.
    """

    fee_pct: Decimal = ZERO
    fee_fixed: Decimal = ZERO
    fee_on_total: bool = (
        True  # the channel takes its percentage of postage and tax too, not of the goods alone
    )
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
            raise ValueError(
                f"unknown sales-tax scheme {self.tax_scheme!r}; use one of {', '.join(TAX_SCHEMES)}"
            )


@dataclass(frozen=True)
class Proceeds:
    """Where the buyer's money goes, to the cent. `contribution` is what is left after the cost of the
    piece.
    """

    buyer_pays: Decimal
    sales_tax: Decimal
    channel_fee: Decimal
    payment_fee: Decimal
    packing: Decimal
    postage_paid: Decimal
    returns: Decimal
    net: Decimal
    contribution: Decimal
    postage_charged: Decimal = ZERO

    @property
    def net_sales(self) -> Decimal:
        """What the buyer pays less sales tax and postage: the base of margin percentages."""
        return self.buyer_pays - self.sales_tax - self.postage_charged

    @property
    def margin_pct(self) -> float:
        """Contribution as a percentage of net sales."""
        return float(self.contribution / self.net_sales * 100) if self.net_sales else 0.0


def net_proceeds(price: Any, cost: Any, terms: SellingTerms) -> Proceeds:
    """Proceeds of one set sold at `price` that cost `cost`.

    Sales tax: "on the price" takes the rate out of what the buyer pays (or adds it when prices exclude
    tax); the margin scheme for second-hand goods taxes what the buyer pays less the cost, tax included in
    that margin, never below nothing (Council Directive 2006/112/EC, articles 312 to 315; articles from
    memory). Returns: the share of sales that comes back is counted as its price lost (common practice, no
    source).
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
    return Proceeds(
        buyer_pays,
        tax,
        channel_fee,
        payment_fee,
        terms.packing_cost,
        terms.postage_paid,
        returns,
        money(net),
        money(net - cost),
        terms.postage_charged,
    )


def floor_price(
    cost: Any, terms: SellingTerms, *, minimum_margin_pct: Any = 0, minimum_margin: Any = 0
) -> Decimal | None:
    """Lowest price in whole cents whose contribution reaches both minimum margins; None when none does.

    `minimum_margin_pct` is of the net price (without sales tax), `minimum_margin` an amount a set. Found by
    halving between nothing and a very high price (contribution grows with price), then cent by cent,
    because rounding fees makes the last cent uneven.
    """
    share, amount = Decimal(str(minimum_margin_pct)) / 100, Decimal(str(minimum_margin))

    def reached(price: Decimal) -> bool:
        bill = net_proceeds(price, cost, terms)
        return bill.contribution >= max(amount, bill.net_sales * share)

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


def price_with_ending(target: Any, endings: Iterable[str], at_least: Any = 0) -> Decimal:
    """The permitted price nearest to `target`, never below `at_least`; the higher of two equally near.

    Endings are spelled as in Settings: ".50" is the cents of any price, "9" the last digit of a whole
    price, "9.95" both, "99" the last two digits. With no endings the price is only rounded to the cent,
    upwards where `at_least` asks for it.
    """
    target, at_least = Decimal(str(target)), Decimal(str(at_least)).quantize(CENT, ROUND_CEILING)
    permitted = []
    for ending in endings:
        whole, _, cents = ending.partition(".")
        period = Decimal(10) ** len(whole)
        offset = Decimal(f"{whole or 0}.{cents or 0}")
        below = (target - offset) // period * period + offset
        above_floor = -((offset - at_least) // period) * period + offset
        permitted += [
            price
            for start in (below, above_floor)
            for price in (start - period, start, start + period)
            if price > 0 and price >= at_least
        ]
    if not permitted:
        return max(money(target), at_least)
    return money(min(permitted, key=lambda price: (abs(price - target), -price)))
