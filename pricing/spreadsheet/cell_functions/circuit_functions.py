"""The cell function about circuits: does a position keep within a type's ratings."""

from __future__ import annotations

from typing import Any

from pricing.decisions.circuit_fit import check_circuit_fit
from pricing.shop_tables.columns import TABLES
from pricing.spreadsheet.cell_functions.cell_values import CellProblem, cells_of, one_cell, result_cell
from pricing.spreadsheet.cell_functions.ranges import table_of
from pricing.spreadsheet.cell_functions.register_functions import type_of

HEADINGS = ("rating", "limit", "unit", "value", "headroom %", "verdict", "reason", "rating system", "basis")


def tube_circuit_fit(tube: Any, circuit: Any) -> list[list[Any]]:
    """All ratings counted, then a row each, bad cells of the circuit, and the cautions."""
    name = type_of(one_cell(tube, "tube")).designation
    frame = table_of(cells_of(circuit), TABLES["Circuits"], "circuit", ("fitted_type",))
    if len(frame) > 1:
        raise CellProblem(f"'circuit' has {len(frame):,} rows below its headings; one position is checked at a time: "
                          "give the headings and one row.")
    fit = check_circuit_fit(name, frame.iloc[0])
    columns = ["rating", "limit", "unit", "value", "headroom_pct", "verdict", "reason", "rating_system", "basis"]
    rows: list[list[Any]] = [list(HEADINGS), ["all together", "", "", "", "", fit.verdict, fit.summary]]
    for row in fit.findings[columns].to_numpy(object).tolist():
        rows.append([one if isinstance(one, str) else result_cell(one) for one in row])
    rows += [["cell", "", "", "", "", one.column, f"{one.message} {one.remedy}"] for one in fit.problems.itertuples()]
    return [*rows, *(["caution", "", "", "", "", "", words] for words in fit.cautions)]
