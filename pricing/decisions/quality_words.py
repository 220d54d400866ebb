"""A quality ranking in words: what it says, and what it cannot."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from pricing.problems import counted

if TYPE_CHECKING:
    from pricing.decisions.quality import QualityRanking

_LEANS_FROM = 60.0  # an item whose quality follows its own notes by less leans on its kin
_LIKELY = 0.5


def basis_words(items: pd.DataFrame) -> list[str]:
    """What each item's quality rests on."""
    out = []
    for item in items.to_dict("records"):
        parts = [f"{counted(item['notes'], 'note')} by {counted(item['listeners'], 'listener')}"]
        if item["own_share_pct"] < _LEANS_FROM:
            parts.append("leans on its maker and type")
        if not item["type_known"]:
            parts.append("the register does not know the type")
        if item["group"] > 0:
            parts.append("contrasts with the items above cannot be estimated")
        out.append("; ".join(parts))
    return out


def ranking_words(ranking: QualityRanking) -> list[str]:
    """The headline, then how to read the figures and what they cannot tell."""
    items = ranking.items
    compared = items[items["group"] == 0]
    return [
        *(_front_words(compared) if ranking.priced else [_best_words(compared)]),
        *_listener_words(ranking),
        *(_cost_words(ranking) if ranking.priced else []),
        *_limit_words(ranking, compared),
    ]


def _front_words(compared: pd.DataFrame) -> list[str]:
    front = compared[compared["on_front"]].sort_values("fair_price")
    likely = compared["front_chance"] >= _LIKELY
    names = "; ".join(front["item"])
    return [
        f"On the efficient front {'lies' if len(front) == 1 else 'lie'} {len(front)} of the {len(compared)} items: "
        "nothing else heard costs less and sounds as good. From cheap to dear: "
        f"{names}.",
        f"With quality and price as uncertain as they are, {counted(likely.sum(), 'item')} "
        f"{'is' if likely.sum() == 1 else 'are'} more likely than not on it; the columns “chance” say how likely. "
        "Items of different families do not replace one another: what to choose within a family is told by “front in "
        "family” and, where something of the family costs less and sounds better, by “instead”.",
    ]


def _best_words(compared: pd.DataFrame) -> str:
    best = compared.iloc[0]
    return (f"{len(compared)} items are compared; the highest quality is that of {best['item']}, {best['quality']:.1f} "
            f"({best['low']:.1f} to {best['high']:.1f}).")


def _listener_words(ranking: QualityRanking) -> list[str]:
    notes = int(ranking.items["notes"].sum())
    listeners, systems = ranking.listeners, ranking.systems
    out = (f"Quality comes from {counted(notes, 'note')}, the aspects weighed as in Settings ("
           f"{_weights(ranking.aspects)}), with each listener's strictness and each amplifier taken out. ")
    if len(listeners) > 1:
        kind, strict = listeners.iloc[0], listeners.iloc[-1]
        out += (f"For the same tube {kind['level']} scores {kind['effect'] - strict['effect']:.1f} above "
                f"{strict['level']}, so plain averages depend on who happened to listen. ")
    elif not len(systems):
        out += "There was one listener and one amplifier. "
    return [out + "An item heard a few times leans on its maker and type; the range says how sure its quality is "
                  "beside the average item (four times in five)."]


def _cost_words(ranking: QualityRanking) -> list[str]:
    below = int((ranking.items["cost_per_point"].isna() & (ranking.items["group"] == 0)).sum())
    words = (f"Cost per point counts the points above {ranking.base:.2f}: {ranking.base_words}. A scale of scores has "
             "no true zero, so another base gives other costs per point, and another order; quality, price and the "
             "front do not depend on it.")
    lowest = ranking.items[ranking.items["lowest_in_family"]].sort_values("family")
    by_family = [f"{one.family}: {one.item} at {one.cost_per_point:,.2f} ({100 * one.lowest_in_family_chance:.0f} %)"
                 for one in lowest.itertuples()]
    if below:
        words += f" {counted(below, 'item')} at or below the base {'has' if below == 1 else 'have'} none."
    out = [f"{words} Prices are fair prices of one tube, {ranking.grade}."]
    if by_family:
        out.insert(0, f"Lowest cost per quality point, by family, with the chance that it is: {'; '.join(by_family)}.")
    return out


def _limit_words(ranking: QualityRanking, compared: pd.DataFrame) -> list[str]:
    out = []
    apart = len(ranking.items) - len(compared)
    if apart:
        out.append(f"Contrasts cannot be estimated for {counted(apart, 'item')} at the end of the list: no listener "
                   "and system joins them to the others. Their quality is shown, their place among the others is "
                   "unknown.")
    if len(ranking.listeners) < 2:
        out.append("All notes are by one listener: this is one person's taste.")
    out.append("What this cannot say: listeners mostly knew what they heard and what it cost; a score belongs to these "
               "ears, amplifiers and pieces. A higher quality does not mean that a tube may be fitted: that is for the "
               "equipment maker, the ratings and a qualified technician.")
    return out


def _weights(aspects: pd.DataFrame) -> str:
    used = aspects[(aspects["weight"] > 0) & (aspects["notes"] > 0)]
    total = used["weight"].sum()
    return ", ".join(f"{name} {100 * weight / total:.0f} %" for name, weight in zip(used["aspect"], used["weight"]))
