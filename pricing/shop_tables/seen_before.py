"""Rows that stand in the workbook already: as many as it has of the same key, those that are most alike."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Hashable, Sequence
from typing import Any

import numpy as np
import pandas as pd

# What makes two rows the same sale, piece or reading, where both tables have the column. Sales are told apart by order
# number and stock code besides, where both rows have one.
KEYS: dict[str, tuple[str, ...]] = {
    "Sales": ("sold_on", "price", "pieces", "currency", "canonical_type"),
    "Stock": ("sku", "pieces", "canonical_type"),
    "Asks": ("sku", "ask", "from_date"),
    "Readings": ("sku", "tested_on", "test", "section", "value"),
    "Offers": ("offer", "ask", "pieces", "currency", "canonical_type", "seen_on"),
    "Listening": ("heard_on", "canonical_type", "maker", "era", "system", "position", "listener"),
    "Circuits": ("circuit", "canonical_type", "position"),
    "Lots": ("lot", "bought_on", "paid"),
}
_WORKED_OUT = ("canonical_type", "pieces", "currency")
_ORDER = re.compile(r"(?:^|; )order ([^;]+)")
_MOST_COMPARED = 40_000


def seen_before(table: str, rows: pd.DataFrame, there: pd.DataFrame, columns: Sequence[str],
                in_currency: Sequence[bool]) -> list[int | None]:
    """For every clean row the place (from 0) of the row of `there` that it repeats, None for a new one.

    A row of `there` is repeated once. `columns` are those both sides have.
    `in_currency`: whether the row itself names its currency; what the shop's was taken to be tells no two rows apart.
    """
    key = [name for name in KEYS[table] if name in columns or name in _WORKED_OUT and _has(rows, name)]
    named = np.array(in_currency, dtype=bool) & ("currency" in key)
    found: list[int | None] = [None] * len(rows)
    free = np.arange(len(there))
    for part, names in ((named, key), (~named, [name for name in key if name != "currency"])):
        if part.any():
            met = _repeats(rows[part], there.iloc[free], names, columns)
            for place, at in zip(np.flatnonzero(part), met):
                found[place] = None if at is None else int(free[at])
            free = np.setdiff1d(free, [at for at in found if at is not None])
    return found


def _repeats(rows: pd.DataFrame, there: pd.DataFrame, key: Sequence[str], columns: Sequence[str]) -> list[int | None]:
    others = [name for name in ("designation", *columns) if name not in key and name in rows and name in there]
    new, old = _Keyed(rows, key, others), _Keyed(there, key, others)
    by_key: dict[Hashable, tuple[list[int], list[int]]] = defaultdict(lambda: ([], []))
    for side, one in enumerate((new, old)):
        for place, value in enumerate(one.keys):
            by_key[value][side].append(place)
    found: list[int | None] = [None] * len(rows)
    for mine, theirs in by_key.values():
        if mine and theirs:
            for place, at in _pairs(mine, theirs, new, old):
                found[place] = at
    return found


class _Keyed:
    """Keys, codes that tell rows of one key apart, and all other cells of rows, ready to be compared."""

    def __init__(self, rows: pd.DataFrame, key: Sequence[str], others: Sequence[str]) -> None:
        self.keys = list(zip(*(_cells(rows, name) for name in key))) if len(rows) else []
        self.rest = list(zip(*(_cells(rows, name) for name in others))) if others and len(rows) else [()] * len(rows)
        stated = _cells(rows, "order") if "order" in rows else [""] * len(rows)
        notes = rows["note"] if "note" in rows else [""] * len(rows)
        orders = [one.partition(";")[0].strip() or _order_in(note) for one, note in zip(stated, notes)]
        self.codes = list(zip(orders, _cells(rows, "sku") if "sku" in rows else [""] * len(rows)))


def _order_in(note: str) -> str:
    met = _ORDER.findall(note)  # the last: what the owner or the seller had written comes before it
    return met[-1].strip().casefold() if met else ""


def _has(rows: pd.DataFrame, name: str) -> bool:
    return "set_size" in rows if name == "pieces" else name in rows


def _cells(rows: pd.DataFrame, name: str) -> list[Any]:
    """Cells that compare: dates as days, sums to the cent, what is missing as ""."""
    if name == "pieces":
        return (rows["set_size"] * rows["qty"]).tolist()
    column = rows[name]
    if pd.api.types.is_float_dtype(column):
        return ["" if value != value else round(value, 2) for value in column.tolist()]
    if pd.api.types.is_datetime64_any_dtype(column):
        return ["" if value is pd.NaT else value.date() for value in column]
    return [value.casefold() if isinstance(value, str) else value if value == value else "" for value in column]


def _pairs(mine: list[int], theirs: list[int], new: _Keyed, old: _Keyed) -> list[tuple[int, int]]:
    """Pairs of one key whose codes do not differ: of equal codes first, then by equal cells."""
    if len(mine) * len(theirs) > _MOST_COMPARED:
        return _pairs_of_many(mine, theirs, new, old)
    scored = []
    for place in mine:
        for at in theirs:
            unlike = [(one, other) for one, other in zip(new.codes[place], old.codes[at]) if one != other]
            if not any(one and other for one, other in unlike):
                alike = sum(a == b for a, b in zip(new.rest[place], old.rest[at]))
                scored.append((len(unlike), -alike, place, at))
    pairs: dict[int, int] = {}
    used: set[int] = set()
    for _, _, place, at in sorted(scored):
        if place not in pairs and at not in used:
            pairs[place] = at
            used.add(at)
    return list(pairs.items())


def _pairs_of_many(mine: list[int], theirs: list[int], new: _Keyed, old: _Keyed) -> list[tuple[int, int]]:
    """Pairs of hundreds of rows of one key, by their codes alone."""
    free: dict[tuple[str, str], list[int]] = defaultdict(list)
    for at in reversed(theirs):
        free[old.codes[at]].append(at)
    pairs, left = [], []
    for place in mine:
        met = free.get(new.codes[place])
        if met:
            pairs.append((place, met.pop()))
        else:
            left.append(place)
    for place in left:
        codes = new.codes[place]
        met = next((ats for other, ats in free.items()
                    if ats and not any(a and b and a != b for a, b in zip(codes, other))), None)
        if met:
            pairs.append((place, met.pop()))
    return pairs
