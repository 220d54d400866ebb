"""A workbook as an owner might leave it: dirty cells, headings not in the first row, a column of his own."""

import datetime as dt
from pathlib import Path

from openpyxl import Workbook

SALES_HEADINGS = [
    "sold_on",
    "type",
    "maker",
    "era",
    "grade",
    "reading_pct",
    "set_size",
    "qty",
    "price",
    "currency",
    "channel",
    "returned_on",
    "sku",
    "note",
    "shelf",
]
TYPES = ["EL84", "12AX7", "6V6GT", "5Y3GT"]


def sales_rows():
    """Sixty plain sales and a few cells that must come through as they are."""
    rows = []
    for number in range(60):
        kind = TYPES[number % 4]
        rows.append(
            [
                dt.datetime(2025, 1 + number % 12, 1 + number % 28),
                kind,
                "Tivenshaw",
                "1960s",
                "used, good",
                90.0,
                1,
                1,
                20.0 + 3 * (number % 4) + number % 5,
                "EUR",
                "own site",
                None,
                "S1" if number == 0 else None,
                None,
                f"B{number}",
            ]
        )
    rows[3][13], rows[4][13], rows[5][13], rows[6][13] = "=1+1", "+49 number", "@home", "-"
    rows[7][13], rows[8][13], rows[9][13] = "#N/A", "_x0041_ typed so", "two\nlines"
    rows[10][8], rows[11][0] = "ask Tuesday", "32.13.2023"
    rows[12][8], rows[13][1] = "€18,50", "EL84/6BQ5"
    rows[14][13], rows[15][6], rows[16][14] = True, "pair", 7.25
    return rows


def stock_rows():
    """Five pieces: priced low, priced high, no ask, sold out, unknown type."""
    return [
        ["S1", "EL84", "Tivenshaw", "1960s", "used, good", 1, 1, 5.0, 21.0],
        ["S2", "12AX7", "Tivenshaw", "1960s", "used, good", 1, 2, 5.0, 14.0],
        ["S3", "6V6GT", "Tivenshaw", "1960s", "used, good", 1, 1, 5.0, 48.0],
        ["S4", "5Y3GT", "", "", "used, good", 1, 1, 5.0, None],
        ["=S5", "QQ99ZZ", "", "", "", 1, 1, 50.0, 40.0],
    ]


def write_small_shop(
    path: Path, *, sales=None, sales_headings=None, stock=True, sales_title="Sales", drop=()
) -> Path:
    """The workbook at `path`; texts stay texts whatever they begin with."""
    book = Workbook()
    sheet = book.active
    sheet.title = sales_title
    rows = [["Sales of a made-up shop"], [], sales_headings or SALES_HEADINGS]
    rows += sales_rows() if sales is None else sales
    _fill(sheet, rows)
    if stock:
        _fill(
            book.create_sheet("Stock"),
            [["sku", "type", "maker", "era", "grade", "set_size", "qty", "cost", "ask"], *stock_rows()],
        )
    _fill(
        book.create_sheet("Settings"),
        [
            ["key", "value"],
            ["currency", "EUR"],
            ["fee", 10],
            ["price endings", ".00"],
            ["minimum margin", 10],
        ],
    )
    _fill(book.create_sheet("My notes"), [["not one of ours"]])
    for name in drop:
        del book[name]
    book.save(path)
    return path


def _fill(sheet, rows):
    for row_number, row in enumerate(rows, start=1):
        for column, value in enumerate(row, start=1):
            cell = sheet.cell(row_number, column, value)
            if isinstance(value, str):
                cell.value = value.replace("_x0041_", "_x005F_x0041_")
                cell.data_type = "s"
