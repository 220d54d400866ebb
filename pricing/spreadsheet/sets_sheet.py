"""The sheet Sets: which measured tubes to sell together, as quads, pairs and singles."""

from __future__ import annotations

from typing import Any

import pandas as pd
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from pricing.spreadsheet import style
from pricing.spreadsheet.result_sheets import write_heading
from pricing.spreadsheet.sections import heading
from pricing.spreadsheet.tables import ResultColumn, fit_heights, put_text, set_up_page, write_table

TITLE = "Sets"
_WHAT = (
    ResultColumn("type", "type", "text", 10),
    ResultColumn("maker", "maker", "text", 16),
    ResultColumn("grade", "grade", "text", 20),
    ResultColumn("conditions", "read on", "text", 20),
)
POOLS = (
    *_WHAT,
    ResultColumn("tubes", "tubes", "count", 10),
    ResultColumn("single", "fair: single", "money", 11),
    ResultColumn("pair", "fair: pair", "money", 11),
    ResultColumn("quad", "fair: quad", "money", 11),
    ResultColumn("singles_value", "all as singles", "money", 10),
    ResultColumn("value", "as these sets", "money", 10),
    ResultColumn("gain", "more", "change", 10),
    ResultColumn("words", "sets", "words", 56),
)
SETS = (
    *_WHAT,
    ResultColumn("kind", "set", "text", 9),
    ResultColumn("price", "fair price", "money", 9),
    ResultColumn("plate_current_low", "mA, lowest", "index", 9, "Plate current as the tester showed it."),
    ResultColumn("plate_current_high", "mA, highest", "index", 9),
    ResultColumn("plate_current_spread_pct", "mA spread", "percent", 10, "Highest less lowest, of the mean."),
    ResultColumn("gm_spread_pct", "gm spread", "percent", 10, "Highest less lowest, of the mean."),
    ResultColumn("gm_mean", "gm, mean", "money", 10, "As the tester showed it."),
    ResultColumn("skus", "codes", "words", 56),
)
LEFT_OUT = (
    ResultColumn("sku", "code", "text", 10),
    ResultColumn("row", "Readings row", "count", 16),
    ResultColumn("reason", "why it is in no set", "text", 20),
)


def write_sets(book: Workbook, matched: Any, settings: Any) -> Worksheet:
    """The sheet from a MatchedStock."""
    sheet = book.create_sheet(TITLE)
    lines = [
        matched.words,
        f"A set's plate currents lie within {settings.match_plate_current_pct:g} % of their mean, lowest to highest, "
        f"and gm within {settings.match_gm_pct:g} % (Settings), read on one tester at one plate voltage; tubes of one "
        "type, maker and grade.",
        "Prices are the fair prices of such a single, pair and quad in this shop. Nothing else these tubes could be "
        "sorted into earns more, unless a line says so; of equals the tightest.",
        "Matching is common practice without a standard, and readings on another tester will differ: state tester, "
        "volts and readings. It says nothing of bias or fitness in an amplifier: that belongs to its maker's "
        "instructions and a qualified technician.",
    ]
    write_heading(sheet, TITLE, lines)
    sets = matched.sets.assign(gm_mean=((matched.sets["gm_low"] + matched.sets["gm_high"]) / 2).round(2))
    row = len(lines) + 3
    parts = (("Tubes measured alike", matched.pools, POOLS, "MatchingPools"),
             ("Sets to make", sets, SETS, "MatchedSets"),
             ("Measured, and in no set", _left_out(matched), LEFT_OUT, "NotMatched"))
    for title, frame, columns, name in parts:
        top = heading(sheet, row, title)
        last = write_table(sheet, frame, columns, name=name, top=top, filters=False)
        sheet.row_dimensions[top].height = style.HEADING_HEIGHT
        if frame.empty:
            put_text(sheet.cell(top + 1, 1), "none")
        if any(column.kind == "words" for column in columns):
            fit_heights(sheet, frame, columns, top)
        row = last + 2
    for offset, column in enumerate(POOLS, start=1):
        sheet.column_dimensions[get_column_letter(offset)].width = column.width
    sheet.freeze_panes = "B2"
    set_up_page(sheet, title_row=None, last_row=row, last_column=len(POOLS))
    sheet.sheet_properties.tabColor = style.HEAD
    return sheet


def _left_out(matched: Any) -> pd.DataFrame:
    return matched.left_out.sort_values("row", kind="stable", ignore_index=True)
