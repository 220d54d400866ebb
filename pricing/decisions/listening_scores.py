"""Listening notes as one score each: the owner's aspects, their scales and weights; and which items can be compared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pricing.problems import Problem, problem
from pricing.shop_tables import TABLES, Settings, clean_listening

ITEM = ["canonical_type", "maker", "brand", "era", "variant"]
UNKNOWN = "unknown"
_DERIVED = {"designation", "canonical_type", "family", "type_known", "sheet", "row"}
# Where no scale is stated: the first of these that holds nearly all scores; one in twenty may lie outside as a slip.
_USUAL_TOPS = (10.0, 20.0, 100.0)
_FEWEST_TO_TELL_A_SCALE = 10
_SLIPS = 0.05
_SAME = 1e-6


@dataclass(frozen=True)
class Scores:
    """Notes with a `score` (weighted mean of the aspects) and a `weight` (share of the aspects that were scored, mean
    1), and `aspects`: aspect, weight, low and high (scale: stated, or None), notes, mean."""

    notes: pd.DataFrame
    aspects: pd.DataFrame
    problems: tuple[Problem, ...]


def listening_scores(listening: pd.DataFrame, register: Any = None, settings: Settings | None = None) -> Scores:
    """Scores of a Listening table, raw or clean. What cannot be used is left out and stands in `problems`.

    A note that lacks an aspect is scored by the others, each taken from that aspect's own mean, and weighs less. Maker
    "unknown" with a printed brand: the brand stands for it; with a maker, the brand tells nothing more.
    """
    settings = settings or Settings()
    problems: list[Problem] = []
    notes = pd.DataFrame(listening).reset_index(drop=True)
    if not {"canonical_type", "type_known", "sheet", "row"} <= set(notes.columns):
        notes, problems = clean_listening(notes, register, settings)
    names = [name for name in notes.columns if name not in TABLES["Listening"].names and name not in _DERIVED]
    values = notes[names].astype(float)
    problems += _weights_without_aspect(names, settings)
    rows = []
    for name in names:
        low, high, stated = _scale(values[name], name, settings)
        outside = (values[name] < low) | (values[name] > high) | np.isinf(values[name])
        for at in notes.index[outside]:
            problems.append(_at(notes.loc[at], name, "score_out_of_range", f"{values.loc[at, name]:g}",
                                scale=_between(low, high), whence="" if stated else ", as the other scores suggest"))
        values.loc[outside, name] = np.nan
        bounds = [bound if np.isfinite(bound) else None for bound in (low, high)]
        rows.append((name, settings.quality_weight(name), *bounds, values[name].count(), values[name].mean()))
    aspects = pd.DataFrame(rows, columns=["aspect", "weight", "low", "high", "notes", "mean"])
    counted = aspects[(aspects["weight"] > 0) & (aspects["notes"] > 0)]
    if counted.empty and len(notes):
        problems.append(problem("listening_without_aspects", sheet=str(notes["sheet"].iloc[0]), row=None, column="",
                                value=""))
    score, weight = _weighted(values[counted["aspect"]], counted["weight"].to_numpy(), counted["mean"].to_numpy())
    for at in notes.index[np.isnan(score)] if len(counted) else ():
        problems.append(_at(notes.loc[at], "whole row", "note_without_score", "", aspects=", ".join(counted["aspect"])))
    brand = notes["brand"].where(notes["maker"] == UNKNOWN, UNKNOWN)
    notes = notes.assign(**values, brand=brand, score=score, weight=weight)[~np.isnan(score)]
    notes["weight"] = notes["weight"] / notes["weight"].mean()
    return Scores(notes, aspects, tuple(problems))


def comparable_groups(items: np.ndarray, listeners: np.ndarray, systems: np.ndarray) -> np.ndarray:
    """Group of each item (0 the one with the most notes): quality is compared within a group only.

    The contrast of two items is estimable from item, listener and system as fixed effects if and only if it is
    orthogonal to the null space of the normal equations (Searle, Linear Models, Wiley 1971, section 5.4; section from
    memory), so items alike there form a group. Arguments: a code from 0 a note.
    """
    codes = np.column_stack([items, listeners, systems])
    starts = np.concatenate([[0], np.cumsum(codes.max(0) + 1)])
    design = np.zeros((len(codes), starts[-1]))
    for factor in range(3):
        design[np.arange(len(codes)), starts[factor] + codes[:, factor]] = 1.0
    values, vectors = np.linalg.eigh(design.T @ design)
    null = vectors[: starts[1], values < 1e-9 * values[-1]]
    group = np.full(starts[1], -1)
    while (group < 0).any():
        first = np.flatnonzero(group < 0)[0]
        group[np.abs(null - null[first]).max(1) < _SAME] = group.max() + 1
    by_notes = np.argsort(-np.bincount(group[items]), kind="stable")
    return np.argsort(by_notes)[group]


def item_words(item: Any) -> str:
    """An item in words: type, maker or brand, era, variant, as far as known."""
    parts = [item["canonical_type"], item["maker"] if item["maker"] != UNKNOWN else "",
             f"{item['brand']} (brand)" if item["brand"] != UNKNOWN else "", item["era"], item["variant"]]
    return " ".join(part for part in parts if part and part != UNKNOWN)


def _weighted(values: pd.DataFrame, weights: np.ndarray, means: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(score, share of the weight that was scored) of each note."""
    if not len(weights):
        return np.full(len(values), np.nan), np.zeros(len(values))
    x = values.to_numpy()
    share = ~np.isnan(x) * (weights / weights.sum())
    there = share.sum(1)
    with np.errstate(invalid="ignore"):
        score = np.nansum((x - means) * share, axis=1) / there + means @ weights / weights.sum()
    return score, there


def _scale(scores: pd.Series, aspect: str, settings: Settings) -> tuple[float, float, bool]:
    """(lowest, highest score, whether the owner stated them)."""
    stated = settings.quality_scale(aspect)
    if stated is not None:
        return *stated, True
    scores = scores.dropna()
    if len(scores) < _FEWEST_TO_TELL_A_SCALE:
        return -np.inf, np.inf, False
    slips = max(_SLIPS * len(scores), 1)
    low = 0.0 if (scores < 0).sum() <= slips else -np.inf
    return low, next((top for top in _USUAL_TOPS if (scores > top).sum() <= slips), np.inf), False


def _between(low: float, high: float) -> str:
    if not np.isfinite(low):
        return f"at most {high:g}"
    return f"{low:g} to {high:g}" if np.isfinite(high) else f"at least {low:g}"


def _weights_without_aspect(names: list[str], settings: Settings) -> list[Problem]:
    """Weights of the Settings that name no column of the table."""
    from pricing.shop_tables.vocabularies import plain

    known = {plain(name) for name in names}
    return [problem("quality_weight_unused", sheet="Settings", row=None, column=f"quality weight: {aspect}",
                    value=aspect, met=", ".join(names))
            for aspect in settings.quality_weights if aspect not in known and names]


def _at(note: pd.Series, column: str, code: str, value: str, **details: Any) -> Problem:
    return problem(code, sheet=str(note["sheet"]), row=int(note["row"]), column=column, value=value, **details)
