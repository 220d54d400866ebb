"""What to ask for each piece in stock: list price, floor, action and its reason, by the owner's policy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING, Any

from pricing.decisions.net_proceeds import (
    CENT,
    ZERO,
    SellingTerms,
    floor_price,
    money,
    net_proceeds,
    price_with_ending,
)
from pricing.decisions.shop_habits import sets_on_hand, usual_channel, usual_postage

if TYPE_CHECKING:
    import pandas as pd

ACTIONS = ("raise", "lower", "keep", "look", "list", "sold out")


@dataclass(frozen=True)
class PricePolicy:
    """The owner's policy from Settings. `keep_within_pct` and the `look_` limits are common practice, no
    source.
    """

    terms: SellingTerms
    endings: Sequence[Any] = ()
    minimum_margin_pct: Decimal = ZERO
    lowest_markup: Decimal = ZERO
    highest_markup: Decimal | None = None
    largest_raise_pct: Decimal | None = None
    largest_cut_pct: Decimal | None = None
    keep_within_pct: float = 10.0
    look_range_ratio: float = 5.0
    look_ask_ratio: float = 3.0
    look_min_sales: float = 1.0
    carried_by_sales: float = 3.0


@dataclass(frozen=True)
class ListPrice:
    """Decision for one stock row. `list_price`, `floor` and `margin` are None where nothing can be
    computed.
    """

    list_price: Decimal | None
    floor: Decimal | None
    margin: Decimal | None
    margin_pct: float | None
    action: str
    reason: str


@dataclass(frozen=True)
class Evidence:
    """What the model says of one set: fair price, range of one sale, range of the fair price itself, sales
    behind it.

    `type_sales` counts usable sales of the same pricing type; `last_sale` says in words how old the last
    one is.
    """

    fair: float
    low: float
    high: float
    fair_low: float
    fair_high: float
    n_sales: float
    type_sales: int = 1
    type_known: bool = True
    last_sale: str = ""

    @property
    def words(self) -> str:
        """For example: similar pieces sell around 26.00 (20.00-34.00; 14 sales of the type, last 2 months ago)."""
        behind = ", ".join(filter(None, (_count(self.type_sales), self.last_sale)))
        fair, low, high = map(_amount, (self.fair, self.low, self.high))
        return f"similar pieces sell around {fair} ({low}-{high}; {behind})"


def decide_list_price(
    policy: PricePolicy, evidence: Evidence, *, ask: float | None, cost: float | None, on_hand: int
) -> ListPrice:
    """List price, floor, action and its reason for one set.

    The ask is kept while it stands within `keep_within_pct` of the fair price or inside the fair price's
    own range, and not below the floor: what the sales cannot tell apart is no ground for a change.
    Otherwise the list price is the ending nearest to the fair price, moved no further from the ask than the
    largest raise or cut in one go, and never below the floor. "look" means that a person should decide.
    """
    ask = money(ask) if _known(ask) and ask > 0 else None
    cost = Decimal(str(cost)) if _known(cost) and cost >= 0 else None
    floor = _floor(policy, cost or ZERO)
    if on_hand <= 0:
        return ListPrice(None, floor, None, None, "sold out", "none left: kept as history")
    if not _known(evidence.fair) or evidence.fair <= 0:
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
    elif price == ask or (ask >= floor and _is_near(policy, evidence, ask)):
        action, price, limits = "keep", ask, []
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
    )


def _floor(policy: PricePolicy, cost: Decimal) -> Decimal | None:
    floor = floor_price(cost, policy.terms, minimum_margin_pct=policy.minimum_margin_pct)
    return None if floor is None else max(floor, (cost * policy.lowest_markup).quantize(CENT, ROUND_CEILING))


def _target(
    policy: PricePolicy, evidence: Evidence, ask: Decimal | None, cost: Decimal | None, floor: Decimal
) -> tuple[Decimal, list[str]]:
    """The list price the policy leads to, and which limits held it, in words."""
    target, limits = Decimal(str(round(evidence.fair, 6))), []
    if cost and policy.highest_markup and evidence.n_sales < policy.carried_by_sales:
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
    return price_with_ending(target, policy.endings, at_least=floor), limits


def _is_near(policy: PricePolicy, evidence: Evidence, ask: Decimal) -> bool:
    band = policy.keep_within_pct / 100
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
    elif evidence.n_sales < policy.look_min_sales:
        doubts.append("hardly any sale is behind the estimate")
    spread = evidence.high / evidence.low
    if spread > policy.look_range_ratio:
        doubts.append(f"the range is wide: its high end is {spread:.1f} times its low end")
    if cost is not None and float(cost) > evidence.fair:
        doubts.append(f"it cost {_amount(cost)}, more than similar pieces bring")
    elif float(floor) > evidence.fair * (1 + policy.keep_within_pct / 100):
        doubts.append(f"its floor of {_amount(floor)} is above what similar pieces bring")
    if ask is not None:
        times = float(ask) / evidence.fair
        if not 1 / policy.look_ask_ratio <= times <= policy.look_ask_ratio:
            size = f"{max(times, 1 / times):.1f} times {'above' if times > 1 else 'below'}"
            doubts.append(f"the ask is {size} the estimate: check description, set size and ask")
    return doubts


def _amount(value: Any) -> str:
    return f"{money(value):,.2f}"


def _known(value: Any) -> bool:
    return value is not None and value == value


def _count(type_sales: int) -> str:
    """For example "14 sales of the type"."""
    return f"{type_sales:,} {'sale' if type_sales == 1 else 'sales'} of the type"


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

    `model` is a fitted PriceModel, `stock` a clean Stock table, `shop` the Shop whose Settings hold the
    policy and whose Sales tell what is left of each sku. Columns: `sku`, `type`, `piece` (the description
    in words), `on_hand` (sets), `cost` and `ask` (a set, the shop's currency), `fair_price`, `low`, `high`,
    `n_sales`, `basis`, `list_price`, `floor`, `margin`, `margin_pct` (of the net price), `difference` (list
    price less ask, times sets on hand), `action` (one of ACTIONS), `reason`, `row` (of the Stock sheet).
    """
    import pandas as pd

    policy = policy_of(shop)
    left = sets_on_hand(stock, shop.sales)
    estimate = model.estimate(stock) if len(stock) else pd.DataFrame(columns=list(_ESTIMATED))
    by_type = shop.sales.groupby("canonical_type")["sold_on"]
    counts, last_sold = by_type.size(), by_type.max()

    rows = []
    for piece, quote, on_hand in zip(
        stock.to_dict("records"), estimate.to_dict("records"), left, strict=True
    ):
        canonical = piece["canonical_type"]
        evidence = Evidence(
            quote["fair_price"],
            quote["low"],
            quote["high"],
            quote["fair_low"],
            quote["fair_high"],
            quote["n_sales"],
            int(counts.get(canonical, 0)),
            bool(piece.get("type_known", True)),
            age_in_words(last_sold.get(canonical), model.as_of),
        )
        decision = decide_list_price(policy, evidence, ask=piece["ask"], cost=piece["cost"], on_hand=on_hand)
        price = _float(decision.list_price)
        change = price - piece["ask"] if price is not None and _known(piece["ask"]) else None
        rows.append(
            {
                "sku": piece["sku"],
                "type": piece["type"],
                "piece": piece_in_words(piece),
                "on_hand": on_hand,
                "cost": piece["cost"],
                "ask": piece["ask"],
                **{name: quote[name] for name in _ESTIMATED},
                "list_price": price,
                "floor": _float(decision.floor),
                "margin": _float(decision.margin),
                "margin_pct": decision.margin_pct,
                "difference": None if change is None else round(change * on_hand, 2),
                "action": decision.action,
                "reason": decision.reason,
                "row": piece.get("row"),
            }
        )
    plan = pd.DataFrame(rows, index=stock.index, columns=list(PLAN_COLUMNS))
    numbers = [
        "cost",
        "ask",
        "fair_price",
        "low",
        "high",
        "n_sales",
        "list_price",
        "floor",
        "margin",
        "margin_pct",
        "difference",
    ]
    return plan.astype({name: float for name in numbers})


