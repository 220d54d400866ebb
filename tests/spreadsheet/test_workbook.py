"""The workbook: the owner's cells unaltered, valid parts, honest results, nothing overwritten."""

import re

import openpyxl
import pytest
from openpyxl.utils import range_boundaries
from spreadsheet.small_shop import stock_rows, write_small_shop
from spreadsheet.stand_in import StandInModel

import pricing
from pricing.shop_tables.reading import read_sheets
from pricing.spreadsheet.refreshing import refresh_workbook
from pricing.spreadsheet.workbook import build_workbook, is_invented, refreshed_name

# Sheets of several tables one below the other, where arrows on headings would hide rows of the others.
SECTIONED = {"Model", "Lot results", "Sets", "Margins"}


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """(old file, new file, shop) of the small shop with the stand-in model."""
    folder = tmp_path_factory.mktemp("workbook")
    old = write_small_shop(folder / "shop.xlsx")
    shop = pricing.read_shop(old)
    new = build_workbook(folder / "new.xlsx", shop, StandInModel(shop.sales), invented=True)
    return old, new, shop


def trimmed(rows):
    """Rows without blank cells at their ends and blank rows at the end; a blank is ""."""
    rows = [["" if cell is None else cell for cell in row] for row in rows]
    for row in rows:
        while row and row[-1] == "":
            row.pop()
    while rows and not rows[-1]:
        rows.pop()
    return rows


def test_the_owners_cells_come_through_unaltered(built):
    """Every cell of every input sheet stands where it stood, as what it was: text, number, date, yes/no."""
    old, new, _ = built
    after = {sheet.name: trimmed(sheet.rows) for sheet in read_sheets(new)}
    for sheet in read_sheets(old):
        assert after[sheet.name] == trimmed(sheet.rows)


def test_reading_the_new_workbook_gives_the_same_shop(built):
    """Clean tables and problems of the new file equal those of the old one."""
    old, new, shop = built
    again = pricing.read_shop(new)
    assert again.sales.equals(shop.sales) and again.stock.equals(shop.stock)
    assert again.problems.equals(shop.problems) and again.settings == shop.settings


def test_text_never_becomes_a_formula(built):
    """No cell of the file is a formula, and text that begins like one carries the quote mark."""
    book = openpyxl.load_workbook(built[1])
    kinds = {cell.data_type for sheet in book for row in sheet.iter_rows() for cell in row}
    assert "f" not in kinds and "e" not in kinds
    cell = book["Stock"].cell(len(stock_rows()) + 1, 1)
    assert (cell.value, cell.data_type, cell.quotePrefix) == ("=S5", "s", True)


def test_sheets_in_order(built):
    """Inputs first, results after them; the owner's own sheets are not among them."""
    names = openpyxl.load_workbook(built[1]).sheetnames
    assert names == [
        "Sales",
        "Stock",
        "Asks",
        "Readings",
        "Offers",
        "Listening",
        "Circuits",
        "Lots",
        "Types",
        "Settings",
        "Price list",
        "Deals",
        "Alternatives",
        "Margins",
        "Problems",
        "Check prices",
        "Model",
        "About",
        "Lists",
    ]


def test_tables_are_valid(built):
    """Each table's reference lies in its sheet, its columns are its heading cells, and no name is used
    twice.
    """
    book = openpyxl.load_workbook(built[1])
    names = []
    for sheet in book:
        for table in sheet.tables.values():
            left, top, right, bottom = range_boundaries(table.ref)
            headings = [sheet.cell(top, column).value for column in range(left, right + 1)]
            assert headings == [column.name for column in table.tableColumns] and len(set(headings)) == len(
                headings
            )
            assert bottom > top and bottom <= max(sheet.max_row, top + 1)
            assert re.fullmatch(r"[A-Za-z_]\w*", table.displayName)
            assert (table.autoFilter.ref == table.ref) if sheet.title not in SECTIONED else (
                table.autoFilter is None)
            names.append(table.displayName.casefold())
    names += [name.casefold() for name in book.defined_names]
    assert len(set(names)) == len(names)
    assert {"sales", "stock", "pricelist", "problemlist", "marketindex"} <= set(names)


def test_drop_downs_refer_to_lists_that_are_there(built):
    """Every drop-down names a list on the Lists sheet, and none refuses the owner's own word."""
    book = openpyxl.load_workbook(built[1])
    offers = [offer for sheet in book for offer in sheet.data_validations.dataValidation]
    assert offers
    for offer in offers:
        target = book.defined_names[offer.formula1].attr_text
        sheet, _, cells = target.replace("$", "").partition("!")
        assert book[sheet.strip("'")][cells][0][0].value
        assert offer.errorStyle == "information"


