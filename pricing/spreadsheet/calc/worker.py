"""The process that computes for the add-in: one JSON line in, one JSON line out.

In: [method, [arguments]]; a range is a list of rows. Out: {"value": number, text or rows}, with "pending": key while a
model is fitted; ["pending", [key]] asks again. Ends when its input ends.
"""

from __future__ import annotations

import json
import os
import sys
from typing import Any, TextIO


def main() -> None:
    """Serve until the add-in is gone. What anybody prints goes to the log, not into the answers."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    os.umask(0o077)
    serve(sys.stdin, answers)
    answers.flush()
    os._exit(0)  # a fit under way is not waited for


def serve(questions: TextIO, answers: TextIO) -> None:
    """Answer every line."""
    from pricing.spreadsheet.cell_functions import price_functions

    store = price_functions.store()
    store.patience_s = float(os.environ.get("TUBE_PRICE_PATIENCE_S") or store.patience_s)
    for line in questions:
        answers.write(json.dumps(answer(*json.loads(line)), separators=(",", ":")) + "\n")
        answers.flush()


def answer(method: str, arguments: list[Any]) -> dict[str, Any]:
    """The answer to one question."""
    from pricing.spreadsheet.cell_functions.cell_values import CellProblem
    from pricing.spreadsheet.cell_functions.model_store import Pending
    from pricing.spreadsheet.cell_functions.price_functions import store
    from pricing.spreadsheet.cell_functions.registry import BY_METHOD

    if method == "pending":
        try:
            return {"value": store().state(*arguments)}
        except CellProblem as problem:
            return {"value": str(problem)}
    value = BY_METHOD[method](*arguments)
    return {"value": value, "pending": value.key} if isinstance(value, Pending) else {"value": value}


if __name__ == "__main__":
    main()
