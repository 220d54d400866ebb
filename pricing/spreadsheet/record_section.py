"""The Model sheet's last part: how close the prices came on past sales, beside a shop's habits, with a bar chart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd
from openpyxl.chart import BarChart, Reference
from openpyxl.chart.label import DataLabelList
from openpyxl.chart.series import DataPoint
from openpyxl.chart.text import RichText
from openpyxl.drawing.text import CharacterProperties, Paragraph, ParagraphProperties
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from pricing.spreadsheet import style
from pricing.spreadsheet.sections import WIDE, heading, paragraph, section
from pricing.spreadsheet.tables import ResultColumn

if TYPE_CHECKING:
    from pricing.price_model.backtest import Backtest

# What a refresh does unasked: so many stretches, and none for a longer history, where it would take minutes.
REFRESH_FOLDS = 2
REFRESH_UP_TO_SALES = 10_000
TITLE = "Record: past sales priced from what came before them"
_NOT_TRIED = (
    "The prices were not tried on past sales beside the shop's habits in this workbook: run python -m pricing backtest "
    "on it, or refresh it with --folds 2."
)
_METHODS = (
    ResultColumn("method", "price named by", "words", WIDE),
    ResultColumn("median_off_pct", "half within", "percent", 11,
                 "Half of the sales lay this close to the price named."),
    ResultColumn("p90_off_pct", "9 in 10 within", "percent", 9, "Nine sales in ten lay this close to the price named."),
    ResultColumn("bias_pct", "mostly by", "change_percent", 9,
                 "Median difference: + where the prices named were mostly higher than those paid."),
    ResultColumn("n", "sales", "count", 9),
)
_KINDS = (
    ResultColumn("richness", "sold before", "words", WIDE),
    ResultColumn("model", "model, half within", "percent", 11),
    ResultColumn("habit", "closest habit", "percent", 9, "Half within, of the habit that came closest for this kind."),
    ResultColumn("inside_pct", "in 80 % range", "percent", 9, "Share of the sales inside the model's 80 % range."),
    ResultColumn("n", "sales", "count", 9),
)
_CHART_ROWS = 9


def record_for_refresh(shop: Any, folds: int | None = None) -> Backtest | None:
    """The record of the shop's prices in `folds` stretches; where not asked for, REFRESH_FOLDS of a history of at most
    REFRESH_UP_TO_SALES, None of a longer one. None for 0 folds."""
    from pricing.price_model import backtest

    if folds is None:
        folds = REFRESH_FOLDS if len(shop.sales) <= REFRESH_UP_TO_SALES else 0
    return backtest.backtest(shop.sales, shop.settings, shop.register, folds=folds) if folds else None


def write_record(sheet: Worksheet, row: int, record: Backtest | None, of_the_fit: list[str]) -> int:
    """The part from `row` on; the next row. Without a record it holds what the fit itself says of later sales."""
    row = heading(sheet, row, TITLE)
    if record is None or record.scored.empty:
        for line in (_NOT_TRIED, *of_the_fit) if record is None else record.words:
            row = paragraph(sheet, row, line)
        return row
    sheet.row_breaks.append(Break(id=row - 2))  # on paper a page of its own, so that the chart is not cut
    top = paragraph(sheet, row, record.headline) + 1
    row = section(sheet, top, "How far prices named lay from prices paid", record.by_method, _METHODS, "PriceRecord")
    _chart(sheet, top + 1, row - 1, row + 1)
    below = row + 1 + _CHART_ROWS
    row = section(sheet, below, "By how much of its like the shop had sold before", kinds_of(record), _KINDS,
                  "PriceRecordByKind")
    for title in (top, below):
        sheet.row_dimensions[title + 1].height = 2 * style.LINE_HEIGHT + 2
    row = heading(sheet, row + 1, "What the record says, and what it cannot")
    for line in record.words:
        row = paragraph(sheet, row, line)
    return row


def kinds_of(record: Backtest) -> pd.DataFrame:
    """richness, model and habit (half within, percent; the habit that came closest), inside_pct, n."""
    from pricing.price_model.record import MODEL

    typical = record.by_richness.pivot(index="richness", columns="method", values="median_off_pct")
    coverage = record.coverage[record.coverage["coverage"] == 0.80].set_index("richness")
    return pd.DataFrame({
        "model": typical[MODEL], "habit": typical.drop(columns=MODEL).min(axis=1),
        "inside_pct": coverage["inside_pct"], "n": coverage["n"],
    }).loc[record.by_richness["richness"].unique()].rename_axis("richness").reset_index()


def _chart(sheet: Worksheet, head: int, last: int, top: int) -> None:
    """Bars of the typical error by method, the model's in its own colour, at row `top`."""
    chart = BarChart()
    chart.type, chart.gapWidth, chart.legend = "bar", 60, None
    chart.height, chart.width = 4.2, 19
    chart.title = None
    chart.add_data(Reference(sheet, min_col=2, min_row=head, max_row=last), titles_from_data=True)
    chart.set_categories(Reference(sheet, min_col=1, min_row=head + 1, max_row=last))
    bars = chart.series[0]
    bars.graphicalProperties.solidFill = style.BAND_LINE
    model = DataPoint(idx=0)
    model.graphicalProperties.solidFill = style.INDEX_LINE
    bars.dPt.append(model)
    bars.dLbls = DataLabelList()
    bars.dLbls.showVal, bars.dLbls.numFmt = True, '0"%"'
    bars.dLbls.showSerName = bars.dLbls.showCatName = bars.dLbls.showLegendKey = False
    chart.x_axis.scaling.orientation = "maxMin"
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.y_axis.crosses = "max"  # below, as the first bar stands above
    chart.y_axis.number_format, chart.y_axis.scaling.min = '0"%"', 0
    chart.y_axis.title, chart.x_axis.title = "half of the sales within", None
    chart.y_axis.majorGridlines = None
    chart.x_axis.tickLblSkip = 1  # every method's name, in letters small enough for it
    small = CharacterProperties(sz=800, b=False)
    letters = RichText(p=[Paragraph(pPr=ParagraphProperties(defRPr=small), endParaRPr=small)])
    chart.x_axis.txPr = chart.y_axis.txPr = bars.dLbls.txPr = letters
    for run in chart.y_axis.title.tx.rich.p[0].r:
        run.rPr = small
    sheet.add_chart(chart, f"A{top}")
