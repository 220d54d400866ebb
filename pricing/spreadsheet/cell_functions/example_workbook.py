"""A workbook with every cell function at work on a small invented shop, as .xlsx or .ods."""

from __future__ import annotations

import csv
import datetime as dt
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pricing.spreadsheet.cell_functions import choice_functions, deal_functions, stock_functions
from pricing.spreadsheet.cell_functions.registry import FUNCTIONS
from pricing.spreadsheet.cell_functions.spec import CellFunction
from pricing.spreadsheet.ods_file import write_ods

Rows = list[list[Any]]
# Rows and columns that the result of each example takes, headings included.
SIZES = {"FAIR_TABLE": (7, 5), "WHY": (13, 5), "COMPARABLES": (6, 11), "LIST_PRICE": (7, 6), "CIRCUIT_FIT": (17, 9),
         **choice_functions.SIZES, **deal_functions.SIZES, **stock_functions.SIZES}
_TYPES = {"EL84": 22.0, "ECC83": 26.0, "6V6GT": 30.0, "5U4GB": 18.0, "EL34": 55.0, "6L6GC": 48.0}
_MAKERS = {"Tivenshaw": 1.25, "Varnoseth": 1.0, "Luskarn": 0.8, None: 0.85}
_GRADES = {"new old stock": 1.4, "used, strong": 1.15, "used, good": 1.0, "used, weak": 0.6, None: 0.9}
SALES_HEADINGS = ["sold_on", "type", "maker", "era", "grade", "reading_pct", "set_size", "price", "channel"]
ITEM_HEADINGS = ["type", "maker", "era", "grade", "reading_pct", "set_size", "variant", "brand", "cost", "ask"]


def example_sales() -> Rows:
    """Headings and 300 invented sales."""
    draw, rows = random.Random(84), [list(SALES_HEADINGS)]
    for number in range(300):
        kind, maker, grade = (draw.choice(list(words)) for words in (_TYPES, _MAKERS, _GRADES))
        size = draw.choice((1, 1, 1, 2))
        price = _TYPES[kind] * _MAKERS[maker] * _GRADES[grade] * size * draw.lognormvariate(0, 0.13)
        rows.append([dt.date(2024, 1, 8) + dt.timedelta(days=2 * number), kind, maker,
                     draw.choice(("1950s", "1960s", "1970s", None)), grade, draw.choice((None, 75, 88, 96, 102)), size,
                     round(price, 2), draw.choice(("own site", "marketplace"))])
    return rows


def example_items() -> Rows:
    """Headings and six pieces to price."""
    return [list(ITEM_HEADINGS),
            ["EL84", "Tivenshaw", "1960s", "new old stock", 100, 2, None, None, 14, 60],
            ["12AX7", "Varnoseth", "1950s", "used, strong", 92, 1, "long plates", None, 6, 24],
            ["6V6GT", None, None, "used, good", None, 1, None, "Halcyard", 8, 31],
            ["5U4GB", "Luskarn", "1970s", "NOS", None, 1, None, None, 5, None],
            ["EL34", "Tivenshaw", "1960s", "used, weak", 61, 1, None, None, 10, 70],
            ["6L6GC", "Varnoseth", None, None, 90, 4, None, None, 60, 190]]


def example_settings() -> Rows:
    """Settings of the invented shop."""
    return [["key", "value"], ["currency", "EUR"], ["fee", 8], ["price endings", ".00"], ["minimum margin", 20],
            ["packing cost", 1.5]]


def example_circuit() -> Rows:
    """One position of an invented amplifier."""
    return [["circuit", "fitted_type", "plate_v", "plate_ma", "screen_v", "cathode_ma", "heater_v", "bias",
             "grid_leak_ohm"],
            ["small amplifier", "EL84", 290, 36, 280, 40, 6.3, "cathode", 470_000]]


def formula(one: CellFunction, name: str) -> str:
    """The example of a function under the name a program knows it by, as .xlsx files hold it."""
    return f"={name}({one.example})"


def example_sheets() -> dict[str, Rows]:
    """The sheets that the examples speak of."""
    return {"Sales": example_sales(), "Items": example_items(), "Settings": example_settings(),
            "Circuits": example_circuit(), **choice_functions.example_sheets(), **deal_functions.example_sheets(),
            **stock_functions.example_sheets()}


def function_rows(name_of: Callable[[CellFunction], str]) -> tuple[Rows, list[tuple[int, CellFunction]]]:
    """(text of the Functions sheet, (row from 1 whose second column holds the formula, function) of every function)."""
    rows: Rows = [["Cell functions at work on an invented shop: every sale, maker and price here is made up."],
                  ["Prices are estimates from one shop's sales. Ratings are no instruction to open or change "
                   "equipment, which holds lethal voltages."]]
    places = []
    for one in FUNCTIONS:
        rows.append([name_of(one), one.help])
        rows.append(["", None])
        places.append((len(rows), one))
        rows += [[""]] * (SIZES.get(one.name, (1, 1))[0])
    return rows, places


def write_example_workbook(path: Path | str, spelling: str = "calc") -> Path:
    """Write the workbook at `path` and return it. `spelling`: "calc" (TUBE.FAIR) or "excel" (TUBE_FAIR). ValueError for
    an ending other than .xlsx and .ods."""
    path = Path(path)
    names = {"calc": lambda one: one.calc_name, "excel": lambda one: one.excel_name}[spelling]
    rows, places = function_rows(names)
    formulas = {(row, 2): (formula(one, names(one)), SIZES.get(one.name)) for row, one in places}
    sheets = {"Functions": rows, **example_sheets()}
    writers = {".xlsx": _write_xlsx, ".ods": write_ods}
    if path.suffix.lower() not in writers:
        raise ValueError(f"{path}: the example's name ends in .xlsx or .ods.")
    writers[path.suffix.lower()](path, sheets, {"Functions": formulas})
    return path


def _write_xlsx(path: Path, sheets: dict[str, Rows], formulas: dict[str, dict[tuple[int, int], Any]]) -> None:
    from openpyxl import Workbook
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.formula import ArrayFormula

    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
        sheet.column_dimensions["A"].width = 18
        for (row, column), (text, size) in formulas.get(name, {}).items():
            if size:
                last = f"{get_column_letter(column + size[1] - 1)}{row + size[0] - 1}"
                text = ArrayFormula(f"{get_column_letter(column)}{row}:{last}", text)
            sheet.cell(row, column, text)
    book.save(path)


def example_arguments(one: CellFunction, model: str = "") -> list[Any]:
    """The arguments of a function's example as cell values; `model` stands for the cell of the model function."""
    from openpyxl.utils.cell import range_boundaries

    sheets = example_sheets()
    out: list[Any] = []
    for part in next(csv.reader([one.example], skipinitialspace=True)):
        sheet, mark, cells = part.partition("!")
        if sheet == "Functions":
            out.append(model)
        elif mark:
            left, top, right, bottom = range_boundaries(cells)
            out.append([row[left - 1:right] for row in sheets[sheet][top - 1:bottom]])
        else:
            out.append(None if not part.strip() else float(part) if part.strip().isdecimal() else part)
    return out
