"""The price plan of the whole stock: what to ask for each piece, by the owner's policy and the shop's own
sales.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from pricing.decisions.earning_asks import LONGEST_DAYS, MOST_EARNED, EarningAsks
from pricing.decisions.listing_history import listing_history, listing_spells
from pricing.decisions.matched_sets import MatchedStock, match_stock
from pricing.decisions.net_proceeds import ZERO, SellingTerms
from pricing.decisions.past_asks import past_asks
from pricing.decisions.price_policy import (
    HOLD,
    Evidence,
    PricePolicy,
    age_in_words,
    decide_list_price,
    floor_of,
    is_known,
)
from pricing.decisions.set_holds import set_holds
from pricing.decisions.shop_habits import sets_on_hand, usual_channel, usual_postage
from pricing.decisions.time_to_sale import unsold_suggestions

if TYPE_CHECKING:
    import pandas as pd


def plan_list_prices(model: Any, stock: pd.DataFrame, shop: Any) -> pd.DataFrame:
    """List price, floor, action and reason for every stock row, same index, in stock order.

    `model` is a fitted PriceModel, `stock` a clean Stock table, `shop` the Shop whose Settings hold the
    policy and whose Sales tell what is left of each sku. Columns: `sku`, `type`, `piece` (the description
    in words), `on_hand` (sets), `cost` and `ask` (a set, the shop's currency), `fair_price`, `low`, `high`,
    `n_sales`, `basis`, `list_price`, `floor`, `leaves` (of a sale at the list price, the piece's cost aside), `margin`
    (less the cost), `margin_pct` (of the net price), `return_pct` (of the cost), `difference` (list price less ask,
    times sets on hand), `action` (one of ACTIONS), `reason`, `days_listed`, `unsold_ask`, `unsold_days`, `days_to_sale`
    (as in `listing_history`), `cuts`, `withdrawn_ask` (as in `past_asks`), `asks_change_pct` (what sold and unsold asks
    suggest of the fair price, as in `unsold_suggestions`; expected days and the ask that earns most follow it),
    `sales_rows` (those that weigh most in the fair price), `row` (of the Stock sheet), `expected_days` (within which
    half of such pieces sell at the list price, three years at most; blank without enough listings). List prices aim at
    what earns most, or by Settings at the fair price; without enough listings at the fair price and the mark-up
    Settings state for that. A single that `set_holds` would keep for a matched set says so, its list price that of
    the single.
    `attrs["unsold_asks"]` says in words what the listings teach, or why nothing; `attrs["matched"]` holds the sets
    the holds go by, None where no plate current was read.
    """
    import pandas as pd

    policy = policy_of(shop)
    left = sets_on_hand(stock, shop.sales)
    estimate = model.estimate(stock) if len(stock) else pd.DataFrame(columns=list(_ESTIMATED))
    by_type = shop.sales.groupby("canonical_type")["sold_on"]
    counts, last_sold = by_type.size(), by_type.max()
    heaviest = model.heaviest_sales(stock)
    spells = listing_spells(stock, shop, model.as_of)
    listed = listing_history(stock, shop, model.as_of, spells)
    suggested = unsold_suggestions(model, stock, shop, spells=spells)
    listed = listed.join(suggested.by_piece)
    listed = listed.join(past_asks(stock, getattr(shop, "asks", None), model.as_of))
    earning = None if suggested.evidence is None else EarningAsks(
        suggested.evidence.hazard, policy, shop.settings.holding_cost_pct_year)
    matched = _matched(shop, model)
    holds = {} if matched is None else set_holds(matched, shop)

    rows = []
    for piece, quote, on_hand, alike, behind, seen in zip(
        stock.to_dict("records"), estimate.to_dict("records"), left, _alike_on_hand(stock, left), heaviest,
        listed.to_dict("records"), strict=True,
    ):
        canonical = piece["canonical_type"]
        evidence = Evidence(
            quote["fair_price"],
            quote["low"],
            quote["high"],
            quote["fair_low"],
            quote["fair_high"],
            int(counts.get(canonical, 0)),
            bool(piece.get("type_known", True)),
            age_in_words(last_sold.get(canonical), model.as_of),
        )
        given_asks = _given_asks(quote, seen)
        if earning is None:
            evidence = _with_markup(evidence, shop.settings.markup_without_listings_pct)
        elif shop.settings.list_price_aim == MOST_EARNED:
            evidence = _aiming_at_most(evidence, earning, piece, given_asks, alike if on_hand > 0 else 0)
        decision = decide_list_price(policy, evidence, ask=piece["ask"], cost=piece["cost"], on_hand=on_hand)
        price, margin = _float(decision.list_price), _float(decision.margin)
        held = holds.get(piece["sku"], "") if decision.action != "sold out" else ""
        change = price - piece["ask"] if price is not None and is_known(piece["ask"]) else None
        rows.append(
            {
                "sku": piece["sku"],
                "type": piece["type"],
                "piece": piece_in_words(piece, quote.get("attributed", "")),
                "on_hand": on_hand,
                "cost": piece["cost"],
                "ask": piece["ask"],
                **{name: quote[name] for name in _ESTIMATED},
                "basis": "; ".join(filter(None, (quote["basis"], piece.get("reading_basis")))),
                "list_price": price,
                "floor": _float(decision.floor),
                "leaves": _float(decision.leaves),
                "margin": margin,
                "margin_pct": decision.margin_pct,
                "return_pct": 100 * margin / piece["cost"] if margin is not None and piece["cost"] > 0 else None,
                "difference": None if change is None else round(change * on_hand, 2),
                "expected_days": None if earning is None or price is None
                else earning.expected_days(price, given_asks["fair_price"]),
                "action": HOLD if held and decision.action != "look" else decision.action,
                "reason": "; ".join(filter(None, (held, _with_listing(decision, seen)))),
                **{name: seen[name] for name in _LISTED},
                "sales_rows": ", ".join(map(str, behind)),
                "row": piece.get("row"),
            }
        )
    plan = pd.DataFrame(rows, index=stock.index, columns=list(PLAN_COLUMNS))
    plan = plan.astype({name: float for name in _NUMBERS})
    plan.attrs["unsold_asks"] = suggested.words if earning is not None else (
        f"{suggested.words} {_aim_in_words(shop.settings.markup_without_listings_pct)}")
    plan.attrs["matched"] = matched
    return plan


def _matched(shop: Any, model: Any) -> MatchedStock | None:
    """The sets of the shop's measured tubes; None where it reads no plate current."""
    readings = getattr(shop, "readings", None)
    if readings is None or "test" not in readings or not (readings["test"] == "plate current").any():
        return None
    return match_stock(shop, model)


def _alike_on_hand(stock: pd.DataFrame, left: list[int]) -> list[int]:
    """Sets on hand of all rows that describe the same piece: buyers take one for another, so that they share one
    demand."""
    import pandas as pd

    sets = pd.Series(left, index=stock.index, dtype=float)
    keys = [stock[name] for name in _SAME]
    return sets.groupby(keys, dropna=False).transform("sum").astype(int).tolist() if len(stock) else []


def _with_markup(evidence: Evidence, markup_pct: float) -> Evidence:
    """The evidence aiming so far above the fair price as the owner's Settings say where listings tell nothing."""
    if not markup_pct or not is_known(evidence.fair):
        return evidence
    words = f"{markup_pct:g} % on top by Settings, as too few listings tell how soon pieces sell"
    return replace(evidence, aim=evidence.fair * (1 + markup_pct / 100), aim_words=words)


def _aim_in_words(markup_pct: float) -> str:
    aim = f"{markup_pct:g} % above the fair price" if markup_pct else "at the fair price"
    return f"List prices then aim {aim} (mark-up without listings, in Settings)."


def _given_asks(quote: Any, seen: Any) -> dict[str, float]:
    """Fair price and its range as sold and unsold asks suggest it; the model's own where they say nothing."""
    if is_known(seen["fair_given_asks"]):
        return {"fair_price": seen["fair_given_asks"], "fair_low": seen["given_asks_low"],
                "fair_high": seen["given_asks_high"]}
    return {name: quote[name] for name in ("fair_price", "fair_low", "fair_high")}


def _aiming_at_most(evidence: Evidence, earning: EarningAsks, piece: Any, quote: Any, on_hand: int) -> Evidence:
    """The evidence with its aim at the ask that earns most, where there is one."""
    cost = piece["cost"] if is_known(piece["cost"]) else 0
    floor = floor_of(earning.policy, cost)
    best = None if floor is None else earning.ask_for(piece, quote, on_hand, float(floor))
    if best is None:
        return evidence
    on_hand_words = f" with {on_hand:,} on hand" if on_hand > 1 else ""
    words = (f"about {best.ask:,.2f} earns most{on_hand_words}, half of such pieces selling there within "
             f"{min(best.days, LONGEST_DAYS):,.0f} days")
    return replace(evidence, aim=best.ask, aim_words=words)


def _with_listing(decision: Any, seen: dict[str, Any]) -> str:
    """The reason, with what the listings strongly say of a piece on hand."""
    said = [] if decision.action == "sold out" else [seen["listing_words"], seen["asks_words"]]
    return "; ".join([decision.reason, *filter(None, said)])


_LISTED = ("days_listed", "unsold_ask", "unsold_days", "days_to_sale", "cuts", "withdrawn_ask", "asks_change_pct")
_SAME = ("canonical_type", "maker", "brand", "era", "variant", "grade", "set_size")
_ESTIMATED = ("fair_price", "low", "high", "n_sales", "basis")
_NUMBERS = (
    "cost",
    "ask",
    "fair_price",
    "low",
    "high",
    "n_sales",
    "list_price",
    "floor",
    "leaves",
    "margin",
    "margin_pct",
    "return_pct",
    "difference",
    "expected_days",
    *_LISTED,
)
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
    "leaves",
    "margin",
    "margin_pct",
    "return_pct",
    "difference",
    "expected_days",
    "action",
    "reason",
    *_LISTED,
    "sales_rows",
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


def piece_in_words(piece: Any, attributed: str = "") -> str:
    """Maker, era, construction, grade, reading and set in one line, unknowns left out; Stock columns of one
    row. `attributed`: what the price model says of a maker that is not stated.
    """
    words = [
        piece[name] for name in ("maker", "era", "variant") if piece.get(name) not in (None, "", "unknown")
    ]
    brand = piece.get("brand")
    if brand not in (None, "", "unknown", piece.get("maker")):
        words.append(f"printed {brand}")
    if attributed:
        words.append(attributed.split(";")[0])
    grade = piece.get("grade")
    words.append("grade unknown" if grade in (None, "", "unknown") else grade)
    if is_known(piece.get("reading_pct")):
        words.append(f"{piece['reading_pct']:.0f} %")
    if is_known(piece.get("balance_pct")):
        words.append(f"weaker section at {piece['balance_pct']:.0f} % of the stronger")
    size = int(piece.get("set_size") or 1)
    if size > 1:
        words.append({2: "pair", 4: "quad"}.get(size, f"set of {size}"))
    return ", ".join(map(str, words))


def _decimal(value: Any) -> Decimal:
    return Decimal(str(value))


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)
