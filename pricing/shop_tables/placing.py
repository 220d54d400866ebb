"""Which table the rows of a file belong to: as asked for, by the sheet's name, the file's name, or its headings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from pricing.shop_tables.cells import tidy
from pricing.shop_tables.columns import TABLES
from pricing.shop_tables.found_table import FoundTable, found_in, lacking
from pricing.shop_tables.headings import Headings, find_headings, table_of_sheet, tables_in_name
from pricing.shop_tables.reading import WORKBOOKS, RawSheet, filled_rows
from pricing.shop_tables.shop import CLEANERS


class NotPlaced(Exception):
    """It cannot be told which table rows belong to. The message says which tables fit, or what is missing."""


class Placed(NamedTuple):
    """A sheet whose table is known, and by what."""

    sheet: RawSheet
    found: FoundTable
    why: str


class Unplaced(NamedTuple):
    """A sheet whose table cannot be told, and why."""

    sheet: RawSheet
    why: str


class Places(NamedTuple):
    """The sheets of one file. `left_alone`: not named after a table of rows, in a workbook where others are."""

    placed: list[Placed]
    unplaced: list[Unplaced]
    left_alone: list[RawSheet]


def place(path: Path, sheets: Sequence[RawSheet], asked: str = "", own: Mapping[str, str] | None = None) -> Places:
    """The table of every sheet that holds anything. `asked` names one table: sheets named after it, else every sheet.

    NotPlaced when it can be told of none, and there is a row at all.
    """
    sheets = [sheet for sheet in sheets if filled_rows(sheet.rows, 0)]
    wanted = {sheet.name: {asked} for sheet in sheets} if asked else _named(path, sheets)
    left_alone: list[RawSheet] = []
    if path.suffix.casefold() in WORKBOOKS:
        after = [sheet for sheet in sheets if _is_rows(table_of_sheet(sheet.name), asked)] or (
            [sheet for sheet in sheets if asked in tables_in_name(sheet.name)] if asked else [])
        if after:
            left_alone = [sheet for sheet in sheets if sheet not in after
                          and (asked or len(wanted[sheet.name] & set(CLEANERS)) != 1)]
            sheets = [sheet for sheet in sheets if sheet not in left_alone]
    placed, unplaced = [], []
    for sheet in sheets:
        met = _place(sheet, wanted[sheet.name], "--table" if asked else "its name", own)
        (placed if isinstance(met, Placed) else unplaced).append(met)
    if not placed and unplaced:
        which = f"sheet '{unplaced[0].sheet.name}': " if path.suffix.casefold() in WORKBOOKS else ""
        raise NotPlaced(f"{path}: {which}{unplaced[0].why}.")
    return Places(placed, unplaced, left_alone)


def _is_rows(table: str | None, asked: str) -> bool:
    return table == asked if asked else table in CLEANERS


def _named(path: Path, sheets: Sequence[RawSheet]) -> dict[str, set[str]]:
    """The tables that the name of each sheet speaks of; of a file with one sheet, failing that, the file's name."""
    wanted = {}
    for sheet in sheets:
        exact = table_of_sheet(sheet.name)
        wanted[sheet.name] = {exact} if exact else tables_in_name(sheet.name)
        if len(sheets) == 1 and not wanted[sheet.name]:
            wanted[sheet.name] = tables_in_name(path.stem)
    return wanted


def _place(sheet: RawSheet, wanted: set[str], why: str, own: Mapping[str, str] | None) -> Placed | Unplaced:
    """By the name where that speaks of one table, else by the headings."""
    met = {name: find_headings(sheet.rows, TABLES[name], own, sheet.name) for name in CLEANERS}
    fitting = {name: len(one.columns) for name, one in met.items() if not lacking(one, TABLES[name])}
    if len(wanted) == 1:
        name = next(iter(wanted))
        if name not in met:
            return Unplaced(sheet, f"{name} is not imported, copy its rows by hand")
        if name in fitting:
            return _placed(sheet, name, met[name], why)
        others = f"; they fit {_listed(sorted(fitting))}, which --table can say" if fitting else ""
        needed = " or ".join(lacking(met[name], TABLES[name]))
        return Unplaced(sheet, f"for {name} no heading means {needed} ({_titles(sheet, met[name])}){others}")
    most = max(fitting.values(), default=0)
    best = [name for name in fitting if fitting[name] == most]
    if len(best) == 1:
        others = sorted(set(fitting) - set(best))
        return _placed(sheet, best[0], met[best[0]], "its headings, which fit " + (
            f"{_listed(others)} less well" if others else "no other table"))
    if best:
        return Unplaced(sheet, f"the headings ({_titles(sheet, met[best[0]])}) fit {_listed(best)} alike; say which "
                        "with --table")
    nearest = min(met, key=lambda name: (len(lacking(met[name], TABLES[name])), -len(met[name].columns)))
    needed = " and ".join(lacking(met[nearest], TABLES[nearest]))
    return Unplaced(sheet, f"the headings fit no table ({_titles(sheet, met[nearest])}). The nearest is {nearest}, "
                    f"which needs one that means {needed}. Rename the heading, or add a row to the Settings of the "
                    "workbook such as 'heading: Preis' with the column it means")


def _placed(sheet: RawSheet, name: str, headings: Headings, why: str) -> Placed:
    return Placed(sheet, found_in(sheet, TABLES[name], headings), why)


def _titles(sheet: RawSheet, headings: Headings) -> str:
    met = [tidy(title) for title in sheet.rows[headings.row - 1] if tidy(title)]
    return f"row {headings.row}: {', '.join(met)[:300] or 'blank'}"


def _listed(names: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
