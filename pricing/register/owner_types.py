"""The owner's Types sheet: new types and corrections, laid on top of the register."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from pricing.problems import Problem, problem

from .spelling import is_date, text_of
from .tube_type import COLUMNS, RATING_SYSTEMS, SIGNED, UNITS, TubeType

if TYPE_CHECKING:
    from .register import CellBasis, Register

OWNER: tuple[str, str, str] = ("owner", "the owner's Types sheet", "")
_IGNORED = {"row", "sheet", "type", "designation", "section", "aliases", "source", "basis"}


def read_owner_types(register: Register, rows: list[dict[str, Any]], sheet: str) -> tuple[
        dict[tuple[str, str], TubeType], dict[tuple[str, str, str], list[CellBasis]],
        list[tuple[str, str, str]], list[Problem]]:
    """(types, basis, aliases, problems) to lay on top of `register`. Never raises on content."""
    types: dict[tuple[str, str], TubeType] = {}
    basis: dict[tuple[str, str, str], list[CellBasis]] = {}
    aliases: list[tuple[str, str, str]] = []
    problems: list[Problem] = []
    for number, row in enumerate(rows, start=2):
        at = dict(sheet=sheet, row=row.get("row", number))
        name_column = "designation" if text_of(row.get("designation")) else "type"
        written = row.get(name_column)
        name = text_of(written)
        if not name:
            if any(text_of(cell) for column, cell in row.items() if column not in ("row", "sheet")):
                problems.append(problem("type_without_name", column="designation", value="", **at))
            continue
        if is_date(written) or not any(c.isalnum() for c in name):
            problems.append(problem("type_name_unreadable", column=name_column, value=written, **at))
            continue
        match = register.find(name)
        by_name = match.status == "found" and not match.note.startswith("read within")
        known = match.designation if by_name else ""
        section = text_of(row.get("section"))
        base = _start(register, types, known or name, section, known)
        changes, bad = _cells(row, at)
        problems += bad
        canonical = text_of(row.get("canonical_type"))
        if canonical:
            pooled = register.find(canonical)
            changes["canonical_type"] = pooled.canonical_type if pooled.status == "found" else canonical
        elif not base.canonical_type:
            changes["canonical_type"] = base.designation
        if not (base.shop_family or changes.get("shop_family")):
            kin = _kin_family(register, changes.get("canonical_type", ""))
            changes["shop_family"] = changes.get("family") or kin
        tube = replace(base, **changes)
        types[tube.designation, tube.section] = tube
        basis.update({(tube.designation, tube.section, column): [OWNER] for column in changes})
        for alias in filter(None, (part.strip() for part in str(row.get("aliases") or "").split(";"))):
            met = register.find(alias)
            if met.status == "found" and met.designation != tube.designation:
                problems.append(problem("alias_of_other_type", column="aliases", value=alias,
                                        other=met.designation, **at))
            elif met.status != "found":
                aliases.append((alias, tube.designation, ""))
    return types, basis, aliases, problems


def _start(register: Register, types: dict[tuple[str, str], TubeType], name: str, section: str,
           known: str) -> TubeType:
    """The row the owner's cells go onto: an earlier row of the sheet, the register's, or an empty one."""
    if known:
        held = register.sections(known)
        section = section if section in held else (held[0] if held else "")
        return types.get((known, section)) or register.type(known, section)
    return types.get((name, section)) or TubeType(designation=name, section=section)


def _kin_family(register: Register, canonical: str) -> str:
    """The family of the type it is pooled with; "" when that is unknown too, for the caller to name."""
    match = register.find(canonical)
    return register.shop_family(match.designation) if match.status == "found" else ""


def _cells(row: dict[str, Any], at: dict[str, Any]) -> tuple[dict[str, Any], list[Problem]]:
    changes: dict[str, Any] = {}
    problems: list[Problem] = []
    for column, cell in row.items():
        text = text_of(cell)
        if not text or column in _IGNORED or column == "canonical_type":
            continue
        if column not in COLUMNS:
            problems.append(problem("type_column_unknown", column=str(column), value=cell, **at))
        elif column in UNITS:
            number = _number(cell)
            if number is None or (number <= 0 and column not in SIGNED):
                problems.append(problem("rating_unreadable", column=column, value=cell,
                                        unit=UNITS[column] or "plain number", **at))
            else:
                changes[column] = number
        elif column == "rating_system" and text.lower() not in RATING_SYSTEMS:
            problems.append(problem("rating_system_unknown", column=column, value=cell,
                                    systems=", ".join(RATING_SYSTEMS), **at))
        else:
            changes[column] = text.lower() if column == "rating_system" else str(cell).strip()
    return changes, problems


def _number(cell: Any) -> float | None:
    """The number in a cell, a decimal comma read as a point; None when it is none, infinite or a flag."""
    try:
        number = float(str(cell).strip().replace(",", ".")) if not isinstance(cell, bool) else math.nan
    except ValueError:
        return None
    return number if math.isfinite(number) else None
