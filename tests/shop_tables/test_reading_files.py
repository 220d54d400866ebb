"""Real files written, read back, and bad files refused with words that help."""

import datetime as dt
import re
import zipfile

import openpyxl
import pandas as pd
import pytest

import pricing
from pricing.shop_tables import Settings, Shop, ShopFileError, check_report, read_shop, reading

TODAY = dt.date(2026, 3, 1)
HEADINGS = ["sold_on", "type", "grade", "price"]
ROWS = [[dt.datetime(2024, 5, 6), "EL84", "NOS", 32], [dt.datetime(2024, 5, 7), "6BQ5", "", 30.5],
        ["7.5.2024", 600000, "NOS?", "€ 45,-"], ["soon", "EL84", "", 12]]


def workbook(path, sheets):
    """A workbook with these sheets (name -> rows), saved by openpyxl."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path


def ods(path, sheets):
    """The same as an OpenDocument file, saved by odfpy through pandas."""
    with pd.ExcelWriter(path, engine="odf") as writer:
        for name, rows in sheets.items():
            pd.DataFrame(rows).to_excel(writer, sheet_name=name, header=False, index=False)
    return path


def test_xlsx_ods_and_csv_read_the_same(tmp_path):
    """One table, three file forms, one clean result."""
    pytest.importorskip("odf")
    sheets = {"Sales": [HEADINGS, *ROWS]}
    text = "\n".join(";".join(str(cell) for cell in row) for row in sheets["Sales"])
    (tmp_path / "sales.csv").write_text(text, encoding="utf-8")
    shops = [read_shop(path, today=TODAY) for path in (
        workbook(tmp_path / "a.xlsx", sheets), ods(tmp_path / "a.ods", sheets), tmp_path / "sales.csv")]
    for shop in shops:
        pd.testing.assert_frame_equal(shop.sales, shops[0].sales)
        assert shop.sales["row"].tolist() == [2, 3, 4] and shop.sales["price"].tolist() == [32, 30.5, 45]
        assert [(p.row, p.code) for p in shop.problems.itertuples()] == [
            (4, "number_for_type"), (4, "grade_doubtful"), (5, "date_unreadable")]
        assert shop.row_counts().to_dict("records") == [
            {"table": "Sales", "rows_in": 4, "used": 3, "left_out": 1}
        ]


def test_a_shop_with_every_table(tmp_path):
    """Every table is read into its frame; Settings and Types take effect; other sheets are left alone."""
    sheets = {
        "Sales": [
            ["My tube shop"],
            [],
            ["Datum", "Röhre", "Kaufsumme"],
            ["6.5.2024", "XQ99", 32],
            [None, None, None],
            ["7.5.2024", "EL84", "$10"],
        ],
        "Stock": [["Code", "Tube", "Price"], [1001, "EL84", "45,00"]],
        "Asks": [["sku", "ask", "from_date"], [1001, 45, dt.datetime(2024, 1, 1)]],
        "Readings": [["sku", "test", "value", "nominal"], [1001, "gm", 11.3, 11.3]],
        "Offers": [["offer", "type", "ask"], ["o1", "EL84 pair", "90/pr"]],
        "Listening": [["type", "system", "listener", "warmth"], ["EL84", "amp", "J", 4]],
        "Circuits": [["circuit", "fitted_type", "grid_leak_ohm"], ["amp", "6BQ5", "470k"]],
        "Lots": [["lot", "paid"], ["L1", 645]],
        "Types": [["designation", "canonical_type", "family"], ["XQ99", "EL84", ""]],
        "Settings": [
            ["key", "value"],
            ["heading: Kaufsumme", "price"],
            ["rate: USD", 0.9],
            ["currency", "EUR"],
            ["colour", "red"],
        ],
        "Price list": [["anything"]],
    }
    shop = read_shop(workbook(tmp_path / "shop.xlsx", sheets), today=TODAY)
    assert isinstance(shop, Shop) and shop.sales["row"].tolist() == [4, 6]
    assert shop.sales["canonical_type"].tolist() == ["EL84", "EL84"] and shop.sales[
        "price_home"
    ].tolist() == [32, 9]
    assert shop.stock["sku"].tolist() == ["1001"] and shop.stock["ask"].tolist() == [45]
    assert len(shop.asks) == len(shop.readings) == len(shop.lots) == len(shop.types) == 1
    assert shop.offers[["set_size", "ask_home"]].values.tolist() == [[2, 90]]
    assert shop.listening["warmth"].tolist() == [4] and shop.circuits["grid_leak_ohm"].tolist() == [470000]
    assert shop.circuits["canonical_type"].tolist() == ["EL84"]
    assert [(p.sheet, p.row, p.code) for p in shop.problems.itertuples()] == [
        ("Settings", 5, "unknown_setting")
    ]
    assert set(shop.tables_present) == set(sheets) - {"Price list"}
    assert pricing.read_shop is read_shop


def test_folder_of_csvs(tmp_path):
    """A folder of CSVs named after tables is a shop; other files in it are left alone."""
    (tmp_path / "Sales.csv").write_text("Date,Tube,Price\n2024-05-06,EL84,30\n", encoding="utf-8-sig")
    (tmp_path / "lots.csv").write_bytes("lot;paid;seller\nL1;645,00;Müller\n".encode("cp1252"))
    (tmp_path / "poem.csv").write_text("x\n")
    shop = read_shop(tmp_path, today=TODAY)
    assert shop.tables_present == ("Sales", "Lots") and shop.lots[["paid", "seller"]].values.tolist() == [
        [645, "Müller"]
    ]
    assert shop.stock.empty and "sku" in shop.stock and shop.settings == Settings()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_csv_dialects(tmp_path, encoding, mark):
    """Separators and encodings are recognised; a quoted cell may hold the separator and a line break."""
    rows = [
        ["Datum", "Röhre", "Preis", "Bemerkung"],
        ["2024-05-06", "EL84", "€32", f'"a{mark} b\nc"'],
        ["2024-05-07", "EL34", "7", ""],
    ]
    path = tmp_path / "s.csv"
    path.write_bytes("\n".join(mark.join(row) for row in rows).encode(encoding))
    shop = read_shop(path, today=TODAY)
    assert shop.sales["type"].tolist() == ["EL84", "EL34"] and shop.sales["note"].tolist() == [
        f"a{mark} b c".replace("\t", ""),
        "",
    ]
    assert shop.sales["row"].tolist() == [2, 3]


def test_all_rows_bad_is_reported_not_raised(tmp_path):
    """Sales in which nothing can be used is an empty clean table and a problem a row."""
    shop = read_shop(
        workbook(tmp_path / "a.xlsx", {"Sales": [HEADINGS, ["x", "EL84", "", 1], ["y", "EL84", "", 1]]})
    )
    assert shop.sales.empty and len(shop.problems) == 2


def test_optional_table_without_its_headings(tmp_path):
    """An optional sheet without its needed heading is reported and the rest goes on."""
    path = workbook(
        tmp_path / "a.xlsx", {"Sales": [HEADINGS, ROWS[0]], "Lots": [["lot", "weather"], ["L1", "wet"]]}
    )
    shop = read_shop(path, today=TODAY)
    assert shop.lots.empty and len(shop.sales) == 1
    assert shop.problems["message"].tolist() == [
        "The sheet 'Lots' has no 'paid' heading (headings met: lot, weather); the table was not read."]


def refused(path):
    """The words in which a file is refused; they always begin with its name."""
    with pytest.raises(ShopFileError) as met:
        read_shop(path)
    assert str(met.value).startswith(f"{path}: ") and met.value.remedy
    return str(met.value).removeprefix(f"{path}: ")


def test_missing_file(tmp_path):
    """A file that is not there."""
    assert refused(tmp_path / "no.xlsx") == "there is no such file. Check the name and the folder."


def test_no_sales_sheet(tmp_path):
    """The sheets met are named."""
    path = workbook(tmp_path / "a.xlsx", {"Stock": [["sku"]], "Sheet2": [["x"]]})
    assert refused(path) == ("there is no sheet named Sales; sheets met: Stock, Sheet2. "
                             "Name the sheet that lists your sales 'Sales'.")


def test_missing_heading(tmp_path):
    """The headings met and those needed are named."""
    path = workbook(tmp_path / "a.xlsx", {"Sales": [["Datum", "Menge", "Preis"], ["2024-05-06", 1, 30]]})
    assert refused(path) == (
        "the sheet 'Sales' has no heading for type; headings met in row 1: Datum, Menge, Preis. Put "
        "headings for sold_on, "
        "type, price in one row within the first ten, or add a Settings row such as 'heading: Datum' with "
        "the column it "
        "means."
    )


def test_empty_table(tmp_path):
    """Headings with nothing below, and a sheet with nothing at all."""
    assert "headings but no sales" in refused(workbook(tmp_path / "a.xlsx", {"Sales": [HEADINGS]}))
    assert "no heading for" in refused(workbook(tmp_path / "b.xlsx", {"Sales": []}))


@pytest.mark.parametrize("name, content, words", [
    ("a.xlsx", b"sold_on,type,price\n", "is named .xlsx but is not a workbook"),
    ("a.xlsx", b"", "is empty"),
    ("a.csv", b" \n", "is empty"),
    ("a.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old .xls workbook or is locked with a password"),
    ("a.pdf", b"%PDF", "'.pdf' is not a kind of file"),
    ("a.csv", b"PK\x03\x04", "holds a workbook"),
    ("a.xlsx", b"PK\x03\x04rest", "damaged or incomplete"),
    ("a.ods", b"PK\x03\x04rest", "damaged or incomplete"),
    ("a.csv", b'"' + b"x" * 200_000, "quotation mark"),
])
def test_files_that_are_something_else(tmp_path, name, content, words):
    """Text named as a workbook, an old workbook, an empty file: each said plainly."""
    path = tmp_path / name
    path.write_bytes(content)
    assert words in refused(path)


@pytest.mark.parametrize("keep", [0.2, 0.6, 0.95])
def test_truncated_workbook(tmp_path, keep):
    """A workbook cut short is damaged, wherever it was cut."""
    path = workbook(tmp_path / "a.xlsx", {"Sales": [HEADINGS, *ROWS]})
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * keep)])
    assert "damaged or incomplete" in refused(path)


def rewritten(path, part, change):
    """The same workbook with one part changed."""
    with zipfile.ZipFile(path) as book:
        parts = {name: book.read(name) for name in book.namelist()}
    assert part in parts
    parts[part] = change(parts[part])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as book:
        for name, data in parts.items():
            book.writestr(name, data)
    return path


def test_stray_cell_at_the_far_corner(tmp_path):
    """A cell at XFD1048576 is refused before a reader sets aside 17 thousand million cells, dimension stated
    or not.
    """
    path = tmp_path / "a.xlsx"
    book = openpyxl.Workbook()
    book.active.title = "Sales"
    book.active.append(HEADINGS)
    book.active["XFD1048576"] = 1
    book.save(path)
    assert "reaches to row 1,048,576 and column 16,384" in refused(path)
    path = rewritten(path, "xl/worksheets/sheet1.xml", lambda xml: re.sub(rb"<dimension[^>]*>", b"", xml))
    assert "reaches to row 1,048,576 and column 16,384" in refused(path)


def test_zip_bomb(tmp_path, monkeypatch):
    """What unpacks to more than the limit is refused by the sizes in the zip's own list."""
    path = workbook(tmp_path / "a.xlsx", {"Sales": [HEADINGS, *ROWS]})
    monkeypatch.setattr(reading, "MOST_UNPACKED_BYTES", 1000)
    assert "unpacked the workbook would take" in refused(path)


