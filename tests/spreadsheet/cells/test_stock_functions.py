"""The cell functions about lots, sets and margins as plain Python: worked stories, and texts for wrong input."""

from types import SimpleNamespace

import pytest

from pricing.price_model import fit_price_model
from pricing.spreadsheet.cell_functions import price_functions
from pricing.spreadsheet.cell_functions.example_workbook import example_sales, example_settings
from pricing.spreadsheet.cell_functions.stock_functions import FUNCTIONS, SIZES, example_sheets

CALL = {one.name: one for one in FUNCTIONS}
SHEETS = example_sheets()
TUBES = [row[:2] for row in SHEETS["Tubes"]]
PRICES = [row[3:5] for row in SHEETS["Tubes"][:3]]


@pytest.fixture
def model(monkeypatch):
    """A store that knows one model under any handle."""
    import pandas as pd

    rows = example_sales()
    fitted = fit_price_model(pd.DataFrame(rows[1:], columns=rows[0]))
    known = SimpleNamespace(model=fitted)
    monkeypatch.setattr(price_functions, "store", lambda: SimpleNamespace(known=lambda _: known))
    return "300 sales"


def test_lot_cost():
    """The trade's worked lot: 23.60, 9.83 (one 9.84), 27.53, 5.90; the lines sum to 645."""
    head, *rows = CALL["LOT_COST"](SHEETS["Lot"], 645)
    assert head[0] == "cost each" and [row[0] for row in rows] == [23.60, 9.83, 27.53, 5.90]
    assert sum(round(row[2] * 100) for row in rows) == 64_500
    assert (len(rows) + 1, len(head)) == SIZES["LOT_COST"]


def test_sets():
    """The trade's eight tubes: a quad, a pair, two singles for 319."""
    head, *rows = CALL["SETS"](TUBES, 5, PRICES)
    assert rows[0][:3] == ["quad", "D, E, F, G", 175.0] and rows[-1][2] == 319.0
    assert (len(rows) + 1, len(head)) == SIZES["SETS"]
    assert CALL["SETS"](TUBES, [[5, 10]], PRICES) == [head, *rows]


def test_lot_bid(model):
    """A bid with its range; lines without a price take the model's."""
    rows = CALL["LOT_BID"](model, SHEETS["Offered"], example_settings())
    bid, low, middle, high, words = rows[1]
    assert 0 < low < middle < high and low < bid < high and words.startswith("Bid up to")
    assert [row[0] for row in rows[3:]] == ["EL84", "6V6GT", "EL34"] and rows[4][1] == 24
    assert sum(row[3] for row in rows[3:]) == pytest.approx(100, abs=0.05)
    assert (len(rows), 5) == SIZES["LOT_BID"]


def test_margin_and_bridge():
    """Groups add up to the row of all; the bridge of two periods to the change."""
    sales = [[*row, "cost" if number == 0 else round(row[7] / 3, 2)] for number, row in enumerate(example_sales())]
    rows = CALL["MARGIN"](sales)[1:]
    assert rows[-1][0] == "all" and sum(row[4] for row in rows[:-1]) == pytest.approx(rows[-1][4])
    assert rows[-1][5] == pytest.approx(66.7, abs=0.1) and rows[-1][6] <= rows[-1][5] <= rows[-1][7]
    bridge = CALL["BRIDGE"](sales, "2024-01-01", "2024-12-31", "2025-01-01", "2025-08-28")
    assert bridge[0][5:] == ["quantity", "mix", "price", "change"]
    assert all(round(row[5] + row[6] + row[7] - row[8], 2) == 0 for row in bridge[1:])
    assert CALL["MARGIN"](sales, 45658, 45900)[-1][1] < rows[-1][1]  # day numbers of a spreadsheet


@pytest.mark.parametrize("name, cells, said", [
    ("LOT_COST", ([["qty"], [1]], 5), "no heading 'sales_value'"),
    ("LOT_COST", ([["qty", "sales_value"], [2, "dear"]], 5), "'dear' is not a number: write"),
    ("LOT_COST", ([["qty", "sales_value", "rejects"], [2, 9, 3]], 5), "3 rejects of 2 pieces; correct one"),
    ("LOT_COST", (SHEETS["Lot"], None), "'paid' is blank: give a plain number"),
    ("SETS", (TUBES, None, PRICES), "'tolerance' takes one or two cells"),
    ("SETS", (TUBES, 5, [["size", "price"]]), "'prices' has no row of a size and its price"),
    ("SETS", ([*TUBES, ["A", 40]], 5, PRICES), "the code 'A' stands twice; give every tube a code of its own"),
    ("SETS", ([["sku", "plate_current"], ["A", -4]], 5, PRICES), "write what the meter showed"),
    ("MARGIN", ([["sold_on", "type", "price"], ["soon", "EL84", 3]],), "none of the 1 sales can be used"),
    ("MARGIN", (example_sales(), "soon"), "'date_from' holds 'soon', which is not a date"),
    ("BRIDGE", (example_sales(), None, "2024-02-01", "2025-01-01", "2025-02-01"), "'from_1' is blank"),
    ("BRIDGE", (example_sales(), "2024-01-01", "2024-02-01", "2025-03-01", "2025-02-01"), "ends before it begins"),
])
def test_wrong_input_is_told_in_the_cell(name, cells, said):
    """A text with what is wrong and what mends it."""
    met = CALL[name](*cells)
    met = met if isinstance(met, str) else met[0][0]
    assert said in met
