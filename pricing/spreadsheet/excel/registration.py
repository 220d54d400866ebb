"""The registry's functions as xlwings functions: what Excel hands over becomes cells, results become what it can show.

Only on Windows do xlwings' decorators do anything; elsewhere the functions stay plain Python.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

import xlwings
from xlwings.conversion import Accessor, Pipeline

from pricing.spreadsheet.cell_functions.registry import FUNCTIONS
from pricing.spreadsheet.cell_functions.spec import CellFunction
from pricing.spreadsheet.excel.vba import help_text, vba_name

LONGEST_TEXT = 255  # UTF-16 units; a longer text from a function shows as #VALUE!
READ_WHOLE_ROWS = 1_000
# Errors reach a function as whole numbers, this base plus XlCVError (Microsoft, Excel VBA reference); all other numbers
# come as floats. What is newer than the list is an error all the same.
_ERROR_BASE = -2_146_828_288
_ERRORS = {2000: "#NULL!", 2007: "#DIV/0!", 2015: "#VALUE!", 2023: "#REF!", 2029: "#NAME?", 2036: "#NUM!", 2042: "#N/A",
           2045: "#SPILL!", 2050: "#CALC!"}


def register(namespace: dict[str, Any]) -> None:
    """Put every function of the registry into a module's namespace, under its name in Excel."""
    for one in FUNCTIONS:
        namespace[one.excel_name] = excel_function(one)


def excel_function(one: CellFunction) -> Callable[..., Any]:
    """The function as xlwings takes it: never volatile, silent while the wizard is open, texts instead of errors."""
    kinds = [argument.kind for argument in one.arguments]

    def function(*arguments):  # no type hints: xlwings would convert by them
        cells = (_cells(value, kind) for value, kind in zip(arguments, kinds))
        return shown(one(*cells))

    names = [vba_name(argument.name) for argument in one.arguments]
    function.__name__ = function.__qualname__ = one.excel_name
    function.__doc__ = help_text(one.help)
    function.__signature__ = inspect.Signature([
        inspect.Parameter(name, inspect.Parameter.POSITIONAL_OR_KEYWORD,
                          default=None if argument.optional else inspect.Parameter.empty)
        for name, argument in zip(names, one.arguments)])
    for name, argument in zip(names, one.arguments):
        function = xlwings.arg(name, RangeCells, doc=help_text(argument.help))(function)
    return xlwings.func(category=one.category, call_in_wizard=False, volatile=False)(function)


def shown(result: Any) -> Any:
    """A result with every text a plain one that Excel can show."""
    if isinstance(result, list):
        return [[shown(one) for one in row] for row in result]
    if not isinstance(result, str):
        return result
    units = result.encode("utf-16-le", "replace")
    if len(units) <= 2 * LONGEST_TEXT:
        return str(result)
    return units[: 2 * (LONGEST_TEXT - 3)].decode("utf-16-le", "ignore").rstrip() + "..."


class RangeCells(Accessor):
    """Reads an argument as rows of numbers, texts and None, with errors by their names.

    Dates come as day numbers and amounts as they are, not cut to four decimals (Range.Value2), so that the same sales
    have the same handle in every program. Of whole columns only what the sheet uses is read.
    """

    @classmethod
    def reader(cls, options: dict[str, Any]) -> Pipeline:
        return Pipeline().append_stage(cls._read)

    @staticmethod
    def _read(context: Any) -> None:
        value = context.value if context.range is None else _used(context.range.api).Value2
        if not isinstance(value, list | tuple):
            value = [[value]]
        elif not value or not isinstance(value[0], list | tuple):
            value = [value]
        context.value = [[_cell(one) for one in row] for row in value]


def _used(area: Any) -> Any:
    """The range, of a long one the part from its first cell to the last the sheet uses."""
    rows = area.Rows.Count
    if rows <= READ_WHOLE_ROWS:
        return area
    sheet = area.Worksheet
    used = sheet.UsedRange
    last_row = min(area.Row + rows, used.Row + used.Rows.Count) - 1
    last_column = min(area.Column + area.Columns.Count, used.Column + used.Columns.Count) - 1
    last = sheet.Cells(max(last_row, area.Row), max(last_column, area.Column))
    return sheet.Range(sheet.Cells(area.Row, area.Column), last)


def _cell(value: Any) -> Any:
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value - _ERROR_BASE < 1 << 16:
        return _ERRORS.get(value - _ERROR_BASE, "#VALUE!")
    return value


def _cells(value: Any, kind: str) -> Any:
    """A range of one cell is that cell where no table is asked for."""
    one = kind != "table" and isinstance(value, list) and len(value) == 1 and len(value[0]) == 1
    return value[0][0] if one else value
