"""The price model's record in sentences: how close, how much closer than a habit, and what it cannot tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

from pricing.price_model.facts import SUSPECT_Z
from pricing.price_model.fitting import THIN_HISTORY_SALES
from pricing.price_model.record import MODEL, RANGES, compare, coverage_table, percent_of
from pricing.price_model.robust import DEGREES_OF_FREEDOM

if TYPE_CHECKING:
    from pricing.price_model.backtest import Backtest

# A habit's typical error over the model's: the model is closer where it is shown to be above the first, and no better
# where it is shown to be below the second for some habit.
WORTH, LITTLE = 1.02, 1.10
FEWEST_OF_A_KIND = 30
FEWEST_FOR_RANGES = 100
# Standard errors, and hundredths, by which a share must miss its aim before it is said to.
FAR, MATTERS_PCT = 3.0, 2.0
CLOSER, NO_BETTER = "closer than every habit", "no better than a habit"
UNDECIDED, TOO_FEW = "not shown to be closer than every habit", "too few sales to tell"


def verdict(record: Backtest) -> str:
    """CLOSER where the 95 % intervals of all habits lie above WORTH, NO_BETTER where one lies below LITTLE, UNDECIDED
    between, TOO_FEW under THIN_HISTORY_SALES."""
    if record.n_sales < THIN_HISTORY_SALES or record.scored.empty:
        return TOO_FEW
    if record.compared["low"].min() > WORTH:
        return CLOSER
    return NO_BETTER if record.compared["high"].min() < LITTLE else UNDECIDED


def headline(record: Backtest) -> str:
    """The record in one sentence."""
    if record.scored.empty:
        return f"Record: none of the {record.n_sales:,} usable sales could be priced from earlier ones."
    typical = record.by_method.set_index("method")["median_off_pct"]
    best = typical.drop(MODEL).idxmin()
    return (f"Record: half of {len(record.scored):,} past sales within {typical[MODEL]:.0f} % of the price the model "
            f"would have named, {typical[best]:.0f} % by the closest habit ({best}): {verdict(record)}.")


def words_of(record: Backtest) -> list[str]:
    """See Backtest.words."""
    if record.scored.empty:
        return [f"None of the {record.n_sales:,} usable sales could be priced from earlier ones: they are too few, or "
                "of one day.", *_limits()]
    return [*_how_close(record), *_against_habits(record), *_kinds(record), *_ranges(record), *_doubts(record),
            *_limits()]


def _how_close(record: Backtest) -> list[str]:
    folds, model = record.folds, record.by_method.set_index("method").loc[MODEL]
    floor = percent_of(record.noise_scale * stats.t.ppf(0.75, DEGREES_OF_FREEDOM))
    ahead = (folds["last_day"] - folds["first_day"]).dt.days.max()
    return [
        f"{len(record.scored):,} past sales, from {folds['first_day'].min():%Y-%m-%d} to "
        f"{folds['last_day'].max():%Y-%m-%d}, were priced again in {len(folds)} stretch{'es' * (len(folds) > 1)} of "
        f"time, each from nothing but the sales before the stretch began, {ahead} days ahead at most.",
        f"Half of them went for a price within {model['median_off_pct']:.0f} % of the model's, nine in ten within "
        f"{model['p90_off_pct']:.0f} %. No method could bring that half much under {floor:.0f} %: by so much sales of "
        "one and the same description differ for reasons the tables do not hold.",
    ]


def _against_habits(record: Backtest) -> list[str]:
    found, typical = verdict(record), record.by_method.set_index("method")["median_off_pct"]
    if found == TOO_FEW:
        return [f"{record.n_sales:,} usable sales are too few to tell whether the model is closer than a habit; it "
                f"takes {THIN_HISTORY_SALES} or more. The figures show what happened, not what to expect."]
    lines = [
        f"{row.habit.capitalize()}: half within {typical[row.habit]:.0f} %. Its typical error is {row.times:.2f} times "
        f"the model's (95 % interval {row.low:.2f} to {row.high:.2f}); the model was the closer one in "
        f"{row.closer_pct:.0f} of 100 sales."
        for row in record.compared.itertuples()
    ]
    if found == CLOSER:
        best = record.compared.loc[record.compared["times"].idxmin(), "habit"]
        return [*lines, f"The model's prices are {CLOSER} tried here; the closest habit was the {best}."]
    what_to_do = (
        "What to do: price pieces that the shop sells often by that habit, and keep the model for ranges and for "
        "pieces seldom or never sold. Write down maker, era, grade and reading of more sales, for a model can use only "
        "what is written, and try again some hundred sales later."
    )
    if found == UNDECIDED:
        rival = record.compared.loc[record.compared["low"].idxmin()]
        return [*lines, f"The model's prices are {UNDECIDED}: so few sales leave open whether they gain on the "
                        f"{rival['habit']}. {what_to_do}"]
    rival = record.compared.loc[record.compared["high"].idxmin()]
    little = f"if they gain on it at all, it is less than {100 * (LITTLE - 1):.0f} %"
    gain = "that came closer" if rival["high"] < 1 else little
    return [*lines, f"The model's prices are {NO_BETTER}, the {rival['habit']}: {gain}. {what_to_do}"]


def _ranges(record: Backtest) -> list[str]:
    table = record.coverage
    aim = 100 * table["coverage"]
    off = table["inside_pct"] - aim
    by_chance = FAR * np.sqrt(aim * (100 - aim) / table["n"])
    shown = (table["n"] >= FEWEST_FOR_RANGES) & (off.abs() > np.maximum(by_chance, MATTERS_PCT))
    wrong = np.where(off < 0, "too narrow", "wider than need be")
    lines = [
        f"{row.inside_pct:.0f} of 100 sales fell inside the model's {100 * row.coverage:.0f} % range"
        f"{f', which was {wrong[row.Index]}' if shown[row.Index] else ''}; half of these ranges spanned less than "
        f"{row.median_width_pct:.0f} % of the price."
        for row in table[table["richness"] == "all"].itertuples()
    ]
    if len(record.scored) < FEWEST_FOR_RANGES:
        lines.append(f"{len(record.scored)} sales cannot tell whether ranges hold; it takes {FEWEST_FOR_RANGES}.")
    elif not record.folds["calibrated"].all():
        lines.append("Before some stretches there were too few sales to set ranges on; there they are the model's own, "
                     "widened.")
    lines += [
        f"Pieces of the kind “{row.richness}”: {row.inside_pct:.0f} of 100 inside the {100 * row.coverage:.0f} % "
        f"range, which was {wrong[row.Index]}."
        for row in table[shown & (table["richness"] != "all")].itertuples()
    ]
    return lines


def _kinds(record: Backtest) -> list[str]:
    """Kinds of pieces for which a habit came at least as close."""
    if verdict(record) == TOO_FEW:
        return []
    lines = []
    for kind, table in record.by_richness.groupby("richness", sort=False):
        typical, n = table.set_index("method")["median_off_pct"], table["n"].iloc[0]
        if n < FEWEST_OF_A_KIND or typical.idxmin() == MODEL:
            continue
        of_kind = compare(record.scored[record.scored["richness"] == kind]).set_index("habit").loc[typical.idxmin()]
        shown = "a difference that may be chance" if of_kind["high"] >= 1 else "more than chance"
        lines.append(f"For the {n:,} pieces of the kind “{kind}” the {typical.idxmin()} came closer, half within "
                     f"{typical.min():.0f} % against {typical[MODEL]:.0f} %: {shown}.")
    return lines


def _doubts(record: Backtest) -> list[str]:
    doubtful = record.scored["z"].abs() > SUSPECT_Z
    count = int(doubtful.sum())
    if not count:
        return []
    rest = coverage_table(record.scored[~doubtful])
    inside = rest[rest["richness"] == "all"]["inside_pct"]
    return [
        f"{count:,} of these sales look{'s' * (count == 1)} like a booking error (over {SUSPECT_Z:.0f} standard "
        "deviations off). They were scored like any other; medians hardly feel them, and without them "
        f"{' and '.join(f'{share:.0f}' for share in inside)} of 100 fell inside the "
        f"{' and '.join(f'{100 * coverage:.0f}' for coverage in RANGES)} % ranges.",
    ]


def _limits() -> list[str]:
    return [
        f"What this record cannot do: under {THIN_HISTORY_SALES} usable sales it cannot tell the model from a habit, "
        f"under {FEWEST_FOR_RANGES} priced again it cannot check ranges, and under {FEWEST_OF_A_KIND} of one kind its "
        "figures for that kind are chance. Pieces that never sold are not in it, and where the shop sets the prices it "
        "tells how well the shop's own asks are foretold, not what the market would have paid.",
    ]