def test_text_columns_are_text(built):
    """Types, stock codes and lots are formatted as text for what is typed next, so that 6E5 stays 6E5."""
    book = openpyxl.load_workbook(built[1])
    for sheet, top in (("Sales", 3), ("Stock", 1)):
        for cell in book[sheet][top]:
            if cell.value in ("type", "sku", "lot"):
                assert book[sheet].column_dimensions[cell.column_letter].number_format == "@"


def test_headings_carry_their_help(built):
    """The heading of a required column says what belongs there and that it is needed."""
    sheet = openpyxl.load_workbook(built[1])["Sales"]
    assert "Needed in every row" in sheet["B3"].comment.text and sheet["O3"].comment is None
    assert sheet.freeze_panes == "A4"


def price_list(path):
    """Rows of the Price list as dicts by heading."""
    sheet = openpyxl.load_workbook(path)["Price list"]
    left, top, right, bottom = range_boundaries(sheet.tables["PriceList"].ref)
    rows = [[cell.value for cell in row] for row in sheet.iter_rows(top, bottom, left, right)]
    return [dict(zip(rows[0], row, strict=True)) for row in rows[1:]], sheet


def test_price_list_actions_and_order(built):
    """Every stock row is there once, biggest money at stake first, sold-out history last and not printed."""
    rows, sheet = price_list(built[1])
    assert {row["sku"]: row["action"] for row in rows} == {
        "S1": "sold out",
        "S2": "raise",
        "S3": "lower",
        "S4": "list",
        "=S5": "look",
    }
    sizes = [abs(row["at stake"]) for row in rows if row["at stake"] is not None]
    assert sizes == sorted(sizes, reverse=True) and rows[-1]["sku"] == "S1"
    assert sheet.print_area.split(":")[1] == f"$M${6 + 4}" and sheet.print_title_rows == "$6:$6"


def test_price_list_says_what_it_knows(built):
    """The sheet names the currency, the order it stands in, and that a shop's own asks can teach back a
    habit.
    """
    _, sheet = price_list(built[1])
    head = " ".join(str(sheet.cell(row, 1).value) for row in range(1, 5))
    assert "EUR" in head and "Biggest money at stake first" in head and "teach back a habit" in head


def test_colour_is_never_alone(built):
    """Every coloured action also stands in words in the coloured cell."""
    rows, sheet = price_list(built[1])
    formulas = [rule.formula[0] for rules in sheet.conditional_formatting for rule in rules.rules]
    coloured = r'\$A7="(raise|lower|look|list|hold for a set|sold out)"'
    assert formulas and all(re.fullmatch(coloured, one) for one in formulas)
    assert all(row["action"] for row in rows)


def test_problems_lead_to_their_rows(built):
    """Rows left out come first, and the row number is a link to the row on the owner's sheet."""
    sheet = openpyxl.load_workbook(built[1])["Problems"]
    assert [sheet.cell(row, 5).value for row in (6, 7)] == ["row left out", "row left out"]
    rows = {sheet.cell(row, 2).value: sheet.cell(row, 2).hyperlink.location for row in (6, 7)}
    assert rows == {14: "'Sales'!A14", 15: "'Sales'!A15"}


def test_model_sheet_speaks_in_percent(built):
    """exp(0.4) - 1 = 49.2 %, exp(0.2) - 1 = 22.1 %, exp(-0.3) - 1 = -25.9 %; the widest spread and best
    maker first.
    """
    sheet = openpyxl.load_workbook(built[1])["Model"]
    rows = {}
    for name in ("PriceSpread", "PriceEffects", "MakerEffects"):
        left, top, right, bottom = range_boundaries(sheet.tables[name].ref)
        cells = sheet.iter_rows(top + 1, bottom, left, left + 1, values_only=True)
        rows[name] = [(words, round(percent, 1)) for words, percent in cells]
    assert rows["PriceSpread"] == [
        ("type: types within a family differ", 122.6),
        ("maker: makers differ across all types they made", 35.0),
    ]
    assert rows["PriceEffects"] == [("grade: new old stock, against used, good", 49.2)]
    assert rows["MakerEffects"] == [
        ("maker: Tivenshaw, against the average maker", 22.1),
        ("maker: Dravelko, against the average maker", -25.9),
    ]


