"""A table met in a file: its sheet, its headings, and the rows below them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from pricing.shop_tables.cells import is_blank, tidy
from pricing.shop_tables.columns import Table
from pricing.shop_tables.headings import Headings
from pricing.shop_tables.reading import RawSheet, filled_rows


@dataclass(frozen=True)
class FoundTable:
    """A table met in the file: its sheet, its headings, and its filled rows."""

    sheet: str
    table: Table
    headings: Headings
    rows: list[tuple[int, Any]]
    titles: list[Any]

    def frame(self) -> pd.DataFrame:
        """Raw frame with the owner's headings, then `sheet` and `row`."""
        width = max([len(self.titles), *(len(row) for _, row in self.rows)])
        titles = [*self.titles, *[""] * (width - len(self.titles))]
        ours = ("sheet", "row", "canonical_type")  # worked out by us, whatever a file calls its columns
        names = ["" if tidy(title) in ours else tidy(title) for title in titles]
        cells = [[*row, *[None] * (width - len(row)), self.sheet, number] for number, row in self.rows]
        frame = pd.DataFrame(cells, columns=[*names, "sheet", "row"], dtype=object)
        frame.attrs["heading_row"] = self.headings.row
        return frame

    def makers_and_brands(self) -> list[tuple[str, str]]:
        """(maker, brand) of every row, "" where blank."""
        places = {column: position for position, column in self.headings.columns.items()}
        pairs = []
        for _, row in self.rows:
            cells = (row[at] if (at := places.get(name, len(row))) < len(row) else None for name in ("maker", "brand"))
            pairs.append(tuple("" if is_blank(cell) else tidy(cell) for cell in cells))
        return pairs


def lacking(headings: Headings, table: Table) -> list[str]:
    """Columns a table cannot do without that no heading gives; a title may name the type."""
    columns = set(headings.columns.values())
    return [name for name in table.required if name not in columns and not (name == "type" and "title" in columns)]


def found_in(sheet: RawSheet, table: Table, headings: Headings) -> FoundTable:
    """The filled rows below the headings of a sheet."""
    titles = list(sheet.rows[headings.row - 1]) if len(sheet.rows) >= headings.row else []
    return FoundTable(sheet.name, table, headings, filled_rows(sheet.rows, headings.row), titles)
