"""The Model sheet: what the sales taught, in percent and words, with the market's course as a chart."""

from __future__ import annotations

from typing import Any

from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from pricing.spreadsheet import style
from pricing.spreadsheet.market_part import write_market
from pricing.spreadsheet.model_facts import ModelFacts, facts_of
from pricing.spreadsheet.record_section import write_record
from pricing.spreadsheet.sections import WIDE, keep_whole, paragraph, section
from pricing.spreadsheet.summary import HABIT, sales_used, sells_at_own_asks
from pricing.spreadsheet.tables import ResultColumn, put_text, set_up_page
from pricing.spreadsheet.testers_part import TESTERS, testers_of, testers_words

_SPREAD = (
    ResultColumn("source", "where prices differ", "words", WIDE),
    ResultColumn(
        "sd_pct", "typically by", "percent", 11, "One standard deviation, as a percentage of the price."
    ),
)
_EFFECTS = (
    ResultColumn("group", "effect on the price", "words", WIDE),
    ResultColumn("percent", "price by", "change_percent", 11),
    ResultColumn(
        "low", "low", "change_percent", 9, "Four times in five the effect lies between low and high."
    ),
    ResultColumn(
        "high", "high", "change_percent", 9, "Four times in five the effect lies between low and high."
    ),
    ResultColumn("n_sales", "sales", "count", 9),
)
_MAKERS = (
    *_EFFECTS,
    ResultColumn(
        "learnt_pct", "from sales", "percent", 11,
        "How much of the effect this maker's own sales decided; the rest is drawn towards the average maker.",
    ),
)

def write_model(book: Workbook, model: Any, shop: Any, record: Any = None) -> Worksheet:
    """Model sheet: sales used, where prices differ, grades, makers, the market, and the
    record (a Backtest, where past sales were priced again).
    """
    sheet = book.create_sheet("Model")
    facts = facts_of(model)
    put_text(sheet.cell(1, 1), "What the sales taught")
    sheet.cell(1, 1).font = style.TITLE
    row = 2
    for line in _opening(facts, model, shop):
        row = paragraph(sheet, row, line)
    row = write_market(sheet, model, row + 1)
    keep_whole(sheet, row + 1, len(facts.spread) + 2)
    row = section(sheet, row + 1, "Where prices differ", facts.spread, _SPREAD, "PriceSpread")
    keep_whole(sheet, row + 1, len(facts.effects) + 2)
    row = section(sheet, row + 1, "Grade, reading, set and channel", facts.effects, _EFFECTS, "PriceEffects")
    testers = testers_of(shop)
    if len(testers):
        keep_whole(sheet, row + 1, 2 * len(testers) + 3)
        title = "Testers, compared by pieces tested on two of them"
        row = section(sheet, row + 1, title, testers, TESTERS, "TesterScales")
        row = paragraph(sheet, row, testers_words(shop), style.NOTE)
    keep_whole(sheet, row + 1, len(facts.makers) + 2)
    row = section(sheet, row + 1, "Makers, highest first", facts.makers, _MAKERS, "MakerEffects")
    row = write_record(sheet, row + 1, record, facts.record)
    sheet.sheet_view.showGridLines = False
    sheet.sheet_properties.tabColor = style.HEAD
    set_up_page(
        sheet,
        title_row=None,
        last_column=len(_MAKERS),
        last_row=row,
        landscape=False,
    )
    return sheet


def _opening(facts: ModelFacts, model: Any, shop: Any) -> list[str]:
    used = sales_used(shop)
    lines = [
        f"{used.sentence} Prices are for {model.as_of:%Y-%m-%d}.",
        f"Two sales of the very same description differ by about {facts.noise_pct:.0f} % for no reason "
        "the tables hold: no range can be narrower than that.",
        f"Sales that may have been booked otherwise than meant: {facts.n_doubtful:,}. They count for little in what "
        "follows; the sheet Check prices asks what happened.",
    ]
    if sells_at_own_asks(shop.sales):
        lines.append(HABIT)
    return [*lines, *facts.notes]
