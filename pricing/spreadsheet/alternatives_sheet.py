"""The sheet Alternatives: what to answer a customer who asks for something cheaper that sounds close."""

from __future__ import annotations

import pandas as pd
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Font, PatternFill
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from pricing.decisions.alternatives import NO_CIRCUIT
from pricing.decisions.circuit_fit import CAUTIONS
from pricing.problems import counted
from pricing.spreadsheet import style
from pricing.spreadsheet.result_sheets import write_heading
from pricing.spreadsheet.tables import ResultColumn, fit_heights, set_up_page, write_table

TITLE = "Alternatives"
COLUMNS = (
    ResultColumn("wanted", "wanted", "words", 30, "The dearest piece on hand of each type, the types sold most first."),
    ResultColumn("wanted_each", "asked a tube", "money", 9),
    ResultColumn("candidate", "instead", "words", 32, "What can be had for less, a tube against a tube."),
    ResultColumn("code", "code", "text", 9, "Your stock code, or the name of the offer."),
    ResultColumn("where", "where", "words", 13),
    ResultColumn("each", "a tube", "money", 9, "Offers with their postage, in the shop's currency."),
    ResultColumn("saving_pct", "less", "percent", 8),
    ResultColumn("kind", "how it goes in", "words", 15, "Same type; straight; with a check, a heater rewire or a "
                                                        "socket adapter; circuit change."),
    ResultColumn("electrically", "electrically", "words", 12, "By gain, mutual conductance and plate resistance at the "
                                                              "typical point; rectifiers by their drop."),
    ResultColumn("verdict", "in the circuit", "text", 13, "exceeds, cannot check, at the edge or within: the worst "
                                                          "finding in the circuit named beside."),
    ResultColumn("circuit", "circuit", "words", 15, "The first position on Circuits with the wanted type fitted."),
    ResultColumn("answer", "what to answer", "words", 78),
)
_COLOURS = {"exceeds": ("8A2B1D", "F7DDD6"), "cannot check": ("6A5A00", "FAF2C8"), "at the edge": ("7A4A12", "F6E4CF")}


def write_alternatives(book: Workbook, alternatives: pd.DataFrame, currency: str) -> Worksheet:
    """The sheet from `stock_alternatives`."""
    sheet = book.create_sheet(TITLE)
    lines = [
        *headline(alternatives, currency),
        "Read a customer the last column; “circuit” says which amplifier the ratings were compared in. For another "
        "amplifier: python -m pricing alternatives, or a row of its own on Circuits.",
        "Sound is what your own listening notes say, with their uncertainty; notes on few hearings lean on maker and "
        "type. A type that another may replace is not always replaced by it: only the direction listed is shown.",
        CAUTIONS[0], CAUTIONS[1],
    ]
    write_heading(sheet, TITLE, lines)
    top = len(lines) + 3
    frame = table_of(alternatives)
    last = write_table(sheet, frame, COLUMNS, name="AlternativesList", top=top)
    fit_heights(sheet, frame, COLUMNS, top)
    for verdict, (ink, fill) in _COLOURS.items():
        sheet.conditional_formatting.add(f"J{top + 1}:J{last}", FormulaRule(
            formula=[f'$J{top + 1}="{verdict}"'], font=Font(color=ink, bold=verdict == "exceeds"),
            fill=PatternFill("solid", start_color=fill, end_color=fill)))
    sheet.freeze_panes = f"B{top + 1}"
    sheet.sheet_view.showGridLines = False
    set_up_page(sheet, title_row=top, last_row=last, last_column=len(COLUMNS))
    sheet.sheet_properties.tabColor = style.HEAD
    return sheet


def table_of(alternatives: pd.DataFrame) -> pd.DataFrame:
    """The rows as the sheet shows them."""
    candidate = [", ".join(filter(None, (one.type, one.piece))) if isinstance(one.type, str) else "nothing for less"
                 for one in alternatives.itertuples(index=False)]
    verdict = alternatives["verdict"].where(alternatives["verdict"] != NO_CIRCUIT, "not compared")
    circuit = alternatives["circuit"].where(alternatives["circuit"] != "", "none with it fitted")
    return alternatives.assign(candidate=candidate, verdict=verdict, circuit=circuit)


def headline(alternatives: pd.DataFrame, currency: str) -> list[str]:
    """How many pieces have an alternative, and what it saves."""
    if alternatives.empty:
        return ["No piece on hand has an ask, so there is nothing to look for something cheaper for."]
    cheaper = alternatives.dropna(subset=["each"])
    wanted, met = alternatives["wanted_code"].nunique(), cheaper["wanted_code"].nunique()
    said = (f"For {met:,} of {counted(wanted, 'type')} on hand (the dearest piece of each, prices in "
            f"{currency or 'the currency of the shop'}) "
            "something cheaper can be had.")
    over = int((cheaper["verdict"] == "exceeds").sum())
    return [said + (f" {over:,} of the pieces listed {'exceeds' if over == 1 else 'exceed'} a limit in the circuit: "
                    "not to be offered for it." if over else "")]
