"""The sheets the owner types in: his own cells as they are, with headings explained, lists to pick from and
formats.

Formats and lists are offered, never forced: a word outside a list is accepted after a question, because the
reader understands many spellings and reports the rest.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from openpyxl.formatting.rule import FormulaRule
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.workbook import Workbook
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from pricing.shop_tables.columns import Column, Table
from pricing.spreadsheet import style
from pricing.spreadsheet.tables import add_table, note, put, set_up_page

_WIDEST_TEXT = 28
_PAGE_WIDTH = 260  # letters across a landscape page that can still be read
# kind of column on the owner's sheets: (style, width)
_LOOKS = {
    "date": ("date", 11),
    "type": ("text", 13),
    "label": ("text", 15),
    "era": ("plain", 8),
    "grade": ("text", 20),
    "channel": ("text", 13),
    "percent": ("number", 9),
    "set_size": ("count", 7),
    "qty": ("count", 6),
    "flag": ("text", 9),
    "price": ("money", 10),
    "money": ("money", 10),
    "currency": ("text", 9),
    "number": ("number", 10),
    "test": ("text", 12),
    "text": ("text", 12),
    "words": ("text", 34),
}
_LIST_OF_KIND = {
    "type": "list_types",
    "grade": "list_grades",
    "era": "list_eras",
    "channel": "list_channels",
    "flag": "list_yes_no",
}
_LIST_OF_COLUMN = {
    "outcome": "list_outcomes",
    "heater_string": "list_heater_strings",
    "bias": "list_bias",
    "test": "list_tests",
    "rating_system": "list_rating_systems",
}
_LAST_ROW = 1_048_576
_SETTINGS_WIDTHS = (34, 26, 30, 124)


def write_input_sheet(
    book: Workbook,
    table: Table,
    rows: Sequence[Sequence[Any]],
    columns: Mapping[int, str],
    head_row: int,
    title: str | None = None,
) -> Worksheet:
    """One input sheet from raw rows (the first is sheet row 1), cell by cell where it stood.

    `columns`: position (from 0) -> column name of `table`, for the headings that were recognised;
    `head_row` counts from 1. Headings the table does not know are the owner's own columns and are carried
    along unchanged. `title`: the owner's name for the sheet, where it is not the table's.
    """
    sheet = book.create_sheet(title or table.name)
    width = max((len(row) for row in rows), default=0)
    looks = [_wide_enough(_look(table, columns.get(position)), rows, position) for position in range(width)]
    for row_number, row in enumerate(rows, start=1):
        if row_number == head_row:
            continue
        for position, value in enumerate(row):
            if value is not None and value != "":
                put(sheet, row_number, position + 1, value, f"shop input {looks[position][0]}")
    headings = list(rows[head_row - 1]) if rows else []
    for position, heading in enumerate(headings):
        _write_heading(sheet, table, head_row, position, heading, columns.get(position), looks[position])
    _offer_lists(sheet, table, columns, head_row)
    last = max(len(rows), head_row + 1)
    while headings and headings[-1] in (None, ""):
        headings.pop()
    if headings and _can_be_table(headings) and table.name not in _table_names(book):
        add_table(sheet, table.name, head_row, 1, last, len(headings))
    sheet.row_dimensions[head_row].height = style.HEADING_HEIGHT
    sheet.freeze_panes = sheet.cell(head_row + 1, 2 if table.name in ("Stock", "Settings") else 1)
    widths = [sheet.column_dimensions[get_column_letter(position)].width for position in range(1, len(headings) + 1)]
    pages_across = -(-int(sum(widths)) // _PAGE_WIDTH) or 1
    set_up_page(sheet, title_row=head_row, pages_across=pages_across)
    if pages_across > 1:
        sheet.print_title_cols = "A:B"
    if headings:
        _rule_rows(sheet, head_row, len(headings))
    sheet.sheet_properties.tabColor = style.SAND
    return sheet


def _wide_enough(look: tuple[str, float], rows: Sequence[Sequence[Any]], position: int) -> tuple[str, float]:
    """The look of a column, as wide as its longest text up to a limit (notes run on to the right)."""
    kind, width = look
    longest = max((len(row[position]) for row in rows if position < len(row) and isinstance(row[position], str)),
                  default=0)
    return kind, max(width, min(longest + 2, _WIDEST_TEXT))


def _rule_rows(sheet: Worksheet, head_row: int, last_column: int) -> None:
    """A thin line below every row with something in it, blank cells too and rows still to come."""
    right = get_column_letter(last_column)
    first = f"$A{head_row + 1}:${right}{head_row + 1}"
    sheet.conditional_formatting.add(f"A{head_row + 1}:{right}{_LAST_ROW}",
                                     FormulaRule(formula=[f"COUNTA({first})>0"], border=style.UNDER))


def empty_rows(table: Table, extra: Sequence[str] = ()) -> tuple[list[list[Any]], dict[int, str], int]:
    """Rows, columns and heading row of a sheet nobody has typed in yet; `extra` headings come before the
    note.
    """
    names = [column.name for column in table.columns if column.in_workbook]
    at = names.index("note") if "note" in names else len(names)
    headings = [*names[:at], *extra, *names[at:]]
    known = {position: name for position, name in enumerate(headings) if name in names}
    return [headings], known, 1


def write_lists(book: Workbook, lists: Mapping[str, Sequence[str]]) -> Worksheet:
    """The words behind the drop-downs, one column a list, each with a name that the drop-downs refer to."""
    sheet = book.create_sheet("Lists")
    for position, (name, words) in enumerate(lists.items(), start=1):
        head = sheet.cell(1, position, name.removeprefix("list_").replace("_", " "))
        head.style = "shop heading"
        for row, word in enumerate(words, start=2):
            put(sheet, row, position, word, "shop text")
        letter = get_column_letter(position)
        sheet.column_dimensions[letter].width = max(14, *(len(word) + 2 for word in words))
        book.defined_names[name] = DefinedName(
            name, attr_text=f"{quote_sheetname('Lists')}!${letter}$2:${letter}${len(words) + 1}"
        )
    sheet.freeze_panes = "A2"
    set_up_page(sheet, title_row=1)
    return sheet


def _look(table: Table, name: str | None) -> tuple[str, float]:
    if name is None:  # on Listening the owner's own columns are scores
        return ("number", 10) if table.name == "Listening" else ("plain", 12)
    return _LOOKS[table.column(name).kind]


def _write_heading(
    sheet: Worksheet,
    table: Table,
    row: int,
    position: int,
    heading: Any,
    name: str | None,
    look: tuple[str, float],
) -> None:
    kind, width = look
    cell = sheet.cell(row, position + 1)
    put(
        sheet,
        row,
        position + 1,
        heading,
        "shop input heading right" if kind in style.NUMERIC_KINDS else "shop input heading",
    )
    if name:
        column = table.column(name)
        cell.comment = note(_explain(column, table if position == 0 else None))
    letter = get_column_letter(position + 1)
    dimension = sheet.column_dimensions[letter]
    dimension.width = max(width, len(str(heading or "")) + 3)
    if table.name == "Settings" and position < len(_SETTINGS_WIDTHS):
        dimension.width = _SETTINGS_WIDTHS[position]
    dimension.number_format, dimension.alignment = style.KINDS[kind]
    dimension.font = style.BODY


def _explain(column: Column, table: Table | None) -> str:
    needed = " Needed in every row." if column.required else ""
    about = f"{table.name}: {table.help}\n\n" if table else ""
    return f"{about}{column.help}{needed}"


def _offer_lists(sheet: Worksheet, table: Table, columns: Mapping[int, str], head_row: int) -> None:
    for position, name in columns.items():
        column = table.column(name)
        list_name = _LIST_OF_COLUMN.get(name) or _LIST_OF_KIND.get(column.kind)
        if list_name is None:
            continue
        letter = get_column_letter(position + 1)
        offer = DataValidation(
            type="list",
            formula1=list_name,
            allow_blank=True,
            showErrorMessage=True,
            errorStyle="information",
            errorTitle="Not in the list",
            error="This word is not in the list. It is kept; “check” tells how it was read.",
        )
        offer.add(f"{letter}{head_row + 1}:{letter}{_LAST_ROW}")
        sheet.add_data_validation(offer)


def _table_names(book: Workbook) -> set[str]:
    return {name for sheet in book.worksheets for name in sheet.tables}


def _can_be_table(headings: Sequence[Any]) -> bool:
    """Whether the headings fit a named table: texts, none blank, no two alike."""
    texts = [heading.casefold() if isinstance(heading, str) else "" for heading in headings]
    return all(text.strip() for text in texts) and len(set(texts)) == len(texts)
