"""What writing a refresh costs beside reading and copying the same file.

PYTHONPATH=tests python tests/benchmarks/refresh.py

A workbook of 50,000 sales and 5,000 stock rows that already has its result sheets is refreshed in place, the fit and
all other computing aside (the price plan is that of a stand-in of medians; the sheets are Price list and Problems).
"base" is reading the file's two tables with calamine and copying the file with fsync: what no refresh can do without.
Each step is the fastest of three runs. At the end, once: what cleaning the tables and fitting the model take beside.
"""

import dataclasses
import os
import shutil
import tempfile
import time
from pathlib import Path

import pandas as pd
from openpyxl import Workbook
from python_calamine import CalamineWorkbook
from spreadsheet.stand_in import StandInModel

import pricing
from pricing.command_line import demo_data_folder
from pricing.decisions.list_price import plan_list_prices
from pricing.spreadsheet.package.graft import grafted
from pricing.spreadsheet.package.marks import add_marks
from pricing.spreadsheet.package.safe_write import replace_file
from pricing.spreadsheet.result_sheets import write_price_list, write_problems
from pricing.spreadsheet.tables import add_styles
from pricing.spreadsheet.workbook import saved

SALES, STOCK = 50_000, 5_000


def main():
    """Prints seconds by step and the ratio."""
    with tempfile.TemporaryDirectory() as folder:
        path = _shop(Path(folder) / "shop.xlsx")
        start = time.perf_counter()
        shop = pricing.read_shop(path)
        cleaned = time.perf_counter()
        pricing.fit_price_model(shop.sales, settings=shop.settings, register=shop.register)
        computing = {"read and clean": cleaned - start, "fit and calibrate": time.perf_counter() - cleaned}
        shop = dataclasses.replace(shop, problems=shop.problems.head(1_000))  # repeated rows are told as doubles
        model = StandInModel(shop.sales)
        plan = plan_list_prices(model, shop.stock, shop)
        results = _results(plan, shop, model)
        replace_file(path, grafted(path.read_bytes(), results)[0], path.read_bytes())
        seconds = {"read by calamine": _fastest(lambda: _read(path)), "copy": _fastest(lambda: _copy(path))}
        seconds["build result sheets"] = _fastest(lambda: _results(plan, shop, model))
        owner = path.read_bytes()
        content = grafted(owner, results)[0]
        seconds["put them into the file"] = _fastest(lambda: grafted(owner, results))
        seconds["write, backup, replace"] = _fastest(lambda: replace_file(path, content, path.read_bytes()))
    base = seconds["read by calamine"] + seconds["copy"]
    for name, took in seconds.items():
        print(f"{name:24} {took:6.2f} s")
    written = seconds["put them into the file"] + seconds["write, backup, replace"]
    print(f"into the file and written: {written / base:.1f} times the base")
    print(f"result sheets built too:   {(written + seconds['build result sheets']) / base:.1f} times the base")
    refresh = written + seconds["build result sheets"] + seconds["read by calamine"]
    print(f"and the file read:         {refresh / base:.1f} times the base")
    for name, took in computing.items():
        print(f"{name:24} {took:6.2f} s, {took / base:.1f} times the base")
    print(f"fit and calibration: {computing['fit and calibrate'] / (sum(computing.values()) + refresh):.0%} of it all")


def _shop(path):
    """The demo shop's tables with all their columns, repeated."""
    book = Workbook(write_only=True)
    for name, rows in (("Sales", SALES), ("Stock", STOCK)):
        frame = pd.read_csv(demo_data_folder() / f"{name.lower()}.csv")
        frame = pd.concat([frame] * (rows // len(frame) + 1), ignore_index=True).head(rows)
        if name == "Stock":
            frame["sku"] = [f"S{number}" for number in range(rows)]
        sheet = book.create_sheet(name)
        sheet.append(list(frame))
        for row in frame.astype(object).where(frame.notna(), None).itertuples(index=False):
            sheet.append(list(row))
    book.save(path)
    return path


def _results(plan, shop, model):
    book = Workbook()
    book.active.title = "Sales"
    book.create_sheet("Stock")
    add_styles(book)
    write_price_list(book, plan, shop)
    write_problems(book, shop.problems, shop)
    add_marks(book, book.sheetnames[2:])
    book.properties.created = model.as_of.to_pydatetime()
    return saved(book)


def _read(path):
    with CalamineWorkbook.from_path(str(path)) as book:
        for name in ("Sales", "Stock"):
            book.get_sheet_by_name(name).to_python()


def _copy(path):
    copy = path.with_name("copy")
    shutil.copyfile(path, copy)
    with copy.open("rb+") as file:
        os.fsync(file.fileno())


def _fastest(run):
    seconds = []
    for _ in range(3):
        start = time.perf_counter()
        run()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


if __name__ == "__main__":
    main()
