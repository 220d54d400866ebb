"""Rows for one of the owner's sheets, and what is said of them, whatever the kind of file."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from pricing.spreadsheet.package.areas import Area, letters
from pricing.spreadsheet.package.book import NotKept

Value = str | int | float | dt.date | None

MOST_ROWS = 1_048_576


@dataclass(frozen=True)
class NewRows:
    """Rows for one sheet: `rows` as column (from 1) -> value. Its headings stand in `head_row` in the columns from
    `first` to `last`; `last_row` is the last row below that is whole, `head_row` where there is none."""

    sheet: str
    head_row: int
    last_row: int
    first: int
    last: int
    rows: tuple[Mapping[int, Value], ...]

    def refused(self, words: str) -> NotKept:
        """The sheet cannot take the rows; `words` go on after its name, up to what mends it."""
        return NotKept(f"the sheet '{self.sheet}' {words}, and try again.")

    def sums_above(self, row: int) -> NotKept:
        """A row of sums stands in the way."""
        return self.refused(f"has a row that seems to sum up those above it, row {row}. Move it beside the table or to "
                            "another sheet")

    def taken(self, row: int, column: int) -> NotKept:
        """Something else stands in the way."""
        return self.refused(f"has something of yours in {letters(column)}{row}, where the new rows need room. Move it "
                            "to the right, or further down")

    def no_room(self) -> NotKept:
        """The sheet ends before the rows do."""
        return self.refused(f"has no room for {len(self.rows):,} more rows. Move old ones to a workbook of their own")

    def added(self, target: Area) -> str:
        """What to tell of rows that stand in `target` now."""
        where = str(target.top) if target.top == target.bottom else f"{target.top} to {target.bottom}"
        return f"On the sheet '{self.sheet}' rows were added: {where}."

    def not_carried_on(self, place: str) -> str:
        """What to tell of a formula that has no plain successor."""
        return (f"On the sheet '{self.sheet}' the formula in {place} differs from that above it or fills a range: it "
                f"was not carried on below, column {place.rstrip('0123456789')} is blank there.")

    def grown(self, area: Area, target: Area) -> Area:
        """An area over the whole of one column or several, from the heading or the first row on: so long as the rows
        are with those in `target`. Any other as it is."""
        whole = (area.top in (self.head_row, self.head_row + 1) and target.top - 1 <= area.bottom < target.bottom
                 and target.left <= area.left and area.right <= target.right)
        return area._replace(bottom=target.bottom) if whole else area

    def filter_is_set(self) -> str:
        """What to tell of a filter over the rows."""
        return f"On the sheet '{self.sheet}' a filter or a sort order is set; set it again to take in the new rows."

    def not_printed(self, area: Area) -> str:
        """What to tell of a print area that leaves them out."""
        return f"On the sheet '{self.sheet}' the print area ends above the new rows, at row {area.bottom}."
