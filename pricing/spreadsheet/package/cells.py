"""The rows of a result sheet: ours new, the owner's where they were."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from pricing.spreadsheet.package.areas import Area, Areas, around, letters, number
from pricing.spreadsheet.package.beside import Beside, SharedTexts, in_the_way
from pricing.spreadsheet.package.book import NotKept
from pricing.spreadsheet.package.markup import with_attributes
from pricing.spreadsheet.package.styles import StyleMap
from pricing.spreadsheet.package.tables import Match

_ROW = re.compile(rb"<row\b([^>]*?)(?:/>|>(.*?)</row\s*>)", re.DOTALL)
_CELL = re.compile(rb"<c\b([^>]*?)(?:/>|>(.*?)</c\s*>)", re.DOTALL)
_PLACE = re.compile(rb"\sr=[\"']([A-Z]{1,3})(\d{1,7})[\"']")
_ROW_NUMBER = re.compile(rb"\sr=[\"'](\d{1,7})[\"']")
_HEIGHT = re.compile(rb"\sht=[\"']([^\"']*)[\"']")
_SPANS = re.compile(rb"\sspans=[\"'][^\"']*[\"']")
_OWN_HEIGHT = re.compile(rb"\s(?:ht|customHeight)=[\"'][^\"']*[\"']")
_HIDDEN = re.compile(rb"\shidden=[\"'][^\"']*[\"']")
_STYLE = re.compile(rb"\ss=[\"'](\d+)[\"']")
_FRESH_CELL = re.compile(rb"<c r=\"([A-Z]{1,3})\d+\"( s=\"(\d+)\")?")  # as openpyxl writes it
_ENOUGH = 40  # rows of a table that tell how its columns look
_NUMBERS = {letters(column).encode(): column for column in range(1, 703)}


@dataclass
class Row:
    """A row's start tag, its cells as text, the first and last of their columns; `start` is where it begins in the text
    of all rows."""

    number: int
    tag: bytes
    inner: bytes
    first: int
    last: int
    start: int

    @property
    def cells(self) -> list[tuple[int, bytes, bool]]:
        """(column, element, whether anything is in it) of every cell."""
        found = []
        for cell in _CELL.finditer(self.inner):
            found.append((_column(cell[1]), cell.group(), bool(cell[2])))
        return found


def rows_of(sheet_data: bytes) -> Iterator[Row]:
    """Every row. NotKept where rows or cells do not say where they are."""
    for row in _ROW.finditer(sheet_data):
        number, inner = _ROW_NUMBER.search(row[1]), row[2] or b""
        if number is None:
            raise _without_addresses()
        first = _column(inner) if b"<c" in inner else 0
        last = _column(inner[inner.rfind(b"<c "):]) if first else 0
        yield Row(int(number[1]), b"<row" + row[1].rstrip() + b">", inner, first, last, row.start())


def _column(text: bytes) -> int:
    place = _PLACE.search(text)
    if place is None:
        raise _without_addresses()
    return _NUMBERS.get(place[1]) or number(place[1].decode())


def _without_addresses() -> NotKept:
    return NotKept("a sheet was saved with cells that name no address. Save the file once in your spreadsheet "
                   "program.")


def merged_rows(old: bytes, fresh: bytes, ours: Areas, new: Areas, tables: Sequence[Match], styles: StyleMap,
                shared: SharedTexts, hers: Sequence[Area], sheet: str) -> tuple[bytes, Area | None, list[str]]:
    """The new sheetData element, the area of its cells, and what the owner should hear.

    The owner's cells (those outside `ours`) stay where they are; those beside a table go with their row, rows of totals
    stay below it. What he typed into cells of ours that are there for typing stays too. NotKept when one of his stands
    where a cell of ours must go."""
    seen = _Looks(tables, styles, shared)
    beside = [Beside(match, shared, hers) for match in tables]
    listed = {row for match in tables for row in range(match.old.area.top, match.old.area.bottom + 1)}
    known = {row for match in tables for row in range(match.old.area.top + _ENOUGH, match.old.body.bottom + 1)}
    tags: dict[int, bytes] = {}
    typed: dict[tuple[int, int], bytes] = {}
    blank: dict[int, dict[int, bytes]] = {}
    answers: dict[int, dict[int, bytes]] = {}
    for row in rows_of(old):
        at, tag = row.number, _SPANS.sub(b"", row.tag)
        if ours.has_row(at):
            tag = _OWN_HEIGHT.sub(b"", tag)
        tags[at] = _HIDDEN.sub(b"", tag) if at in listed else tag
        if at in known and ours.one_span(at, row.first, row.last):
            continue
        for column, cell, filled in row.cells:
            if ours.holds(at, column):
                seen.note(at, column, cell)
                if at not in listed:
                    answers.setdefault(at, {})[column] = cell
                for one in beside:
                    one.note(at, column, cell)
            elif filled:
                typed[at, column] = cell
            elif not new.holds(at, column):
                blank.setdefault(at, {})[column] = cell
    told, moved = [], {}
    lowest = max([*tags, *(row for row, _ in typed), *(area.bottom for area in (*ours.all, *new.all))], default=0)
    below = itertools.count(lowest + 2)
    for one in beside:
        typed, along, words = one.followed(typed, below, sheet, lambda: rows_of(fresh))
        double = sorted(along.keys() & moved.keys())
        if double:
            raise in_the_way(sheet, *double[0])
        moved |= along
        told += words
    double = sorted(moved.keys() & typed.keys())
    if double:
        raise in_the_way(sheet, *double[0])
    typed |= moved
    clash = next((place for place in sorted(typed) if new.holds(*place)), None)
    if clash is not None:
        raise NotKept(f"on the sheet '{sheet}' you typed something in {letters(clash[1])}{clash[0]}, where the new "
                      "results need room. Move it to the right of the tables, or further down, and refresh again.")
    for (at, column), cell in typed.items():
        blank.setdefault(at, {})[column] = cell
    made = {row.number: row for row in rows_of(fresh)}
    written, reach = bytearray(b"<sheetData>"), None
    for at in sorted({*tags, *made, *blank}):
        row, tag = made.get(at), tags.get(at) or f'<row r="{at}">'.encode()
        height = _HEIGHT.search(row.tag) if row else None
        if height is not None:
            tag = with_attributes(tag, ht=height[1].decode(), customHeight="1")
        cells = blank.get(at, {})
        again = seen.typed_again(row, answers[at]) if row is not None and at in answers else {}
        if row is not None and (cells or again):
            cells |= {column: seen.restyled(at, cell) for column, cell, filled in row.cells
                      if column not in again and (filled or column not in cells)} | again
        first, last = (min(cells), max(cells)) if cells else (row.first, row.last) if row else (0, 0)
        if first:
            written += tag
            written += b"".join(cells[column] for column in sorted(cells)) if cells else seen.restyled(at, row.inner)
            written += b"</row>"
            here = Area(at, first, at, last)
            reach = here if reach is None else around([reach, here])
        elif tag.count(b"=") > 1:  # says more than its number
            written += tag[:-1] + b"/>"
    return bytes(written + b"</sheetData>"), reach, told


class _Looks:
    """The style indices new cells get: the owner's where he restyled a column of a table or a text that is still there,
    elsewhere ours."""

    def __init__(self, tables: Sequence[Match], styles: StyleMap, shared: SharedTexts) -> None:
        self._styles, self._shared = styles, shared
        self._old = {row: match for match in tables
                     for row in range(match.old.body.top, match.old.body.bottom + 1)}
        self._new = {row: match for match in tables
                     for row in range(match.new.area.top, match.new.area.bottom + 1)}
        self._columns: dict[tuple[str, str, bool], Counter] = {}
        self._texts: dict[bytes, int] = {}
        self._given: dict[tuple, bytes] = {}

    def note(self, row: int, column: int, cell: bytes) -> None:
        """Remember an old cell of ours."""
        met = _STYLE.search(cell, 0, cell.find(b">"))
        style, match = int(met[1]) if met else 0, self._old.get(row)
        area = match.old.area if match else None
        if match is not None and area.left <= column < area.left + len(match.old.headings):
            key = (match.new.name, match.old.headings[column - area.left], row == area.top)
            self._columns.setdefault(key, Counter())[style] += 1
        elif not self._styles.is_ours(style):
            text = self._shared.text_of(cell)
            if text:
                self._texts[text] = style

    def restyled(self, row: int, cells: bytes) -> bytes:
        """Fresh cells of a row with the style indices they have in the owner's file."""
        match = self._new.get(row)
        area = match.new.area if match else None
        key = (match.new.name, row == area.top) if match else None

        def styled(met: re.Match[bytes]) -> bytes:
            column, fresh = met[1], int(met[3] or 0)
            known = self._given.get((key, column, fresh))
            if known is None:
                known = self._style(match, key, _NUMBERS.get(column) or number(column.decode()), fresh)
                self._given[key, column, fresh] = known
            return _put(met, known)

        if match is None and self._texts:
            return b"".join(self._by_text(cell.group(), styled) for cell in _CELL.finditer(cells))
        return _FRESH_CELL.sub(styled, cells)

    def typed_again(self, row: Row, old: dict[int, bytes]) -> dict[int, bytes]:
        """The old cells of a row where the fresh ones are for typing in."""
        if not self._styles.for_typing.intersection(_STYLE.findall(row.inner)):
            return {}
        return {column: old[column] for column, cell, _ in row.cells if column in old
                and (met := _STYLE.search(cell, 0, cell.find(b">"))) and met[1] in self._styles.for_typing}

    def _by_text(self, cell: bytes, styled: Callable[[re.Match[bytes]], bytes]) -> bytes:
        own = self._texts.get(self._shared.text_of(cell))
        if own is None:
            return _FRESH_CELL.sub(styled, cell, count=1)
        return _FRESH_CELL.sub(lambda met: _put(met, b' s="%d"' % own), cell, count=1)

    def _style(self, match: Match | None, key: tuple[str, bool] | None, column: int, fresh: int) -> bytes:
        style = self._styles.cell(fresh)
        if match is not None and match.new.area.left <= column <= match.new.area.right:
            heading = match.new.headings[column - match.new.area.left]
            style = self._of_column(key[0], heading, key[1], fresh)
        return b' s="%d"' % style

    def _of_column(self, table: str, heading: str, top: bool, fresh: int) -> int:
        seen = self._columns.get((table, heading, top))
        usual = seen.most_common(1)[0][0] if seen else 0
        return self._styles.cell(fresh) if self._styles.is_ours(usual) else usual


def _put(cell: re.Match[bytes], style: bytes) -> bytes:
    return cell.group()[: cell.start(2) - cell.start()] + style if cell[2] else cell.group() + style
