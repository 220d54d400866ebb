"""What to ask for a piece when the owner aims at what earns most: hazard of sale, fees and bounds together."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import stats

from pricing.decisions.best_ask import BestAsk, best_ask
from pricing.decisions.net_proceeds import SellingTerms, net_proceeds
from pricing.decisions.price_policy import PricePolicy, is_known
from pricing.price_model.sale_hazard import Hazard

MOST_EARNED = "most earned"  # in Settings, in place of the fair price
# No ask above this multiple of the fair price is proposed: the shop's listings say little of what lies beyond.
MOST_ABOVE_FAIR = 1.5
LONGEST_DAYS = 1095.0  # three years, and anything longer: a shop's listings do not reach so far
_COVERAGE = 0.80
_POINTS = 25  # prices at which the bill is made out; between them it is a straight line


@dataclass(frozen=True)
class EarningAsks:
    """Asks by a fitted hazard of sale and the owner's policy."""

    hazard: Hazard
    policy: PricePolicy
    holding_pct_year: float

    def ask_for(self, piece: Mapping[str, Any], quote: Mapping[str, Any], on_hand: int, floor: float) -> BestAsk | None:
        """The ask that earns most for one stock row, between its floor and MOST_ABOVE_FAIR; None where no price does.

        What was paid is sunk and counts only where the tax is on the margin; unsold the piece counts as worth nothing.
        """
        fair, highest = float(quote["fair_price"]), MOST_ABOVE_FAIR * float(quote["fair_price"])
        if on_hand < 1 or not fair > 0 or not self.holding_pct_year > 0 or floor > highest:
            return None
        sd = np.log(quote["fair_high"] / quote["fair_low"]) / (2 * stats.norm.ppf((1 + _COVERAGE) / 2))
        cost = float(piece["cost"]) if is_known(piece["cost"]) else 0.0
        net = _net_of(self.policy.terms, cost, max(floor, 0.01), highest)
        return best_ask(self.hazard, fair, net, sd=float(sd), units=min(int(on_hand), 50), lowest=floor,
                        highest=highest, holding_pct_year=self.holding_pct_year)

    def expected_days(self, price: float, fair: float) -> float:
        """Days within which half of such pieces sell at `price`, LONGEST_DAYS at most."""
        return min(float(self.hazard.median_days(np.log(price / fair))), LONGEST_DAYS)


def _net_of(terms: SellingTerms, cost: float, low: float, high: float) -> Callable[[np.ndarray], np.ndarray]:
    """Money a set leaves, before its cost, by ask."""
    prices = np.linspace(low, high, _POINTS)
    nets = [float(net_proceeds(round(float(price), 2), round(cost, 2), terms).net) for price in prices]
    return lambda asks: np.interp(asks, prices, nets)
