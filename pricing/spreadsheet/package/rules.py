"""Conditional formats, drop-downs, merged cells, links and notes of a result sheet, moved along with its tables."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pricing.spreadsheet.package.areas import Area, Areas, Move, shifted
from pricing.spreadsheet.package.book import NotKept
from pricing.spreadsheet.package.markup import Markup, attributes, plain, quoted, with_attributes

_FORMULA = re.compile(rb"(<(formula[12]?)>)(.*?)(</\2>)", re.DOTALL)


def moved_rule(element: bytes, moves: Sequence[Move], gone: Areas) -> bytes | None:
    """A conditional format or a drop-down with its ranges over tables moved along; None when nothing of it is left,
    because it stood on tables that are `gone`."""
    areas, moved, along = attributes(element).get("sqref", "").split(), [], None
    for text in areas:
        try:
            area = Area.of(text)
        except ValueError:  # whole columns or rows
            moved.append(text)
            continue
        if gone.holds(area.top, area.left):
            continue
        move = next((move for move in moves if move.area(area) is not None), None)
        moved.append(text if move is None else str(move.area(area)))
        along = along or move
    if not moved:
        return None
    if moved == areas:
        return element
    element = with_attributes(element, sqref=" ".join(moved))
    return _FORMULA.sub(lambda met: met[1] + quoted(shifted(plain(met[3]), along)).replace("&quot;", '"').encode()
                        + met[4], element) if along else element


def merged_cells(old: bytes | None, fresh: bytes | None, ours: Areas, new: Areas, sheet: str) -> bytes | None:
    """The mergeCells element: the owner's, then ours. NotKept where one of his reaches into our new cells."""
    own = [one for one in (Markup(old).items() if old else ()) if not ours.hold(Area.of(attributes(one)["ref"]))]
    for one in own:
        if new.meets(Area.of(attributes(one)["ref"])):
            raise NotKept(f"on the sheet '{sheet}' merged cells of yours, {attributes(one)['ref']}, reach where the "
                          "new results need room. Move them to the right of the tables and refresh again.")
    both = own + (Markup(fresh).items() if fresh else [])
    return b'<mergeCells count="%d">%s</mergeCells>' % (len(both), b"".join(both)) if both else None


def links(old: bytes | None, fresh: bytes | None, ours: Areas) -> bytes | None:
    """The hyperlinks element: the owner's, then ours."""
    own = [one for one in (Markup(old).items() if old else ())
           if not ours.holds(*Area.of(attributes(one)["ref"])[:2])]
    both = own + (Markup(fresh).items() if fresh else [])
    return b"<hyperlinks>%s</hyperlinks>" % b"".join(both) if both else None


def moved_notes(comments: bytes, shapes: bytes, moves: Sequence[Move], gone: Areas) -> tuple[bytes, bytes]:
    """The parts of a sheet's notes (texts, and the shapes that show them) with notes on headings moved along, and those
    on tables that are gone taken away."""
    goals: dict[tuple[int, int], tuple[int, int] | None] = {}

    def goal(row: int, column: int) -> tuple[int, int] | None:
        if gone.holds(row, column):
            return None
        for move in moves:
            if row == move.old.top and move.old.left <= column <= move.old.right:
                return move.new.top, column
        return row, column

    book = Markup(comments)
    list_ = Markup(book.get("commentList"))
    kept = []
    for child in list_.children:
        if child[0]:
            area = Area.of(attributes(child[1])["ref"])
            to = goals[area.top, area.left] = goal(area.top, area.left)
            if to is None:
                continue
            if to != (area.top, area.left):
                child[1] = with_attributes(child[1], ref=str(Area(*to, *to)))
        kept.append(child)
    list_.children = kept
    book.replace("commentList", [bytes(list_)], ("authors", "commentList", "extLst"))

    def moved(met: re.Match[bytes]) -> bytes:
        row = re.search(rb"(<(?:\w+:)?Row>\s*)(\d+)(\s*<)", met.group())
        column = re.search(rb"<(?:\w+:)?Column>\s*(\d+)\s*<", met.group())
        if row is None or column is None:
            return met.group()
        place = int(row[2]) + 1, int(column[1]) + 1
        to = goals.get(place, place)
        if to is None:
            return b""
        if to == place:
            return met.group()
        text = met.group().replace(row.group(), row[1] + str(to[0] - 1).encode() + row[3])
        return re.sub(rb"(<(?:\w+:)?Anchor>)([^<]*)(<)",
                      lambda one: one[1] + _anchor(one[2], to[0] - place[0]) + one[3], text)

    return bytes(book), re.sub(rb"<((?:\w+:)?shape)\b(?![^>]*/>).*?</\1>", moved, shapes, flags=re.DOTALL)


def _anchor(numbers: bytes, rows: int) -> bytes:
    parts = [int(one) for one in numbers.split(b",")]
    if len(parts) != 8:
        return numbers
    parts[2], parts[6] = max(parts[2] + rows, 0), max(parts[6] + rows, 0)
    return ", ".join(map(str, parts)).encode()
