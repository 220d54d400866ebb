"""The reference of cell functions in the README, written from the registry: `python -m ...reference README.md`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from pricing.spreadsheet.cell_functions.example_workbook import example_arguments, formula
from pricing.spreadsheet.cell_functions.registry import BY_NAME, FUNCTIONS

BEGIN, END = "<!-- cell functions: written from the registry -->", "<!-- end of cell functions -->"
_SHOWN = 3


def reference() -> str:
    """Every function with its arguments, its example on the example workbook, and what the example gives."""
    model = BY_NAME["MODEL"](*example_arguments(BY_NAME["MODEL"]))
    parts = []
    for one in FUNCTIONS:
        result = one(*example_arguments(one, model))
        arguments = "; ".join(f"`{'[' if each.optional else ''}{each.name}{']' if each.optional else ''}` "
                              f"{each.help[0].lower()}{each.help[1:].rstrip('.')}" for each in one.arguments)
        parts.append(f"**`{one.excel_name}`**, in Calc `{one.calc_name}`. {one.help}  \n{arguments}.\n\n"
                     f"    {formula(one, one.calc_name)}\n{_shown(result)}")
    return "\n\n".join(parts)


def with_reference(text: str) -> str:
    """`text` with the part between the two marks written anew. ValueError where a mark is missing."""
    before, _, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not end:
        raise ValueError(f"the text lacks the marks {BEGIN} and {END}")
    return f"{before}{BEGIN}\n\n{reference()}\n\n{END}{after}"


def _shown(result: Any) -> str:
    """The result as indented lines, of a table the first few rows."""
    rows = result if isinstance(result, list) else [[result]]
    lines = ["    " + " | ".join(f"{one:.2f}".rstrip("0").rstrip(".") if isinstance(one, float) else one or " "
                                 for one in row) for row in rows[:_SHOWN]]
    return "\n".join([*lines, "    ..."] if len(rows) > _SHOWN else lines)


if __name__ == "__main__":
    _readme = Path(sys.argv[1])
    _readme.write_text(with_reference(_readme.read_text(encoding="utf-8")), encoding="utf-8")
