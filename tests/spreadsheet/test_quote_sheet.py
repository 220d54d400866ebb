"""The sheets Quote and Price factors, computed by LibreOffice: the same price as the model, nearly the same range."""

import re
import shutil
import subprocess

import numpy as np
import openpyxl
import pandas as pd
import pytest
from openpyxl.formula.translate import Translator
from openpyxl.workbook import Workbook
from python_calamine import CalamineWorkbook

import pricing
from pricing.price_model import fit_price_model, with_readings
from pricing.price_model.price_factors import PriceFactors
from pricing.spreadsheet import quote_sheet
from pricing.spreadsheet.package.graft import grafted
from pricing.spreadsheet.package.marks import add_marks
from pricing.spreadsheet.tables import add_styles
from pricing.spreadsheet.workbook import saved

# Known to Excel since 2007 or before (list of functions by version, Microsoft support); none is volatile.
KNOWN = {"AND", "CHOOSE", "EXP", "IF", "IFERROR", "INDEX", "INT", "ISNUMBER", "LN", "LOWER", "MATCH", "MAX", "MIN", "N",
         "OR", "ROUND", "ROWS", "SQRT", "SUBSTITUTE", "SUM", "TRIM"}
HEIGHT = 100
needs_office = pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice (soffice) is not installed")


def demo(n_sales=None):
    """(model, factors) of the demo shop, of its first sales only where a number is given."""
    shop = with_readings(pricing.read_shop("workbooks/demo shop.xlsx"))
    sales = shop.sales if n_sales is None else shop.sales.head(n_sales)
    model = fit_price_model(sales, settings=shop.settings, register=shop.register)
    return model, PriceFactors.of(model)


@pytest.fixture(scope="module")
def small():
    """A model of 700 sales."""
    return demo(700)


def pieces(model, factors, n, as_sold, seed=1):
    """Descriptions as sold (three in ten with another grade), or drawn at random with words nobody ever met."""
    draw, sales, words = np.random.default_rng(seed), model.history.sales, factors.words
    if as_sold:
        out = sales.iloc[draw.integers(len(sales), size=n)].reset_index(drop=True)
        out["type"] = out["designation"]
        other = draw.random(n) < 0.3
        out["grade"] = np.where(other, draw.choice(words["grade"], n), out["grade"])
    else:
        out = pd.DataFrame({
            "type": draw.choice([*factors.types["word"], "QQ99ZZ"], n),
            "maker": draw.choice([*words["maker"], "Never*heard"], n), "era": draw.choice(words["era"], n),
            "grade": draw.choice(words["grade"], n),
            "reading_pct": np.where(draw.random(n) < 0.4, np.nan, draw.integers(30, 121)),
            "set_size": draw.choice([1, 1, 2, 2, 4, 3, 6], n), "matched": draw.random(n) < 0.5,
            "channel": draw.choice([*words["channel"], "bazaar?"], n),
            "variant": np.where(draw.random(n) < 0.5, draw.choice([*words["variant"], "neon"], n), "unknown"),
            "brand": np.where(draw.random(n) < 0.3, draw.choice([*words["brand"], "~own"], n), "unknown"),
        })
        sold = draw.random(n) < 0.5
        out["type"] = np.where(sold, draw.choice(factors.types["word"][factors.types["met"]], n), out["type"])
    return out[list(quote_sheet.INPUTS)]


def computed(model, factors, items, folder):
    """fair, low, high, last step of the build-up by item: the sheet's own formulas, copied down once an item."""
    book = Workbook()
    book.remove(book.active)
    add_styles(book)
    sheet = quote_sheet.write_quote(book, model, factors)
    own = [cell for row in sheet.iter_rows() for cell in row if isinstance(cell.value, str) and cell.data_type == "f"]
    formulas = [(cell.row, cell.column, cell.coordinate, cell.value) for cell in own]
    many = book.create_sheet("Many")
    for number, item in enumerate(items.to_dict("records")):
        down = HEIGHT * number
        for name, row in quote_sheet.ROW.items():
            value = ("yes" if item[name] else "no") if name == "matched" else item[name]
            if value == value:
                many.cell(row + down, 2, value)
        for row, column, place, formula in formulas:
            target = many.cell(row + down, column)
            target.value = Translator(formula, place).translate_formula(target.coordinate)
    path = folder / "many.xlsx"
    book.save(path)
    (folder / "out").mkdir()
    subprocess.run(["soffice", f"-env:UserInstallation=file://{folder}/profile", "--headless", "--convert-to", "xlsx",
                    "--outdir", str(folder / "out"), str(path)], check=True, capture_output=True, timeout=900)
    rows = CalamineWorkbook.from_path(folder / "out/many.xlsx").get_sheet_by_name("Many").to_python(
        skip_empty_area=False)
    fair, end = (int(quote_sheet.FAIR[1:]) - 1, quote_sheet.END - 1)
    at = [HEIGHT * number for number in range(len(items))]
    return pd.DataFrame([[rows[down + fair + step][1] for step in range(3)] + [rows[down + end][3]] for down in at],
                        columns=["fair", "low", "high", "built"])


