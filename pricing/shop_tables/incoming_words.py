"""What was understood of a sheet to import, and how sure: plain words, before anything is written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from pricing.problems import CHECK, IGNORED, LEFT_OUT, Problem, counted
from pricing.shop_tables.book_so_far import BookSoFar
from pricing.shop_tables.cells import tidy
from pricing.shop_tables.found_table import FoundTable
from pricing.shop_tables.reading import RawSheet, is_empty

NEW, ALREADY, ON_PROBLEMS = "new", "already there", "on Problems"
_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
_SAMPLES, _SPELLINGS, _EXAMPLES = 3, 5, 2


@dataclass
class SheetRead:
    """One sheet: its table and by what, its dates in words, its cells by row number and column, its clean rows and
    problems; then the new rows as they are written, the rows already there with their places, other spellings counted.
    """

    sheet: RawSheet
    found: FoundTable
    why: str
    dates: list[str]
    stood: dict[int, Mapping[str, Any]]
    clean: pd.DataFrame
    problems: list[Problem]
    new: dict[int, dict[str, Any]] = field(default_factory=dict)
    already: dict[int, str] = field(default_factory=dict)
    spelt: Counter[tuple[str, str, str]] = field(default_factory=Counter)

    @property
    def rows_in(self) -> int:
        above = sum(not all(map(is_empty, row)) for row in self.sheet.rows[: self.found.headings.row - 1])
        return above + len(self.found.rows)


def sheet_words(path: Path, one: SheetRead, book: BookSoFar) -> list[str]:
    """The summary of one sheet, in lines."""
    name = path.name if one.sheet.separator else f"{path.name}, sheet '{one.found.sheet}'"
    lines = [name, f"  Rows for {one.found.table.name}, told by {one.why}."]
    if one.sheet.separator:
        lines.append(f"  Letters: {_letters(one.sheet)}; cells separated by {_SEPARATORS[one.sheet.separator]}.")
    lines += _headings(one)
    lines += [f"  Dates in {words}." for words in one.dates]
    lines += _currency(one, book)
    lines += _spellings(one)
    lines += _titles(one)
    on_problems = one.rows_in - len(one.new) - len(one.already)
    lines.append(f"  {counted(one.rows_in, 'row')} = {len(one.new):,} new + {len(one.already):,} already there + "
                 f"{on_problems:,} on Problems.")
    taken = [met for met in one.problems if met.row in (None, one.found.headings.row) or met.row in one.new]
    refused = [met for met in one.problems if met.effect == LEFT_OUT and met.row not in one.already]
    lines += _kinds(refused, "On Problems")
    lines += _kinds([met for met in taken if met.effect == CHECK], "Taken with a doubt, please check")
    lines += _kinds([met for met in taken if met.effect == IGNORED], "Taken without a cell that could not be read")
    return [*lines, *_samples(one), ""]


def _letters(sheet: RawSheet) -> str:
    if sheet.guessed:
        return f"{sheet.code}, a guess: it gives '{sheet.example}' (if that word is wrong, save as CSV UTF-8)"
    return sheet.code


def _headings(one: SheetRead) -> list[str]:
    headings, titles = one.found.headings, one.found.titles
    met = [f"{tidy(titles[at])} = {column}" for at, column in sorted(headings.columns.items())]
    lines = [f"  Headings, in row {headings.row}: {'; '.join(met)}."]
    kept_out = [tidy(titles[at]) for at in range(len(titles)) if at not in headings.columns and tidy(titles[at])]
    aspects = [name for name in kept_out if name in one.clean]
    kept_out = [name for name in kept_out if name not in aspects]
    if aspects:
        lines.append(f"  Scores: {', '.join(aspects)}.")
    if kept_out:
        lines.append(f"  Not taken over, because no column is meant: {', '.join(kept_out)}.")
    return lines


def _currency(one: SheetRead, book: BookSoFar) -> list[str]:
    rows = one.clean[one.clean["row"].isin(one.new)]
    if "currency" not in rows or rows.empty:
        return []
    counts = [f"{currency or 'none known'} {count:,}" for currency, count in rows["currency"].value_counts().items()]
    home = book.settings.currency
    whose = f"rows that name none are in {home}" if home else "no row names any, nor do Settings"
    return [f"  Currency of the new rows: {', '.join(counts)}; {whose}."]


def _spellings(one: SheetRead) -> list[str]:
    """What was read as something else, the most frequent of each column."""
    columns: dict[str, list[str]] = {}
    for (column, text, now), count in one.spelt.most_common():
        columns.setdefault(column, []).append(f"'{text[:40]}' as {now} ({count:,})")
    lines = []
    for column, met in columns.items():
        more = f"; and {len(met) - _SPELLINGS:,} more" if len(met) > _SPELLINGS else ""
        lines.append(f"  Read in {column}: {'; '.join(met[:_SPELLINGS])}{more}.")
    return lines


def _titles(one: SheetRead) -> list[str]:
    """How many titles were read, and how many left something open."""
    titles = sum(bool(row.get("title")) for row in one.stood.values())
    doubts = [met for met in one.problems if met.code == "title_doubtful" and met.row in one.new]
    if not titles:
        return []
    columns = ", ".join(f"{column} {count:,}" for column, count in Counter(met.column for met in doubts).most_common())
    left = f"; {len({met.row for met in doubts}):,} of the new rows leave something open: {columns}" if doubts else ""
    return [f"  Titles read: {titles:,}{left}."]


def _kinds(problems: list[Problem], title: str) -> list[str]:
    """Kinds of problems, the most frequent first, with examples."""
    lines = [f"  {title}:"] if problems else []
    for code, count in Counter(met.code for met in problems).most_common():
        alike = [met for met in problems if met.code == code]
        for met in alike[:_EXAMPLES]:
            where = f"Row {met.row}, {met.column}: " if met.row else ""
            lines.append(f"    {where}{met.message} {met.remedy}")
        if count > _EXAMPLES:
            lines.append(f"    ... and {count - _EXAMPLES:,} more of this kind.")
    return lines


def _samples(one: SheetRead) -> list[str]:
    """Some new rows, from the first to the last."""
    numbers = list(one.new)
    step = max(1, (len(numbers) - 1) // max(1, _SAMPLES - 1))
    lines = []
    for number in numbers[::step][:_SAMPLES]:
        cells = [f"{column} {tidy(value)}" for column, value in one.new[number].items()
                 if column not in ("set_size", "qty") or value != 1]
        lines.append(f"  Row {number} becomes: {' · '.join(cells)}")
    return lines
