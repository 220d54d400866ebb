"""What a cell function is: its name, arguments, help and example, and the plain Python function behind it."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from pricing.spreadsheet.cell_functions.cell_values import CellProblem, result_cell, result_table


@dataclass(frozen=True)
class Argument:
    """One argument. `kind` "cell" takes a value or one cell, "number" the same where 0 is no blank, "table" a range."""

    name: str
    help: str
    kind: Literal["cell", "number", "table"] = "cell"
    optional: bool = False


@dataclass(frozen=True)
class CellFunction:
    """One cell function. Called with cell values it gives cell values and never raises: what is wrong is a text.

    `name` without the prefix, in capitals; `example` the arguments of a formula on the sheets of the example workbook,
    separated by commas; `gives` "cell" or "table".
    """

    name: str
    function: Callable[..., Any]
    help: str
    arguments: tuple[Argument, ...]
    example: str
    gives: Literal["cell", "table"] = "cell"
    category: str = "Tube prices"

    @property
    def excel_name(self) -> str:
        """The name in Excel: TUBE_FAIR."""
        return f"TUBE_{self.name}"

    @property
    def calc_name(self) -> str:
        """The name in LibreOffice Calc: TUBE.FAIR, TUBE.FAIRTABLE. UNO lets no method have an underscore."""
        return f"TUBE.{self.method.upper()}"

    @property
    def method(self) -> str:
        """Its name as a method: fair, fairtable."""
        return self.name.lower().replace("_", "")

    @property
    def signature(self) -> str:
        """Name and arguments, optional ones in brackets, in Excel's spelling."""
        names = (f"[{one.name}]" if one.optional else one.name for one in self.arguments)
        return f"{self.excel_name}({', '.join(names)})"

    def __call__(self, *cells: Any) -> float | str | list[list[float | str]]:
        """The value, or table, of these cell values; a text that says what is wrong where there is none."""
        needed = sum(not one.optional for one in self.arguments)
        try:
            if not needed <= len(cells) <= len(self.arguments):
                raise CellProblem(f"{len(cells)} arguments were given; it takes {self.signature}.")
            result = self.function(*cells)
        except CellProblem as problem:
            return result_cell(str(problem))
        except Exception as error:  # a cell must say something, and the next one must work
            traceback.print_exc(file=sys.stderr)
            return result_cell(f"This could not be computed ({type(error).__name__}: {error}): check the arguments; if "
                               "they are right, the fault is in the add-in.")
        if self.gives == "table":
            return result_table(result)
        return result if isinstance(result, str) else result_cell(result)