def check(model, factors, n, folder, within):
    """Prices equal to a cent, widths within 5 % for the share `within` = (as sold, at random); the widths' ratios."""
    items = pd.concat([pieces(model, factors, n // 2, True), pieces(model, factors, n - n // 2, False)],
                      ignore_index=True)
    met = computed(model, factors, items, folder)
    expected = model.estimate(items)
    alone = model.attribution.attributed(model.describe(items))
    assert (met.loc[alone, "fair"] == "").all()
    met, expected = met[~alone].astype(float), expected[~alone]
    assert (met["fair"] - expected["fair_price"]).abs().max() <= 0.005 + 1e-6
    assert np.abs(met["built"] / expected["fair_price"] - 1).max() < 1e-9
    exact = np.log(expected["high"] / expected["low"])
    ratio = np.log(met["high"] / met["low"]) / exact
    clear = expected["low"] > 2  # below, cents are too coarse to tell a width
    as_sold = met.index < n // 2
    for kind, share in zip((as_sold, ~as_sold), within):
        assert (np.abs(ratio[kind & clear] - 1) < 0.05).mean() >= share
    assert np.abs(ratio[clear] - 1).max() < 0.20
    return ratio[clear], as_sold[clear]


@needs_office
def test_libreoffice_computes_the_models_price(small, tmp_path):
    """Of 200 pieces, half as sold and half at random, types and makers never met among them."""
    check(*small, 200, tmp_path, (0.80, 0.97))


@needs_office
@pytest.mark.slow
def test_libreoffice_computes_the_models_price_of_many(tmp_path):
    """The same of 2,400 pieces of the whole demo shop."""
    ratio, as_sold = check(*demo(), 2400, tmp_path, (0.96, 0.99))
    for kind in (as_sold, ~as_sold):
        off = np.abs(ratio[kind] - 1)
        print(f"within 5 %: {(off < 0.05).mean():.3f}", off.quantile([0.5, 0.9, 0.99, 1]).round(3).tolist())


def test_only_functions_that_excel_2016_knows(small, tmp_path):
    """No function is newer, none is volatile, no formula spills, and none is longer than a cell may hold."""
    book = Workbook()
    book.remove(book.active)
    add_styles(book)
    quote_sheet.write_quote(book, *small)
    book.save(tmp_path / "quote.xlsx")
    formulas = [cell.value for sheet in openpyxl.load_workbook(tmp_path / "quote.xlsx") for row in sheet.iter_rows()
                for cell in row if cell.data_type == "f"]
    assert len(formulas) > 150 and all(isinstance(formula, str) and len(formula) < 8192 for formula in formulas)
    met = {name for formula in formulas for name in re.findall(r"([A-Z][A-Z0-9.]*)\(", re.sub('"[^"]*"', "", formula))}
    assert met <= KNOWN


def test_cells_to_choose_in_are_left_empty(small):
    """So that they are the owner's, which a refresh leaves alone; each offers its words."""
    book = Workbook()
    add_styles(book)
    sheet = quote_sheet.write_quote(book, *small)
    assert all(sheet.cell(row, 2).value is None for row in quote_sheet.ROW.values())
    offered = {str(offer.sqref) for offer in sheet.data_validations.dataValidation}
    assert offered == {f"B{row}" for row in quote_sheet.ROW.values()}


def test_a_refresh_keeps_what_was_chosen(small, tmp_path):
    """Choices typed into Quote stand there after fresh sheets were put into the file."""
    book = Workbook()
    book.remove(book.active)
    add_styles(book)
    quote_sheet.write_quote(book, *small)
    add_marks(book, book.sheetnames)
    book.properties.created = small[0].as_of.to_pydatetime()
    fresh = saved(book)
    book["Quote"]["B7"], book["Quote"]["B12"] = "6BQ5", 2
    (tmp_path / "after.xlsx").write_bytes(grafted(saved(book), fresh)[0])
    sheet = openpyxl.load_workbook(tmp_path / "after.xlsx")["Quote"]
    assert (sheet["B7"].value, sheet["B12"].value, sheet["B8"].value) == ("6BQ5", 2, None)
    assert str(sheet["C7"].value).startswith("=IF(")