def test_about_carries_the_cautions(built):
    """Lethal voltages, rating systems, no appraisal, no Excel in testing, and that the shop is invented."""
    sheet = openpyxl.load_workbook(built[1])["About"]
    text = " ".join(str(cell.value) for (cell,) in sheet.iter_rows(max_col=1) if cell.value)
    for words in (
        "Lethal voltages",
        "rating system",
        "not an appraisal",
        "Excel was not available",
        "does not exist",
    ):
        assert words in text
    assert not re.search(r"\b(safe|compatible|drop-in|true value|steal)\b", text)


def test_an_invented_shop_stays_one_after_a_refresh(built, tmp_path):
    """The mark of the invented shop is carried by the file and read back from it."""
    assert is_invented(built[1]) and not is_invented(built[0])
    again = refresh_workbook(
        built[1],
        tmp_path / "again.xlsx",
        shop=pricing.read_shop(built[1]),
        model=StandInModel(built[2].sales),
    )
    assert is_invented(again)


def test_building_twice_gives_the_same_file(built, tmp_path):
    """Byte for byte, with the data's own date inside, on whatever day it is built."""
    _, new, shop = built
    again = build_workbook(tmp_path / "again.xlsx", shop, StandInModel(shop.sales), invented=True)
    assert again.read_bytes() == new.read_bytes()
    assert openpyxl.load_workbook(again).properties.modified == shop.sales["sold_on"].max()


def test_nothing_is_overwritten_unasked(built):
    """A file that is there stays as it is, and a refresh is not told to write to the file it reads."""
    old, new, shop = built
    before = new.read_bytes()
    with pytest.raises(FileExistsError):
        build_workbook(new, shop, StandInModel(shop.sales))
    with pytest.raises(ValueError, match="leave `out` away"):
        refresh_workbook(old, old, shop=shop, model=StandInModel(shop.sales), overwrite=True)
    assert new.read_bytes() == before


def test_a_failed_save_leaves_nothing(built, tmp_path, monkeypatch):
    """When writing breaks off there is neither a half workbook nor a leftover."""

    def broken(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", broken)
    with pytest.raises(OSError):
        build_workbook(tmp_path / "new.xlsx")
    assert list(tmp_path.iterdir()) == []


def test_text_too_long_for_a_cell_is_refused_not_cut(tmp_path):
    """A CSV can hold a longer text than a cell: the message names the cell and the limit."""
    (tmp_path / "sales.csv").write_text("sold_on,type,price,note\n2025-01-01,EL84,20," + "x" * 40_000 + "\n")
    shop = pricing.read_shop(tmp_path)
    with pytest.raises(ValueError, match="D2 on Sales: 40,000 characters, a cell holds 32,767"):
        build_workbook(tmp_path / "new.xlsx", shop)


def test_names_of_refreshed_files(tmp_path):
    """Dated, never stacked, numbered when taken."""
    import pandas as pd

    date = pd.Timestamp("2026-11-25")
    assert refreshed_name(tmp_path / "shop.xlsx", date).name == "shop (refreshed 2026-11-25).xlsx"
    (tmp_path / "shop (refreshed 2026-11-25).xlsx").touch()
    assert refreshed_name(tmp_path / "shop (refreshed 2026-01-01) 3.xlsx", date).name == (
        "shop (refreshed 2026-11-25) 2.xlsx"
    )


def test_empty_workbook_is_ready_to_type_in(tmp_path):
    """All input sheets with their headings, default settings, lists and About; reading it says there are no
    sales.
    """
    path = build_workbook(tmp_path / "empty.xlsx")
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == [*pricing.shop_tables.TABLES, "About", "Lists"]
    assert [cell.value for cell in book["Listening"][1]][-4:] == ["warmth", "clarity", "quiet", "note"]
    with pytest.raises(pricing.shop_tables.ShopFileError, match="no sales below them"):
        pricing.read_shop(path)


def test_default_settings_read_back_as_defaults(tmp_path):
    """The Settings sheet of an empty workbook says what the program does without one."""
    from pricing.shop_tables import Settings

    path = build_workbook(tmp_path / "empty.xlsx")
    sheet = next(one for one in read_sheets(path) if one.name == "Settings")
    read = Settings.from_rows([(row[0], row[1]) for row in sheet.rows[1:]])
    assert not read.problems
    for name in ("payment_fee_pct", "price_endings", "minimum_margin_pct", "tax_scheme", "largest_cut_pct"):
        assert getattr(read, name) == getattr(Settings(), name)
