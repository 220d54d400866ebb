"""The sheet Margins: the year by family with charts, what changed since the year before, stock by age, channels, and
types to restock, mark down or look at."""

from __future__ import annotations

from typing import Any

import pandas as pd
from openpyxl.styles import Border, Side
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from pricing.decisions.margin_words import AGED_PCT, MARK_DOWN_MONTHS, RESTOCK_MONTHS
from pricing.decisions.price_bridge import TOTAL
from pricing.spreadsheet import style
from pricing.spreadsheet.charts import bar_chart
from pricing.spreadsheet.result_sheets import write_heading
from pricing.spreadsheet.sections import heading
from pricing.spreadsheet.tables import ResultColumn, fit_heights, put_text, set_up_page, write_table

TITLE = "Margins"
_RANGE = "80 % range of it, had chance drawn other sales of the same kind; blank under 5 sales."
_PACE = "Of the sales whose sku Stock lists, as only they drew on that stock; a year."
COLUMNS = (
    ResultColumn("group", "family", "text", 31),
    ResultColumn("action", "action", "text", 11),
    ResultColumn("tubes", "tubes sold", "count", 10),
    ResultColumn("sales", "sales", "money", 11, "Price of the goods, returned lines left out; the sheet Sales' price."),
    ResultColumn("gross", "gross margin", "money", 13, "Sales less sales tax and cost."),
    ResultColumn("gross_pct", "gross %", "percent", 11, "Of sales net of tax."),
    ResultColumn("net", "net margin", "money", 12, "Gross margin less fees, postage paid beyond what was charged, "
                 "packing and what returns lost."),
    ResultColumn("net_pct", "net %", "percent", 11, "Of sales net of tax."),
    ResultColumn("net_pct_low", "net % low", "percent", 11, _RANGE),
    ResultColumn("net_pct_high", "net % high", "percent", 11, _RANGE),
    ResultColumn("on_hand", "tubes on hand", "count", 10),
    ResultColumn("on_hand_cost", "at cost", "money", 11),
    ResultColumn("months_of_cover", "months of cover", "count", 11, "How long what is on hand lasts."),
    ResultColumn("sell_through_pct", "sold of all", "percent", 10, "Sell-through: sold in percent of sold and left."),
    ResultColumn("gmroi", "GMROI", "ratio", 8, f"Gross margin over average stock at cost. {_PACE}"),
    ResultColumn("turnover", "turnover", "ratio", 9, f"Cost of sales over average stock at cost. {_PACE}"),
    ResultColumn("reason", "why", "words", 66),
    ResultColumn("share_of_net_pct", "share of net", "percent", 8),
    ResultColumn("gross_pct_low", "gross % low", "percent", 8, _RANGE),
    ResultColumn("gross_pct_high", "gross % high", "percent", 8, _RANGE),
    ResultColumn("tax", "sales tax", "money", 10),
    ResultColumn("cost", "cost", "money", 10),
    ResultColumn("cost_known_pct", "cost noted", "percent", 8, "Share of sales; the rest is estimated."),
    ResultColumn("fees", "fees", "money", 10),
    ResultColumn("postage", "postage", "money", 10, "Paid less charged."),
    ResultColumn("packing", "packing", "money", 10),
    ResultColumn("refunded", "refunded", "money", 10),
    ResultColumn("returned_pct", "lines returned", "percent", 9),
    ResultColumn("stock_cost", "average stock", "money", 10, "At cost, mean of month-ends."),
    ResultColumn("aged_pct", "over 2 years", "percent", 9, "Of the cost of what is on hand."),
    ResultColumn("fallout_pct", "fallout", "percent", 8, "Of pieces with readings, those below the reject limit."),
)
_PRINTED = 17
BRIDGE = (
    ResultColumn("group", "family", "text"), ResultColumn("tubes_before", "tubes before", "count"),
    ResultColumn("tubes_after", "tubes now", "count"), ResultColumn("sales_before", "sales before", "money"),
    ResultColumn("sales_after", "sales now", "money"),
    ResultColumn("quantity", "quantity", "change", help="More or fewer tubes, at the mix and prices before."),
    ResultColumn("mix", "mix", "change", help="Dearer or cheaper kinds (type and set size). New ones are mix."),
    ResultColumn("price", "price", "change", help="Other prices for the same kind."),
    ResultColumn("change", "change", "change"),
)
_STEPS = (
    ResultColumn("step", "step", "text"), ResultColumn("floor", "stands on", "count"),
    ResultColumn("level", "sales", "count"), ResultColumn("up", "more", "count"), ResultColumn("down", "less", "count"),
)
_CHANNELS = tuple(column if column.source != "group" else ResultColumn("group", "channel", "text")
                  for column in COLUMNS if column.source in (
                      "group", "tubes", "sales", "gross", "gross_pct", "net", "net_pct", "net_pct_low", "net_pct_high"))
