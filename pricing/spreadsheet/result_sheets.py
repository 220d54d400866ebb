"""The sheets the tool fills: Price list, Problems, About. (Model has a file of its own.)"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Font, PatternFill
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from pricing.spreadsheet import style
from pricing.spreadsheet.summary import HABIT, sales_used, sells_at_own_asks, summarise_plan
from pricing.spreadsheet.tables import ResultColumn, fit_heights, link_to_rows, put_text, set_up_page, write_table

PRICE_LIST = (
    ResultColumn(
        "action",
        "action",
        "text",
        12,
        "raise, lower, keep, look (decide yourself), list (no ask yet), hold for a set (a matched set brings clearly "
        "more), sold out (kept as history)",
    ),
    ResultColumn("sku", "sku", "text", 10),
    ResultColumn("type", "type", "text", 10, "As you wrote it in Stock."),
    ResultColumn(
        "piece", "piece", "words", 30, "Maker, era, construction, grade, reading and set, as read from Stock."
    ),
    ResultColumn(
        "on_hand", "on hand", "count", 6, "Sets left: quantity in Stock less what Sales sold of the sku."
    ),
    ResultColumn("ask", "ask", "money", 9, "What you ask now, per set."),
    ResultColumn(
        "list_price",
        "list price",
        "money",
        9,
        "Fair price by your own policy in Settings: mark-up bounds, floor "
        "and endings. A kept ask stands here unchanged. What the piece cost counts only in those bounds and in a tax "
        "on the margin.",
    ),
    ResultColumn("difference", "at stake", "change", 10, "List price less ask, times the sets on hand."),
    ResultColumn(
        "fair_price",
        "fair price",
        "money",
        9,
        "What a piece like this typically sells for in this shop today, per set.",
    ),
    ResultColumn("low", "low", "money", 8, "Four sales in five of such a piece fall between low and high."),
    ResultColumn("high", "high", "money", 8, "Four sales in five of such a piece fall between low and high."),
    ResultColumn(
        "n_sales",
        "sales behind",
        "index",
        8,
        "As many plain sales of this very piece would tell as much as all the kindred sales together.",
    ),
    ResultColumn("reason", "reason", "words", 56),
    ResultColumn(
        "days_listed",
        "days listed",
        "count",
        8,
        "Days the piece has stood at its present ask, since it was listed, last sold or last repriced, from listed_on "
        "or Asks.",
    ),
    ResultColumn(
        "unsold_ask",
        "unsold ask",
        "money",
        10,
        "Highest ask of the last two years at which another such piece (type, maker, set; grade where there is one), "
        "or this one before, stood without a sale.",
    ),
    ResultColumn("unsold_days", "for days", "count", 8, "How long that ask stood without a sale."),
    ResultColumn(
        "days_to_sale",
        "days to sale",
        "count",
        8,
        "Median of such pieces that sold, auctions aside: sold_on less listed_on, or by Asks.",
    ),
    ResultColumn("cuts", "price cuts", "count", 7, "How often its ask was cut, by Asks."),
    ResultColumn(
        "withdrawn_ask", "withdrawn at", "money", 9, "The last ask at which it was withdrawn unsold, by Asks."
    ),
    ResultColumn(
        "expected_days",
        "expected days",
        "days",
        9,
        "Half of such pieces sell within so many days at the list price, by all the shop's listings. Blank where they "
        "are too few.",
    ),
    ResultColumn(
        "asks_change_pct",
        "asks suggest %",
        "change_percent",
        9,
        "How far the fair price would move if asks, days listed and unsold pieces were counted too. The fair price "
        "stays; expected days and the ask that earns most follow it. Blank where listings are too few.",
    ),
    ResultColumn(
        "floor",
        "floor",
        "money",
        9,
        "Lowest price that leaves your minimum margin after fees, tax and packing. Where no cost is noted it covers "
        "only those.",
    ),
    ResultColumn("cost", "cost", "money", 9, "Per set, from Stock."),
    ResultColumn(
        "leaves",
        "leaves",
        "money",
        9,
        "What a sale at the list price leaves after fees, tax, packing and returns. The piece's cost is spent whether "
        "it sells or not and is not taken off.",
    ),
    ResultColumn("margin", "book margin", "money", 9, "The same less what the piece cost: what the books will show."),
    ResultColumn(
        "margin_pct", "book margin %", "percent", 8, "Book margin as a share of the list price without sales tax."
    ),
    ResultColumn("return_pct", "return on cost %", "percent", 8, "Book margin as a share of what the piece cost."),
    ResultColumn("basis", "basis", "words", 44, "What the estimate leans on."),
    ResultColumn(
        "sales_rows", "Sales rows that weigh most", "text", 30, "Rows of your Sales sheet, heaviest first."
    ),
    ResultColumn("row", "Stock row", "count", 7),
)
_PRINTED = 13  # the columns up to the reason are printed; costs and margins stay on the screen
_HEAD_ROW = 6

_ABOUT_WIDTH = 90
_EFFECTS = ("row left out", "cell ignored", "please check")

PROBLEMS = (
    ResultColumn("sheet", "sheet", "text", 10),
    ResultColumn("row", "row", "count", 6, "Row number on that sheet."),
    ResultColumn("column", "column", "text", 14),
    ResultColumn("value", "what stands there", "text", 22),
    ResultColumn("effect", "what was done", "text", 14),
    ResultColumn("message", "what is wrong", "words", 56),
    ResultColumn("remedy", "what would mend it", "words", 56),
)


def write_price_list(book: Workbook, plan: pd.DataFrame, shop: Any) -> Worksheet:
    """Price list, biggest money at stake first, rows without a difference after it, sold-out history last."""
    sheet = book.create_sheet("Price list")
    frame = in_order_of_money(plan).assign(  # a tenth is what is shown, and "-0.0" says nothing
        asks_change_pct=lambda told: told["asks_change_pct"].round(1) + 0.0)
    write_heading(
        sheet,
        "Price list",
        [
            summarise_plan(plan, shop.settings.currency).headline,
            "Biggest money at stake first; use the arrow on “action” to see one kind, or sort by “Stock "
            "row” for stock order. Prices are per set. What a piece cost is spent: “leaves” is what selling it brings "
            "now, “book margin” the same less its cost.",
            HABIT if sells_at_own_asks(shop.sales) else "",
            plan.attrs.get("unsold_asks", "") if sells_at_own_asks(shop.sales) else "",
        ],
    )
    last = write_table(sheet, frame, PRICE_LIST, name="PriceList", top=_HEAD_ROW)
    fit_heights(sheet, frame, PRICE_LIST, _HEAD_ROW)
    for action, (ink, fill) in style.ACTION_COLOURS.items():
        sheet.conditional_formatting.add(
            f"A{_HEAD_ROW + 1}:A{last}",
            FormulaRule(
                formula=[f'$A{_HEAD_ROW + 1}="{action}"'],
                font=Font(color=ink, bold=action in ("raise", "lower", "look")),
                fill=PatternFill("solid", start_color=fill, end_color=fill),
            ),
        )
    sheet.freeze_panes = f"D{_HEAD_ROW + 1}"
    set_up_page(
        sheet,
        title_row=_HEAD_ROW,
        last_column=_PRINTED,
        last_row=_HEAD_ROW + max(int((frame["action"] != "sold out").sum()), 1),
    )
    sheet.sheet_properties.tabColor = style.HEAD
    return sheet


def in_order_of_money(plan: pd.DataFrame) -> pd.DataFrame:
    """`plan` sorted by the size of the difference; ties and blanks keep the stock order, sold-out rows come
    last.
    """
    size = plan["difference"].abs().fillna(-1.0)
    size = size.where(plan["action"] != "sold out", -2.0)
    return plan.loc[size.sort_values(ascending=False, kind="stable").index]


def write_problems(book: Workbook, problems: pd.DataFrame, shop: Any) -> Worksheet:
    """Problems, rows left out first; the row number links to the row it speaks of."""
    sheet = book.create_sheet("Problems")
    order = problems["effect"].map({effect: rank for rank, effect in enumerate(_EFFECTS)})
    problems = problems.loc[order.sort_values(kind="stable").index]
    write_heading(
        sheet,
        "Problems",
        [
            sales_used(shop).sentence,
            "The row number leads to the row. “row left out”: the row is not used. “cell ignored”: the "
            "row is used without that cell. “please check”: used as it stands. Nothing you typed was "
            "changed.",
        ],
    )
    write_rows_to_mend(sheet, problems, PROBLEMS, name="ProblemList", top=5, none="none found", freeze="A")
    return sheet


def write_rows_to_mend(
    sheet: Worksheet, frame: pd.DataFrame, columns: Sequence[ResultColumn], *, name: str, top: int, none: str,
    freeze: str,
) -> None:
    """The only table of a sheet, headings at `top`, whose second column is a row number that leads to the owner's row;
    `none` where it is empty. Headings and the columns before `freeze` stay in sight."""
    last = write_table(sheet, frame, columns, name=name, top=top)
    if frame.empty:
        put_text(sheet.cell(top + 1, 1), none)
    link_to_rows(sheet, frame, top, column=2)
    fit_heights(sheet, frame, columns, top)
    sheet.freeze_panes = f"{freeze}{top + 1}"
    set_up_page(sheet, title_row=top, last_row=last, last_column=len(columns))
    sheet.sheet_properties.tabColor = style.HEAD


def write_about(book: Workbook, sections: list[tuple[str, list[str]]]) -> Worksheet:
    """About: titled paragraphs in one wide column, fit for reading and for paper."""
    sheet = book.create_sheet("About")
    sheet.column_dimensions["A"].width = _ABOUT_WIDTH
    sheet.sheet_view.showGridLines = False
    put_text(sheet.cell(1, 1), "About this workbook")
    sheet.cell(1, 1).font = style.TITLE
    row = 2
    for title, paragraphs in sections:
        row += 1
        put_text(sheet.cell(row, 1), title)
        sheet.cell(row, 1).font = style.SECTION
        for paragraph in paragraphs:
            row += 1
            cell = sheet.cell(row, 1)
            put_text(cell, paragraph)
            cell.style = "shop words"
            cell.border = style.NO_BORDER
            if title == "Caution":
                cell.font = style.CAUTION if paragraph.startswith("Lethal") else style.BODY
            sheet.row_dimensions[row].height = style.LINE_HEIGHT * style.lines_of(paragraph, _ABOUT_WIDTH) + 5
        row += 1
    set_up_page(sheet, title_row=None, last_column=1, landscape=False)
    return sheet


def write_heading(sheet: Worksheet, title: str, lines: list[str]) -> None:
    """Title in the first row, a line a row below it, the first of them in bold."""
    put_text(sheet.cell(1, 1), title)
    sheet.cell(1, 1).font = style.TITLE
    sheet.row_dimensions[1].height = 22
    for row, line in enumerate(lines, start=2):
        put_text(sheet.cell(row, 1), line)
        sheet.cell(row, 1).font = style.BOLD if row == 2 else style.NOTE
        sheet.cell(row, 1).alignment = style.LINE
        sheet.row_dimensions[row].height = style.LINE_ROW_HEIGHT
    sheet.sheet_view.showGridLines = False
