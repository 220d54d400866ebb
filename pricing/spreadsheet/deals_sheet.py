"""The sheet Deals: offers worth buying, and one's own asks that look low, the likeliest first."""

from __future__ import annotations

import pandas as pd
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Font, PatternFill
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from pricing.decisions.underpriced import OFFER, OWN, Underpriced
from pricing.problems import counted
from pricing.spreadsheet import style
from pricing.spreadsheet.result_sheets import write_heading
from pricing.spreadsheet.sections import heading
from pricing.spreadsheet.tables import ResultColumn, fit_heights, put_text, set_up_page, write_table

TITLE = "Deals"
_CHANCE = ("In 100 such pieces, how many would truly be worth it: by your sales, their uncertainty, and what the ask "
           "itself tells.")
COLUMNS = (
    ResultColumn("mark", "marked", "text", 11,
                 "As far as the expected share of false finds keeps under the limit of Settings; “as” a type: only at "
                 "the price of the type it may stand in for."),
    ResultColumn("chance_pct", "chance", "chance", 9, _CHANCE),
    ResultColumn("code", "code", "text", 10),
    ResultColumn("type", "type", "text", 13),
    ResultColumn("piece", "piece", "words", 34),
    ResultColumn("sets", "sets", "count", 7),
    ResultColumn("cost", "costs a set", "money", 11,
                 "An offer's ask with its share of postage, in the shop's currency; your own ask."),
    ResultColumn("fair_price", "its like sells at", "money", 11, "The fair price."),
    ResultColumn("worth", "worth, ask heard", "money", 10,
                 "The same once the ask is counted as evidence: sellers often know something."),
    ResultColumn("needed", "needed", "money", 10,
                 "Lowest price that pays the margin you require after fees; of your own pieces the ask and a tenth."),
    ResultColumn("gain", "expected gain", "change", 11,
                 "After fees, of all sets; of your own pieces what the ask gives away."),
    ResultColumn("why", "why it stands here", "words", 62),
    ResultColumn("doubts", "what could be wrong", "words", 32),
)
_MARK = ("1F5A3C", "DCEBE1")


def write_deals(book: Workbook, found: Underpriced) -> Worksheet:
    """The sheet of what find_underpriced found."""
    sheet = book.create_sheet(TITLE)
    offers, low, hidden = tables_of(found)
    lines = [
        *found.words,
        "The cheapest piece in a long list is often cheap because it is taken for better than it is: the chance allows "
        "for that, and for what sellers know. It does not know what you cannot see: ask for readings and pictures.",
        "Worth is what its like brings in this shop at the model's date, through your usual channel; nothing says how "
        "long it takes to sell.",
    ]
    write_heading(sheet, TITLE, lines)
    row = first = len(lines) + 3
    parts = (("Offers, every one", offers, "DealOffers"),
             ("Your own asks below the fair price" + (f" ({counted(hidden, 'piece')} on hand at or above it left out)"
                                                      if hidden else ""), low, "DealStock"))
    for title, frame, name in parts:
        top = heading(sheet, row, title)
        last = write_table(sheet, frame, COLUMNS, name=name, top=top)
        if frame.empty:
            put_text(sheet.cell(top + 1, 1), "none")
        fit_heights(sheet, frame, COLUMNS, top)
        ink, fill = _MARK
        sheet.conditional_formatting.add(f"A{top + 1}:A{max(last, top + 1)}", FormulaRule(
            formula=[f'AND($A{top + 1}<>"",$C{top + 1}<>"")'], font=Font(color=ink, bold=True),
            fill=PatternFill("solid", start_color=fill, end_color=fill)))
        row = last + 2
    sheet.freeze_panes = f"E{first + 2}"  # both tables have these headings
    sheet.sheet_view.showGridLines = False
    set_up_page(sheet, title_row=first + 1, last_row=row, last_column=len(COLUMNS))
    sheet.sheet_properties.tabColor = style.HEAD
    return sheet


def tables_of(found: Underpriced) -> tuple[pd.DataFrame, pd.DataFrame, int]:
    """(offers, own asks below the fair price, how many pieces of one's own are not), as the sheet shows them."""
    table = found.table.assign(
        mark=["yes" if own else f"as {other}" if other else ""
              for own, other in zip(found.table["marked"], found.table["marked_as"])],
        chance_pct=100 * found.table["chance"].astype(float))
    offers, own = (table[table["source"] == source] for source in (OFFER, OWN))
    low = own[own["fair_price"] > own["cost"]]
    return offers, low, len(own) - len(low)


def deals_in_words(found: Underpriced) -> list[str]:
    """What the end of a refresh says of deals: nothing where there is no offer."""
    has_offers = bool(len(found.table)) and (found.table["source"] == OFFER).any()
    return found.words if has_offers else []