_MAKERS, _TYPES = (
    tuple(column if column.source != "group" else ResultColumn("group", name, "text") for column in COLUMNS[:_PRINTED])
    for name in ("maker", "type"))
_CHARTED, _LISTED = 12, 10
_CHART_ROWS = 20
_RESULT_COLOURS = {"restock": "raise", "mark down": "lower", "look": "look"}


def write_margins(
    book: Workbook, family: Any, channel: Any, maker: Any, types: Any, currency: str
) -> Worksheet:
    """The sheet from four reviews of one period: by family, by channel, by maker, by type."""
    sheet = book.create_sheet(TITLE)
    lines = [*family.words, f"Amounts in {currency or 'the currency of the shop'}. Restock: under {RESTOCK_MONTHS:.0f} "
             f"months of cover and a net margin that holds; mark down: over {MARK_DOWN_MONTHS:.0f} months and over "
             f"{AGED_PCT:.0f} % of its cost two years old; look: its sales lost money (common practice, no source)."]
    write_heading(sheet, TITLE, lines)
    head = len(lines) + 3
    last = _table(sheet, family.table, COLUMNS, "Margins", head)
    _colour_actions(sheet, head, last)
    charts = last + 2
    below = charts + _CHART_ROWS

    bridge_title = (f"Sales of {family.date_from:%Y-%m-%d} to {family.date_to:%Y-%m-%d} beside "
                    f"{family.before_from:%Y-%m-%d} to {family.before_to:%Y-%m-%d}: quantity, mix and price")
    sheet.row_breaks.append(Break(id=below - 1))  # on paper each page begins with a part
    row = heading(sheet, below, bridge_title)
    row = _table(sheet, family.bridge, BRIDGE, "SalesBridge", row) + 2
    steps_head = heading(sheet, row, "The same in steps, as the chart draws it")
    steps = bridge_steps(family.bridge)
    steps_last = write_table(sheet, steps, _STEPS, name="SalesBridgeSteps", top=steps_head, filters=False)
    row = heading(sheet, steps_last + 2, "What is on hand, at cost, by time since it was acquired")
    ageing = family.ageing
    ages = [ResultColumn("group", "family", "text"), *(ResultColumn(name, name, "money") for name in ageing.columns),
            ResultColumn("all ages", "all ages", "money")]
    ageing_head = row
    row = _table(sheet, ageing.assign(**{"all ages": ageing.sum(axis=1).round(2)}), ages, "StockAges", row) + 2
    row = heading(sheet, row, "By channel")
    row = _table(sheet, channel.table, _CHANNELS, "MarginsByChannel", row) + 2
    sheet.row_breaks.append(Break(id=row - 1))
    top = heading(sheet, row, _first("By maker", len(maker.table) - 1))
    makers = maker.table.iloc[:-1].head(_LISTED).rename(index={"unknown": "maker not stated"})
    row = _table(sheet, makers, _MAKERS, "MarginsByMaker", top) + 2
    _colour_actions(sheet, top, row - 2)
    for action, title in (("restock", "Types to restock"), ("mark down", "Types to mark down"),
                          ("look", "Types whose sales lost money")):
        part = types.table[types.table["action"] == action]
        by = "net" if action == "restock" else "on_hand_cost" if action == "mark down" else "net"
        part = part.sort_values(by, ascending=action == "look", kind="stable")
        top = heading(sheet, row, _first(title, len(part)))
        row = _table(sheet, part.head(_LISTED), _TYPES, f"Types{action.title().replace(' ', '')}", top) + 2

    _charts(sheet, charts, head, last, family, steps_head, steps_last, ageing_head, len(ageing), len(ages))
    for offset, column in enumerate(COLUMNS, start=1):
        sheet.column_dimensions[get_column_letter(offset)].width = column.width
    sheet.freeze_panes = f"B{head + 1}"
    set_up_page(sheet, title_row=None, last_row=row, last_column=_PRINTED)
    sheet.sheet_properties.tabColor = style.HEAD
    return sheet


