"""Something cheaper that sounds close: what can be had in place of a wanted piece, and what to answer a customer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from pricing.decisions.circuit_fit import CAUTIONS, check_change_of_rectifier, check_circuit_fit
from pricing.decisions.closeness import ORDER, closeness
from pricing.decisions.equivalents import find_equivalents
from pricing.decisions.for_sale import for_sale
from pricing.decisions.list_price import piece_in_words
from pricing.decisions.quality import QualityRanking, rank_quality
from pricing.decisions.rectifier_findings import is_rectifier
from pricing.problems import problem, problems_frame
from pricing.register import load_register
from pricing.shop_tables import GRADES

COLUMNS = (
    "where", "code", "type", "piece", "grade", "set_size", "sets", "price", "each", "saving_each", "saving_pct", "kind",
    "verdict", "summary", "lower", "not_known", "reason", "electrically", "distance", "electrical_words",
    "quality_change", "quality_chance", "quality_words", "fair_price", "answer", "sheet", "row",
)
_OF_PIECE = ("where", "code", "piece", "grade", "set_size", "sets", "price", "each", "fair_price", "sheet", "row")
NO_CIRCUIT = "no circuit given"
SAME = "same type"
WEAK = "used, weak"
# Worst last: what exceeds is shown, and never before anything else.
_VERDICT_ORDER = ("within", "at the edge", "cannot check", NO_CIRCUIT, "exceeds")
_SURE, _LIKELY = 0.9, 0.7


@dataclass(frozen=True)
class Alternatives:
    """`candidates`: COLUMNS, the closest first; `wanted` in words with `wanted_each`, what a tube of it costs, and
    `wanted_basis`, where that comes from; `words` what was found; `not_had`: equivalents nobody has for less (type,
    kind, reason); `cautions`; `problems`. Money in the shop's currency.

    `quality_change` is in points of the owner's scale, below nought what is given up; `quality_chance` the probability
    that the candidate is at least as good by the listening notes.
    """

    wanted: str
    wanted_each: float
    wanted_basis: str
    candidates: pd.DataFrame
    not_had: pd.DataFrame
    words: list[str]
    cautions: tuple[str, ...]
    problems: pd.DataFrame


def find_alternatives(
    model: Any,
    wanted: Any,
    shop: Any,
    circuit: Any = None,
    *,
    shelf: pd.DataFrame | None = None,
    ranking: QualityRanking | None = None,
) -> Alternatives:
    """What is in stock or on offer for less than the wanted piece, a tube against a tube, the closest first.

    `wanted`: a type, or one item (a mapping, Series or one-row frame with the descriptive columns; with `ask` that is
    what it costs, else its fair price; with `sku` the row of Stock is no alternative to itself). None takes the type
    fitted in `circuit`. `circuit`: a row of Circuits, or the names "circuit" or "circuit, position" of one; without it
    ratings are compared with the wanted type's only. Order: what exceeds the circuit's figures last; then by closeness
    (`closeness.ORDER`), verdict, pieces graded weak after others, listening quality as far as the notes tell a
    difference, stated grade and saving.
    Pieces for parts stand in for nothing else. `shelf` and `ranking`: for_sale and rank_quality of the shop, when they
    are at hand. An unknown type gives no candidate and a Problem, an unknown circuit a Problem.
    """
    register = shop.register or load_register()
    place, problems = _circuit_row(circuit, shop)
    one = _wanted_item(wanted, place)
    match = register.find(str(one.get("type") or ""))
    if match.status != "found":
        near = ", ".join(match.candidates) or "nothing near it is known"
        problems.append(problem("circuit_without_type", sheet="", row=None, column="type", value=one.get("type"),
                                near=near))
        return Alternatives(match.text, np.nan, "", _frame([]), _not_had([]), [problems[-1].message], CAUTIONS,
                            problems_frame(problems))
    described = model.describe(pd.DataFrame([one])).iloc[[0]]
    each, basis = _cost_of(one, described, model)
    name = ", ".join(filter(None, (match.designation, _piece(described.iloc[0]))))
    shelf = for_sale(model, shop) if shelf is None else shelf
    if ranking is None and len(shop.listening):
        ranking = rank_quality(shop.listening, model, shop)
    equivalents = find_equivalents(match.designation, register)
    kinds = {match.canonical_type: (SAME, "", "", "")}
    for row in equivalents.candidates.to_dict("records"):
        if (canonical := register.type(row["type"]).canonical_type) != match.canonical_type:
            kinds.setdefault(canonical, (row["kind"], row["lower"], row["not_known"], row["reason"]))
    itself = shelf["own"].astype(bool) & (shelf["code"] == str(one.get("sku") or ""))
    parts = (shelf["grade"] == "for parts") & (described["grade"].iloc[0] != "for parts")
    cheaper = shelf[shelf["canonical_type"].isin(kinds) & (shelf["each"] < each - 0.005) & ~parts & ~itself]
    rows = [_candidate(piece, kinds[piece["canonical_type"]], match.designation, each, place, shop, register)
            for piece in cheaper.to_dict("records")]
    found = _ordered(_with_quality(rows, cheaper, described, ranking))
    found["answer"] = [_answer(row, name, each, shop.settings.currency) for row in found.to_dict("records")]
    had = set(cheaper["canonical_type"])
    rest = _not_had([{"type": row["type"], "kind": row["kind"], "reason": row["reason"]}
                     for row in equivalents.candidates.to_dict("records")
                     if register.type(row["type"]).canonical_type not in had | {match.canonical_type}])
    words = _words(name, each, basis, found, rest, place, shop.settings.currency)
    return Alternatives(name, each, basis, found, rest, words, CAUTIONS, problems_frame(problems))


def _circuit_row(circuit: Any, shop: Any) -> tuple[Mapping[str, Any] | None, list]:
    """The row of Circuits that is meant, None for none; a name that no row bears is a Problem."""
    if circuit is None or not isinstance(circuit, str):
        return (None if circuit is None else dict(circuit)), []
    asked = circuit.strip().casefold()
    rows = shop.circuits.to_dict("records")
    for row in rows:
        name = str(row["circuit"]).casefold()
        if asked in (name, f"{name}, {str(row['position']).casefold()}"):
            return row, []
    known = ", ".join(dict.fromkeys(str(row["circuit"]) for row in rows)) or "none"
    unknown = problem("circuit_not_known", sheet="Circuits", row=None, column="circuit", value=circuit, known=known)
    return None, [unknown]


def _wanted_item(wanted: Any, place: Mapping[str, Any] | None) -> dict[str, Any]:
    if wanted is None:
        return {"type": (place or {}).get("fitted_type", "")}
    if isinstance(wanted, str):
        return {"type": wanted}
    return dict(wanted.iloc[0] if isinstance(wanted, pd.DataFrame) else wanted)


def _cost_of(one: Mapping[str, Any], described: pd.DataFrame, model: Any) -> tuple[float, str]:
    """(what a tube of the wanted piece costs, where that comes from)."""
    size = float(described["set_size"].iloc[0])
    ask = one.get("ask")
    if ask is not None and ask == ask and float(ask) > 0:
        return float(ask) / size, "its ask"
    return float(model.estimate(described)["fair_price"].iloc[0]) / size, "its fair price"


def _piece(described: pd.Series) -> str:
    words = piece_in_words(described)
    return "" if words == "grade unknown" else words


def _candidate(piece: Mapping[str, Any], kind: tuple, wanted: str, each: float, place: Mapping[str, Any] | None,
               shop: Any, register: Any) -> dict[str, Any]:
    name = piece["designation"] or piece["type"]
    near = closeness(wanted, name, register)
    verdict, summary = NO_CIRCUIT, ""
    if place is not None:
        rectifier = is_rectifier(register.type(name)) and len(shop.circuits)
        fit = (check_change_of_rectifier(name, place, shop.circuits, register) if rectifier
               else check_circuit_fit(name, place, register))
        verdict, summary = fit.verdict, fit.summary
    route, lower, not_known, reason = kind
    if route == SAME and name != wanted:
        reason = f"{name} and {wanted} are one electrical type"
    return {
        **{column: piece[column] for column in _OF_PIECE}, "type": name,
        "saving_each": each - piece["each"], "saving_pct": 100 * (1 - piece["each"] / each),
        "kind": route, "lower": lower, "not_known": not_known, "reason": reason, "verdict": verdict, "summary": summary,
        "electrically": near.kind, "distance": near.distance, "electrical_words": near.words,
    }


def _with_quality(rows: list[dict[str, Any]], pieces: pd.DataFrame, wanted: pd.DataFrame,
                  ranking: QualityRanking | None) -> pd.DataFrame:
    out = _frame(rows)
    if ranking is None or ranking.model is None or not rows:
        return out.assign(quality_words="nothing can be told: there are too few")
    beside = ranking.quality_beside(pieces, wanted)
    change, sd = beside["difference"].to_numpy(float), beside["difference_sd"].to_numpy(float)
    chance = np.where(sd > 0, stats.norm.cdf(np.divide(change, sd, out=np.zeros_like(sd), where=sd > 0)), 0.5)
    words = [_quality_words(*one) for one in zip(change, chance)]
    return out.assign(quality_change=change, quality_chance=chance, quality_words=words)


def _quality_words(change: float, chance: float) -> str:
    """The difference by the notes, and how sure they are of it."""
    size = f"{abs(change):.1f} points"
    surer = max(chance, 1 - chance)
    if surer < _LIKELY:
        return "no difference can be told"
    side = "better" if change > 0 else "less good"
    return f"{'very likely' if surer >= _SURE else 'probably'} {side}, by about {size}"


def _ordered(found: pd.DataFrame) -> pd.DataFrame:
    """What exceeds last; then by closeness, verdict, weak pieces last, quality where notes tell one, grade, saving."""
    if found.empty:
        return found
    chance = found["quality_chance"].astype(float)
    told = (chance - 0.5).abs() >= _LIKELY - 0.5
    grades = {grade: place for place, grade in enumerate(GRADES)}
    keys = pd.DataFrame({
        "exceeds": found["verdict"] == "exceeds", "class": found["electrically"].map(ORDER.index),
        "verdict": found["verdict"].map(_VERDICT_ORDER.index),
        "weak": found["grade"] == WEAK,  # notes speak of makers and types, not of a worn piece
        "quality": -found["quality_change"].astype(float).where(told, 0.0).round(1),
        "grade": found["grade"].map(grades).fillna(len(grades)), "saving": -found["saving_each"],
    })
    return found.loc[keys.sort_values(list(keys), kind="stable").index].reset_index(drop=True)


def _answer(row: Mapping[str, Any], name: str, each: float, currency: str) -> str:
    """What a customer may be told, in one paragraph."""
    tube = "a tube" if row["set_size"] > 1 else ""
    said = [f"{row['type']}, {row['piece']}, {row['where']}: {row['each']:,.2f} {currency} {tube}".rstrip()
            + f" in place of {each:,.2f}, {row['saving_pct']:.0f} % less."]
    if row["kind"] == SAME:
        said.append("The same electrical type.")
    else:
        said.append(f"Another type, {row['kind']}: {row['reason']}.")
        if row["lower"]:
            said.append(f"Lower: {row['lower']}.")
    if row["verdict"] == NO_CIRCUIT:
        if row["kind"] != SAME:
            said.append("Ratings are compared with the wanted type only, as no circuit was given.")
    else:
        said.append(f"In the circuit: {row['summary']}.")
        if row["verdict"] == "exceeds":
            said.append("Not to be offered for this circuit.")
    said.append(f"By the listening notes {row['quality_words']}.")
    return " ".join(said)


def _words(name: str, each: float, basis: str, found: pd.DataFrame, rest: pd.DataFrame,
           place: Mapping[str, Any] | None, currency: str) -> list[str]:
    head = f"{name}: {each:,.2f} {currency} a tube, {basis}."
    if found.empty:
        said = [f"{head} Nothing that could stand in for it is in stock or on offer for less."]
    else:
        same = int((found["kind"] == SAME).sum())
        over = int((found["verdict"] == "exceeds").sum())
        said = [f"{head} {len(found):,} cheaper: {same:,} of the same type, {len(found) - same:,} of others"
                + (f"; {_over(over, len(found))}." if over else ".")]
    if place is None:
        said.append("No circuit was given: ratings are compared with those of the wanted type, and nothing says that "
                    "they suit the amplifier.")
    if len(rest):
        said.append(f"Not to be had for less: {', '.join(rest['type'])}.")
    return said


def _over(over: int, of: int) -> str:
    """How many of the candidates exceed the circuit's figures, and what follows."""
    if over == of:
        return "every one exceeds a limit in this circuit, so none is to be offered for it"
    exceed, stand = ("exceeds", "stands") if over == 1 else ("exceed", "stand")
    return f"{over:,} {exceed} a limit in this circuit and {stand} last"


def _frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _not_had(rows: list[dict[str, Any]]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["type", "kind", "reason"])
