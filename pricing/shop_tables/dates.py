"""Dates of a column. Whether the day or the month stands first is settled from the whole column, never cell
by cell.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from typing import Any, Literal, NamedTuple

from pricing.shop_tables.cells import Reading, is_blank, tidy

Order = Literal["day", "month"]

_MONTH_NAMES = (
    "jan january januar janvier enero gennaio januari ene gen janv jänner",
    "feb february februar février fevrier febrero febbraio februari févr fev fév",
    "mar march märz maerz mars marzo maart mrt mär mrz",
    "apr april avril abril aprile avr abr",
    "may mai mayo maggio mei mag",
    "jun june juni juin junio giugno giu",
    "jul july juli juillet julio luglio juil lug",
    "aug august août aout agosto augustus aoû ago",
    "sep sept september septembre septiembre settembre set setiembre",
    "oct october oktober octobre octubre ottobre okt ott",
    "nov november novembre noviembre",
    "dec december dezember décembre decembre diciembre dicembre dez déc dic",
)
MONTHS: dict[str, int] = {
    name: number for number, names in enumerate(_MONTH_NAMES, 1) for name in names.split()
}

# Day numbers of spreadsheets, 20000 to 80000: 1954 to 2119.
_FIRST_SERIAL, _LAST_SERIAL = 20_000, 80_000
_ZERO = dt.date(1899, 12, 30)
_TIME = re.compile(
    r"(?i)[ T,]+\d{1,2}[:.h]\d{2}(?:[:.]\d{2}(?:[.,]\d+)?)?\s*(?:[ap]m)?\s*"
    r"(?:z|utc|[+-]\d{2}:?\d{2}|cet|cest|gmt)?$"
)
_WEEKDAY = re.compile(r"(?i)^[a-zà-ÿ]{2,10}\.?,\s*(?=\d)")


class _Parts(NamedTuple):
    """A numeric date whose order of day and month is open: first and second number, the year, and the mark
    between.
    """

    first: int
    second: int
    year: int
    mark: str


class DateColumn(NamedTuple):
    """Dates of a column, one Reading (datetime.date or None) a cell; `order` used for the numeric ones.

    `decided` is False when nothing in the column told the order; `open_example` is then the first cell it
    matters for. `day_tells` and `month_tells` count the cells that only a day, only a month can begin, `dotted` those
    with dots; `numeric` are the places (from 0) of all cells an order is used for, `open` of those it matters for.
    """

    readings: list[Reading]
    order: Order
    decided: bool
    open_example: Any
    day_tells: int
    month_tells: int
    dotted: int
    numeric: list[int]
    open: list[int]


def full_year(year: int, today: dt.date) -> int:
    """Four-digit year of a two-digit one: up to next year is this century."""
    if year >= 100:
        return year
    return 2000 + year if year <= today.year % 100 + 1 else 1900 + year


def read_dates(values: Sequence[Any], stated_order: str = "", today: dt.date | None = None) -> DateColumn:
    """Every cell of a date column read, the order of day and month settled by the column's own telling cells.

    A telling cell is one whose first or second number is above 12. Where they all say the same, that is the order;
    where they contradict each other, `stated_order` ("day" or "month") counts, else the majority. Failing telling
    cells: dots between the numbers of all of them tell the day stands first; then `stated_order`; then the day.
    """
    today = today or dt.date.today()
    memory: dict[tuple[type, Any], Reading | _Parts] = {}
    parsed: list[Reading | _Parts] = []
    for value in values:
        try:
            key = (type(value), value)
            met = memory.get(key)
            if met is None:
                met = memory[key] = _read(value, today)
        except TypeError:
            met = _read(value, today)
        parsed.append(met)
    day_first = month_first = dotted = 0
    open_cells: list[int] = []
    numeric = [place for place, one in enumerate(parsed) if isinstance(one, _Parts)]
    for place in numeric:
        one = parsed[place]
        day_first += one.first > 12 >= one.second
        month_first += one.second > 12 >= one.first
        dotted += one.mark == "."
        if one.first != one.second and max(one.first, one.second) <= 12:
            open_cells.append(place)
    example = values[open_cells[0]] if open_cells else None
    decided, order = True, "day"
    if (day_first or dotted) and month_first and stated_order:
        order = "month" if stated_order == "month" else "day"
    elif day_first or month_first:
        order = "month" if month_first > day_first else "day"
    elif dotted < len(numeric) or not dotted:
        order = "month" if stated_order == "month" else "day"
        decided = example is None
    final = {part: _settle(part, order) for part in {one for one in parsed if isinstance(one, _Parts)}}
    readings = [final[one] if isinstance(one, _Parts) else one for one in parsed]
    return DateColumn(readings, order, decided, example, day_first, month_first, dotted, numeric, open_cells)


def _settle(parts: _Parts, order: Order) -> Reading:
    day, month = (parts.first, parts.second) if order == "day" else (parts.second, parts.first)
    date = _date(parts.year, month, day)
    if date:
        return Reading(date)
    date = _date(parts.year, day, month)
    if date is None:
        return Reading(None, "date_unreadable")
    return Reading(
        date, "date_other_order", {"order": "month" if order == "day" else "day", "date": date.isoformat()}
    )


def _date(year: int, month: int, day: int) -> dt.date | None:
    try:
        date = dt.date(year, month, day)
    except (ValueError, OverflowError):
        return None
    return date if 1900 <= date.year <= 2200 else None


def _known(date: dt.date | None) -> Reading:
    return Reading(date) if date else Reading(None, "date_unreadable")


def _serial(number: float) -> Reading:
    if _FIRST_SERIAL <= number < _LAST_SERIAL:
        return Reading(_ZERO + dt.timedelta(days=int(number)))
    if float(number).is_integer() and 19_000_101 <= number <= 22_001_231:
        text = str(int(number))
        return _known(_date(int(text[:4]), int(text[4:6]), int(text[6:])))
    return Reading(None, "date_unreadable")


def _read(value: Any, today: dt.date) -> Reading | _Parts:
    if is_blank(value):
        return Reading(None)
    if isinstance(value, dt.datetime):
        return _known(_date(value.year, value.month, value.day))
    if isinstance(value, dt.date):
        return _known(_date(value.year, value.month, value.day))
    if isinstance(value, bool):
        return Reading(None, "date_unreadable")
    if isinstance(value, int | float):
        return _serial(value)
    if hasattr(value, "dtype"):
        return _read_numpy(value, today)
    text = _WEEKDAY.sub("", _TIME.sub("", tidy(value).lstrip("'"))).rstrip("?").strip()
    if not text.isascii() and any(ch.isdigit() and not ch.isascii() for ch in text):
        return Reading(None, "date_unreadable")
    if re.fullmatch(r"\d{5,8}(?:\.\d+)?", text):
        return _serial(float(text))
    iso = re.fullmatch(r"(\d{4})\s?[-/.]\s?(\d{1,2})\s?[-/.]\s?(\d{1,2})\.?", text)
    if iso:
        return _known(_date(*(int(part) for part in iso.groups())))
    numeric = re.fullmatch(r"(\d{1,2})\s?([-/.\\ ])\s?(\d{1,2})\s?[-/.\\ ]\s?['’]?(\d{2}|\d{4})\.?", text)
    if numeric:
        first, mark, second, year = numeric.groups()
        return _Parts(int(first), int(second), full_year(int(year), today), mark)
    return _read_worded(text, today)


def _read_numpy(value: Any, today: dt.date) -> Reading | _Parts:
    import pandas as pd

    try:
        if value.dtype.kind == "M":
            return _read(pd.Timestamp(value).to_pydatetime(), today)
        return _read(value.item(), today)
    except (ValueError, TypeError, OverflowError):
        return Reading(None, "date_unreadable")


def _read_worded(text: str, today: dt.date) -> Reading:
    """Dates with the month as a word or with no day: "3 Apr 2023", "Apr '22", "2022-04", "04/2022"."""
    year_month = re.fullmatch(r"(\d{4})\s?[-/.]\s?(\d{1,2})", text)
    month_year = re.fullmatch(r"(\d{1,2})\s?[-/.]\s?(\d{4})", text)
    if year_month or month_year:
        year, month = (year_month.groups() if year_month else month_year.groups()[::-1])
        return _first_of_month(int(year), int(month))
    words = re.findall(r"[^\W\d_]+", text.casefold())
    months = [MONTHS[word] for word in words if word in MONTHS]
    numbers = re.findall(r"\d+", text)
    others = [
        w
        for w in words
        if w not in MONTHS
        and w not in ("st", "nd", "rd", "th", "de", "di", "del", "of", "er", "le", "el", "den")
    ]
    if len(months) != 1 or others:
        return Reading(None, "date_unreadable")
    if len(numbers) == 1 and len(numbers[0]) in (2, 4):
        return _first_of_month(full_year(int(numbers[0]), today), months[0])
    if len(numbers) == 2:
        first, second = numbers
        if len(first) == 4:
            year, day = first, second
        else:
            day, year = first, second
        if len(day) <= 2 and len(year) in (2, 4):
            return _known(_date(full_year(int(year), today), months[0], int(day)))
    return Reading(None, "date_unreadable")


def _first_of_month(year: int, month: int) -> Reading:
    date = _date(year, month, 1)
    return Reading(date, "date_without_day") if date else Reading(None, "date_unreadable")