def _first(title: str, rows: int) -> str:
    """The title, with how many of the rows are shown where it is not all."""
    return f"{title}, the first {_LISTED} of {rows:,}" if rows > _LISTED else title


def bridge_steps(bridge: pd.DataFrame) -> pd.DataFrame:
    """The bridge's total as five steps of a chart: `floor` the unseen part of a bar, `level` sales of a period, `up`
    and `down` an effect."""
    total = bridge.loc[TOTAL]
    rows, level = [("before", None, total["sales_before"], None, None)], total["sales_before"]
    for name in ("quantity", "mix", "price"):
        effect = total[name]
        after = round(level + effect, 2)
        up, down = (effect, None) if effect >= 0 else (None, -effect)
        rows.append((name, min(level, after), None, up, down))
        level = after
    rows.append(("now", None, total["sales_after"], None, None))
    return pd.DataFrame(rows, columns=["step", "floor", "level", "up", "down"]).astype(
        {name: float for name in ("floor", "level", "up", "down")})


def _table(sheet: Worksheet, frame: pd.DataFrame, columns: Any, name: str, top: int) -> int:
    """A table of groups, TOTAL last in bold where there is one; infinite months stay blank."""
    frame = frame.rename_axis("group").reset_index()
    last = write_table(sheet, frame, columns, name=name, top=top, filters=False)
    sheet.row_dimensions[top].height = style.HEADING_HEIGHT
    if any(column.kind == "words" for column in columns):
        fit_heights(sheet, frame, columns, top)
    if frame.empty:
        put_text(sheet.cell(top + 1, 1), "none")
    elif frame["group"].iloc[-1] == TOTAL:
        for offset in range(1, len(columns) + 1):
            cell = sheet.cell(last, offset)
            cell.font = style.BOLD
            cell.border = Border(top=Side("thin", color=style.QUIET))
    return last


def _colour_actions(sheet: Worksheet, head: int, last: int) -> None:
    from openpyxl.formatting.rule import FormulaRule
    from openpyxl.styles import Font, PatternFill

    for action, colour in _RESULT_COLOURS.items():
        ink, fill = style.ACTION_COLOURS[colour]
        sheet.conditional_formatting.add(f"B{head + 1}:B{last}", FormulaRule(
            formula=[f'$B{head + 1}="{action}"'], font=Font(color=ink, bold=True),
            fill=PatternFill("solid", start_color=fill, end_color=fill)))


def _charts(sheet, row, head, last, family, steps_head, steps_last, ageing_head, ageing_rows, ageing_columns) -> None:
    """Margin by family, the bridge in steps and stock by age, side by side at `row`."""
    sold = int((family.table["tubes"].iloc[:-1] > 0).sum())
    shown = min(sold, _CHARTED)
    if shown and family.table["gross"].iloc[:-1].notna().any():
        bar_chart(sheet, f"A{row}", "Gross and net margin by family", columns=(5, 7), head=head, last=head + shown,
                  colours=(style.BAND_LINE, style.HEAD), width=15.5, height=9.5)
    bar_chart(sheet, f"G{row}", "Sales before and now", columns=(2, 3, 4, 5), head=steps_head, last=steps_last,
              colours=(None, style.BAND_LINE, "5E8C6A", style.INDEX_LINE), lying=False, stacked=True, labels=True,
              width=12, height=9.5)
    if ageing_rows > 1:
        bar_chart(sheet, f"M{row}", "On hand at cost, by age", columns=range(2, ageing_columns), head=ageing_head,
                  last=ageing_head + min(ageing_rows - 1, _CHARTED),
                  colours=(style.SAND, style.BAND_LINE, style.HEAD, style.INDEX_LINE, style.QUIET), stacked=True,
                  width=15, height=9.5)
