"""The graft takes whatever sheets there are: formulas, names, drop-downs, cells for typing, array formulas."""

import datetime as dt
import io
import zipfile

import openpyxl
from openpyxl import Workbook
from openpyxl.chart import BarChart, Reference
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import PatternFill
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.formula import ArrayFormula
from spreadsheet.package.corpus import HAS_LIBREOFFICE, by_libreoffice, makers
from spreadsheet.package.package_check import findings
from spreadsheet.package.stand_in_results import with_stock

from pricing.spreadsheet.package.graft import grafted
from pricing.spreadsheet.package.marks import add_marks
from pricing.spreadsheet.refreshing import fresh_results
from pricing.spreadsheet.tables import add_styles, add_table, put
from pricing.spreadsheet.workbook import saved


def calculator(factors):
    """A file with a sheet of factors as a table, and one that reckons with them from a cell for typing."""
    book = Workbook()
    book.active.title = "Sales"
    add_styles(book)
    table, sheet = book.create_sheet("Factors"), book.create_sheet("Reckoner")
    for row, (name, value) in enumerate([("kind", "factor"), *factors], start=3):
        put(table, row, 1, name, "shop text")
        put(table, row, 2, value, "shop text" if row == 3 else "shop factor")
    add_table(table, "FactorList", 3, 1, len(factors) + 3, 2)
    book.defined_names["factor_kinds"] = DefinedName("factor_kinds", attr_text=f"'Factors'!$A$4:$A${len(factors) + 3}")
    book.defined_names["twice"] = DefinedName("twice", attr_text="2")
    put(sheet, 1, 1, "Reckoner", "shop words")
    put(sheet, 3, 1, "kind", "shop text")
    put(sheet, 3, 2, factors[0][0], "shop input text")
    put(sheet, 4, 1, "pieces", "shop text")
    put(sheet, 4, 2, None, "shop input count")
    sheet["B6"] = "=twice*VLOOKUP(B3,'Factors'!$A$4:$B$%d,2,FALSE)" % (len(factors) + 3)
    sheet["D6"] = ArrayFormula("D6:D7", "=B6:B7*2")
    offer = DataValidation("list", formula1="factor_kinds", showErrorMessage=True)
    offer.add("B3")
    sheet.add_data_validation(offer)
    sheet.conditional_formatting.add("B6", FormulaRule(["B6>1"], fill=PatternFill(bgColor="FFCC00")))
    chart = BarChart()
    chart.add_data(Reference(table, min_col=2, min_row=3, max_row=len(factors) + 3), titles_from_data=True)
    sheet.add_chart(chart, "A9")
    add_marks(book, ["Factors", "Reckoner"])
    book.properties.created = dt.datetime(2026, 1, 1)
    return saved(book)


FEW, MANY = [("a", 1.5), ("b", 2.0)], [("a", 1.7), ("b", 2.5), ("c", 3.0), ("d", 4.0)]


def test_a_sheet_that_reckons(tmp_path):
    """Formulas, names and drop-downs reach over the new rows; what was typed in the cells for typing stays."""
    path = tmp_path / "shop.xlsx"
    makers()["plain.xlsx"](path)
    first = grafted(path.read_bytes(), calculator(FEW))[0]
    book = openpyxl.load_workbook(io.BytesIO(first))
    assert book["Reckoner"]["B3"].value == "a" and book.defined_names["twice"].attr_text == "2"
    book["Reckoner"]["B3"], book["Reckoner"]["B4"] = "b", 7
    kept = io.BytesIO()
    book.save(kept)
    path.write_bytes(grafted(kept.getvalue(), calculator(MANY))[0])
    assert findings(path) == []
    book = openpyxl.load_workbook(path)
    sheet = book["Reckoner"]
    assert (sheet["B3"].value, sheet["B4"].value) == ("b", 7)
    assert sheet["B6"].value == "=twice*VLOOKUP(B3,'Factors'!$A$4:$B$7,2,FALSE)"
    assert book.defined_names["factor_kinds"].attr_text == "'Factors'!$A$4:$A$7"
    assert book["Factors"].tables["FactorList"].ref == "A3:B7" and book["Factors"]["B7"].value == 4
    assert len(sheet.data_validations.dataValidation) == len(list(sheet.conditional_formatting)) == 1
    if HAS_LIBREOFFICE:
        every_sheet = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
        by_libreoffice([path], tmp_path / "computed", every_sheet)
        texts = [one.read_text() for one in (tmp_path / "computed").glob("*Reckoner*")]
        assert texts and texts[0].splitlines()[5].split(",")[1] == "5"


def test_the_chart_of_another_sheet_follows_its_table(tmp_path):
    """A chart on one sheet of ours over a table of another gets the new rows."""
    path = tmp_path / "shop.xlsx"
    makers()["plain.xlsx"](path)
    new = grafted(grafted(path.read_bytes(), calculator(FEW))[0], calculator(MANY))[0]
    with zipfile.ZipFile(io.BytesIO(new)) as file:
        chart = next(file.read(name) for name in file.namelist() if "charts/chart" in name)
    assert b"'Factors'!$B$4:$B$7" in chart


def test_a_sheet_with_nothing_to_show_says_so(tmp_path):
    """Marked in the owner's file and without rows now: cleared and told on the sheet, not left as it was."""
    from spreadsheet.package.stand_in_results import small_shop
    from spreadsheet.stand_in import StandInModel

    path = tmp_path / "shop.xlsx"
    makers()["plain.xlsx"](path)
    had = grafted(path.read_bytes(), calculator(FEW))[0]
    shop = with_stock(2)
    path.write_bytes(grafted(had, fresh_results(had, shop, StandInModel(small_shop()[1].sales)))[0])
    assert findings(path) == []
    sheet = openpyxl.load_workbook(path)["Factors"]
    assert sheet["A1"].value == "Factors" and sheet["A2"].value.startswith("Nothing to show") and not sheet.tables
    assert sheet["A4"].value is None
