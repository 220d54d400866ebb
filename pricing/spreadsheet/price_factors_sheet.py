"""The sheet Price factors: the fitted model as tables, which the sheet Quote looks up and adds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import reduce
from typing import Any

import pandas as pd
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.workbook import Workbook
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.worksheet import Worksheet

from pricing.price_model.price_factors import PriceFactors
from pricing.price_model.spreads import GRADED, SOLD
from pricing.spreadsheet import style
from pricing.spreadsheet.result_sheets import write_heading
from pricing.spreadsheet.tables import ResultColumn, put, set_up_page, write_table

TITLE = "Price factors"
_TOP = 7
_PRINTED_ROWS = 300  # the wider groups come first; all would be hundreds of pages
_YES_NO = ["yes", "no"]
# Where a factor's words go in its key: the slots hold types, one other list, eras, one more list, and grades.
SLOTS = {
    "family": ("", "family"), "type": ("canonical_type",), "printed designation": ("canonical_type",
    "other_designation"), "maker": ("", "maker"), "printed brand": ("", "brand"), "era": ("", "", "era"),
    "maker and era": ("", "maker", "era"), "type and maker": ("canonical_type", "maker"),
    "type, maker and era": ("canonical_type", "maker", "era"),
    GRADED: ("canonical_type", "maker", "era", "variant", "grade"), SOLD: ("canonical_type", "maker", "era", "variant"),
    "variant": ("canonical_type", "", "", "variant"), "variant of maker": ("canonical_type", "maker", "", "variant"),
    "grade in family": ("", "family", "", "", "grade"), "grade in type": ("canonical_type",),
    "set in family": ("", "family", "", "set_kind"), "channel": ("", "", "", "channel"), "level": (), "season": (),
    "every grade": ("", "", "", "", "grade"), "set and matching": ("", "matched", "", "set_kind"), "past level": (),
    "past level of family": ("", "family"), "past level of type": ("canonical_type",),
}
FACTORS = tuple(SLOTS)
_FACTOR_COLUMNS = (
    ResultColumn("factor", "factor", "text", 22), ResultColumn("level", "level", "text", 44),
    ResultColumn("percent", "price by", "change_percent", 10, "Against a piece of which nothing is known."),
    ResultColumn("log", "log factor", "factor", 10, "Added up, and the exponential taken, these make the price."),
    ResultColumn("spread", "spread", "factor", 10, "What it adds to the doubt; of what was sold the doubt itself. "
                 "Variance of the log price, in units of that of one sale."),
    ResultColumn("key", "key", "number", 16, "The place of the level's words in the lists on the right."),
)
_TYPE_COLUMNS = (
    ResultColumn("word", "type as typed", "text", 15), ResultColumn("canonical_type", "priced as", "text", 13),
    ResultColumn("family", "family", "text", 22), ResultColumn("type_no", "type no.", "count", 8),
    ResultColumn("family_no", "family no.", "count", 8), ResultColumn("printed_no", "printed no.", "count", 8),
    ResultColumn("profile_no", "profile no.", "count", 8), ResultColumn("sold", "sold here", "text", 8),
)
_LISTS = ("maker", "era", "grade", "variant", "brand", "channel", "attributed")


def radices(factors: PriceFactors) -> tuple[int, ...]:
    """By how much a key is multiplied before each of its five slots is added. Raises ValueError where the
    words are too many for keys that a spreadsheet holds exactly."""
    words = factors.words
    out = tuple(
        1 + max(len(words.get(column, _YES_NO)) for slots in SLOTS.values()
                for place, column in enumerate(slots) if place == number and column)
        for number in range(5)
    )
    if math.prod(out) * (len(FACTORS) + 1) > 10**15:
        raise ValueError("more words than keys of 15 figures can tell apart")
    return out


def write_price_factors(book: Workbook, factors: PriceFactors, date: pd.Timestamp) -> Worksheet:
    """Price factors: what every level does to the price, the lists its keys count in, and the spreads by profile."""
    sheet = book.create_sheet(TITLE)
    write_heading(sheet, TITLE, [
        f"What every word of a description does to the price, for {date:%Y-%m-%d}. The sheet Quote adds these up.",
        "A level that is not here takes no factor: the price stays that of its wider group, and the range widens.",
        "On the right: what a typed type is priced as, the words keys are counted in, and how doubt grows (profiles).",
        "Leave the order of rows as it is: Quote counts places in the lists. Only the first "
        f"{_PRINTED_ROWS} rows are printed.",
    ])
    table = _factors(factors)
    last = write_table(sheet, table, _FACTOR_COLUMNS, name="PriceFactors", top=_TOP, filters=False)
    for column, name in ((4, "factor_log"), (5, "factor_spread"), (6, "factor_key")):
        _name(book, name, column, _TOP + 1, column, last)
    left = _types(book, sheet, factors, len(_FACTOR_COLUMNS) + 2)
    left = _lists(book, sheet, factors, left)
    _profiles(book, sheet, factors, left)
    sheet.row_dimensions[_TOP].height = style.HEADING_HEIGHT
    sheet.freeze_panes = sheet.cell(_TOP + 1, 1)
    set_up_page(sheet, title_row=_TOP, last_column=5, last_row=min(last, _TOP + _PRINTED_ROWS))
    sheet.sheet_properties.tabColor = style.HEAD
    return sheet


def _factors(factors: PriceFactors) -> pd.DataFrame:
    cells = factors.spreads.cells.rename(columns={"variance": "spread"})
    table = factors.rows.merge(cells, on=["factor", "parts"], how="outer", sort=False)
    place = {factor: number for number, factor in enumerate(FACTORS, start=1)}
    places = {column: {word: number for number, word in enumerate(words, start=1)}
              for column, words in {**factors.words, "matched": _YES_NO}.items()}
    steps = radices(factors)

    def key(factor: str, parts: Sequence[str]) -> int:
        words = iter(parts)
        if factor == "set and matching":
            words = iter(parts[::-1])
        slots = [places[column].get(next(words, ""), 0) if column else 0 for column in SLOTS[factor]] + [0] * 5
        return reduce(lambda key, step: key * step[0] + step[1], zip(steps, slots), place[factor])

    table["key"] = [key(factor, parts) for factor, parts in zip(table["factor"], table["parts"])]
    table["level"] = [", ".join(parts) for parts in table["parts"]]
    table["percent"] = 100 * (pd.Series(table["log"]).map(math.exp) - 1)
    table["percent"] = table["percent"].mask(table["factor"] == "level").round(2)
    table["spread"] = table["spread"].round(4)
    table["order"] = table["factor"].map(place)
    return table.sort_values(["order", "level"], kind="stable", ignore_index=True)


def _types(book: Workbook, sheet: Worksheet, factors: PriceFactors, left: int) -> int:
    profiles, words, types = factors.spreads.profiles, factors.words, factors.types
    at = {one: number for number, one in enumerate(zip(profiles["kind"], profiles["word"]), start=1)}
    frame = types.assign(
        type_no=[words["canonical_type"].index(word) + 1 for word in types["canonical_type"]],
        family_no=[words["family"].index(word) + 1 for word in types["family"]],
        printed_no=[words["other_designation"].index(word) + 1 if word else 0 for word in types["other_designation"]],
        profile_no=[at.get(("type", kind), at.get(("family", family), at["shop", ""]))
                    for kind, family in zip(types["canonical_type"], types["family"])],
        sold=types["met"].map({True: "yes", False: "no"}),
    )
    last = write_table(sheet, frame, _TYPE_COLUMNS, name="PriceTypes", top=_TOP, left=left, filters=False)
    for offset, column in enumerate(_TYPE_COLUMNS):
        _name(book, f"factor_types_{column.source}", left + offset, _TOP + 1, left + offset, last)
    return left + len(_TYPE_COLUMNS) + 1


def _lists(book: Workbook, sheet: Worksheet, factors: PriceFactors, left: int) -> int:
    for offset, column in enumerate(_LISTS):
        words = factors.attributed if column == "attributed" else factors.words[column]
        heading = {"attributed": "brand tells of maker"}.get(column, column)
        put(sheet, _TOP, left + offset, heading, "shop heading")
        for row, word in enumerate(words or [""], start=_TOP + 1):
            put(sheet, row, left + offset, word, "shop text")
        sheet.column_dimensions[get_column_letter(left + offset)].width = 21
        _name(book, f"factor_{column}", left + offset, _TOP + 1, left + offset, _TOP + max(len(words), 1))
    left += len(_LISTS) + 1
    for offset, (name, heading, values) in enumerate((
        ("reading_pct", "reading %", [step for step in factors.readings if step is not None]),
        ("reading_log", "log factor", [log for step, log in factors.readings.items() if step is not None]),
    )):
        put(sheet, _TOP, left + offset, heading, "shop heading right")
        for row, value in enumerate(values, start=_TOP + 1):
            put(sheet, row, left + offset, value, "shop factor" if name == "reading_log" else "shop number")
        _name(book, f"factor_{name}", left + offset, _TOP + 1, left + offset, _TOP + len(values))
    return left + 3


def _profiles(book: Workbook, sheet: Worksheet, factors: PriceFactors, left: int) -> None:
    profiles = factors.spreads.profiles.round(4)
    columns = [ResultColumn(name, "profile of" if name == "word" else name, "factor" if at > 1 else "text",
                            12 if at > 1 else 16) for at, name in enumerate(profiles.columns)]
    last = write_table(sheet, profiles, columns, name="PriceProfiles", top=_TOP, left=left, filters=False)
    right = left + len(columns) - 1
    _name(book, "profile_part", left, _TOP, right, _TOP)
    _name(book, "profile_kind", left, _TOP + 1, left, last)
    _name(book, "profile_spread", left, _TOP + 1, right, last)


def _name(book: Workbook, name: str, left: int, top: int, right: int, bottom: int) -> None:
    cells = f"${get_column_letter(left)}${top}:${get_column_letter(right)}${bottom}"
    book.defined_names[name] = DefinedName(name, attr_text=f"{quote_sheetname(TITLE)}!{cells}")


def key_formula(factor: str, factors: PriceFactors, places: dict[str, Any]) -> str:
    """The key of a factor as a formula, `places`: by column of the description the cell that holds a word's place."""
    steps = radices(factors)
    weights = [math.prod(steps[place:]) for place in range(1, 6)]
    whole = (FACTORS.index(factor) + 1) * math.prod(steps)
    terms = [f"{places[column]}*{weight}" for column, weight in zip(SLOTS[factor], weights) if column]
    return "+".join([str(whole), *terms])
