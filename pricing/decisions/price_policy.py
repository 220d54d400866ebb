"""The owner's price policy, and what it decides for one set: list price, floor, action and its reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import Any

from pricing.decisions.net_proceeds import (
    CENT,
    ZERO,
    SellingTerms,
    floor_price,
    money,
    net_proceeds,
    price_with_ending,
)
from pricing.problems import counted

HOLD = "hold for a set"
ACTIONS = ("raise", "lower", "keep", "look", "list", HOLD, "sold out")


@dataclass(frozen=True)
class PricePolicy:
    """The owner's policy from Settings. `keep_within_pct`, `furthest_ending_pct` (no price goes so far from where it
    aims for its ending's sake) and the `look_` limits are common practice, no source.
    """

    terms: SellingTerms
    endings: Sequence[Any] = ()
    minimum_margin_pct: Decimal = ZERO
    lowest_markup: Decimal = ZERO
    highest_markup: Decimal | None = None
    largest_raise_pct: Decimal | None = None
    largest_cut_pct: Decimal | None = None
    keep_within_pct: float = 10.0
    furthest_ending_pct: Decimal = Decimal(25)
    look_range_ratio: float = 4.0
    look_ask_ratio: float = 3.0
    carried_by_sales: float = 3.0


@dataclass(frozen=True)
class ListPrice:
    """Decision for one stock row. `leaves`: what a sale at the list price leaves, the piece's cost aside as it is
    spent; `margin`: that less the cost. None where nothing can be computed.
    """

    list_price: Decimal | None
    floor: Decimal | None
    margin: Decimal | None
    margin_pct: float | None
    action: str
    reason: str
    leaves: Decimal | None = None


@dataclass(frozen=True)
class Evidence:
    """What the sales say of one set: fair price, range of one sale, range of the fair price itself.

    `type_sales` counts usable sales of the same pricing type; `last_sale` says in words how old the last
    one is. `aim`: where the list price goes, the fair price where None, and `aim_words` why.
    """

    fair: float
    low: float
    high: float
    fair_low: float
    fair_high: float
    type_sales: int = 1
    type_known: bool = True
    last_sale: str = ""
    aim: float | None = None
    aim_words: str = ""

    @property
    def words(self) -> str:
        """Such as: similar pieces sell around 26.00 (20.00-34.00; 14 sales of the type, last 2 weeks ago)."""
        behind = ", ".join(filter(None, (f"{counted(self.type_sales, 'sale')} of the type", self.last_sale)))
        fair, low, high = map(_amount, (self.fair, self.low, self.high))
        said = f"similar pieces sell around {fair} ({low}-{high}; {behind})"
        return f"{said}; {self.aim_words}" if self.aim_words else said


def decide_list_price(
    policy: PricePolicy, evidence: Evidence, *, ask: float | None, cost: float | None, on_hand: int
) -> ListPrice:
    """List price, floor, action and its reason for one set.

    The ask is kept while it stands within `keep_within_pct` of the fair price or inside the fair price's
    own range, and not below the floor: what the sales cannot tell apart is no ground for a change.
    Otherwise the list price is the ending nearest to the fair price, moved no further from the ask than the
    largest raise or cut in one go, and never below the floor. "look" means that a person should decide. What the
    piece cost is spent: it counts only in the owner's own bounds (floor, mark-ups) and in a tax on the margin.
    """
    ask = money(ask) if is_known(ask) and ask > 0 else None
    cost = Decimal(str(cost)) if is_known(cost) and cost >= 0 else None
    floor = floor_of(policy, cost or ZERO)
    if on_hand <= 0:
        return ListPrice(None, floor, None, None, "sold out", "none left: kept as history")
    if not is_known(evidence.fair) or evidence.fair <= 0:
        return ListPrice(None, floor, None, None, "look", "no price could be estimated for this piece")
    if floor is None:
        return ListPrice(
            None, None, None, None, "look", "fees and margin in Settings leave no price that pays"
        )

    price, limits = _target(policy, evidence, ask, cost, floor)
    asks = f"asks {_amount(ask)}" if ask is not None else "no ask yet"
    doubts = _doubts(policy, evidence, ask, cost, floor)
    if doubts:
        action, limits = "look", doubts
    elif ask is None:
        action = "list"
    elif ask >= floor and _is_near(policy, evidence, ask):
        action, price, limits = "keep", ask, []
    elif price == ask:
        action = "keep"
    else:
        action = "raise" if price > ask else "lower"
    bill = net_proceeds(price, cost or ZERO, policy.terms)
    return ListPrice(
        price,
        floor,
        None if cost is None else bill.contribution,
        None if cost is None else bill.margin_pct,
        action,
        "; ".join([asks, evidence.words, *limits]),
        bill.net,
    )


def floor_of(policy: PricePolicy, cost: Any) -> Decimal | None:
    """Lowest price by minimum margin and lowest mark-up on a cost; None where no price pays."""
    cost = Decimal(str(cost))
    floor = floor_price(cost, policy.terms, minimum_margin_pct=policy.minimum_margin_pct)
    return None if floor is None else max(floor, (cost * policy.lowest_markup).quantize(CENT, ROUND_CEILING))


def _target(
    policy: PricePolicy, evidence: Evidence, ask: Decimal | None, cost: Decimal | None, floor: Decimal
) -> tuple[Decimal, list[str]]:
    """The list price the policy leads to, and which limits held it, in words."""
    target, limits = Decimal(str(round(evidence.aim or evidence.fair, 6))), []
    if cost and policy.highest_markup and evidence.type_sales < policy.carried_by_sales:
        highest = cost * policy.highest_markup
        if target > highest:
            target = highest
            limits.append(f"held to {float(policy.highest_markup):g} times its cost, as few sales carry more")
    if (
        ask is not None
        and policy.largest_raise_pct is not None
        and target > ask * (1 + policy.largest_raise_pct / 100)
    ):
        target = ask * (1 + policy.largest_raise_pct / 100)
        limits.append(f"raised by {float(policy.largest_raise_pct):g} % at most in one go")
    if (
        ask is not None
        and policy.largest_cut_pct is not None
        and target < ask * (1 - policy.largest_cut_pct / 100)
    ):
        target = ask * (1 - policy.largest_cut_pct / 100)
        limits.append(f"cut by {float(policy.largest_cut_pct):g} % at most in one go")
    if target < floor:
        target, limits = floor, [f"held at its floor of {_amount(floor)}"]
    price = price_with_ending(target, policy.endings, at_least=floor)
    if abs(price - target) > target * policy.furthest_ending_pct / 100:
        return max(money(target), floor), [*limits, f"no price ending of Settings lies near {_amount(target)}"]
    return price, limits


def _is_near(policy: PricePolicy, evidence: Evidence, ask: Decimal) -> bool:
    band = policy.keep_within_pct / 100
    if evidence.aim is not None:
        return evidence.aim * (1 - band) <= float(ask) <= evidence.aim * (1 + band)
    low = min(evidence.fair * (1 - band), evidence.fair_low)
    high = max(evidence.fair * (1 + band), evidence.fair_high)
    return low <= float(ask) <= high


def _doubts(
    policy: PricePolicy, evidence: Evidence, ask: Decimal | None, cost: Decimal | None, floor: Decimal
) -> list[str]:
    """Why a person should decide, in words; empty where nothing is in doubt."""
    doubts = []
    if not evidence.type_known and evidence.type_sales < policy.carried_by_sales:
        doubts.append("the register does not know this type and the shop has hardly sold it")
    elif evidence.type_sales == 0:
        doubts.append("no sale of this type is behind the estimate")
    spread = evidence.high / evidence.low
    if spread > policy.look_range_ratio:
        doubts.append(f"the range is wide: its high end is {spread:.1f} times its low end")
    if cost is not None and float(cost) > evidence.fair:
        doubts.append(f"it cost {_amount(cost)}, more than similar pieces bring; {_spent(policy, evidence, cost)}")
    elif float(floor) > evidence.fair * (1 + policy.keep_within_pct / 100):
        doubts.append(f"its floor of {_amount(floor)} is above what similar pieces bring; "
                      f"{_spent(policy, evidence, cost)}")
    if ask is not None:
        times = float(ask) / evidence.fair
        if not 1 / policy.look_ask_ratio <= times <= policy.look_ask_ratio:
            size = f"{max(times, 1 / times):.1f} times {'above' if times > 1 else 'below'}"
            doubts.append(f"the ask is {size} the estimate: check description, set size and ask")
    return doubts


def _spent(policy: PricePolicy, evidence: Evidence, cost: Decimal | None) -> str:
    """What is at stake where the cost is not earned back."""
    left = net_proceeds(money(evidence.fair), cost or ZERO, policy.terms).net
    return f"what it cost is spent, a sale at {_amount(evidence.fair)} would leave {_amount(left)}"


def _amount(value: Any) -> str:
    return f"{money(value):,.2f}"


def is_known(value: Any) -> bool:
    """Whether a number or text is stated: neither None nor NaN."""
    return value is not None and value == value


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
            return f"last {counted(count, unit)} ago"
    return ""
