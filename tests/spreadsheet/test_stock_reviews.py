"""The sheets Lot results, Sets and Margins: what stands in them, their charts, and a shop that keeps little."""

import openpyxl
import pytest
from spreadsheet.small_shop import SALES_HEADINGS, sales_rows
from spreadsheet.stand_in import StandInModel

import pricing
from pricing.decisions.margins import review_shop
from pricing.spreadsheet.margins_sheet import bridge_steps
from pricing.spreadsheet.workbook import build_workbook

CURRENTS = (44.0, 45.1, 46.0, 46.3, 47.9, 48.2, 48.4, 51.0)


def write_shop(path, sheets):
    """A workbook of these sheets: rows of cells by title."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """(shop, workbook) of a shop with lots, offers of many pieces, and tubes measured for matching."""
    folder = tmp_path_factory.mktemp("reviews")
    stock = [["sku", "type", "maker", "grade", "qty", "cost", "lot", "acquired_on"]]
    stock += [[f"E{n}", "EL84", "Tivenshaw", "used, good", 1, 3, "L1", "2024-05-01"] for n in range(8)]
    stock += [["S1", "EL84", "Tivenshaw", "used, good", 9, 5, "L1", "2023-01-01"]]
    readings = [["sku", "tested_on", "tester", "test", "value", "volts"]]
    readings += [[f"E{n}", "2025-06-01", "bench A", "plate current", value, 250] for n, value in enumerate(CURRENTS)]
    readings += [["S1", "2025-06-01", "bench A", "plate current", 47, 250]]
    old = write_shop(folder / "shop.xlsx", {
        "Sales": [SALES_HEADINGS, *sales_rows()[13:]], "Stock": stock, "Readings": readings,
        "Lots": [["lot", "bought_on", "paid", "freight", "tubes", "rejects", "testing_cost"],
                 ["L1", "2023-01-01", 100, 5.5, 30, 10, 2], ["L2", "2024-01-01", 0, None, 5, 1, None]],
        "Offers": [["offer", "seller", "type", "qty", "ask", "postage"], ["box", "A", "EL84", 20, 60, 8],
                   ["box", "A", "12AX7", 3, 10, None], ["one", "B", "EL84", 1, 9, 3]],
        "Settings": [["key", "value"], ["currency", "EUR"], ["fee", 10]]})
    shop = pricing.read_shop(old)
    path = build_workbook(folder / "new.xlsx", shop, StandInModel(shop.sales))
    return shop, openpyxl.load_workbook(path)


def table_of(sheet, name):
    """Rows of a named table as dicts by heading."""
    block = [[cell.value for cell in row] for row in sheet[sheet.tables[name].ref]]
    return [dict(zip(block[0], row)) for row in block[1:]]


def test_sheets_follow_the_price_list(built):
    """All three stand after the price list."""
    names = built[1].sheetnames
    at = names.index("Lot results")
    assert at > names.index("Price list") and names[at:at + 3] == ["Lot results", "Sets", "Margins"]


def test_lot_results(built):
    """Costs sum to what was paid, the gift cost nothing, one bid for the box of several rows and none for a single."""
    shop, book = built
    sheet = book["Lot results"]
    lots = {row["lot"]: row for row in table_of(sheet, "LotResults")}
    assert lots["L1"]["paid in all"] == 107.5 and lots["L1"]["fallout"] == pytest.approx(100 / 3)
    assert lots["L1"]["how it stands"] == "107.50 to come back; 3 tubes that passed stand in no row"
    assert lots["L2"]["paid in all"] == 0 and lots["L2"]["how it stands"] == "no row of Stock or Sales names it"
    pieces = table_of(sheet, "LotPieces")
    assert sum(row["tubes"] for row in pieces) == 17
    assert {row["by count"] for row in pieces} == {5.37} or {row["by count"] for row in pieces} <= {5.37, 5.38}
    bids = table_of(sheet, "LotBids")
    assert [row["offer"] for row in bids] == ["box"] and bids[0]["asked"] == 78
    assert bids[0]["low"] <= bids[0]["bid up to"] <= bids[0]["high"]
    link = next(cell for row in sheet.iter_rows() for cell in row if cell.hyperlink)
    assert "!A" in link.hyperlink.location


def test_sets(built):
    """The tubes of the trade's story in their sets; a code of nine tubes is left out and is a Problem with a remedy."""
    shop, book = built
    sheet = book["Sets"]
    sets = table_of(sheet, "MatchedSets")
    assert sum(len(row["codes"].split(", ")) for row in sets) == 8
    assert all(row["mA spread"] is None or row["mA spread"] <= 5 for row in sets)
    left = table_of(sheet, "NotMatched")
    assert (left[0]["code"], left[0]["why it is in no set"]) == ("S1", "a code of several tubes: a reading is of one")
    problem = shop.problems[shop.problems["code"] == "reading_of_many"].iloc[0]
    assert problem["row"] == 10 and "a code, and a Stock row, of its own" in problem["remedy"]
    assert any("qualified technician" in str(cell.value) for cell in sheet["A"])


def test_margins(built):
    """Totals as the review has them, native charts of what is known, a bridge whose steps end at the sales of now."""
    shop, book = built
    sheet = book["Margins"]
    review = review_shop(shop)
    rows = table_of(sheet, "Margins")
    assert rows[-1]["family"] == "all" and rows[-1]["sales"] == pytest.approx(review.table["sales"].iloc[-1])
    assert review.table["gross"].isna().all() and len(sheet._charts) == 2  # no cost is noted: no chart of margins
    steps = bridge_steps(review.bridge)
    last = steps.iloc[-2].fillna(0.0)
    assert last["floor"] + last["up"] == pytest.approx(steps["level"].iloc[-1])
    bridge = table_of(sheet, "SalesBridge")[-1]
    assert round(bridge["quantity"] + bridge["mix"] + bridge["price"] - bridge["change"], 2) == 0


def test_a_shop_of_sales_alone(tmp_path):
    """Without Stock, Lots, Offers and Readings only Margins is written, and it says that no cost is known."""
    old = write_shop(tmp_path / "sales.xlsx", {"Sales": [SALES_HEADINGS, *sales_rows()[13:]]})
    shop = pricing.read_shop(old)
    book = openpyxl.load_workbook(build_workbook(tmp_path / "new.xlsx", shop, StandInModel(shop.sales)))
    assert "Margins" in book.sheetnames and not {"Sets", "Lot results"} & set(book.sheetnames)
    assert "no margin can be told" in book["Margins"]["A2"].value
