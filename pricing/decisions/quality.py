"""Listening notes turned into one quality per item, and that set against what the item sells for."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats
from threadpoolctl import threadpool_limits

from pricing.decisions import efficient_front as front
from pricing.decisions.listening_scores import ITEM, Scores, comparable_groups, item_words, listening_scores
from pricing.decisions.quality_model import PRIOR_SPREAD, QualityModel, centred, fit_quality
from pricing.decisions.quality_prices import PRICE_COLUMNS, draw_prices, fair_prices, on_the_shelf, usual_grade
from pricing.decisions.quality_words import basis_words, ranking_words
from pricing.problems import Problem, problem, problems_frame

FEWEST_NOTES, FEWEST_ITEMS = 4, 2
COVERAGE = 0.80
DRAWS = 4_000
_OWN_BASE = ", for want of a 'quality base' in Settings"
_SEED = 20_260_101
ITEM_COLUMNS = (
    *ITEM, "family", "item", "notes", "listeners", "systems", "own_share_pct", "raw_mean", "quality", "quality_sd",
    "low", "high", "group", "basis",
)
COST_COLUMNS = (
    "cost_per_point", "cost_low", "cost_high", "on_front", "front_chance", "on_family_front", "family_front_chance",
    "lowest_in_family", "lowest_in_family_chance", "instead", "instead_chance",
)


@dataclass(frozen=True)
class QualityRanking:
    """What the listening notes say, the best item first.

    `items`: one row an item: canonical_type, maker, brand, era, variant, family, item (in words), notes, listeners,
    systems, own_share_pct (how far the quality follows the item's own notes), raw_mean, quality, quality_sd, low, high
    (80 % range, against the average item), group (0: compared; others: contrasts cannot be estimated), basis (words).
    With a price model also fair_price, fair_low, fair_high, n_sales (one tube in the grade `grade`), cost_per_point
    above `base` with its 80 % range (blank: at or below the base), on_front (none compared is both cheaper and
    better) and on_family_front (none of its family), each with the probability of it as `..._chance`; lowest_in_family
    and its chance (cost per point); instead (what in the family is cheaper and better) and its chance. With a shop
    on_hand (sets) and lowest_ask (a tube).
    `aspects`, `spreads` (standard deviation by source), `listeners`, `systems` (level, effect, sd, notes),
    `by_aspect` (every aspect's own quality, index as items), `problems`, `words` (what it says, and what it cannot).
    """

    items: pd.DataFrame
    aspects: pd.DataFrame
    problems: pd.DataFrame
    words: list[str]
    spreads: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=["source", "sd"]))
    listeners: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=["level", "effect", "sd", "notes"]))
    systems: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=["level", "effect", "sd", "notes"]))
    by_aspect: pd.DataFrame = field(default_factory=pd.DataFrame)
    base: float = float("nan")
    base_words: str = ""
    grade: str = ""
    model: QualityModel | None = None

    @property
    def priced(self) -> bool:
        """Whether prices stand beside the qualities."""
        return "fair_price" in self.items

    def quality_of(self, items: pd.DataFrame) -> pd.DataFrame:
        """quality and quality_sd of any items (clean: canonical_type, maker, era, variant, and brand if there), heard
        or not; those not heard lean on maker and type. The sd is of the whole, not of a contrast. NaN without a model.
        """
        if self.model is None:
            return pd.DataFrame({"quality": np.nan, "quality_sd": np.nan}, index=items.index)
        mean, covariance = self.model.mean_and_covariance(_as_heard(items))
        return pd.DataFrame({"quality": mean, "quality_sd": np.sqrt(np.diag(covariance))}, index=items.index)

    def quality_beside(self, items: pd.DataFrame, other: pd.DataFrame) -> pd.DataFrame:
        """difference and difference_sd: quality of each item less that of the one row of `other`, both as in
        `quality_of`. NaN without a model."""
        if self.model is None:
            return pd.DataFrame({"difference": np.nan, "difference_sd": np.nan}, index=items.index)
        mean, covariance = self.model.mean_and_covariance(
            pd.concat([_as_heard(other), _as_heard(items)], ignore_index=True))
        variance = np.diag(covariance)[1:] + covariance[0, 0] - 2 * covariance[0, 1:]
        return pd.DataFrame({"difference": mean[1:] - mean[0], "difference_sd": np.sqrt(np.maximum(variance, 0.0))},
                            index=items.index)


def _as_heard(items: pd.DataFrame) -> pd.DataFrame:
    """What the model goes by: ITEM columns, a brand only where the maker is not known."""
    brand = items["brand"] if "brand" in items else pd.Series("unknown", items.index)
    return items.assign(brand=brand.where(items["maker"] == "unknown", "unknown"))[list(ITEM)]


@threadpool_limits.wrap(limits=1)  # the same to the last digit wherever it is computed
def rank_quality(
    listening: pd.DataFrame,
    model: Any = None,
    shop: Any = None,
    *,
    base: float | None = None,
    grade: str | None = None,
    prior_spread: float | None = PRIOR_SPREAD,
) -> QualityRanking:
    """Quality of every item heard (type, maker, era, variant) by a mixed model, and cost per point of it.

    `listening`: a Listening table, raw or clean; `model`: a fitted price model, None for quality alone; `shop` gives
    Settings (quality weights, scales and base), register and what is on the shelf. `base`: the score above which points
    are counted, in place of the Setting; without either, the lowest mean of a type heard, as a scale of scores has no
    true zero. `grade`: of the prices, by default the shop's most sold. `prior_spread`: see `fit_quality`. Never raises
    on content: what cannot be used, or not be compared, stands in `problems`, and the rest goes on.
    """
    scores = listening_scores(listening, getattr(shop, "register", None) or getattr(model, "register", None),
                              getattr(shop, "settings", None) or getattr(model, "settings", None))
    notes, problems = scores.notes, list(scores.problems)
    items, codes = _items(notes)
    if len(notes) < FEWEST_NOTES or len(items) < FEWEST_ITEMS or np.ptp(notes["score"]) == 0:
        return _nothing(scores, items)
    notes = notes.reset_index(drop=True)
    fitted = fit_quality(notes, prior_spread)
    listener, system = (pd.factorize(notes[name])[0] for name in ("listener", "system"))
    items["group"] = comparable_groups(codes, listener, system)
    problems += _limits(notes, items, codes)
    mean, covariance = fitted.mean_and_covariance(items)
    compared = np.flatnonzero(items["group"] == 0)
    covariance = _against_average(covariance, compared)
    sd = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    z = stats.norm.ppf((1 + COVERAGE) / 2)
    items = items.assign(quality=mean, quality_sd=sd, low=mean - z * sd, high=mean + z * sd,
                         own_share_pct=100 * fitted.own_share(items, codes))
    items["basis"] = basis_words(items)
    by_aspect = _by_aspect(scores, notes, items, prior_spread)

    settings = getattr(shop, "settings", None) or getattr(model, "settings", None)
    base, base_words = _base(items, base, getattr(settings, "quality_base", None))
    columns = list(ITEM_COLUMNS)
    if model is not None:
        grade = grade or usual_grade(model)
        prices = fair_prices(model, items, grade)
        items = items.join(prices)
        items = items.join(_costs(items, model, covariance, compared, base, grade))
        columns += [*PRICE_COLUMNS, *COST_COLUMNS]
    if shop is not None:
        items = items.join(on_the_shelf(items, shop))
        columns += ["on_hand", "lowest_ask"]
    order = items.sort_values(["group", "quality"], ascending=[True, False], kind="stable").index
    ranking = QualityRanking(
        items.loc[order, columns].reset_index(drop=True), scores.aspects, problems_frame(problems), [],
        fitted.spreads(), _effects(fitted, notes, "listener"), _effects(fitted, notes, "system"),
        by_aspect.loc[order].reset_index(drop=True), base, base_words, grade or "", fitted,
    )
    ranking.words.extend(ranking_words(ranking))
    return ranking


def _items(notes: pd.DataFrame) -> tuple[pd.DataFrame, np.ndarray]:
    """(one row an item with its counts, item of each note)."""
    groups = notes.groupby(ITEM, sort=True, dropna=False)
    codes = groups.ngroup().to_numpy()
    items = groups.agg(family=("family", "first"), type_known=("type_known", "first"), notes=("score", "size"),
                       listeners=("listener", "nunique"), systems=("system", "nunique"), raw_mean=("score", "mean"))
    items = items.reset_index()
    items["item"] = [item_words(item) for item in items.to_dict("records")]
    return items, codes


def _nothing(scores: Scores, items: pd.DataFrame) -> QualityRanking:
    """The result where there is too little to rank."""
    n = len(scores.notes)
    why = problem("listening_too_few", sheet="Listening", row=None, column="", value="", notes=n, items=len(items),
                  alike=", all with the same score" if n and np.ptp(scores.notes["score"]) == 0 else "")
    return QualityRanking(pd.DataFrame(columns=list(ITEM_COLUMNS)), scores.aspects,
                          problems_frame([*scores.problems, why]), [f"{why.message} {why.remedy}"])


def _limits(notes: pd.DataFrame, items: pd.DataFrame, codes: np.ndarray) -> list[Problem]:
    """What the notes as a whole cannot tell."""
    sheet, out = str(notes["sheet"].iloc[0]), []
    if notes["listener"].nunique() == 1:
        name = notes["listener"].iloc[0]
        out.append(problem("one_listener", sheet=sheet, row=None, column="listener", value=name))
    best = items[items["group"] == 0]
    for number, group in items[items["group"] > 0].groupby("group"):
        first = notes[np.isin(codes, group.index)].iloc[0]
        out.append(problem(
            "listening_unconnected", sheet=str(first["sheet"]), row=int(first["row"]), column="listener",
            value=group["item"].iloc[0], others=f" and {len(group) - 1} more" if len(group) > 1 else "",
            example=best.loc[best["notes"].idxmax(), "item"],
        ))
    return out


def _against_average(covariance: np.ndarray, compared: np.ndarray) -> np.ndarray:
    """Covariance of the deviations from the average item that is compared; the others' own stays."""
    out = covariance.copy()
    out[np.ix_(compared, compared)] = centred(covariance[np.ix_(compared, compared)])
    return out


def _by_aspect(scores: Scores, notes: pd.DataFrame, items: pd.DataFrame, prior_spread: float | None) -> pd.DataFrame:
    """Quality by aspect, a column an aspect; blank where an item has no score in it or all scores are the same."""
    out = pd.DataFrame(index=items.index)
    for name in scores.aspects["aspect"]:
        heard = notes[notes[name].notna()]
        out[name] = np.nan
        if len(heard) >= FEWEST_NOTES and np.ptp(heard[name]) > 0:
            one = fit_quality(heard.assign(score=heard[name], weight=1.0), prior_spread)
            met = items.merge(heard[ITEM].drop_duplicates(), on=ITEM, how="left", indicator=True)["_merge"] == "both"
            out[name] = np.where(met, one.posterior.mean(one.rows(items)[0]), np.nan)
    return out


def _base(items: pd.DataFrame, asked: float | None, setting: float | None) -> tuple[float, str]:
    """The score above which points are counted, and where it comes from."""
    if asked is not None:
        return float(asked), "as asked for"
    if setting is not None:
        return float(setting), "'quality base' of Settings"
    means = items[items["group"] == 0].groupby("canonical_type")["quality"].mean()
    if len(means) == 1:
        return float(means.iloc[0]), f"the mean of the only type heard, {means.index[0]}{_OWN_BASE}"
    return float(means.min()), f"the lowest mean of a type heard, {means.idxmin()}{_OWN_BASE}"


def _costs(items: pd.DataFrame, model: Any, covariance: np.ndarray, compared: np.ndarray, base: float,
           grade: str) -> pd.DataFrame:
    """COST_COLUMNS of the items that are compared; the others' are blank."""
    one = items.iloc[compared]
    rng = np.random.default_rng(_SEED)
    quality = front.draw_normal(one["quality"].to_numpy(), covariance[np.ix_(compared, compared)], DRAWS, rng)
    price = draw_prices(model, one, grade, DRAWS, rng)
    family = one["family"].to_numpy()
    fair, mean = one["fair_price"].to_numpy(), one["quality"].to_numpy()
    cost, costs = front.cost_per_point(fair, mean, base), front.cost_per_point(price, quality, base)
    tail = (1 - COVERAGE) / 2
    low, high = np.quantile(costs, [tail, 1 - tail], axis=0, method="higher")
    instead = [_instead(place, one, price, quality) for place in range(len(one))]
    out = pd.DataFrame({
        "cost_per_point": cost, "cost_low": low, "cost_high": high,
        "on_front": front.undominated(fair, mean), "front_chance": front.undominated(price, quality).mean(0),
        "on_family_front": front.by_family(family, front.undominated, fair, mean),
        "family_front_chance": front.by_family(family, front.undominated, price, quality).mean(0),
        "lowest_in_family": front.by_family(family, front.lowest, cost),
        "lowest_in_family_chance": front.by_family(family, front.lowest, costs).mean(0),
        "instead": [words for words, _ in instead], "instead_chance": [chance for _, chance in instead],
    }, index=one.index)
    money = ["cost_per_point", "cost_low", "cost_high"]
    out[money] = out[money].where(np.isfinite(out[money]))
    out = out.reindex(items.index)
    flags = ["on_front", "on_family_front", "lowest_in_family"]
    out[flags] = out[flags].eq(True)
    out["instead"] = out["instead"].fillna("")
    return out


def _instead(place: int, items: pd.DataFrame, price: np.ndarray, quality: np.ndarray) -> tuple[str, float]:
    """(item of the family that is cheaper and better, the best of them; probability that it is both)."""
    own = items.iloc[place]
    better = ((items["family"] == own["family"]) & (items["fair_price"] < own["fair_price"])
              & (items["quality"] > own["quality"])).to_numpy()
    if not better.any():
        return "", np.nan
    best = int(np.flatnonzero(better)[items["quality"].to_numpy()[better].argmax()])
    both = (price[:, best] <= price[:, place]) & (quality[:, best] >= quality[:, place])
    return items["item"].iloc[best], float(both.mean())


def _effects(fitted: QualityModel, notes: pd.DataFrame, term: str) -> pd.DataFrame:
    """Effects of the listeners or systems, the most generous first, with the notes of each."""
    out = fitted.effects(term)
    out["notes"] = out["level"].map(notes[term].value_counts()).astype(int)
    return out.sort_values("effect", ascending=False, kind="stable").reset_index(drop=True)
