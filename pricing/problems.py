"""Problems: what is wrong with a cell the owner typed, and what would mend it."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    import pandas as pd

Effect = Literal["row left out", "cell ignored", "please check"]


@dataclass(frozen=True)
class Problem:
    """One bad or doubtful cell.

    `row` is the row number a person sees in the file (the heading is row 1), None when the whole table is meant.
    """

    sheet: str
    row: int | None
    column: str
    value: str
    code: str
    message: str
    remedy: str
    effect: Effect


@dataclass(frozen=True)
class Code:
    """Message and remedy of one kind of problem; both may use {value} and the details given by the caller."""

    message: str
    remedy: str
    effect: Effect


CODES: dict[str, Code] = {
    "unknown_type": Code(
        "The register does not know the type '{value}'.",
        "Correct the spelling ({near}), or add the type to the Types sheet.",
        "please check",
    ),
}


def problem(code: str, *, sheet: str, row: int | None, column: str, value: Any, **details: Any) -> Problem:
    """The Problem of kind `code` at one cell. KeyError when the code is not in CODES."""
    kind = CODES[code]
    words = {"value": value, "column": column, **details}
    return Problem(
        sheet, row, column, "" if value is None else str(value), code,
        kind.message.format(**words), kind.remedy.format(**words), kind.effect,
    )


def problems_frame(problems: list[Problem]) -> pd.DataFrame:
    """One row a problem, columns as the fields of Problem."""
    import pandas as pd

    names = [field.name for field in fields(Problem)]
    return pd.DataFrame([[getattr(p, name) for name in names] for p in problems], columns=names)
