"""The record on the Model sheet: figures, bars, words, and what stands there when nothing was tried."""

import numpy as np
import openpyxl
import pandas as pd
import pytest
from openpyxl import Workbook

from pricing.price_model.backtest import Backtest
from pricing.price_model.record import METHODS, RICHNESS
from pricing.spreadsheet.record_section import TITLE, record_for_refresh, write_record
from pricing.spreadsheet.tables import add_styles


@pytest.fixture(scope="module")
def record():
    """A made-up record of 400 sales in which the model errs least."""
    rng, n = np.random.default_rng(3), 400
    named = np.exp(rng.normal(3, 0.05, (n, len(METHODS))) + rng.normal(0, 1, (n, 4)) * [0.1, 0.5, 0.3, 0.25])
    paid = np.exp(3.0) * np.ones(n)
    scored = pd.DataFrame(named, columns=METHODS).assign(
        paid=paid, low_80=paid * 0.8, high_80=paid * 1.2, low_95=paid * 0.7, high_95=paid * 1.4, z=1.0, fold=1,
        canonical_type=np.arange(n) % 40, maker="Tivenshaw", era="1960s", grade="unknown",
        richness=np.array(RICHNESS)[np.arange(n) % 4],
    )
    folds = pd.DataFrame([(1, pd.Timestamp("2025-01-01"), pd.Timestamp("2025-06-30"), 600, n, True)],
                         columns=["fold", "first_day", "last_day", "n_past", "n_scored", "calibrated"])
    return Backtest(scored, folds, 0.1, 1_000)


def written(tmp_path, record, of_the_fit=()):
    """The sheet as read back from the file, and the row that write_record gave."""
    book = Workbook()
    book.remove(book.active)
    add_styles(book)
    row = write_record(book.create_sheet("Model"), 5, record, list(of_the_fit))
    book.save(tmp_path / "record.xlsx")
    return openpyxl.load_workbook(tmp_path / "record.xlsx")["Model"], row


def texts(sheet):
    """All texts of the first column."""
    return [cell.value for cell in sheet["A"] if isinstance(cell.value, str)]


def test_figures_bars_and_words(tmp_path, record):
    """Two tables, a native bar chart over the methods' typical errors, every sentence, nothing after the last row."""
    sheet, row = written(tmp_path, record)
    assert set(sheet.tables) == {"PriceRecord", "PriceRecordByKind"} and sheet["A5"].value == TITLE
    assert set(record.words) <= set(texts(sheet)) and sheet.max_row == row - 1
    top, bottom = (int(part[1:]) for part in sheet.tables["PriceRecord"].ref.split(":"))
    assert [sheet.cell(at, 1).value for at in range(top + 1, bottom + 1)] == list(METHODS)
    figures = [sheet.cell(at, 2).value for at in range(top + 1, bottom + 1)]
    np.testing.assert_allclose(figures, record.by_method["median_off_pct"])
    (chart,) = sheet._charts
    series = chart.series[0]
    assert chart.type == "bar" and series.val.numRef.f == f"'Model'!$B${top + 1}:$B${bottom}"
    assert series.cat.numRef.f == f"'Model'!$A${top + 1}:$A${bottom}"
    first_kind = int(sheet.tables["PriceRecordByKind"].ref.split(":")[0][1:])
    assert chart.anchor._from.row + 1 > bottom and chart.anchor._from.row + 8 < first_kind


def test_kinds_stand_in_order(tmp_path, record):
    """From what the shop had sold most of to what it had sold least; a kind not met has no row."""
    sheet, _ = written(tmp_path, record)
    top, bottom = (int(part[1:]) for part in sheet.tables["PriceRecordByKind"].ref.split(":"))
    rows = [[cell.value for cell in row] for row in sheet.iter_rows(top + 1, bottom, 1, 5)]
    assert [row[0] for row in rows] == list(RICHNESS[:4]) and [row[4] for row in rows] == [100] * 4
    assert all(row[1] < row[2] for row in rows)


def test_nothing_tried(tmp_path):
    """Without a record: what would make one, and what the fit says of itself."""
    sheet, row = written(tmp_path, None, ["Ranges were set on 300 sales."])
    said = " ".join(texts(sheet))
    assert "pricing backtest" in said and "Ranges were set on 300 sales." in said and not sheet.tables and row == 8


def test_refresh_tries_short_histories_only(monkeypatch):
    """Two stretches unasked up to the limit, none beyond it, and as many as asked for at any length."""
    asked = []
    monkeypatch.setattr("pricing.price_model.backtest.backtest",
                        lambda sales, settings, register, folds: asked.append(folds) or "a record")

    class Shop:
        settings = register = None
        sales = range(10_000)

    assert record_for_refresh(Shop) == "a record" and record_for_refresh(Shop, 0) is None
    Shop.sales = range(10_001)
    assert record_for_refresh(Shop) is None and record_for_refresh(Shop, 5) == "a record" and asked == [2, 5]
