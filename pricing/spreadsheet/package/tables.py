"""Named tables of a sheet: which of the old ones is which of the new, and the old one's part at its new size."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from pricing.spreadsheet.package.areas import Area, Areas, Move
from pricing.spreadsheet.package.book import NotKept, Package
from pricing.spreadsheet.package.markup import Markup, attributes, with_attributes

TABLE_ORDER = ("autoFilter", "sortState", "tableColumns", "tableStyleInfo", "extLst")


@dataclass(frozen=True)
class Table:
    """A table part as read; `totals` counts its rows of totals, `filtered` says that it hides rows or is sorted."""

    part: str
    relation: str
    name: str
    area: Area
    headings: tuple[str, ...]
    ids: tuple[int, ...]
    totals: int
    filtered: bool

    @property
    def body(self) -> Area:
        """Heading and rows, without totals."""
        return self.area._replace(bottom=self.area.bottom - self.totals)


def tables_of(book: Package, sheet_part: str) -> list[Table]:
    """Every table of a sheet."""
    found = []
    for relation in book.relations_of(sheet_part):
        if relation.kind != "table":
            continue
        text = Markup(book.read(relation.part))
        met = attributes(text.head)
        columns = [attributes(one) for one in Markup(text.get("tableColumns")).items()]
        found.append(Table(
            relation.part, relation.id, met.get("displayName", met.get("name", "")), Area.of(met["ref"]),
            tuple(one.get("name", "") for one in columns), tuple(int(one.get("id", 0)) for one in columns),
            int(met.get("totalsRowCount", 0)),
            text.get("sortState") is not None or b"filterColumn" in (text.get("autoFilter") or b"")))
    return found


@dataclass(frozen=True)
class Match:
    """An old table of ours and the fresh one whose rows it takes; `own` counts the columns its owner added at its
    right end."""

    old: Table
    new: Table
    own: int

    @property
    def area(self) -> Area:
        """Where the whole table stands after the refresh."""
        return self.new.area._replace(bottom=self.new.area.bottom + self.old.totals,
                                      right=self.new.area.right + self.own)

    @property
    def move(self) -> Move:
        """Rows of the table, over its owner's columns too."""
        return Move(self.old.body, self.new.area._replace(right=self.new.area.right + self.own))


def matches(old: Sequence[Table], fresh: Sequence[Table], ours: Areas, sheet: str) -> list[Match]:
    """Fresh tables with their old selves, by name, else by equal headings (an owner may rename a table).

    NotKept when columns were put in between ours, or a table was moved sideways."""
    found = []
    for new in fresh:
        met = next((one for one in old if one.name.casefold() == new.name.casefold()), None) or next(
            (one for one in old if one.headings[: len(new.headings)] == new.headings
             and all(one.name.casefold() != other.name.casefold() for other in fresh)), None)
        if met is None:
            continue
        width = sum(ours.holds(met.area.top, column) for column in range(met.area.left, met.area.right + 1))
        mine = met.headings[:width]
        inserted = list(met.ids[:width]) != sorted(met.ids[:width]) or max(met.ids[:width], default=0) > width
        if met.area.left != new.area.left or (mine != new.headings and (inserted or _holds(mine, new.headings))):
            raise NotKept(f"on the sheet '{sheet}' columns were put before, between or in place of those of the table "
                          f"{met.name}. Move yours to the right of the table, ours back in order, and refresh again.")
        found.append(Match(met, new, len(met.headings) - width))
    return found


def _holds(longer: Sequence[str], shorter: Sequence[str]) -> bool:
    """Whether `longer` is `shorter` with others in between or behind."""
    left = iter(longer)
    return len(longer) > len(shorter) and all(any(one == met for met in left) for one in shorter)


def resized(text: bytes, match: Match, fresh: bytes) -> bytes:
    """The old table part with the new range and our headings; its look and its owner's columns as they were, filter
    settings and sort order taken off (they belonged to the old rows)."""
    table = Markup(with_attributes(text, ref=str(match.area)))
    filter_ = table.get("autoFilter")
    if filter_ is not None:
        emptied = re.sub(rb"^(<[^>]*?)/?>.*$", rb"\1/>", filter_, flags=re.DOTALL)
        kept = emptied if b"filterColumn" in filter_ else filter_
        area = match.area._replace(bottom=match.area.bottom - match.old.totals)
        table.replace("autoFilter", [with_attributes(kept, ref=str(area))], TABLE_ORDER)
    table.children = [child for child in table.children if child[0] != "sortState"]
    width = len(match.old.headings) - match.own
    if match.old.headings[:width] != match.new.headings:
        columns = Markup(table.get("tableColumns"))
        own = columns.items()[width:]
        ours = Markup(Markup(fresh).get("tableColumns")).items()
        free = max([len(ours), *match.old.ids]) + 1
        own = [with_attributes(one, id=str(free + at)) for at, one in enumerate(own)]
        columns.children = [["tableColumn", one] for one in (*ours, *own)]
        table.replace("tableColumns", [with_attributes(bytes(columns), count=str(len(ours) + len(own)))], TABLE_ORDER)
    return bytes(table)
