"""Charts of a result sheet: named by the table they draw, so that they are known again; their ranges renewed.

Size, place and look of a chart are the owner's once it stands in his file. A chart whose number of series changes with
the results is drawn anew.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pricing.spreadsheet.package.areas import letters, sheet_areas
from pricing.spreadsheet.package.book import Package
from pricing.spreadsheet.package.markup import (
    Markup,
    attributes,
    elements_named,
    plain,
    start_tag,
    with_attributes,
)
from pricing.spreadsheet.package.tables import tables_of

_NAME = re.compile(r"^Result chart (.+) \(([A-Z]+\d+)\)$")
_RANGE = re.compile(rb"(<(?:[\w.-]+:)?f>)([^<]*)(</(?:[\w.-]+:)?f>)")
_CACHE = re.compile(rb"<((?:[\w.-]+:)?(?:num|str|multiLvlStr)Cache)\b.*?</\1>", re.DOTALL)
_SERIES = re.compile(rb"<(?:[\w.-]+:)?ser>")
_CHART_ID = re.compile(rb"<(?:[\w.-]+:)?chart\b[^>]*?\s[\w.-]+:id=[\"']([^\"']+)[\"']")


@dataclass
class Anchor:
    """A chart in a drawing: what it draws, the anchor element, its chart part and that part's relationship."""

    key: str
    placed: str
    element: bytes
    part: str
    relation: str


def name_charts(book: Package) -> None:
    """Name every chart of a fresh workbook after the table it draws and the cell it is placed at."""
    tables = {sheet: tables_of(book, part) for sheet, part in book.sheets.items()}
    for sheet, part in book.sheets.items():
        where = next((one.part for one in book.relations_of(part) if one.kind == "drawing"), None)
        if where is None:
            continue
        charts = {relation.id: relation.part for relation in book.relations_of(where)}
        drawing, taken = Markup(book.read(where)), set()
        for child in drawing.children:
            met = _CHART_ID.search(child[1]) if child[0] else None
            if met is None:
                continue
            first = _RANGE.search(book.read(charts[met[1].decode()]))
            areas = sheet_areas(plain(first[2])) if first else []
            name = next((table.name for named, area in areas for table in tables.get(named, ())
                         if area.within(table.area)), sheet)
            number, key = 1, name
            while key in taken:
                number += 1
                key = f"{name} {number}"
            taken.add(key)
            child[1] = _renamed(child[1], f"Result chart {key} ({_placed(child[1])})")
        book.changed[where] = bytes(drawing)


def anchors_of(book: Package, drawing: str | None) -> dict[str, Anchor]:
    """The charts of ours in a drawing part, by what they draw."""
    if drawing is None:
        return {}
    parts = {relation.id: relation.part for relation in book.relations_of(drawing)}
    found = {}
    for element in Markup(book.read(drawing)).items():
        met = _CHART_ID.search(element)
        name = _NAME.match(attributes(next(elements_named(element, "cNvPr"), b"<a/>")).get("name", ""))
        if met is not None and name is not None and met[1].decode() in parts:
            relation = met[1].decode()
            found.setdefault(name[1], Anchor(name[1], name[2], element, parts[relation], relation))
    return found


def with_ranges(old: bytes, fresh: bytes) -> bytes | None:
    """The owner's chart with the ranges of the fresh one and no kept values; None where they do not correspond."""
    ranges = [met[2] for met in _RANGE.finditer(fresh)]
    if len(_SERIES.findall(old)) != len(_SERIES.findall(fresh)) or len(_RANGE.findall(old)) != len(ranges):
        return None
    left = iter(ranges)
    return _CACHE.sub(b"", _RANGE.sub(lambda met: met[1] + next(left) + met[3], old))


def moved_anchor(old: Anchor, fresh: Anchor) -> bytes:
    """The owner's anchor: at the fresh place where he had left the chart where we put it, else where he put it."""
    element = _renamed(old.element, f"Result chart {fresh.key} ({fresh.placed})")
    if _placed(old.element) != old.placed:
        return element
    start, goal = _corner(old.element), _corner(fresh.element)
    return re.sub(rb"(<((?:[\w.-]+:)?row)>)(\d+)(</\2>)",
                  lambda met: b"%s%d%s" % (met[1], max(int(met[3]) + goal[0] - start[0], 0), met[4]), element)


def _corner(anchor: bytes) -> tuple[int, int]:
    row, column = (re.search(rb"<(?:[\w.-]+:)?%s>(\d+)<" % name, anchor) for name in (b"row", b"col"))
    return (int(row[1]), int(column[1])) if row and column else (0, 0)


def _placed(anchor: bytes) -> str:
    row, column = _corner(anchor)
    return f"{letters(column + 1)}{row + 1}"


def _renamed(anchor: bytes, name: str) -> bytes:
    about = next(elements_named(anchor, "cNvPr"))
    return anchor.replace(start_tag(about), start_tag(with_attributes(about, name=name)), 1)

