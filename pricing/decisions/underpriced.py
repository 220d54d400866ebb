"""Pieces asked at less than they are worth to this shop: offers to buy, and the shop's own asks that are low.

A find is a piece whose fair price, as it truly is, pays at least the margin the owner requires on top of what it costs.
What our fair price and the seller's ask say of it together is `seller_asks`; what is marked keeps the expected share of
false finds under the owner's limit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, is_dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from pricing.decisions.for_sale import DESCRIPTION, for_sale
from pricing.decisions.list_price import policy_of
from pricing.decisions.net_proceeds import floor_price, net_proceeds
from pricing.decisions.replaced_types import replaced_types
from pricing.decisions.seller_asks import GRID, SellerAsks, chance_below, learn_asks, marked
from pricing.problems import counted

COLUMNS = (
    "source", "code", "where", "type", "piece", "sets", "cost", "fair_price", "fair_low", "fair_high", "worth",
    "needed", "gain", "chance", "marked", "marked_as", "replaces", "replaces_fair", "replaces_chance", "n_sales",
    "why", "doubts", "sheet", "row",
)
OFFER, OWN = "offer", "own stock"
FEWEST_SALES = 200  # of a history that marks anything (common practice, no source)
# A piece of one's own counts as asked too low where its fair price is this much above the ask (common practice).
OWN_ASK_LOW_PCT = 10.0
_THIN_SALES = 1.0
_COVERAGE = 0.80


@dataclass(frozen=True)
class Underpriced:
    """`table`: COLUMNS, a row an offer and a piece of one's own on hand with an ask, the likeliest find first in each;
    `words`; `most_false_pct`: the limit that was kept; `expected_false_pct`: by source, what the marked are expected to
    hold of false finds (NaN where nothing is marked).

    Money in the shop's currency, a set: `cost` what it costs (an offer's ask with its share of postage; one's own ask),
    `fair_price` what its like sells at, `worth` the same after the ask was heard, `needed` the lowest price that pays
    the required margin, `gain` expected proceeds less cost, all sets (of one's own: worth less ask). `chance` is the
    probability that the fair price is at least `needed`. `replaces`: the dearest type it may stand in for straight, and
    `marked_as` that type where only its price pays, by the same limit.
    """

    table: pd.DataFrame
    words: list[str]
    most_false_pct: float
    expected_false_pct: dict[str, float]


def find_underpriced(model: Any, offers: pd.DataFrame | None, shop: Any, *, shelf: pd.DataFrame | None = None
                     ) -> Underpriced:
    """Every offer and every piece on hand, ranked by the probability that it is a find, those marked that keep the
    expected share of false finds under the shop's limit (Settings, "most false finds").

    `offers`: a clean Offers table in place of the shop's own, None for that. Expected gain is by the owner's fees,
    required margin and sales-tax scheme. Under FEWEST_SALES sales nothing is marked, and the words say so. Offers
    without a usable ask have been reported by reading and are not listed.
    """
    shop = shop if offers is None else _with_offers(shop, offers)
    shelf = for_sale(model, shop) if shelf is None else shelf
    most_false = shop.settings.most_false_finds_pct / 100
    policy = policy_of(shop)
    parts, expected = [], {}
    own = shelf["own"].astype(bool)
    enough = model.n_sales >= FEWEST_SALES
    for source, pieces in ((OFFER, shelf[~own]), (OWN, shelf[own])):
        pieces = pieces.reset_index(drop=True)
        if pieces.empty:
            continue
        price = pieces["price"]
        needed = _needed(price, policy) if source == OFFER else price * (1 + OWN_ASK_LOW_PCT / 100)
        limit = most_false if enough else -1.0
        part, share = _ranked(model, pieces, needed.to_numpy(float), policy, source, limit, shop)
        parts.append(part)
        expected[source] = share
    table = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=list(COLUMNS))
    words = _words(table, expected, shop.settings, model.n_sales)
    return Underpriced(table[list(COLUMNS)], words, 100 * most_false, expected)


def _with_offers(shop: Any, offers: pd.DataFrame) -> Any:
    return replace(shop, offers=offers) if is_dataclass(shop) else SimpleNamespace(**{**vars(shop), "offers": offers})


def _needed(costs: pd.Series, policy: Any) -> pd.Series:
    """Lowest price that pays the required margin on each cost; infinite where none does."""
    found = [floor_price(round(float(cost), 2), policy.terms, minimum_margin_pct=policy.minimum_margin_pct)
             for cost in costs]
    return pd.Series([np.inf if one is None else float(one) for one in found], index=costs.index)


def _ranked(model: Any, pieces: pd.DataFrame, needed: np.ndarray, policy: Any, source: str, most_false: float, shop: Any
            ) -> tuple[pd.DataFrame, float]:
    """(table of one source, expected share of false finds among the marked)."""
    quote = model.estimate(pieces[list(DESCRIPTION)], coverage=_COVERAGE)
    fair, sd = quote["fair_price"].to_numpy(float), _sd(quote)
    gap = np.log(pieces["price"].to_numpy(float) / fair)
    asks = learn_asks(gap, sd)
    chance, worth = _after_the_ask(asks, gap, sd, pieces["price"].to_numpy(float), needed)
    mark = marked(chance, most_false)
    share = float(100 * (1 - chance[mark]).mean()) if mark.any() else float("nan")
    sets = pieces["sets"].to_numpy(float)
    if source == OFFER:
        gain = [float(net_proceeds(round(float(w), 2), round(float(c), 2), policy.terms).contribution) * n
                for w, c, n in zip(worth, pieces["price"], sets)]
    else:
        gain = (worth - pieces["price"].to_numpy(float)) * sets
    out = pieces.assign(
        source=source, cost=pieces["price"], fair_price=fair, fair_low=quote["fair_low"], fair_high=quote["fair_high"],
        worth=worth, needed=needed, gain=np.round(gain, 2), chance=chance, marked=mark, n_sales=quote["n_sales"])
    out = out.join(_against_replaced(model, pieces, needed, shop))
    as_other = marked(out["replaces_chance"].fillna(0.0).to_numpy(float), most_false) & ~mark
    out["marked_as"] = out["replaces"].where(as_other & (source == OFFER), "")
    attributed = quote["attributed"] if "attributed" in quote else pd.Series("", index=pieces.index)
    out["why"] = [_why(one, source, shop.settings.currency) for one in out.to_dict("records")]
    out["doubts"] = [_doubts(one, words) for one, words in zip(out.to_dict("records"), attributed)]
    return out.sort_values(["chance", "gain"], ascending=False, kind="stable"), share


def _sd(quote: pd.DataFrame) -> np.ndarray:
    """Standard deviation of the log fair price, from its range."""
    spread = np.log(quote["fair_high"] / quote["fair_low"]).to_numpy(float)
    return np.maximum(spread / (2 * stats.norm.ppf((1 + _COVERAGE) / 2)), 1e-3)


def _after_the_ask(asks: SellerAsks, gap: np.ndarray, sd: np.ndarray, ask: np.ndarray, needed: np.ndarray
                   ) -> tuple[np.ndarray, np.ndarray]:
    """(probability that the true fair price is at least `needed`, mean true fair price), given fair price and ask."""
    error = asks.posterior(gap, sd)
    with np.errstate(divide="ignore"):
        chance = chance_below(error, np.log(ask / needed))
    return chance, ask * (error * np.exp(-GRID)).sum(axis=1)


def _against_replaced(model: Any, pieces: pd.DataFrame, needed: np.ndarray, shop: Any) -> pd.DataFrame:
    """replaces, replaces_fair, replaces_chance: the dearest type each may stand in for straight, what that sells at in
    the piece's description, and the probability that this is at least `needed`; blank where there is none."""
    out = pd.DataFrame({"replaces": "", "replaces_fair": np.nan, "replaces_chance": np.nan}, index=pieces.index)
    known = replaced_types(sorted(set(pieces["canonical_type"])), set(shop.sales["canonical_type"]), shop.register)
    rows = [(at, name) for at, canonical in pieces["canonical_type"].items() for name in known.get(canonical, ())]
    if not rows:
        return out
    places, names = map(list, zip(*rows))
    described = pieces.loc[places].assign(type=names, designation=names, canonical_type=names).reset_index(drop=True)
    description = [name for name in DESCRIPTION if name not in ("family", "type_known")]
    quote = model.estimate(described[description], coverage=_COVERAGE)
    fair, sd, ask = quote["fair_price"].to_numpy(float), _sd(quote), described["price"].to_numpy(float)
    # What the seller asks says nothing of the other type's fair price: it is judged by its own sales alone.
    chance = stats.norm.cdf((np.log(fair) - np.log(needed[places])) / sd)
    best: dict[int, int] = {}
    for number, at in enumerate(places):
        if fair[number] > fair[best.get(at, number)] or at not in best:
            best[at] = number
    for at, number in best.items():
        if fair[number] > ask[number]:
            out.loc[at] = [names[number], fair[number], chance[number]]
    return out


def _why(one: Mapping[str, Any], source: str, currency: str) -> str:
    """Why it stands where it stands, in words."""
    chance = ("over 99 in 100" if one["chance"] > 0.99 else "under 1 in 100" if one["chance"] < 0.01
              else f"{100 * one['chance']:.0f} in 100")
    low, high = (f"{one[name]:,.2f}" for name in ("fair_low", "fair_high"))
    said = [f"costs {one['cost']:,.2f} {currency}" if source == OFFER else f"asked at {one['cost']:,.2f} {currency}",
            f"its like sells at {one['fair_price']:,.2f} ({low}-{high})"]
    if abs(one["worth"] / one["fair_price"] - 1) > 0.05:
        side = "less" if one["worth"] < one["fair_price"] else "more"
        said.append(f"the ask itself lets it be worth {side}, about {one['worth']:,.2f}")
    if source == OFFER:
        said.append(f"pays from {one['needed']:,.2f} on" if np.isfinite(one["needed"]) else "no price pays the margin")
        said.append(f"{chance} that it does")
    else:
        said.append(f"{chance} that it would bring at least {one['needed']:,.2f}")
    if one["replaces"]:
        said.append(f"may stand in for {one['replaces']}, whose like sells at {one['replaces_fair']:,.2f}")
    return "; ".join(said)


def _doubts(one: Mapping[str, Any], attributed: str) -> str:
    """What could be wrong with the find."""
    said = []
    if not one["type_known"]:
        said.append("the register does not know the type")
    if one["n_sales"] < _THIN_SALES:
        said.append("hardly a sale of its like: the price leans on kin")
    if one["maker"] == "unknown":
        said.append(attributed or "maker not stated")
    if not one["reading_pct"] == one["reading_pct"]:
        said.append("no reading")
    if one["grade"] in ("unknown", "pulled or untested", "for parts"):
        said.append("grade not stated" if one["grade"] == "unknown" else f"stated as {one['grade']}")
    if one["cost"] < 0.25 * one["fair_price"]:
        said.append("so cheap that the description may be wrong: ask the seller")
    return "; ".join(said)


def _words(table: pd.DataFrame, expected: dict[str, float], settings: Any, n_sales: int) -> list[str]:
    if table.empty:
        return ["There is no offer with a usable ask and no piece on hand with one, so there is nothing to compare."]
    limit = f"{settings.most_false_finds_pct:g}"
    if n_sales < FEWEST_SALES:
        return [f"Nothing is marked: {n_sales:,} sales are too few to tell a find from chance ({FEWEST_SALES} are "
                "needed)."]
    said = []
    for source, what, pays in ((OFFER, ("offer", "offers"), "to pay the margin you require"),
                               (OWN, ("piece on hand", "pieces on hand"),
                                f"to bring {OWN_ASK_LOW_PCT:g} % more than you ask")):
        part = table[table["source"] == source]
        if part.empty:
            continue
        mark = part[part["marked"]]
        head = f"{len(mark):,} of {counted(len(part), *what)} marked as likely {pays}"
        if len(mark):
            none = f"{expected[source]:.0f} in 100" if expected[source] >= 1 else "under 1 in 100"
            said.append(f"{head}: expected gain {mark['gain'].sum():,.2f} {settings.currency}; of those marked "
                        f"{none} are expected to be none (limit {limit}).")
        else:
            said.append(f"{head}: no list would keep false finds under {limit} in 100.")
        if len(other := part[part["marked_as"] != ""]):
            said[-1] += f" {len(other):,} more only at the price of the type they may stand in for."
    return said
