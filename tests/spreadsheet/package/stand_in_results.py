"""Result sheets of the small shop with the stand-in model, at several lengths: what a refresh would write."""

import dataclasses
import functools
import tempfile
from pathlib import Path

import pandas as pd
from openpyxl import Workbook
from spreadsheet.small_shop import write_small_shop
from spreadsheet.stand_in import StandInModel

import pricing
from pricing.decisions.list_price import plan_list_prices
from pricing.spreadsheet.about import about_sections
from pricing.spreadsheet.check_prices import write_check_prices
from pricing.spreadsheet.model_sheet import write_model
from pricing.spreadsheet.package.marks import add_marks
from pricing.spreadsheet.result_sheets import write_about, write_price_list, write_problems
from pricing.spreadsheet.stock_reviews import write_stock_reviews
from pricing.spreadsheet.tables import add_styles
from pricing.spreadsheet.workbook import saved


@functools.cache
def small_shop():
    """The file of the small shop, the shop as read, and its stand-in model."""
    with tempfile.TemporaryDirectory() as folder:
        path = write_small_shop(Path(folder) / "shop.xlsx")
        shop = pricing.read_shop(path)
        return path.read_bytes(), shop, StandInModel(shop.sales)


def with_stock(pieces, problems=None):
    """The small shop with so many pieces in stock, P1, P2 ..., each dearer; the first problems only."""
    _, shop, _ = small_shop()
    one = shop.stock.iloc[[1]]
    stock = pd.concat([one.assign(sku=f"P{number}", ask=10.0 + number, row=number + 1)
                       for number in range(1, pieces + 1)], ignore_index=True)
    listed = shop.problems if problems is None else shop.problems.head(problems)
    return dataclasses.replace(shop, stock=stock, problems=listed)


@functools.cache
def results(pieces, problems=None):
    """A file of marked result sheets, some of them with charts, for so many pieces in stock."""
    model, shop = small_shop()[2], with_stock(pieces, problems)
    book = Workbook()
    book.active.title = "Sales"
    add_styles(book)
    book.create_sheet("Stock")
    write_price_list(book, plan_list_prices(model, shop.stock, shop), shop)
    write_stock_reviews(book, shop, model)
    write_problems(book, shop.problems, shop)
    write_check_prices(book, model, shop)
    write_model(book, model, shop, None)
    write_about(book, about_sections(shop, model, invented=True))
    add_marks(book, book.sheetnames[2:])
    book.properties.created = model.as_of.to_pydatetime()
    return saved(book)
