"""Clean rows as they go into the workbook: its columns, its spellings, blanks for what is not known.

What the seller or the site wrote goes into the note where the clean cells say less: titles, grades in many words, cells
read with doubt, and columns the workbook does not have.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from pricing.problems import Problem, problem
from pricing.shop_tables.book_so_far import BookSoFar
from pricing.shop_tables.cells import is_blank, tidy
from pricing.shop_tables.columns import Column, Table
from pricing.shop_tables.vocabularies import UNKNOWN, plain, spellings

LONGEST_CELL = 32_000
_COUNTS_OF_ONE = ("set_size", "qty")
_PRICED_BY = (*_COUNTS_OF_ONE, "currency")
_COUNTING = (*_COUNTS_OF_ONE, "matched")
_DECADE = re.compile(r"(?:19|20)?\d0\s?['’]?s")


@dataclass
class RowWriter:
    """Writes clean rows of one table for one workbook. `problems` of what it has no column for; `spelt` counts
    (column, as it stood, as it is written) where the two differ.
    """

    table: Table
    book: BookSoFar
    sheet: str
    problems: list[Problem] = field(default_factory=list)
    spelt: Counter[tuple[str, str, str]] = field(default_factory=Counter)

    def written(self, row: Mapping[str, Any], stood: Mapping[str, Any], doubted: set[str]) -> dict[str, Any] | None:
        """One row by the workbook's columns, None (and a problem) when it cannot stand there. `row` is the clean one,
        `stood` its cells in the file by column, `doubted` the columns a problem was told of.
        """
        has = self.book.columns[self.table.name]
        cells: dict[str, Any] = {}
        aside: list[str] = []
        for name, value in self._values(row, stood):
            if name in has:
                cells[name] = value
            elif name == "order" or name not in self.table.names:
                aside.append(f"{name} {_shown(value)}")
            elif name in _PRICED_BY:
                if value != self.book.settings.currency:
                    return self._refuse(row, "price_needs_column", name, value)
            elif name == "title":
                if plain(value) != plain(str(cells.get("type", ""))):
                    aside.append(f"title: {value}")
            elif name != "note":
                aside.append(f"written {name}: {value}" if name in _COUNTING else f"{name} {_shown(value)}")
        aside += list(self._as_it_stood(cells, stood, doubted))
        if aside and "note" in has:
            cells["note"] = "; ".join(filter(None, [cells.get("note", ""), *aside]))
        elif "note" not in has:
            self._tell_lost(row, [*aside, row.get("note", "")])
        for name, value in cells.items():
            if isinstance(value, str) and len(value) > LONGEST_CELL:
                return self._refuse(row, "text_too_long", name, value, length=len(value))
        return cells

    def _values(self, row: Mapping[str, Any], stood: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
        """(column, value) of everything the clean row says, in the order of the table; what it does not say is skipped.
        """
        for column in self.table.columns:
            if column.name in row and (column.name != "family" or not is_blank(stood.get("family"))):
                value = self._value(column, row)
                if not (value is None or value == "" or value is pd.NaT or value != value):
                    if column.name not in _COUNTS_OF_ONE or value != 1 or column.name in self._columns:
                        yield column.name, value
        own = {plain(name): name for name in self._columns}
        for name in row:
            if name not in self.table.names and name not in _WORKED_OUT and row[name] == row[name]:
                yield own.get(plain(name), name), row[name]

    @property
    def _columns(self) -> frozenset[str]:
        return self.book.columns[self.table.name]

    def _value(self, column: Column, row: Mapping[str, Any]) -> Any:
        value = row[column.name]
        if column.kind == "type":
            return row["designation"] if row.get("type_known", row["designation"] != UNKNOWN) else value
        if column.kind == "flag":
            return "yes" if value else ""
        if isinstance(value, str):
            return "" if value == UNKNOWN else self.book.spelt.get((column.name, plain(value)), value)
        return value

    def _as_it_stood(self, cells: Mapping[str, Any], stood: Mapping[str, Any], doubted: set[str]) -> Iterator[str]:
        """What stood in the cells whose clean value says less, or was read with doubt; other spellings are counted."""
        for name, cell in stood.items():
            if is_blank(cell) or name in ("title", "note", "order"):
                continue
            text, now = tidy(cell), _shown(cells.get(name, ""))
            if text == now:
                continue
            kind = self.table.column(name).kind
            if now and isinstance(cell, str) and kind in ("type", "label", "grade", "era", "channel", "test"):
                self.spelt[name, text, now] += 1
            if name in doubted or isinstance(cell, str) and _says_more(kind, text, now):
                # A note that is nothing but "matched: 2x" would be read as a count.
                yield f"written {name}: {text}" if name in _COUNTING else f"{name}: {text}"

    def _tell_lost(self, row: Mapping[str, Any], texts: Sequence[str]) -> None:
        for text in filter(None, texts):
            self.problems.append(problem("no_column_for", sheet=self.sheet, row=int(row["row"]),
                                         column=text.split(" ")[0].rstrip(":"), value=text, table=self.table.name))

    def _refuse(self, row: Mapping[str, Any], code: str, column: str, value: Any, **details: Any) -> None:
        self.problems.append(problem(code, sheet=self.sheet, row=int(row["row"]), column=column, value=value,
                                     table=self.table.name, **details))


_WORKED_OUT = ("designation", "canonical_type", "family", "type_known", "price_home", "ask_home", "sheet", "row")


def _says_more(kind: str, text: str, now: str) -> bool:
    """Whether a text says more than the clean value made of it."""
    words = plain(text)
    if kind == "type":
        return re.sub(r"\W", "", text.casefold()) != re.sub(r"\W", "", now.casefold())
    if kind == "grade":
        return words not in spellings()["grade"]
    if kind == "era":
        return not _DECADE.fullmatch(text.casefold())
    if kind == "percent":
        return re.fullmatch(r"\d+(?:[.,]\d+)?\s?%?", text) is None
    return False


def _shown(value: Any) -> str:
    if isinstance(value, dt.datetime):
        return f"{value:%Y-%m-%d}"
    return tidy(value)
