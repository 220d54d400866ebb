"""The Model sheet's part on the market: its course and its main families' as a chart, and every family's last year."""

from __future__ import annotations

from typing import Any

import pandas as pd
from openpyxl.chart import LineChart, Reference
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.chart.text import RichText
from openpyxl.drawing.text import CharacterProperties, Paragraph, ParagraphProperties
from openpyxl.worksheet.worksheet import Worksheet

from pricing.spreadsheet import style
from pricing.spreadsheet.sections import WIDE, section
from pricing.spreadsheet.tables import ResultColumn, put_text, write_table

INDEX_COLUMN = 7  # the index stands right of what is printed, so that its many rows push nothing down
MAIN_FAMILIES = 3  # more lines than these and the market's own are not told apart
_CHART_ROWS = 19
_TAKEN = ("", "month", "whole market", "whole market, low", "whole market, high")
_BAND = "Four times in five the true index lies between low and high."
_CHANGES = (
    ResultColumn("family", "family", "words", WIDE),
    ResultColumn("change", "changed by", "change_percent", 11, "Quality held apart: the same pieces, then and now."),
    ResultColumn("low", "low", "change_percent", 9, "Four times in five the change lies between low and high."),
    ResultColumn("high", "high", "change_percent", 9, "Four times in five the change lies between low and high."),
    ResultColumn("n_sales", "sales", "count", 9, "Sales of the whole history."),
)
# Line of the market and of its bounds, then of the families: colour, width in EMU, dash. A grey print still tells them
# apart by width and dash.
_LINES = (
    (style.INDEX_LINE, 34925, "solid"),
    (style.BAND_LINE, 12700, "solid"),
    (style.BAND_LINE, 12700, "solid"),
    ("1F5A3C", 19050, "dash"),
    ("28527A", 19050, "sysDot"),
    ("7A3E74", 19050, "lgDashDot"),
)


def write_market(sheet: Worksheet, model: Any, top: int) -> int:
    """Chart and changes from row `top` on, the monthly numbers to the right; the next row."""
    families = main_families(model)
    index = by_month(model, families)
    band = [ResultColumn(name, f"whole market, {name}", "index", 13, _BAND) for name in ("low", "high")]
    columns = [
        ResultColumn("month", "month", "month", 10),
        ResultColumn("index", "whole market", "index", 8, "What all families share. The newest month is 100."),
        *band, *(ResultColumn(name, _heading(name), "index", 13) for name in families),
        *(ResultColumn(f"{name} {bound}", f"{_heading(name)}, {bound}", "index", 13, _BAND)
          for name in families for bound in ("low", "high")),
    ]
    for column in (1, INDEX_COLUMN):
        put_text(sheet.cell(top, column), "Course of prices, quality held apart; newest month = 100")
        sheet.cell(top, column).font = style.SECTION
    last = write_table(sheet, index, columns, name="MarketIndex", top=top + 1, left=INDEX_COLUMN, filters=False)
    sheet.column_dimensions["F"].width = 3
    row = top + 1
    if len(index) > 1:
        _chart(sheet, index, families, top + 1, last)
        row = top + _CHART_ROWS
    changes = changes_of(model)
    since = index["month"].iloc[-1 - min(12, len(index) - 1)]
    return section(sheet, row + 1, f"Families since {since:%Y-%m}, most sold first", changes, _CHANGES, "MarketChanges")


def main_families(model: Any) -> list[str]:
    """The families that took in most."""
    sales = model.history.sales
    return list(sales.groupby("family")["price_home"].sum().nlargest(MAIN_FAMILIES).index)


def _heading(family: str) -> str:
    """The owner's word for a family, where it is not also that of another column."""
    return f"{family} (family)" if family.casefold() in _TAKEN else family


def by_month(model: Any, families: list[str]) -> pd.DataFrame:
    """month, index, low, high, then a column a family, then its low and high."""
    out = model.time_index
    own = model.family_index.set_index(["family", "month"])
    for name in families:
        band = own.loc[name].add_prefix(f"{name} ").rename(columns={f"{name} index": name})
        out = out.merge(band, left_on="month", right_index=True)
    return out


def changes_of(model: Any) -> pd.DataFrame:
    """family, change, low, high (percent over the last twelve months, or the whole of a shorter history), n_sales; the
    whole market first."""
    months = model.time_index["month"]
    then = months.iloc[-1 - min(12, len(months) - 1)]
    sold = model.history.sales["family"].value_counts()
    every = model.family_index[model.family_index["month"] == then].set_index("family").loc[sold.index]
    market = model.time_index[months == then].set_axis(["the market that all families share"])
    index = pd.concat([market, every])
    return pd.DataFrame({
        "family": index.index, "change": 100 * (100 / index["index"] - 1), "low": 100 * (100 / index["high"] - 1),
        "high": 100 * (100 / index["low"] - 1), "n_sales": [len(model.history.sales), *sold],
    }).reset_index(drop=True)


def _chart(sheet: Worksheet, index: pd.DataFrame, families: list[str], top: int, last: int) -> None:
    chart = LineChart()
    chart.height, chart.width = 9, 19
    end = INDEX_COLUMN + 3 + len(families)
    chart.add_data(Reference(sheet, min_col=INDEX_COLUMN + 1, max_col=end, min_row=top, max_row=last),
                   titles_from_data=True)
    chart.set_categories(Reference(sheet, min_col=INDEX_COLUMN, min_row=top + 1, max_row=last))
    for series, (colour, width, dash) in zip(chart.series, _LINES):
        series.graphicalProperties = GraphicalProperties()
        line = series.graphicalProperties.line
        line.solidFill, line.width, line.prstDash = colour, width, dash
        series.marker.symbol = "none"
        series.smooth = False
    chart.y_axis.title, chart.x_axis.title = "index", None
    chart.y_axis.delete = chart.x_axis.delete = False
    chart.x_axis.number_format, chart.y_axis.number_format = "yyyy-mm", "0"
    chart.x_axis.tickLblSkip = chart.x_axis.tickMarkSkip = max(len(index) // 10, 1)
    chart.x_axis.tickLblPos = "low"
    chart.legend.position = "b"
    small = CharacterProperties(sz=800, b=False)
    chart.x_axis.txPr = chart.y_axis.txPr = chart.legend.txPr = RichText(
        p=[Paragraph(pPr=ParagraphProperties(defRPr=small), endParaRPr=small)])
    for run in chart.y_axis.title.tx.rich.p[0].r:
        run.rPr = small
    shown = index[["low", "high", *families]]
    chart.y_axis.scaling.min = float(shown.min(axis=None) // 10 * 10)
    chart.y_axis.scaling.max = float(-(-shown.max(axis=None) // 10) * 10)
    sheet.add_chart(chart, f"A{top}")
