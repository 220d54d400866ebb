"""The Model sheet: what the sales taught, in percent and words, with the market's course as a chart."""

from __future__ import annotations

from typing import Any

import pandas as pd
from openpyxl.chart import LineChart, Reference
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from pricing.spreadsheet import style
from pricing.spreadsheet.model_facts import ModelFacts, facts_of
from pricing.spreadsheet.record_section import write_record
from pricing.spreadsheet.sections import WIDE, paragraph, section
from pricing.spreadsheet.summary import HABIT, sales_used, sells_at_own_asks
from pricing.spreadsheet.tables import ResultColumn, put_text, set_up_page, write_table
from pricing.spreadsheet.testers_part import TESTERS, testers_of, testers_title

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
_OUTLIERS = (
    ResultColumn("what", "sale, and what it may be", "words", WIDE),
    ResultColumn("price", "price", "money", 11, "Price of the line, in the shop's currency."),
    ResultColumn("expected", "expected", "money", 9),
    ResultColumn("z", "z", "index", 9, "How many noise standard deviations the price is off."),
    ResultColumn("row", "Sales row", "count", 9),
)
_INDEX = (
    ResultColumn("month", "month", "month", 10),
    ResultColumn("index", "index", "index", 8, "The newest month is 100."),
    ResultColumn("low", "low", "index", 8),
    ResultColumn("high", "high", "index", 8),
)
_INDEX_COLUMN = 7  # the index stands right of what is printed, so that its many rows push nothing down
_CHART_ROWS = 16


def write_model(book: Workbook, model: Any, shop: Any, record: Any = None) -> Worksheet:
    """Model sheet: sales used, where prices differ, grades, makers, market, suspected booking errors, and the
    record (a Backtest, where past sales were priced again).
    """
    sheet = book.create_sheet("Model")
    facts = facts_of(model)
    put_text(sheet.cell(1, 1), "What the sales taught")
    sheet.cell(1, 1).font = style.TITLE
    row = 2
    for line in _opening(facts, model, shop):
        row = paragraph(sheet, row, line)
    row = _market(sheet, facts.index, row + 1)
    row = section(sheet, row + 1, "Where prices differ", facts.spread, _SPREAD, "PriceSpread")
    row = section(sheet, row + 1, "Grade, reading, set and channel", facts.effects, _EFFECTS, "PriceEffects")
    testers = testers_of(shop)
    if len(testers):
        row = section(sheet, row + 1, testers_title(shop), testers, TESTERS, "TesterScales")
    row = section(sheet, row + 1, "Makers, highest first", facts.makers, _EFFECTS, "MakerEffects")
    row = section(
        sheet,
        row + 1,
        "Suspected booking errors: kept, but given little weight. Ask yourself what happened",
        facts.outliers,
        _OUTLIERS,
        "BookingDoubts",
    )
    row = write_record(sheet, row + 1, record, facts.record)
    sheet.sheet_view.showGridLines = False
    sheet.sheet_properties.tabColor = style.HEAD
    set_up_page(
        sheet,
        title_row=None,
        last_column=len(_EFFECTS),
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
    ]
    if sells_at_own_asks(shop.sales):
        lines.append(HABIT)
    return [*lines, *facts.notes]


def _market(sheet: Worksheet, index: pd.DataFrame, top: int) -> int:
    """The chart from row `top` on, its numbers to the right; the last row of the chart."""
    for column in (1, _INDEX_COLUMN):
        put_text(sheet.cell(top, column), "Course of the market, newest month = 100")
        sheet.cell(top, column).font = style.SECTION
    last = write_table(
        sheet, index, _INDEX, name="MarketIndex", top=top + 1, left=_INDEX_COLUMN, filters=False
    )
    sheet.column_dimensions["F"].width = 3
    if len(index) < 2:
        return top + 1
    chart = LineChart()
    chart.height, chart.width = 7.5, 19
    chart.add_data(
        Reference(sheet, min_col=_INDEX_COLUMN + 1, max_col=_INDEX_COLUMN + 3, min_row=top + 1, max_row=last),
        titles_from_data=True,
    )
    chart.set_categories(Reference(sheet, min_col=_INDEX_COLUMN, min_row=top + 2, max_row=last))
    for series, (colour, width, dash) in zip(
        chart.series,
        (
            (style.INDEX_LINE, 28000, None),
            (style.BAND_LINE, 12000, "sysDash"),
            (style.BAND_LINE, 12000, "sysDash"),
        ),
        strict=True,
    ):
        series.graphicalProperties = GraphicalProperties()
        series.graphicalProperties.line.solidFill = colour
        series.graphicalProperties.line.width = width
        series.graphicalProperties.line.prstDash = dash
        series.marker.symbol = "none"
        series.smooth = False
    chart.y_axis.title, chart.x_axis.title = "index", None
    chart.y_axis.delete = chart.x_axis.delete = False
    chart.x_axis.number_format, chart.y_axis.number_format = "yyyy-mm", "0"
    chart.x_axis.tickLblSkip = max(len(index) // 10, 1)
    chart.x_axis.tickMarkSkip = chart.x_axis.tickLblSkip
    chart.x_axis.tickLblPos = "low"
    chart.legend.position = "b"
    chart.y_axis.scaling.min = float((index["low"].min() // 10) * 10)
    chart.y_axis.scaling.max = float(-(-index["high"].max() // 10) * 10)
    sheet.add_chart(chart, f"A{top + 1}")
    return top + _CHART_ROWS