@pytest.mark.parametrize(
    "stray",
    [
        b'<table:table-row table:number-rows-repeated="9000000">'
        b'<table:table-cell office:value-type="string"/>'
        b'<table:table-cell table:number-columns-repeated="5" office:value-type="string"/></table:table-row>',
        b'<table:table-row table:number-rows-repeated="1048000"/><table:table-row><table:table-cell '
        b'table:number-columns-repeated="16383"/><table:table-cell '
        b'office:value-type="float"/></table:table-row>',
    ],
)
def test_stray_cells_of_an_ods(tmp_path, stray):
    """An OpenDocument row said to repeat millions of times, and a cell in the far corner behind counted
    blanks.
    """
    pytest.importorskip("odf")
    path = ods(tmp_path / "a.ods", {"Sales": [HEADINGS, *ROWS]})
    rewritten(path, "content.xml", lambda xml: xml.replace(b"</table:table>", stray + b"</table:table>"))
    assert "the sheet 'Sales' reaches to row" in refused(path)


def test_blank_rows_behind_an_ods_table_are_harmless(tmp_path):
    """The million counted blank rows that a spreadsheet writes below a table cost nothing."""
    pytest.importorskip("odf")
    path = ods(tmp_path / "a.ods", {"Sales": [HEADINGS, *ROWS]})
    blank = b'<table:table-row table:number-rows-repeated="1048000"><table:table-cell ' \
            b'table:number-columns-repeated="1024"/></table:table-row></table:table>'
    rewritten(path, "content.xml", lambda xml: xml.replace(b"</table:table>", blank))
    assert len(read_shop(path, today=TODAY).sales) == 3


