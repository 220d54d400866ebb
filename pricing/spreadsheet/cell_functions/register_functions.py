"""The cell functions about types of the register."""

from __future__ import annotations

import difflib
from typing import Any

from pricing.register import load_register
from pricing.register.tube_type import COLUMNS, Match
from pricing.spreadsheet.cell_functions.cell_values import Cell, CellProblem, one_cell

NOT_KNOWN = "unknown"


def tube_rating(tube: Any, rating: Any, section: Any = None) -> float | str:
    """One value of the register, "unknown" where nobody knows it."""
    column, part = one_cell(rating, "rating"), one_cell(section, "section")
    match, register = type_of(one_cell(tube, "tube")), load_register()
    if column is None:
        raise CellProblem("'rating' is blank: give the name of a rating, such as pa_max_w_section.")
    word = "_".join(str(column).casefold().replace("_", " ").split())
    if word not in COLUMNS:
        near = difflib.get_close_matches(word, COLUMNS, n=3, cutoff=0.4) or COLUMNS[12:16]
        raise CellProblem(f"rating: there is no rating '{str(column)[:60]}': write one of the register's, such as "
                          f"{', '.join(near)}.")
    sections = register.sections(match.designation)
    if part is not None and str(part).casefold() not in sections:
        held = f"'{' or '.join(sections)}'" if sections else "none of its own"
        raise CellProblem(f"section: {match.designation} has {held}, not '{part}': correct it or leave it out.")
    value = register.value(match.designation, word, str(part).casefold() if part else "").value
    return NOT_KNOWN if value is None else value


def type_of(cell: Cell) -> Match:
    """The type a cell names. CellProblem where the register does not know it or cannot tell which is meant."""
    if cell is None:
        raise CellProblem("'tube' is blank: give the type printed on the tube, such as EL84.")
    match = load_register().find(cell)
    if match.status == "ambiguous":
        raise CellProblem(f"tube: '{match.text}' can mean {' or '.join(match.candidates)}: write the one that "
                          "is meant.")
    if match.status != "found":
        near = ", ".join(match.candidates[:3]) or "nothing near it is known"
        raise CellProblem(f"tube: the register does not know the type '{match.text}': correct the spelling ({near}).")
    return match
