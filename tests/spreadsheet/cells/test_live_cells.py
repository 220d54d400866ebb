"""The sheet Live cells: real LibreOffice computes it as it opens, and it says what Python says."""

import pytest
from spreadsheet.cells.real_calc import RealCalc, needs_calc
from spreadsheet.small_shop import write_small_shop

import pricing
from pricing.spreadsheet.live_cells_sheet import MODEL_CELL, PIECES, TOP


@needs_calc
def test_live_cells_compute_on_opening(tmp_path):
    """A workbook opened with the add-in there: the model's key, every piece priced as by the model, reasons below."""
    shop = pricing.read_shop(write_small_shop(tmp_path / "shop.xlsx"))
    model = pricing.fit_price_model(shop.sales, settings=shop.settings, register=shop.register)
    path = pricing.build_workbook(tmp_path / "live.xlsx", shop, model, live_cells=True)
    calc = RealCalc(tmp_path, {"TUBE_PRICE_PATIENCE_S": "60"})
    try:
        document = calc.open(path)
        sheet = document.Sheets.getByName("Live cells")
        assert "sales to" in sheet.getCellRangeByName(MODEL_CELL).String
        rows = sheet.getCellRangeByName(f"A{TOP + 1}:N{TOP + PIECES}").DataArray
        why = sheet.getCellRangeByName(f"B{TOP + PIECES + 3}:F{TOP + PIECES + 15}").DataArray
        document.close(True)
    finally:
        calc.close()
    fair = model.estimate(shop.stock.head(PIECES))["fair_price"]
    assert [row[9] for row in rows[:4]] == pytest.approx(fair.tolist()[:4], rel=1e-9)
    assert rows[4][9] == "" and "type" in rows[4][13]  # of no known type: words, no price
    assert why[0][0] == "item" and why[-1][-1] == pytest.approx(fair.iloc[0], rel=1e-9)