def test_the_owner_s_file_is_never_touched(tmp_path):
    """Reading leaves the file byte for byte."""
    path = workbook(tmp_path / "a.xlsx", {"Sales": [HEADINGS, *ROWS]})
    before = path.read_bytes()
    read_shop(path)
    assert path.read_bytes() == before


def test_report_in_plain_words(tmp_path):
    """The check report: counts, then problems by effect with sheet, row, column, what and remedy; long kinds
    shortened.
    """
    path = workbook(
        tmp_path / "a.xlsx",
        {"Sales": [HEADINGS, *ROWS, *[["2024-05-06", "EL84", "zing", n] for n in range(1, 6)]]},
    )
    report = check_report(read_shop(path, today=TODAY)).splitlines()
    assert report[1] == "  Sales: 9 rows read, 8 used, 1 left out"
    assert (
        "  Sales row 5, sold_on: 'soon' is not a date. Write day, month and year, for example 2024-04-03."
    ) in report
    assert "    ... and 2 more of this kind, listed on the Problems sheet" in report
    clean = workbook(tmp_path / "b.xlsx", {"Sales": [HEADINGS, ROWS[0]]})
    assert check_report(read_shop(clean, today=TODAY)).splitlines()[-1] == "No problems met."


def test_twenty_thousand_sales_are_quick():
    """Cleaning 20,000 sales takes well under the budget of 1.5 s (four times that here: shared machines)."""
    import time

    from pricing.shop_tables import clean_sales

    size = 20_000
    frame = pd.DataFrame(
        {
            "Date": pd.date_range("2020-01-01", periods=size, freq="h"),
            "Tube": ["EL84", "12AX7/ECC83 pair"] * (size // 2),
            "Price": [f"€{n % 90 + 1},50" for n in range(size)],
            "Cond": "tstd 95%",
            "Code": range(size),
        }
    )
    clean_sales(frame.head(10))
    start = time.perf_counter()
    clean, _ = clean_sales(frame, today=TODAY)
    assert len(clean) == size and time.perf_counter() - start < 6
