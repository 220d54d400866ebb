"""Rectangles of cells: which are ours, and where a table's rows stood and stand."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import NamedTuple

_CELL = r"\$?([A-Z]{1,3})\$?(\d{1,7})"
_AREA = re.compile(rf"^{_CELL}(?::{_CELL})?$")
_LONGEST_NAME = 8_192  # characters of a formula (Excel specifications and limits)


class Area(NamedTuple):
    """Rows and columns from 1, ends included."""

    top: int
    left: int
    bottom: int
    right: int

    @classmethod
    def of(cls, text: str) -> Area:
        """Area of "B3:D6" or "B3". ValueError for anything else."""
        met = _AREA.match(text)
        if met is None:
            raise ValueError(f"{text} is no range of cells")
        left, top, right, bottom = met.groups()
        rows, columns = sorted((int(top), int(bottom or top))), sorted((number(left), number(right or left)))
        return cls(rows[0], columns[0], rows[1], columns[1])

    def holds(self, row: int, column: int) -> bool:
        return self.top <= row <= self.bottom and self.left <= column <= self.right

    def within(self, other: Area) -> bool:
        return other.holds(self.top, self.left) and other.holds(self.bottom, self.right)

    def meets(self, other: Area) -> bool:
        return (self.top <= other.bottom and other.top <= self.bottom
                and self.left <= other.right and other.left <= self.right)

    def __str__(self) -> str:
        first, last = f"{letters(self.left)}{self.top}", f"{letters(self.right)}{self.bottom}"
        return first if first == last else f"{first}:{last}"

    @property
    def absolute(self) -> str:
        return f"${letters(self.left)}${self.top}:${letters(self.right)}${self.bottom}"


class Areas:
    """Several rectangles; quick at telling whether a cell is in one."""

    def __init__(self, areas: Iterable[Area]) -> None:
        self.all = tuple(areas)
        self._rows: dict[int, list[tuple[int, int]]] = {}
        for area in self.all:
            for row in range(area.top, area.bottom + 1):
                self._rows.setdefault(row, []).append((area.left, area.right))

    def holds(self, row: int, column: int) -> bool:
        return any(left <= column <= right for left, right in self._rows.get(row, ()))

    def one_span(self, row: int, first: int, last: int) -> bool:
        """Whether all cells from column `first` to `last` of a row are in one of the rectangles."""
        return any(left <= first and last <= right for left, right in self._rows.get(row, ()))

    def has_row(self, row: int) -> bool:
        return row in self._rows

    def meets(self, area: Area) -> bool:
        return any(one.meets(area) for one in self.all)

    def hold(self, area: Area) -> bool:
        """Whether every cell of `area` is in one of the rectangles."""
        return all(self.holds(row, column) for row in range(area.top, area.bottom + 1)
                   for column in range(area.left, area.right + 1))

    def reference(self, sheet: str) -> str:
        """As a defined name refers to them. ValueError for more than a name can hold: the sheet is too scattered to be
        told from what its owner types between."""
        name = sheet_reference(sheet)
        text = ",".join(f"{name}!{area.absolute}" for area in self.all)
        if len(text) > _LONGEST_NAME:
            raise ValueError(f"the sheet {sheet} has {len(self.all)} separate blocks of cells, too many for one name")
        return text


def areas_of(cells: Iterable[tuple[int, int]], blocks: Sequence[Area]) -> Areas:
    """The rectangles that cover `cells` and `blocks` and nothing else: runs of columns, equal ones below each other
    joined."""
    rows: dict[int, set[int]] = {}
    for row, column in cells:
        rows.setdefault(row, set()).add(column)
    for block in blocks:
        for row in range(block.top, block.bottom + 1):
            rows.setdefault(row, set()).update(range(block.left, block.right + 1))
    done, growing = [], {}
    for row in sorted(rows):
        runs, met = [], sorted(rows[row])
        for column in met:
            if runs and runs[-1][1] == column - 1:
                runs[-1][1] = column
            else:
                runs.append([column, column])
        spans = {(left, right) for left, right in runs}
        for span in list(growing):
            if span not in spans or growing[span][1] != row - 1:
                top, bottom = growing.pop(span)
                done.append(Area(top, span[0], bottom, span[1]))
        for span in spans:
            growing[span] = (growing[span][0] if span in growing else row, row)
    done += [Area(top, left, bottom, right) for (left, right), (top, bottom) in growing.items()]
    return Areas(sorted(done))


def around(areas: Sequence[Area]) -> Area:
    """The smallest rectangle that holds all."""
    return Area(min(area.top for area in areas), min(area.left for area in areas),
                max(area.bottom for area in areas), max(area.right for area in areas))


def letters(column: int) -> str:
    """A column's letters; A is 1."""
    text = ""
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text


def number(text: str) -> int:
    """A column's number; A is 1."""
    result = 0
    for letter in text:
        result = result * 26 + ord(letter) - 64
    return result


def sheet_reference(name: str) -> str:
    """A sheet's name as references have it, always quoted."""
    return "'" + name.replace("'", "''") + "'"


_SHEET = r"(?:'((?:[^']|'')+)'|([^\s'!,:()$]+))"
_FULL = re.compile(rf"{_SHEET}!(\$?[A-Z]{{1,3}}\$?\d{{1,7}}(?::\$?[A-Z]{{1,3}}\$?\d{{1,7}})?)")


def sheet_areas(reference: str) -> list[tuple[str, Area]]:
    """(sheet, area) of every range a reference such as "'Price list'!$A$1:$Y$9,'Price list'!$A$12" names."""
    return [((quoted or bare).replace("''", "'"), Area.of(area)) for quoted, bare, area in _FULL.findall(reference)]


class Move(NamedTuple):
    """A table of ours: where its body and heading stood, where they stand now."""

    old: Area
    new: Area

    def area(self, area: Area) -> Area | None:
        """Where an area over whole stretches of the old table stands now: ends at its last row stay there; None when
        the area is not of this table."""
        if not (self.old.left <= area.left and area.right <= self.old.right
                and self.old.top <= area.top <= self.old.bottom):
            return None
        shift = self.new.top - self.old.top
        bottom = self.new.bottom if area.bottom == self.old.bottom else area.bottom + shift
        top = area.top + shift
        return Area(min(top, max(bottom, self.new.top)), area.left, max(top, bottom), area.right)


_RELATIVE = re.compile(r"(\"(?:[^\"]|\"\")*\")|(?<![\w!'.])(\$?[A-Z]{1,3}\$?)(\d{1,7})(?![\w(!.])")


def shifted(formula: str, move: Move) -> str:
    """A rule's formula with its references to the old table's rows moved along."""
    shift = move.new.top - move.old.top

    def moved(met: re.Match[str]) -> str:
        if met[1] or not move.old.top <= int(met[3]) <= move.old.bottom:
            return met.group()
        return f"{met[2]}{int(met[3]) + shift}"

    return _RELATIVE.sub(moved, formula) if shift else formula
