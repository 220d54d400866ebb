"""The sheet Lot results: bids for offers of many pieces, what each lot has brought back, and what its pieces cost."""

from __future__ import annotations

from typing import Any

from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.workbook import Workbook
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.worksheet import Worksheet

from pricing.spreadsheet import style
from pricing.spreadsheet.result_sheets import write_heading
from pricing.spreadsheet.sections import heading
from pricing.spreadsheet.tables import ResultColumn, fit_heights, put_text, set_up_page, write_table

TITLE = "Lot results"  # Lots is the owner's own sheet
_BID = "Expected sales less fees, orders, testing and returns, over one plus the return wanted and the cost of holding."
BIDS = (
    ResultColumn("offer", "offer", "text", 10),
    ResultColumn("seller", "seller", "text", 18),
    ResultColumn("pieces", "pieces", "words", 54),
    ResultColumn("words", "beside what is asked", "words", 40),
    ResultColumn("tubes", "tubes", "count", 8),
    ResultColumn("asked", "asked", "money", 10, "With postage, in the shop's currency."),
    ResultColumn("bid", "bid up to", "money", 10, _BID),
    ResultColumn("low", "low", "money", 10, "One outcome in ten bears less than this bid."),
    ResultColumn("high", "high", "money", 10, "One outcome in ten bears more."),
    ResultColumn("bid_a_tube", "bid a tube", "money", 10),
    ResultColumn("row", "Offers row", "count", 8),
)
LOTS = (
    ResultColumn("lot", "lot", "text", 10),
    ResultColumn("seller", "seller", "text", 18),
    ResultColumn("words", "how it stands", "words", 54),
    ResultColumn("bought_on", "bought on", "date", 12),
    ResultColumn("tubes", "tubes", "count", 8),
    ResultColumn("paid_in_all", "paid in all", "money", 10, "Paid, freight and testing."),
    ResultColumn("brought", "brought back", "money", 10, "Its sales less tax, fees, postage and packing."),
    ResultColumn("back_pct", "back", "percent", 10, "Brought back in percent of paid in all."),
    ResultColumn("left_value", "left, at fair prices", "money", 10),
    ResultColumn("fallout_pct", "fallout", "percent", 10, "Rejects in percent of its tubes."),
    ResultColumn("row", "Lots row", "count", 8),
    ResultColumn("rejects", "rejects", "count", 8),
    ResultColumn("entered", "tubes entered", "count", 8, "In Stock, or in Sales alone."),
    ResultColumn("sold", "tubes sold", "count", 8),
    ResultColumn("left", "tubes left", "count", 8),
    ResultColumn("sales", "sales", "money", 10),
)
_SHARED = "The sum paid, shared by what each piece is expected to sell for; rejects carry nothing."
PIECES = (
    ResultColumn("lot", "lot", "text", 10),
    ResultColumn("sku", "sku", "text", 18),
    ResultColumn("piece", "piece", "words", 54),
    ResultColumn("type", "type", "text", 40),
    ResultColumn("tubes", "tubes", "count", 8),
    ResultColumn("sales_value", "fair price a tube", "money", 10),
    ResultColumn("unit_cost", "cost a tube", "money", 10, f"{_SHARED} Some of them may cost a cent more."),
    ResultColumn("unit_cost_by_count", "by count", "money", 10, "The sum paid over the tubes that passed."),
    ResultColumn("own_cost", "your cost a tube", "money", 10, "From Stock."),
    ResultColumn("difference", "yours less this", "change", 10),
    ResultColumn("row", "Stock row", "count", 8),
)
_PRINTED = 11


def write_lots(book: Workbook, review: Any, currency: str) -> Worksheet:
    """The sheet from a LotReview; each part says so when there is nothing to show."""
    sheet = book.create_sheet(TITLE)
    lines = [*review.words, f"Amounts in {currency or 'the currency of the shop'}. A bid is the most to pay, freight "
             "and all, for the return set in Settings; what fails testing, or does not sell within two years at such "
             "pieces' pace, brings nothing."]
    write_heading(sheet, TITLE, lines)
    row = len(lines) + 3
    parts = (("Offers of four tubes or more: what to bid", review.bids, BIDS, "LotBids", "Offers"),
             ("What each lot has brought back, newest first", review.lots, LOTS, "LotResults", "Lots"),
             ("What the pieces of each lot cost", review.pieces, PIECES, "LotPieces", "Stock"))
    for title, frame, columns, name, source in parts:
        top = heading(sheet, row, title)
        last = write_table(sheet, frame, columns, name=name, top=top, filters=False)
        sheet.row_dimensions[top].height = style.HEADING_HEIGHT
        if frame.empty:
            put_text(sheet.cell(top + 1, 1), "none")
        fit_heights(sheet, frame, columns[:_PRINTED], top)
        _link_rows(book, sheet, frame, top, 11, source)
        if columns is LOTS:
            title_row, printed = top, last
        row = last + 2
    for offset, column in enumerate(LOTS, start=1):
        sheet.column_dimensions[get_column_letter(offset)].width = column.width
    sheet.column_dimensions["D"].width = 30
    sheet.freeze_panes = "B2"
    set_up_page(sheet, title_row=title_row, last_row=printed, last_column=_PRINTED)
    sheet.sheet_properties.tabColor = style.HEAD
    return sheet


def _link_rows(book: Workbook, sheet: Worksheet, frame: Any, top: int, column: int, source: str) -> None:
    """The row number leads to the owner's own row."""
    if source not in book.sheetnames or "row" not in frame:
        return
    for offset, number in enumerate(frame["row"], start=top + 1):
        if number == number:
            cell = sheet.cell(offset, column)
            cell.hyperlink = Hyperlink(cell.coordinate, location=f"{quote_sheetname(source)}!A{int(number)}")
            cell.style = "shop count"
