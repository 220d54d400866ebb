"""The sheet Live cells: pieces of the stock priced by cell functions, in LibreOffice Calc with the add-in."""

from __future__ import annotations

from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.workbook import Workbook
from openpyxl.worksheet.formula import ArrayFormula
from openpyxl.worksheet.worksheet import Worksheet

from pricing.spreadsheet import style
from pricing.spreadsheet.cell_functions.registry import FUNCTIONS
from pricing.spreadsheet.sections import paragraph
from pricing.spreadsheet.tables import put, put_text, set_up_page

ITEMS = (("type", "text", 10), ("maker", "text", 13), ("era", "plain", 13), ("grade", "text", 24),
         ("reading_pct", "count", 12), ("set_size", "count", 9), ("variant", "text", 14), ("cost", "money", 9),
         ("ask", "money", 9))
_FAIR = (("money", 11), ("money", 9), ("money", 9), ("index", 12), ("words", 30))
_LIST = (("money", 10), ("money", 9), ("count", 11), ("money", 9), ("text", 9), ("words", 60))
_WHY = ("count", "text", "words", "factor", "money")
PIECES, WHY_ROWS = 12, 13
MODEL_CELL, TOP = "B4", 7
_NAMES = {one.name: one.calc_name for one in FUNCTIONS}


def write_live_cells(book: Workbook, stock_rows: list[dict[str, object]]) -> Worksheet:
    """Live cells after the input sheets `Sales` and `Settings`, which must be there: the model in MODEL_CELL, then
    PIECES rows to type in, the first ones from `stock_rows` (by the names of ITEMS), priced beside."""
    sheet = book.create_sheet("Live cells")
    widths = [width for *_, width in (*ITEMS, *_FAIR, *_LIST)]
    for place, width in enumerate(widths, 1):
        sheet.column_dimensions[get_column_letter(place)].width = width
    put_text(sheet.cell(1, 1), "Live cells")
    sheet.cell(1, 1).font = style.TITLE
    row = paragraph(sheet, 2, "Change a piece and its prices follow. These formulas are computed by the project's own "
                    "Python; they work in LibreOffice Calc once python -m pricing connect calc has run.",
                    style.BODY, widths)
    put(sheet, 4, 1, "model", "shop heading")
    sheet[MODEL_CELL] = f"={_NAMES['MODEL']}({_whole(book['Sales'])},{_whole(book['Settings'])})"
    row = paragraph(sheet, 5, "Prices are estimates from one shop's sales, no promise of what a piece will bring.",
                    style.CAUTION, widths)
    assert row <= TOP
    for place, (name, kind, _) in enumerate(ITEMS, 1):
        put(sheet, TOP, place, name, "shop input heading")
        for number in range(PIECES):
            value = stock_rows[number].get(name) if number < len(stock_rows) else None
            put(sheet, TOP + 1 + number, place, value, f"shop input {kind}")
    last = f"{get_column_letter(len(ITEMS))}{TOP + PIECES}"
    at = len(ITEMS) + 1
    for name, kinds in (("FAIR_TABLE", _FAIR), ("LIST_PRICE", _LIST)):
        _array(sheet, TOP, at, [kind for kind, _ in kinds], PIECES + 1, f"{_NAMES[name]}(${MODEL_CELL},A{TOP}:{last})")
        at += len(kinds)
    why = TOP + PIECES + 3
    put_text(sheet.cell(why - 1, 1), "Why the first piece has this price")
    sheet.cell(why - 1, 1).font = style.SECTION
    _array(sheet, why, 2, _WHY, WHY_ROWS, f"{_NAMES['WHY']}(${MODEL_CELL},A{TOP}:{last[0]}{TOP + 1})")
    sheet.freeze_panes = sheet.cell(TOP + 1, 2)
    set_up_page(sheet, title_row=TOP)
    sheet.sheet_properties.tabColor = style.HEAD
    return sheet


def _array(sheet: Worksheet, top: int, left: int, kinds: list[str] | tuple[str, ...], rows: int, formula: str) -> None:
    """One array formula over a heading row and rows - 1 more, as many columns as kinds."""
    first, right = get_column_letter(left), get_column_letter(left + len(kinds) - 1)
    for row in range(top, top + rows):
        sheet.row_dimensions[row].height = 2 * style.LINE_HEIGHT + 1
        for place, kind in enumerate(kinds, left):
            heading = "shop heading right" if kind in style.NUMERIC_KINDS else "shop heading"
            sheet.cell(row, place).style = heading if row == top else f"shop {kind}"
    sheet.cell(top, left, ArrayFormula(f"{first}{top}:{right}{top + rows - 1}", f"={formula}"))


def _whole(sheet: Worksheet) -> str:
    """Everything that stands on a sheet, as a reference."""
    return f"{quote_sheetname(sheet.title)}!$A$1:${get_column_letter(sheet.max_column)}${sheet.max_row}"
