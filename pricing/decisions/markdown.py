"""What a cut in price does to the money a sale leaves, and how many more must sell for it to pay."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pricing.decisions.net_proceeds import SellingTerms, net_proceeds


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
