"""Which column a heading means: our names, other spellings and languages (headings.csv), and the owner's own.
"""

from __future__ import annotations

import csv
import difflib
from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib import resources
from typing import Any, NamedTuple

from pricing.problems import Problem, problem
from pricing.shop_tables.cells import is_blank, tidy
from pricing.shop_tables.columns import TABLES, Table
from pricing.shop_tables.vocabularies import plain

HEADING_ROWS = 10


class Headings(NamedTuple):
    """Headings of one sheet: `columns` position -> column name, `row` of the headings (from 1), other
    headings.
    """

    columns: dict[int, str]
    row: int
    unknown: dict[int, str]
    problems: list[Problem]


@lru_cache(maxsize=1)
def _spellings() -> tuple[list[tuple[str, str, str, int]], dict[str, str]]:
    """(table or "" for every table, plain heading, column, rank) in file order, and plain sheet name ->
    table.
    """
    headings: list[tuple[str, str, str, int]] = []
    sheets: dict[str, str] = {plain(name): name for name in TABLES}
    text = resources.files(__package__).joinpath("headings.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(text.splitlines()):
        if row["column"] == "(sheet)":
            sheets.update({plain(word): row["table"] for word in row["spellings"].split(";")})
            continue
        headings += [(row["table"], plain(word), row["column"], rank)
                     for rank, word in enumerate(row["spellings"].split(";"), 1)]
    return headings, sheets


def table_of_sheet(name: str) -> str | None:
    """The table a sheet of this name holds, None when it is none of ours."""
    return _spellings()[1].get(plain(name))


def tables_in_name(name: str) -> set[str]:
    """The tables a longer name speaks of: "sold items 2024" of Sales."""
    words = f" {plain(name.replace('.', ' '))} "
    return {table for word, table in _spellings()[1].items() if f" {word} " in words}


@lru_cache(maxsize=32)
def _known(table_name: str) -> dict[str, tuple[str, int]]:
    """Plain heading -> (column, rank) in one table: our own names, then the table's lines of the file, then
    the rest.
    """
    table = TABLES.get(table_name) or TABLES["Sales"]
    known = {plain(name): (name, 0) for name in table.names}
    lines, _ = _spellings()
    for of_table in (table_name, ""):
        for line_table, word, column, rank in lines:
            if line_table == of_table and column in table.names:
                known.setdefault(word, (column, rank))
    return known


def column_of(heading: Any, table: Table, own: Mapping[str, str] | None = None) -> tuple[str, int] | None:
    """(column name, rank) of one heading, the lower rank the surer; None when it is not known."""
    if is_blank(heading):
        return None
    text = tidy(heading)
    if text in table.names:
        return text, -1
    words = plain(text)
    if own and words in own and own[words] in table.names:
        return own[words], 0
    known = _known(table.name)
    for form in (words, words.rstrip("?%").strip(), _without_unit(words)):
        if form in known:
            return known[form]
    return None


def _without_unit(words: str) -> str:
    """A heading without a currency or unit behind it: "price eur" is price."""
    first, _, last = words.rpartition(" ")
    return (
        first.removesuffix(" in")
        if first and last in {"eur", "usd", "gbp", "chf", "euro", "%", "pct", "v", "ma", "w", "ohm"}
        else words
    )


def read_headings(row: Sequence[Any], table: Table, own: Mapping[str, str] | None = None, sheet: str = "",
                  row_number: int = 1) -> Headings:
    """What each heading of a row means. Of two headings for one column the surer stays, the other is
    reported.
    """
    best: dict[str, tuple[int, int]] = {}
    unknown: dict[int, str] = {}
    met: dict[int, str] = {}
    for position, heading in enumerate(row):
        found = column_of(heading, table, own)
        if found is None:
            if not is_blank(heading):
                unknown[position] = tidy(heading)
            continue
        name, rank = found
        met[position] = name
        if name not in best or rank < best[name][0]:
            best[name] = (rank, position)
    columns = {position: name for position, name in met.items() if best[name][1] == position}
    problems = [
        problem("double_heading", sheet=sheet, row=row_number, column=name, value=tidy(row[position]),
                kept=tidy(row[best[name][1]]))
        for position, name in met.items() if position not in columns]
    known = _known(table.name)
    for position, heading in unknown.items():
        near = difflib.get_close_matches(plain(heading), known, n=1, cutoff=0.82)
        if near and known[near[0]][0] not in best:
            problems.append(
                problem(
                    "near_heading",
                    sheet=sheet,
                    row=row_number,
                    column=heading,
                    value=heading,
                    near=known[near[0]][0],
                )
            )
    return Headings(columns, row_number, unknown, problems)


def find_headings(rows: Sequence[Sequence[Any]], table: Table, own: Mapping[str, str] | None = None,
                  sheet: str = "") -> Headings:
    """The heading row among the first ten: the one with most known headings, the first of equals."""
    best = Headings({}, 1, {}, [])
    for number, row in enumerate(rows[:HEADING_ROWS], 1):
        found = sum(column_of(cell, table, own) is not None for cell in row if isinstance(cell, str))
        if found > len(best.columns):
            one = read_headings(row, table, own, sheet, number)
            if len(one.columns) > len(best.columns):
                best = one
    if not best.columns:
        for number, row in enumerate(rows[:HEADING_ROWS], 1):
            if any(not is_blank(cell) for cell in row):
                return read_headings(row, table, own, sheet, number)
    return best
