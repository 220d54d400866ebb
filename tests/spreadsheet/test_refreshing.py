"""A whole refresh: in place where everything can be kept, else beside, with the reason."""

import openpyxl
import pytest
from spreadsheet.small_shop import sales_rows, stock_rows, write_small_shop
from spreadsheet.stand_in import StandInModel

import pricing
from pricing.spreadsheet.ods_file import write_ods
from pricing.spreadsheet.refreshing import refresh_workbook


def refreshed(path, out=None, **more):
    """(path written, what was told) of a refresh with the stand-in model."""
    shop, told = pricing.read_shop(path), []
    return refresh_workbook(path, out, shop=shop, model=StandInModel(shop.sales), tell=told.append, **more), told


def test_in_place_again_and_again(tmp_path):
    """Results come into the owner's file and are renewed there; her own sheet, and what she typed since, stay."""
    path = write_small_shop(tmp_path / "shop.xlsx")
    assert refreshed(path)[0] == path
    book = openpyxl.load_workbook(path)
    order = book.sheetnames
    book["Stock"]["I2"] = 99.0
    book["My notes"]["A2"] = "more"
    book.save(path)
    where, told = refreshed(path)
    book = openpyxl.load_workbook(path)
    assert where == path and book.sheetnames == order and book["My notes"]["A2"].value == "more"
    asks = {row[1]: row[5] for row in book["Price list"].iter_rows(min_row=7, values_only=True)}
    assert asks["S1"] == 99 and told == [f"The file as it was before: {next(iter(sorted(kept(tmp_path))[-1:]))}"]
    assert len(kept(tmp_path)) == 2


def kept(folder):
    """The backups of the small shop."""
    return list((folder / "shop backups").iterdir())


def test_a_sheet_of_hers_in_the_way(tmp_path):
    """Her file stays as it is; the results are beside it, and she is told which sheet and what to do."""
    path = write_small_shop(tmp_path / "shop.xlsx")
    book = openpyxl.load_workbook(path)
    book.create_sheet("Margins").append(["my own"])
    book.save(path)
    before = path.read_bytes()
    new, told = refreshed(path)
    assert path.read_bytes() == before and new.name == "shop (refreshed 2025-12-24).xlsx" and new.exists()
    assert "was left as it is: there is a sheet 'Margins'" in told[0] and "rename it" in told[0]


def test_a_copy_with_everything(tmp_path):
    """With a name for it the refreshed copy holds her own sheet too, and her file stays."""
    path = write_small_shop(tmp_path / "shop.xlsx")
    before = path.read_bytes()
    new, told = refreshed(path, tmp_path / "copy.xlsx")
    assert {"My notes", "Price list"} <= set(openpyxl.load_workbook(new).sheetnames) and told == []
    assert path.read_bytes() == before and not (tmp_path / "shop backups").exists()
    with pytest.raises(ValueError, match="ends in .xlsx"):
        refreshed(path, tmp_path / "copy.csv")


def test_an_ods_is_left_alone(tmp_path):
    """The reason is told, the results are in a new .xlsx."""
    path = tmp_path / "shop.ods"
    headings = ["sku", "type", "maker", "era", "grade", "set_size", "qty", "cost", "ask"]
    sales = [["sold_on", "type", "price"], *([row[0].date(), row[1], row[8]] for row in sales_rows()[17:])]
    write_ods(path, {"Sales": sales, "Stock": [headings, *stock_rows()[:4]]}, {})
    before = path.read_bytes()
    new, told = refreshed(path)
    assert path.read_bytes() == before and new.suffix == ".xlsx" and new.exists()
    assert "only in .xlsx and .xlsm can a refresh keep everything" in told[0]