_ESTIMATED = ("fair_price", "low", "high", "n_sales", "basis")
PLAN_COLUMNS = (
    "sku",
    "type",
    "piece",
    "on_hand",
    "cost",
    "ask",
    *_ESTIMATED,
    "list_price",
    "floor",
    "margin",
    "margin_pct",
    "difference",
    "action",
    "reason",
    "row",
)


def policy_of(shop: Any) -> PricePolicy:
    """The price policy of a shop: its Settings, through its most used channel.

    Postage charged on top is taken to cover itself, as one parcel often holds several pieces; where prices
    include postage, the channel's usual postage is paid out of the price.
    """
    settings = shop.settings
    channel = usual_channel(shop.sales)
    fee_pct, fee_fixed = settings.fee(channel)
    postage = usual_postage(shop.sales, channel) if settings.postage_included(channel) else ZERO
    terms = SellingTerms(
        fee_pct=_decimal(fee_pct),
        fee_fixed=_decimal(fee_fixed),
        payment_pct=_decimal(settings.payment_fee_pct),
        payment_fixed=_decimal(settings.payment_fee_fixed),
        packing_cost=_decimal(settings.packing_cost),
        postage_paid=postage,
        return_pct=_decimal(settings.return_rate_pct),
        tax_scheme=settings.tax_scheme,
        tax_pct=_decimal(settings.tax_rate_pct),
        price_includes_tax=settings.prices_include_tax,
    )
    return PricePolicy(
        terms,
        settings.price_endings,
        _decimal(settings.minimum_margin_pct),
        _decimal(settings.lowest_markup),
        _decimal(settings.highest_markup),
        _decimal(settings.largest_raise_pct),
        _decimal(settings.largest_cut_pct),
    )


def piece_in_words(piece: Any) -> str:
    """Maker, era, construction, grade, reading and set in one line, unknowns left out; Stock columns of one
    row.
    """
    words = [
        piece[name] for name in ("maker", "era", "variant") if piece.get(name) not in (None, "", "unknown")
    ]
    brand = piece.get("brand")
    if brand not in (None, "", "unknown", piece.get("maker")):
        words.append(f"printed {brand}")
    grade = piece.get("grade")
    words.append("grade unknown" if grade in (None, "", "unknown") else grade)
    if _known(piece.get("reading_pct")):
        words.append(f"{piece['reading_pct']:.0f} %")
    size = int(piece.get("set_size") or 1)
    if size > 1:
        words.append({2: "pair", 4: "quad"}.get(size, f"set of {size}"))
    return ", ".join(map(str, words))


def _decimal(value: Any) -> Decimal:
    return Decimal(str(value))


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)
