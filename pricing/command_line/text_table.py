"""A table of results as plain text: the headings and kinds of the result sheets, numbers to the right."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

    from pricing.spreadsheet.tables import ResultColumn

_FORMATS = {"money": "{:,.2f}", "change": "{:+,.2f}", "percent": "{:.1f} %", "change_percent": "{:+.1f} %",
            "chance": "{:.0f} %", "days": "{:,.0f}",
            "count": "{:,.0f}", "number": "{:g}", "factor": "{:.3f}", "ratio": "{:.2f}", "index": "{:,.1f}"}


def text_table(frame: pd.DataFrame, columns: Sequence[ResultColumn]) -> str:
    """`frame` as lines of text, a blank cell for what is missing; "none" for no rows. Words are not cut."""
    if frame.empty:
        return "  none"
    cells = [[_shown(value, column.kind) for value in frame[column.source]] for column in columns]
    texts = [[column.heading, *shown] for column, shown in zip(columns, cells)]
    widths = [max(map(len, text)) for text in texts]
    to_right = [column.kind in _FORMATS for column in columns]
    lines = ("  ".join(cell.rjust(width) if right else cell.ljust(width)
                       for cell, width, right in zip(row, widths, to_right)) for row in zip(*texts))
    return "\n".join(f"  {line}".rstrip() for line in lines)


def _shown(value: Any, kind: str) -> str:
    if value is None or value != value or value in (float("inf"), float("-inf")):
        return ""
    if kind == "date":
        return f"{value:%Y-%m-%d}"
    if kind == "chance" and not 0.5 <= value < 99.5:  # never said to be certain
        return "<1 %" if value < 0.5 else ">99 %"
    return _FORMATS[kind].format(value) if kind in _FORMATS else re.sub(r"\s+", " ", str(value)).strip()
