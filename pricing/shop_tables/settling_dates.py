"""The order of day and month in the rows of a file to import: told by the whole column or by the owner, never guessed.

What is settled is written as year-month-day before the rows are cleaned, so that nothing after it reads it otherwise.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any, NamedTuple

from pricing.problems import Problem, counted, problem
from pricing.shop_tables.cells import tidy
from pricing.shop_tables.dates import DateColumn, read_dates
from pricing.shop_tables.found_table import FoundTable

# By chance five dates all fall on a 12th or before in one case of a hundred: (12 / 30.4) ** 5.
_FEWEST_TURNED = 5


class Settled(NamedTuple):
    """Rows with their numeric dates settled, the problems, the rows (by number) that cannot be, a sentence a column."""

    rows: list[tuple[int, list[Any]]]
    problems: list[Problem]
    refused: set[int]
    words: list[str]


def settle_dates(found: FoundTable, said: str = "", in_settings: str = "", today: dt.date | None = None) -> Settled:
    """Dates of every date column. `said`: the order asked for ("day", "month" or ""), `in_settings` that of Settings.

    The column's own telling cells come first, where they do not contradict each other; then dots; then what was asked
    for, what the sheet's other date columns tell, and Settings. Where nothing tells, rows it matters for are refused.
    """
    rows = [(number, list(row)) for number, row in found.rows]
    dates = {column: at for at, column in found.headings.columns.items() if found.table.column(column).kind == "date"}
    read = {column: read_dates([_cell(row, at) for _, row in rows], said or in_settings, today)
            for column, at in dates.items()}
    told = {one.order for one in read.values() if _tells(one)}
    problems: list[Problem] = []
    refused: set[int] = set()
    words: list[str] = []
    for column, at in dates.items():
        heading = tidy(found.titles[at])
        one, why = read[column], ""
        if not _tells(one) and one.open:
            stated = said or (next(iter(told)) if len(told) == 1 else "") or in_settings
            one = read_dates([_cell(row, at) for _, row in rows], stated, today)
            why = ("as you said" if said else "as the sheet's other dates are" if len(told) == 1
                   else "as Settings say" if stated else "")
            if not stated:
                words.append(f"{heading}: nothing tells whether the day or the month comes first; "
                             f"{counted(len(one.open), 'row')} cannot be read without --dates day-first or month-first")
                refused |= {rows[place][0] for place in one.open}
                problems += [problem("date_order_open", sheet=found.sheet, row=rows[place][0], column=column,
                                     value=tidy(rows[place][1][at]), heading=heading) for place in one.open]
                continue
        words.append(f"{heading}: {_why(one, why)}")
        problems += _turned(found, column, [_cell(row, at) for _, row in rows], one)
        for place in one.numeric:
            number, row = rows[place]
            met = one.readings[place]
            if met.code == "date_other_order":
                problems.append(problem(met.code, sheet=found.sheet, row=number, column=column, value=tidy(row[at]),
                                        **met.details))
            if met.value is not None:
                row[at] = met.value.isoformat()
    return Settled(rows, problems, refused, words)


def _cell(row: Sequence[Any], at: int) -> Any:
    return row[at] if at < len(row) else None


def _tells(one: DateColumn) -> bool:
    """Whether the cells of a column tell their order without contradicting each other; dots tell that the day is first.
    """
    if one.month_tells:
        return not one.day_tells and not one.dotted
    return bool(one.day_tells) or 0 < one.dotted == len(one.numeric)


def _turned(found: FoundTable, column: str, cells: Sequence[Any], one: DateColumn) -> list[Problem]:
    """A problem where a spreadsheet has likely swapped day and month of every date it could: those it could not are
    text of one order, and those it could have no day above 12.
    """
    numeric = set(one.numeric)
    plain = [met.value for place, met in enumerate(one.readings) if place not in numeric and met.value is not None]
    swapped = [date for date in plain if date.day <= 12 and date.day != date.month]
    one_order = bool(one.day_tells) != bool(one.month_tells) and one.day_tells + one.month_tells == len(numeric)
    if not one_order or len(plain) < _FEWEST_TURNED or any(date.day > 12 for date in plain) or not swapped:
        return []
    date = swapped[0]
    at = next(at for at, name in found.headings.columns.items() if name == column)
    return [problem("dates_turned", sheet=found.sheet, row=None, column=column, value=tidy(cells[one.numeric[0]]),
                    heading=tidy(found.titles[at]), count=len(plain), example=date.isoformat(),
                    other=date.replace(month=date.day, day=date.month).isoformat())]


def _why(one: DateColumn, why: str) -> str:
    if not one.numeric:
        return "dates that can be read one way only"
    if not why and not (one.day_tells or one.month_tells or one.dotted):
        return "the order of day and month does not matter, the two are the same number"
    telling = one.day_tells if one.order == "day" else one.month_tells
    contradicted = one.month_tells if one.order == "day" else one.day_tells
    if not why:
        why = (f"{counted(telling, 'date', 'dates')} can be read no other way" if telling
               else "that is how dates with dots are written")
    other = f"; {counted(contradicted, 'date')} can only be read the other way, and were" if contradicted else ""
    return f"{one.order} first, {'' if why.startswith('as ') else 'because '}{why}{other}"
