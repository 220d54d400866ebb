"""Bar charts in house style, native to the spreadsheet: small letters, axes shown, few colours that differ in grey
too."""

from __future__ import annotations

from collections.abc import Sequence

from openpyxl.chart import BarChart, Reference
from openpyxl.chart.label import DataLabelList
from openpyxl.chart.text import RichText
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.text import CharacterProperties, Paragraph, ParagraphProperties
from openpyxl.worksheet.worksheet import Worksheet

from pricing.spreadsheet import style

SHADES = (style.HEAD, style.BAND_LINE, style.INDEX_LINE, style.SAND)
_SMALL = CharacterProperties(sz=800, b=False)


def bar_chart(
    sheet: Worksheet,
    place: str,
    title: str,
    *,
    columns: Sequence[int],
    head: int,
    last: int,
    names: int = 1,
    colours: Sequence[str | None] = SHADES,
    lying: bool = True,
    stacked: bool = False,
    labels: bool = False,
    number_format: str = "#,##0",
    width: float = 13.0,
    height: float = 8.5,
) -> BarChart:
    """A bar chart of the table headed in row `head` down to `last`: a series a column of `columns`, bars named by the
    column `names`; `lying` bars run from the first row at the top. A colour None leaves its series unseen; `labels`
    write the amounts beside the bars, noughts aside."""
    chart = BarChart()
    chart.type = "bar" if lying else "col"
    chart.gapWidth = 50
    if stacked:
        chart.grouping, chart.overlap = "stacked", 100
    chart.width, chart.height, chart.title = width, height, title
    chart.title.tx.rich.p[0].r[0].rPr = CharacterProperties(sz=1000, b=True)
    chart.title.overlay = False
    for column in columns:
        chart.add_data(Reference(sheet, min_col=column, min_row=head, max_row=last), titles_from_data=True)
    chart.set_categories(Reference(sheet, min_col=names, min_row=head + 1, max_row=last))
    for bars, colour in zip(chart.series, colours):
        bars.invertIfNegative = False
        if colour is None:
            bars.graphicalProperties.noFill = True
            bars.graphicalProperties.line = LineProperties(noFill=True)
        else:
            bars.graphicalProperties.solidFill = colour
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.x_axis.tickLblPos = "low"
    chart.x_axis.tickLblSkip = 1
    if lying:
        chart.x_axis.scaling.orientation, chart.y_axis.crosses = "maxMin", "max"
    chart.y_axis.number_format = number_format
    chart.y_axis.majorGridlines = None
    letters = RichText(p=[Paragraph(pPr=ParagraphProperties(defRPr=_SMALL), endParaRPr=_SMALL)])
    chart.x_axis.txPr = chart.y_axis.txPr = letters
    chart.legend.position = "b"
    chart.legend.txPr = letters
    if len([colour for colour in colours[:len(columns)] if colour]) < 2 or None in colours[:len(columns)]:
        chart.legend = None
    if labels:
        for bars, colour in zip(chart.series, colours):
            if colour is not None:
                bars.dLbls = DataLabelList()
                bars.dLbls.showVal, bars.dLbls.txPr = True, letters
                bars.dLbls.numFmt = f"{number_format};-{number_format};"
                bars.dLbls.showSerName = bars.dLbls.showCatName = bars.dLbls.showLegendKey = False
    sheet.add_chart(chart, place)
    return chart
