"""What an owner typed beside a table of ours goes with its row when the rows change order."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from pricing.spreadsheet.package.areas import Area, letters, shifted
from pricing.spreadsheet.package.book import NotKept
from pricing.spreadsheet.package.markup import plain
from pricing.spreadsheet.package.tables import Match

if TYPE_CHECKING:
    from pricing.spreadsheet.package.cells import Row

# Headings that tell the rows of a table of ours apart where they stand among its first columns; the first there is.
KEYS = ("sku", "code", "offer", "lot", "item", "family")
_FIRST = 3
_SHARED = re.compile(rb"<si\b[^>]*?(?:/>|>.*?</si\s*>)", re.DOTALL)
_TEXT = re.compile(rb"<t\b[^>]*>(.*?)</t\s*>", re.DOTALL)
_VALUE = re.compile(rb"<v>([^<]*)</v>")
_FORMULA = re.compile(rb"<f>([^<]*)</f>")
Cells = dict[tuple[int, int], bytes]
_PLACE = re.compile(rb"\sr=[\"'][A-Z]{1,3}\d{1,7}[\"']")


class SharedTexts:
    """Texts of cells, looked up in the workbook's list of shared texts when first needed."""

    def __init__(self, read: Callable[[], bytes]) -> None:
        self._read = read
        self._list: list[bytes] | None = None

    def text_of(self, cell: bytes) -> bytes:
        """Text of a cell that holds one, without formats; nothing for numbers and formulas."""
        kind = re.search(rb"\st=[\"'](\w+)[\"']", cell[: cell.find(b">")])
        if kind is None or kind[1] not in (b"s", b"inlineStr"):
            return b""
        if kind[1] == b"inlineStr":
            return b"".join(_TEXT.findall(cell))
        at = re.search(rb"<v>(\d+)</v>", cell)
        if self._list is None:
            self._list = [b"".join(_TEXT.findall(one)) for one in _SHARED.findall(self._read())]
        return self._list[int(at[1])] if at and int(at[1]) < len(self._list) else b""


class Beside:
    """The owner's cells right of one table, without a blank column between, and in its row of totals. `hers`: tables of
    the owner's own, whose cells stay."""

    def __init__(self, match: Match, shared: SharedTexts, hers: Sequence[Area]) -> None:
        self._match, self._shared, self._hers = match, shared, hers
        both = set(match.old.headings[:_FIRST]) & set(match.new.headings[:_FIRST])
        heading = next((one for one in KEYS if one in both), None)
        self._old_column = match.old.area.left + match.old.headings.index(heading) if heading else 0
        self._new_column = match.new.area.left + match.new.headings.index(heading) if heading else 0
        self._old: dict[int, bytes] = {}

    def note(self, row: int, column: int, cell: bytes) -> None:
        """Remember what tells an old row apart."""
        if column == self._old_column and self._match.old.body.top < row <= self._match.old.body.bottom:
            self._old[row] = self._key(cell)

    def _last_column(self, typed: Cells) -> int:
        area = self._match.old.area
        used = {column for row, column in typed if area.top <= row <= area.bottom}
        last = area.right
        while last + 1 in used and not any(one.meets(area._replace(right=last + 1)) for one in self._hers):
            last += 1
        return last

    def _new_rows(self, fresh: Iterable[Row]) -> dict[bytes, list[int]]:
        area, found = self._match.new.area, {}
        for row in fresh:
            if area.top < row.number <= area.bottom:
                for column, cell, _ in row.cells:
                    if column == self._new_column:
                        found.setdefault(self._key(cell), []).append(row.number)
        return found

    def followed(self, typed: Cells, below: Iterator[int], sheet: str,
                 fresh: Callable[[], Iterable[Row]]) -> tuple[Cells, Cells, list[str]]:
        """The owner's cells that stay, those that move at their new places, and what to tell him.

        What he typed goes with its row; formulas stay, as they reckon with the row they are in. A note whose row is
        gone goes to the next row of `below`, which has nothing in it."""
        match, moved, told, left = self._match, {}, [], {}
        edge, shift = match.old.area.right - match.own, match.new.area.top - match.old.area.top
        last = self._last_column(typed)
        beside = any(edge < column <= last and row in self._old for row, column in typed)
        new_rows = self._new_rows(fresh()) if beside else {}
        for (row, column), cell in typed.items():
            in_table = edge < column <= match.old.area.right and match.old.area.top <= row <= match.old.body.bottom
            key = self._old.get(row) if edge < column <= last and b"<f" not in cell else None
            goals = new_rows.get(key, [])
            if match.old.totals and row == match.old.area.bottom and (
                    match.old.area.left <= column <= match.old.area.right):
                goal = match.area.bottom
            elif key is not None and len(goals) < 2:
                goal = goals[0] if goals else next(below)
                if not goals:
                    told.append(f"On the sheet '{sheet}' the row of {key.decode()} is gone; what you typed beside it, "
                                f"in {letters(column)}{row}, stands in {letters(column)}{goal} now.")
            elif in_table:
                goal, cell = row + shift, self._shifted(cell, sheet)
            else:
                left[row, column] = cell
                continue
            if (goal, column) in moved:
                raise in_the_way(sheet, goal, column)
            moved[goal, column] = _PLACE.sub(f' r="{letters(column)}{goal}"'.encode(), cell, count=1)
        return left, moved, told

    def _shifted(self, cell: bytes, sheet: str) -> bytes:
        """A cell of the owner's own column of a table that moved down or up."""
        if self._match.new.area.top == self._match.old.area.top or b"<f" not in cell:
            return cell
        met = _FORMULA.search(cell)
        if met is None:
            raise NotKept(f"on the sheet '{sheet}' the table {self._match.old.name} moves, and formulas of yours in it "
                          "are stored in a way that cannot be moved. Move them out of the table and refresh again.")
        formula = shifted(plain(met[1]), self._match.move)
        return cell[: met.start(1)] + escape(formula).encode() + cell[met.end(1):]

    def _key(self, cell: bytes) -> bytes:
        value = _VALUE.search(cell)
        return self._shared.text_of(cell) or (value[1] if value else b"")


def in_the_way(sheet: str, row: int, column: int) -> NotKept:
    """Two cells of the owner's would have to stand in one place."""
    return NotKept(f"on the sheet '{sheet}' two things you typed beside a table would have to stand in "
                   f"{letters(column)}{row}. Put notes and formulas in columns of their own, one note a row, and "
                   "refresh again.")
