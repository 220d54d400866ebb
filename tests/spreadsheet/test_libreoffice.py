"""The workbook in a real spreadsheet program: LibreOffice, headless. Excel was not available."""

import shutil
import subprocess

import openpyxl
import pytest
from spreadsheet.small_shop import write_small_shop
from spreadsheet.stand_in import StandInModel

import pricing
from pricing.shop_tables.reading import read_sheets
from pricing.spreadsheet.workbook import build_workbook

pytestmark = pytest.mark.skipif(
    shutil.which("soffice") is None, reason="LibreOffice (soffice) is not installed"
)


@pytest.fixture(scope="module")
def converted(tmp_path_factory):
    """(our workbook, the same loaded and saved by LibreOffice, its print as text)."""
    folder = tmp_path_factory.mktemp("libreoffice")
    shop = pricing.read_shop(write_small_shop(folder / "shop.xlsx"))
    ours = build_workbook(folder / "ours.xlsx", shop, StandInModel(shop.sales))
    (folder / "out").mkdir()
    for kind in ("xlsx", "pdf"):
        subprocess.run(
            [
                "soffice",
                f"-env:UserInstallation=file://{folder}/profile",
                "--headless",
                "--convert-to",
                kind,
                "--outdir",
                str(folder / "out"),
                str(ours),
            ],
            check=True,
            capture_output=True,
            timeout=120,
        )
    text = ""
    if shutil.which("pdftotext"):
        text = subprocess.run(
            ["pdftotext", "-layout", str(folder / "out/ours.pdf"), "-"],
            check=True,
            capture_output=True,
            text=True,
        ).stdout
    return ours, folder / "out/ours.xlsx", text


def test_libreoffice_sees_the_owners_cells(converted):
    """After loading and saving in LibreOffice every input cell still holds what the owner typed."""
    ours, theirs, _ = converted
    after = {sheet.name: sheet.rows for sheet in read_sheets(theirs)}
    for sheet in read_sheets(ours):
        for row_number, row in enumerate(sheet.rows):
            met = after[sheet.name][row_number] if row_number < len(after[sheet.name]) else []
            met = [*met, *[""] * (len(row) - len(met))][: len(row)]
            assert [cell if cell is not None else "" for cell in met] == [
                c if c is not None else "" for c in row
            ]


def test_libreoffice_keeps_tables_lists_and_chart(converted):
    """Named tables, drop-downs, colours by action and the chart are understood, not dropped.

    Frozen headings are not looked at: a headless conversion opens no window and drops every view setting.
    """
    book = openpyxl.load_workbook(converted[1])
    assert "PriceList" in book["Price list"].tables and "Stock" in book["Stock"].tables
    assert len(book["Stock"].data_validations.dataValidation) >= 3
    assert len(book["Price list"].conditional_formatting)
    assert len(book["Model"]._charts) == 1
    assert not any(cell.data_type == "e" for sheet in book for row in sheet.iter_rows() for cell in row)


def test_the_print_shows_the_price_list(converted):
    """The printed pages hold the words and the money of the price list, cautions included, and no costs."""
    text = converted[2]
    if not text:
        pytest.skip("pdftotext is not installed")
    page = next(part for part in text.split("\f") if "Biggest money at stake first" in part)
    assert "raise" in page and "similar pieces sell around" in page and "margin %" not in page
    assert "Lethal voltages" in text and "#NAME" not in text
