"""The sheet Circuit fit: every position of the Circuits table against the type fitted in it, one row a finding."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pandas as pd
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Font, PatternFill
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from pricing.decisions.circuit_fit import CAUTIONS, CircuitFit, check_all_circuits
from pricing.decisions.rating_rules import VERDICTS
from pricing.problems import counted
from pricing.spreadsheet import style
from pricing.spreadsheet.sections import paragraph
from pricing.spreadsheet.tables import ResultColumn, fit_heights, put_text, set_up_page, write_table

ALL = "all together"
COLUMNS = (
    ResultColumn("verdict", "verdict", "text", 12, "exceeds, cannot check, at the edge (under 5 % of the limit left) "
                                                   "or within. The first row of a position is the worst of it."),
    ResultColumn("circuit", "circuit", "words", 14),
    ResultColumn("position", "position", "text", 9),
    ResultColumn("type", "type", "text", 9, "The type fitted, as the register reads it."),
    ResultColumn("rating", "rating", "words", 20),
    ResultColumn("value", "in the circuit", "number", 10, "Your own figure, at the worst mains you state where the "
                                                          "limit's rating system asks for it. Heater current: what "
                                                          "the tube draws."),
    ResultColumn("limit", "limit", "number", 12, "The tube's limit. Heater current: what the winding has for it."),
    ResultColumn("unit", "unit", "text", 6),
    ResultColumn("headroom_pct", "left to the limit", "percent", 9, "In percent of the limit; below nought it is "
                                                                    "passed. Heater volts: what is left of +/-10 %."),
    ResultColumn("reason", "why", "words", 60),
    ResultColumn("rating_system", "rating system", "words", 22, "Design-centre limits hold for your nominal values, "
                                                                "design-maximum for your worst, absolute-maximum for "
                                                                "the worst of everything (IEC 60134)."),
    ResultColumn("basis", "how the limit is known", "words", 30),
    ResultColumn("cautions", "what the register says besides", "words", 50),
    ResultColumn("row", "Circuits row", "count", 8),
)
_PRINTED = 12  # what the register says besides stays on the screen
_WIDTHS = [column.width for column in COLUMNS[:_PRINTED]]
_COLOURS = {"exceeds": ("8A2B1D", "F7DDD6"), "cannot check": ("6A5A00", "FAF2C8"), "at the edge": ("7A4A12", "F6E4CF")}


def write_circuit_fit(book: Workbook, shop: Any) -> Worksheet:
    """Circuit fit: what was found in words and the cautions, then all findings, by circuit, worst first."""
    sheet = book.create_sheet("Circuit fit")
    fits = check_all_circuits(shop.circuits, shop.register)
    frame = findings_of(fits, shop.circuits["row"].tolist())
    put_text(sheet.cell(1, 1), "Circuit fit")
    sheet.cell(1, 1).font = style.TITLE
    sheet.row_dimensions[1].height = 22
    row = 2
    for text in headline(fits):
        row = paragraph(sheet, row, text, style.BOLD, _WIDTHS)
    how = (f"Use the arrow on “rating” and choose “{ALL}” to see one row a position, or the arrow on “verdict” to see "
           "what exceeds.")
    row = paragraph(sheet, row, how, style.NOTE, _WIDTHS)
    for place, caution in enumerate(CAUTIONS):
        row = paragraph(sheet, row, caution, style.CAUTION if place == 0 else style.BODY, _WIDTHS)
    top = row + 1
    last = write_table(sheet, frame, COLUMNS, name="CircuitFit", top=top)
    fit_heights(sheet, frame, COLUMNS[:_PRINTED], top)
    for verdict, (ink, fill) in _COLOURS.items():
        sheet.conditional_formatting.add(f"A{top + 1}:A{last}", FormulaRule(
            formula=[f'$A{top + 1}="{verdict}"'], font=Font(color=ink, bold=verdict == "exceeds"),
            fill=PatternFill("solid", start_color=fill, end_color=fill)))
    sheet.conditional_formatting.add(f"B{top + 1}:L{last}", FormulaRule(
        formula=[f'$E{top + 1}="{ALL}"'], font=Font(bold=True),
        fill=PatternFill("solid", start_color=style.BAND, end_color=style.BAND)))
    sheet.freeze_panes = f"F{top + 1}"
    sheet.sheet_view.showGridLines = False
    set_up_page(sheet, title_row=top, last_column=_PRINTED, last_row=last)
    sheet.sheet_properties.tabColor = style.HEAD
    return sheet


def findings_of(fits: list[CircuitFit], rows: list[int]) -> pd.DataFrame:
    """A row a finding, worst first within each position, after one that sums the position up; columns of COLUMNS."""
    parts = []
    for fit, row in zip(fits, rows, strict=True):
        found = fit.findings.sort_values("verdict", key=lambda verdict: verdict.map(VERDICTS.index), kind="stable")
        own = " ".join(fit.cautions[len(CAUTIONS):])
        whole = pd.DataFrame([{"verdict": fit.verdict, "rating": ALL, "reason": f"{_first_up(fit.summary)}.",
                               "cautions": own}])
        part = pd.concat([whole, found.astype(object)], ignore_index=True)
        parts.append(part.assign(circuit=fit.circuit, position=fit.position, type=fit.type, row=row))
    frame = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    frame = frame.reindex(columns=[column.source for column in COLUMNS]).astype(object)
    frame = frame.where(frame.notna(), None)
    in_kilohms = [unit == "ohm" and max(_number(one) for one in pair) >= 1000
                  for unit, *pair in zip(frame["unit"], frame["value"], frame["limit"], strict=True)]
    frame["unit"] = ["kohm" if large else unit for large, unit in zip(in_kilohms, frame["unit"], strict=True)]
    for name in ("value", "limit"):
        frame[name] = [cell / 1000 if large and cell else cell
                       for large, cell in zip(in_kilohms, frame[name], strict=True)]
        frame[name] = [float(f"{cell:.4g}") if isinstance(cell, float) else cell for cell in frame[name]]
    return frame


def headline(fits: list[CircuitFit]) -> list[str]:
    """How many positions came out how, and what exceeds, in words."""
    counts = Counter(fit.verdict for fit in fits)
    circuits = len({fit.circuit for fit in fits})
    positions = f"{counted(len(fits), 'position')} of {counted(circuits, 'circuit')}"
    lines = [f"{positions}, each against the type fitted: {counts['exceeds']} exceed a limit, "
             f"{counts['cannot check']} cannot be checked in full, {counts['at the edge']} at the edge, "
             f"{counts['within']} within on all that is checked here."]
    over = [f"{fit.circuit} {fit.position} {fit.type} ({_exceeding(fit)})"
            for fit in fits if fit.verdict == "exceeds"]
    if over:
        lines.append(f"A limit is exceeded in: {'; '.join(over)}.")
    open_reasons = [reason for fit in fits
                    for reason in fit.findings.loc[fit.findings["verdict"] == "cannot check", "reason"]]
    yours = sum("circuit " in reason for reason in open_reasons)
    if open_reasons:
        lines.append(f"{len(open_reasons):,} findings cannot be made: {yours:,} of them for want of a figure on "
                     "Circuits, which you may have measured; the others because the register does not know enough.")
    return lines


def _number(cell: Any) -> float:
    return cell if isinstance(cell, float) else 0.0


def _exceeding(fit: CircuitFit) -> str:
    return ", ".join(fit.findings.loc[fit.findings["verdict"] == "exceeds", "rating"])


def _first_up(text: str) -> str:
    return text[:1].upper() + text[1:]
