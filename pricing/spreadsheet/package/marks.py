"""How a sheet of ours is known again: a hidden defined name that refers to the cells we wrote on it.

Spreadsheet programs carry such a name along when the sheet is renamed, moved, or given rows and columns, and break it
when the sheet is deleted, which is how we know that the owner did not want it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from openpyxl.workbook import Workbook
from openpyxl.workbook.defined_name import DefinedName

from pricing.spreadsheet.package.areas import Area, Areas, areas_of, sheet_areas

PREFIX = "result_sheet."


@dataclass(frozen=True)
class Mark:
    """What a mark says: the sheet's name in this file, None where it was deleted, and our cells on it."""

    sheet: str | None
    cells: Areas


def mark_name(title: str) -> str:
    """Name of the mark of the result sheet we call `title`."""
    return PREFIX + re.sub(r"\W+", "_", title)


def title_of(name: str) -> str:
    """What we call the sheet of this mark."""
    return name.removeprefix(PREFIX).replace("_", " ")


def add_marks(book: Workbook, titles: Iterable[str]) -> None:
    """Mark these sheets of a fresh workbook as ours."""
    for title in titles:
        name = mark_name(title)
        book.defined_names[name] = DefinedName(name, attr_text=_cells_of(book[title]).reference(title), hidden=True)


def _cells_of(sheet: object) -> Areas:
    filled = (place for place, cell in sheet._cells.items() if cell.value is not None)  # no public way as quick
    blocks = [Area.of(table.ref) for table in sheet.tables.values()]
    return areas_of(filled, blocks + [Area.of(str(merged)) for merged in sheet.merged_cells.ranges])


def marks_of(names: dict[str, str], sheets: Iterable[str]) -> dict[str, Mark]:
    """Marks among the defined names (name -> reference) of a file with these sheets; by the name of the mark."""
    there = set(sheets)
    marks = {}
    for name, reference in names.items():
        if not name.startswith(PREFIX):
            continue
        met = [(sheet, area) for sheet, area in sheet_areas(reference) if sheet in there]
        marks[name] = Mark(met[0][0] if met else None, Areas(area for _, area in met))
    return marks
