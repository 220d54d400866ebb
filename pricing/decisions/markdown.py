"""What a cut in price or a discount code does to the money a sale leaves, and how many more must sell to make up."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import Any

from pricing.decisions.net_proceeds import SellingTerms, floor_price, money, net_proceeds


@dataclass(frozen=True)
class Markdown:
    """`before`, `after`: what one sale leaves at each price; `volume_times`: sales needed at the cut price for each
    sale before, None where no number of sales makes up for it."""

    before: Decimal
    after: Decimal
    volume_times: float | None


def markdown(price: Any, cut_price: Any, cost: Any, terms: SellingTerms) -> Markdown:
    """The effect of selling at `cut_price` a piece that costs `cost` to have again, in place of `price`."""
    before = net_proceeds(price, cost, terms).contribution
    after = net_proceeds(cut_price, cost, terms).contribution
    return Markdown(before, after, float(before / after) if after > 0 else None)


@dataclass(frozen=True)
class DiscountCode:
    """`price` the buyer pays with the code; `effect` of it; `margin_pct` of the net price left with it; `floor` the
    lowest price the code may lead to, and `lowest_list` the list price from which it does not lead below that: None
    where no price leaves the required margin."""

    price: Decimal
    effect: Markdown
    margin_pct: float
    floor: Decimal | None
    lowest_list: Decimal | None


def discount_code(
    price: Any, pct: Any, cost: Any, terms: SellingTerms, *, minimum_margin_pct: Any = 0
) -> DiscountCode:
    """A code of `pct` percent on a list price. ValueError for a percentage outside 0 to 99 or a price not above 0."""
    price, pct = Decimal(str(price)), Decimal(str(pct))
    if not 0 <= pct <= 99 or price <= 0:
        raise ValueError(f"a code of {pct} % on {price}: give a price above 0 and a percentage from 0 to 99")
    paid = money(price * (100 - pct) / 100)
    floor = floor_price(cost, terms, minimum_margin_pct=minimum_margin_pct)
    lowest = None if floor is None else (floor * 100 / (100 - pct)).quantize(Decimal("0.01"), ROUND_CEILING)
    left = net_proceeds(paid, cost, terms).margin_pct
    return DiscountCode(paid, markdown(price, paid, cost, terms), left, floor, lowest)
