"""The sheet Check prices and the market's part of the Model sheet."""

import openpyxl
import pandas as pd
import pytest
from openpyxl.utils import range_boundaries
from spreadsheet.small_shop import write_small_shop
from spreadsheet.stand_in import StandInModel

import pricing
from pricing.spreadsheet.check_prices import COLUMNS
from pricing.spreadsheet.market_part import changes_of
from pricing.spreadsheet.workbook import build_workbook


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """The small shop as read."""
    return pricing.read_shop(write_small_shop(tmp_path_factory.mktemp("check") / "shop.xlsx"))


def written(tmp_path, shop, model):
    """The workbook, loaded again."""
    return openpyxl.load_workbook(build_workbook(tmp_path / "new.xlsx", shop, model))


def table(sheet, name):
    """Rows of a named table as dicts by heading."""
    left, top, right, bottom = range_boundaries(sheet.tables[name].ref)
    heads, *rows = sheet.iter_rows(top, bottom, left, right, values_only=True)
    return [dict(zip(heads, row, strict=True)) for row in rows]


def test_a_row_a_sale_with_two_stories(tmp_path, shop):
    """Farthest off first, both stories with what the row would then be, and a link to the row."""
    model = StandInModel(shop.sales)
    sheet = written(tmp_path, shop, model)["Check prices"]
    rows = table(sheet, "PriceChecks")
    assert [row["row"] for row in rows] == model.outliers["row"].tolist()
    first = rows[0]
    assert first["perhaps"] == "decimal point slipped?" and first["chance %"] == pytest.approx(90)
    assert first["the row would then be"] == "price 2.00 instead of 20.00"
    assert first["or"] == "unusual, but booked as meant?" and first["or: the row would be"] == "as booked"
    assert sheet["B7"].hyperlink.location == f"'Sales'!A{first['row']}"
    assert first["sale"].startswith(shop.sales["designation"].iloc[0])


def test_words_ask_and_nothing_is_changed(tmp_path, shop):
    """The head says how many, that nothing was changed, where to change it, and in which currency."""
    sheet = written(tmp_path, shop, StandInModel(shop.sales))["Check prices"]
    head = " ".join(sheet.cell(row, 1).value for row in range(1, 6))
    for words in ("3 of", "Do you remember", "Nothing was changed", "on the sheet Sales and refresh", "in EUR"):
        assert words in head
    for words in ("wrong", "error", "mistake", "fraud"):
        assert words not in head.casefold()


def test_without_suspects_it_says_so(tmp_path, shop):
    """One row that says none, and a valid table."""
    model = StandInModel(shop.sales)
    model.outliers, model.booking_errors = model.outliers.head(0), model.booking_errors.head(0)
    sheet = written(tmp_path, shop, model)["Check prices"]
    assert sheet["A2"].value.startswith("None of") and sheet["A7"].value == "none"
    assert sheet.tables["PriceChecks"].ref == f"A6:{'ABCDEFGHIJKLMN'[len(COLUMNS) - 1]}7"


def test_chart_of_market_and_main_families(tmp_path, shop):
    """The market with its bounds and three families at most, each in words in the legend, none alike in width and
    dash."""
    sheet = written(tmp_path, shop, StandInModel(shop.sales))["Model"]
    chart = sheet._charts[0]
    titles = [sheet[one.tx.strRef.f.split("!")[1].replace("$", "")].value for one in chart.series]
    families = shop.sales.groupby("family")["price_home"].sum().nlargest(3).index.tolist()
    assert titles == ["whole market", "whole market, low", "whole market, high", *families]
    looks = {(one.graphicalProperties.line.width, one.graphicalProperties.line.prstDash) for one in chart.series}
    assert len(looks) == len(titles) - 1  # the two bounds look alike
    rows = table(sheet, "MarketIndex")
    assert len(rows) == len(StandInModel(shop.sales).time_index) and f"{families[0]}, low" in rows[0]


def test_changes_over_the_last_year(shop):
    """100 over the index of twelve months ago; the high bound of the index is the low bound of the change."""
    model = StandInModel(shop.sales)
    changes = changes_of(model)
    then = model.time_index.iloc[-13]
    assert changes["family"].iloc[0] == "the market that all families share"
    assert changes["change"].iloc[0] == pytest.approx(100 * (100 / then["index"] - 1))
    assert changes["low"].iloc[0] == pytest.approx(100 * (100 / then["high"] - 1))
    assert changes["n_sales"].iloc[1:].sum() == len(shop.sales) == changes["n_sales"].iloc[0]


def test_a_family_named_like_a_column_keeps_the_table_valid(tmp_path, shop):
    """An owner may call a family anything: headings stay unique."""
    other = shop.sales["canonical_type"] != "EL84"
    sales = shop.sales.assign(family=shop.sales["family"].where(other, "Whole Market, High"))
    sheet = written(tmp_path, shop, StandInModel(sales))["Model"]
    heads = [column.name.casefold() for column in sheet.tables["MarketIndex"].tableColumns]
    assert len(set(heads)) == len(heads) and "whole market, high (family)" in heads


def test_a_shop_of_one_month(tmp_path, shop):
    """No chart and no change, but the tables."""
    model = StandInModel(shop.sales)
    model.time_index = model.time_index.tail(1)
    last = model.family_index["month"].max()
    model.family_index = model.family_index[model.family_index["month"] == last]
    sheet = written(tmp_path, shop, model)["Model"]
    assert not sheet._charts and len(table(sheet, "MarketIndex")) == 1
    assert isinstance(changes_of(model), pd.DataFrame)
