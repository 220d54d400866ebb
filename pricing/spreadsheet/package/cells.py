"""The rows of a result sheet: ours new, the owner's where they were."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from pricing.spreadsheet.package.areas import Area, Areas, around, letters, number
from pricing.spreadsheet.package.beside import Beside, SharedTexts
from pricing.spreadsheet.package.book import NotKept
from pricing.spreadsheet.package.markup import attributes, with_attributes
from pricing.spreadsheet.package.styles import StyleMap
from pricing.spreadsheet.package.tables import Match

_ROW = re.compile(rb"<row\b([^>]*?)(?:/>|>(.*?)</row\s*>)", re.DOTALL)
_CELL = re.compile(rb"<c\b([^>]*?)(?:/>|>(.*?)</c\s*>)", re.DOTALL)
_PLACE = re.compile(rb"\sr=[\"']([A-Z]{1,3})(\d{1,7})[\"']")
_STYLE = re.compile(rb"\ss=[\"'](\d+)[\"']")
_NUMBERS = {letters(column): column for column in range(1, 703)}


@dataclass
class Row:
    """A row's start tag without its number, and its cells by column."""

    tag: bytes
    cells: dict[int, bytes] = field(default_factory=dict)


def rows_of(sheet_data: bytes) -> Iterator[tuple[int, bytes, list[tuple[int, bytes, bool]]]]:
    """(row, start tag, cells) of every row; a cell is (column, element, whether anything is in it)."""
    for row in _ROW.finditer(sheet_data):
        tag = b"<row" + row[1].rstrip() + b">"
        at = attributes(tag).get("r")
        cells = []
        for cell in _CELL.finditer(row[2] or b""):
            place = _PLACE.search(cell[1])
            if place is None:
                raise NotKept("a sheet of ours was saved with cells that name no address. Save it once in your "
                              "spreadsheet program.")
            at = at or place[2].decode()
            column = place[1].decode()
            cells.append((_NUMBERS.get(column) or number(column), cell.group(), bool(cell[2])))
        if at is None:
            raise NotKept("a sheet of ours was saved with rows that have no number. Save it once in your spreadsheet "
                          "program.")
        yield int(at), tag, cells


def merged_rows(old: bytes, fresh: bytes, ours: Areas, new: Areas, tables: Sequence[Match], styles: StyleMap,
                shared: SharedTexts, sheet: str) -> tuple[bytes, Area | None, list[str]]:
    """The new sheetData element, the area of its cells, and what the owner should hear.

    The owner's cells (those outside `ours`) stay where they are; those beside a table go with their row, rows of totals
    stay below it. NotKept when one of them stands where a cell of ours must go."""
    seen = _Looks(tables, styles, shared)
    rows: dict[int, Row] = {}
    typed: dict[tuple[int, int], bytes] = {}
    beside = [Beside(match, shared) for match in tables]
    listed = {row for match in tables for row in range(match.old.area.top, match.old.area.bottom + 1)}
    for at, tag, cells in rows_of(old):
        if ours.has_row(at):
            tag = with_attributes(tag, ht=None, customHeight=None)
        if at in listed:
            tag = with_attributes(tag, hidden=None)
        rows[at] = Row(with_attributes(tag, spans=None))
        for column, cell, filled in cells:
            if ours.holds(at, column):
                seen.note(at, column, cell)
                for one in beside:
                    one.note_old(at, column, cell)
            elif filled:
                typed[at, column] = cell
            elif not new.holds(at, column):
                rows[at].cells[column] = cell
    made: dict[tuple[int, int], bytes] = {}
    for at, tag, cells in rows_of(fresh):
        row = rows.setdefault(at, Row(f'<row r="{at}">'.encode()))
        met = attributes(tag)
        if "ht" in met:
            row.tag = with_attributes(row.tag, ht=met["ht"], customHeight="1")
        for column, cell, filled in cells:
            if filled or new.holds(at, column):
                made[at, column] = cell
                for one in beside:
                    one.note_new(at, column, cell)
    told = []
    for one in beside:
        typed, words = one.followed(typed, new, sheet)
        told += words
    clash = next((place for place in sorted(typed) if new.holds(*place)), None)
    if clash is not None:
        raise NotKept(f"on the sheet '{sheet}' you typed something in {letters(clash[1])}{clash[0]}, where the new "
                      "results need room. Move it to the right of the tables, or further down, and refresh again.")
    for (at, column), cell in made.items():
        rows[at].cells[column] = seen.restyle(at, column, cell)
    for (at, column), cell in typed.items():
        rows.setdefault(at, Row(f'<row r="{at}">'.encode())).cells[column] = cell
    return *_written(rows), told


def _written(rows: dict[int, Row]) -> tuple[bytes, Area | None]:
    written, reach = bytearray(b"<sheetData>"), None
    for at in sorted(rows):
        row = rows[at]
        if row.cells:
            written += row.tag
            for column in sorted(row.cells):
                written += row.cells[column]
            written += b"</row>"
            here = Area(at, min(row.cells), at, max(row.cells))
            reach = here if reach is None else around([reach, here])
        elif len(attributes(row.tag)) > 1:
            written += row.tag[:-1] + b"/>"
    return bytes(written + b"</sheetData>"), reach


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
        self._given: dict[tuple[str, str, bool, int], int] = {}

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

    def restyle(self, row: int, column: int, cell: bytes) -> bytes:
        """A fresh cell with its style index in the owner's file."""
        end = cell.find(b">")
        met = _STYLE.search(cell, 0, end)
        fresh, match = int(met[1]) if met else 0, self._new.get(row)
        area = match.new.area if match else None
        if match is not None and area.left <= column <= area.right:
            key = (match.new.name, match.new.headings[column - area.left], row == area.top, fresh)
            if key not in self._given:
                self._given[key] = self._of_column(*key)
            style = self._given[key]
        else:
            own = self._texts.get(self._shared.text_of(cell)) if self._texts else None
            style = self._styles.cell(fresh) if own is None else own
        written = b' s="%d"' % style
        return cell[: met.start()] + written + cell[met.end():] if met else cell[:2] + written + cell[2:]

    def _of_column(self, table: str, heading: str, top: bool, fresh: int) -> int:
        seen = self._columns.get((table, heading, top))
        usual = seen.most_common(1)[0][0] if seen else 0
        return self._styles.cell(fresh) if self._styles.is_ours(usual) else usual
