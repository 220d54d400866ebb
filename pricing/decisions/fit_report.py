"""Circuit fit in words, for the end of a command."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pricing.decisions.circuit_fit import CAUTIONS, CircuitFit, check_change_of_rectifier, check_circuit_fit
from pricing.decisions.rating_rules import VERDICTS
from pricing.decisions.rectifier_findings import is_rectifier

if TYPE_CHECKING:
    import pandas as pd

    from pricing.register import Register


def fits_of(circuits: pd.DataFrame, register: Register, circuit: str, type_name: str = "",
            position: str = "") -> list[CircuitFit]:
    """The positions of one circuit with a type in each: the one fitted, or `type_name` wherever it may be meant.

    Without `position` a type is tried where its kin are fitted (the same type, the same electrical family, or one that
    the list of substitutions names beside it, if only as a warning), else in every position. A rectifier's fit says
    what its drop does to the other positions. KeyError, with what there is, for a circuit or position not in the table.
    """
    rows = circuits[circuits["circuit"].str.casefold() == circuit.strip().casefold()]
    if rows.empty:
        raise KeyError(f"no circuit '{circuit}' in Circuits; there are {', '.join(dict.fromkeys(circuits['circuit']))}")
    if position:
        here = rows[rows["position"].str.casefold() == position.strip().casefold()]
        if here.empty:
            raise KeyError(f"no position '{position}' in {circuit}; there are {', '.join(rows['position'])}")
    else:
        kin = [not type_name or _kin(register, row.designation, type_name) for row in rows.itertuples()]
        here = rows[kin] if any(kin) else rows
    return [_fit(type_name or row["designation"], row, circuits, register) for row in here.to_dict("records")]


def _fit(name: str, row: dict, circuits: pd.DataFrame, register: Register) -> CircuitFit:
    match = register.find(name)
    if match.status == "found" and is_rectifier(register.type(match.designation)):
        return check_change_of_rectifier(name, row, circuits, register).fit
    return check_circuit_fit(name, row, register)


def _kin(register: Register, fitted: str, name: str) -> bool:
    matches = register.find(fitted), register.find(name)
    if any(match.status != "found" for match in matches):
        return False
    a, b = (register.type(match.designation) for match in matches)
    return a.canonical_type == b.canonical_type or (bool(a.family) and a.family == b.family) or any(
        one.to_canonical == b.canonical_type for one in register.substitutions(a.canonical_type))


def fit_report(fits: list[CircuitFit]) -> str:
    """Every finding of every fit, worst first, each with its rating system and basis; the cautions at the end."""
    lines: list[str] = []
    for fit in fits:
        lines += [f"{' '.join(filter(None, (fit.circuit, fit.position)))}, built for {fit.fitted_type or '?'}: "
                  f"{fit.type}", f"{fit.verdict}: {fit.summary}"]
        found = fit.findings.sort_values("verdict", key=lambda verdict: verdict.map(VERDICTS.index), kind="stable")
        for one in found.itertuples():
            held_by = "; ".join(filter(None, (one.rating_system, one.basis)))
            lines.append(f"  {one.verdict:<12}  {one.rating}: {one.reason} [{held_by}]")
        lines += [f"  {caution}" for caution in fit.cautions[len(CAUTIONS):]]
        lines.append("")
    return "\n".join([*lines, *CAUTIONS])
