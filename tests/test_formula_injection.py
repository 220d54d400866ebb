"""Text that begins like a formula, in every text column of every table: it stays text in every file that is written."""

import csv
import io
import re
import shutil
import subprocess
import zipfile

import openpyxl
import pytest

from pricing.command_line import BAD_CALL, main
from pricing.shop_tables.columns import TABLES

ATTACKS = (
    "=1+1", "+1+cmd", "-1+cmd", "@SUM(A1)", "\t=1+1", "\uff1d1+1", " =1+1", '=cmd|" /C calc"!A0',
    '=HYPERLINK("http://localhost/"&A1,"x")', '=WEBSERVICE("http://localhost/")', '"&HYPERLINK("http://localhost/")&"',
)
WORDS = ("type", "label", "era", "grade", "channel", "flag", "currency", "test", "text", "words")
PLAIN = {"date": "2025-0{}-0{}", "percent": 95, "set_size": 1, "qty": 2, "price": 20.5, "money": 8.25, "number": 100}


def plain(kind, row):
    """A cell of a kind that holds no words."""
    value = PLAIN[kind]
    return value.format(1 + row % 9, 1 + row % 7) if isinstance(value, str) else value + row % 5 * (kind == "price")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A workbook with an attack in every text cell, and all that the commands write of it."""
    folder = tmp_path_factory.mktemp("attacked")
    book = openpyxl.Workbook()
    book.remove(book.active)
    for table in TABLES.values():
        if table.name == "Settings":
            continue
        sheet = book.create_sheet(table.name)
        sheet.append([*table.names, "=own heading"])
        for row in range(33):
            attack = ATTACKS[row % len(ATTACKS)]
            for place, column in enumerate(table.columns, start=1):
                cell = sheet.cell(row + 2, place)
                cell.value = attack if column.kind in WORDS else plain(column.kind, row)
                if column.name in ("returned_on", "currency"):  # with them no sale would count
                    cell.value = None
                elif column.name in ("lot", "offer", "sku", "circuit"):  # a name of its own
                    cell.value = f"{attack}{row}"
                if isinstance(cell.value, str):
                    cell.data_type = "s"
            sheet.cell(row + 2, len(table.columns) + 1, attack).data_type = "s"
        for cell in sheet[1]:
            cell.data_type = "s"
    path = folder / "shop.xlsx"
    book.save(path)
    said = {words[0]: main([*words[:1], str(path), *words[1:]]) for words in (
        ["check"], ["deals"], ["margins"], ["lots"], ["export"], ["describe", "--all", str(folder / "facts.csv")],
        ["refresh", "--out", str(folder / "fresh.xlsx"), "--folds", "0"])}
    assert BAD_CALL not in said.values(), said
    return folder


def test_no_cell_of_a_workbook_is_a_formula(folder):
    """Only Quote reckons, and none of its formulas or of any rule, name or drop-down holds a word of the owner's that
    could run."""
    with zipfile.ZipFile(folder / "fresh.xlsx") as book:
        names = book.namelist()
        assert not [name for name in names if "externalLink" in name or "connections" in name or "embeddings" in name]
        for name in names:
            part = book.read(name).decode("utf-8", "replace")
            assert 'TargetMode="External"' not in part, name
            for formula in re.findall(r"<(?:\w+:)?(?:f|formula1?|definedName)\b[^>]*>([^<]*)<", part):
                outside = re.sub(r'"[^"]*"', "", formula.replace("&quot;", '"'))  # text in quotation marks runs nothing
                assert not re.search(r"HYPERLINK|WEBSERVICE|cmd|SUM\(A1\)", outside), (name, formula)
    opened = openpyxl.load_workbook(folder / "fresh.xlsx")
    reckoning = {sheet.title for sheet in opened for row in sheet.iter_rows() for cell in row if cell.data_type == "f"}
    assert reckoning <= {"Quote"}
    met = {cell.value for row in opened["Price list"].iter_rows() for cell in row if isinstance(cell.value, str)}
    assert any(text.startswith(("=cmd", "=1+1")) for text in met)  # it did come as far as the sheets


@pytest.mark.parametrize("name", ["shop problems.csv", "shop asks.csv", "facts.csv"])
def test_no_cell_of_a_csv_file_would_run(folder, name):
    """Every cell that begins like a formula has an apostrophe in front, unless it is a plain number."""
    rows = list(csv.reader(io.StringIO((folder / name).read_text(encoding="utf-8-sig"), newline="")))
    for cell in (cell for row in rows for cell in row):
        runs = re.match(r"\s*[=+\-@\uff1d\uff0b\uff0d\uff20]|[\t\r\n]", cell)
        assert not runs or re.fullmatch(r"-?[\d.]+", cell), cell
    assert name == "shop asks.csv" or any(cell.startswith("'") for row in rows for cell in row)


def test_numbers_of_a_csv_file_stay_numbers(tmp_path):
    """Amounts below zero and numbers typed as text are written as they are; a dash before words is not."""
    import pandas as pd

    from pricing.command_line.steps import write_csv

    table = pd.DataFrame({"amount": [-5.5, 2.0], "typed": ["-1.234,50", "+12 %"], "words": ["-ask", "- 3"]})
    assert write_csv(tmp_path / "a.csv", table, overwrite=False) == 2
    assert (tmp_path / "a.csv").read_text(encoding="utf-8-sig").splitlines()[1:] == [
        "-5.50,\"-1.234,50\",'-ask", "2.00,+12 %,'- 3"]


@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice (soffice) is not installed")
def test_libreoffice_opens_it_as_text(folder):
    """Loaded and saved by LibreOffice: formulas on Quote alone, no link but to rows of the workbook."""
    subprocess.run(["soffice", f"-env:UserInstallation=file://{folder}/profile", "--headless", "--convert-to", "ods",
                    "--outdir", str(folder), str(folder / "fresh.xlsx")], check=True, capture_output=True, timeout=120)
    with zipfile.ZipFile(folder / "fresh.ods") as book:
        content = book.read("content.xml").decode()
    sheets = re.findall(r'<table:table table:name="([^"]*)".*?</table:table>', content, re.DOTALL)
    parts = re.split(r'<table:table table:name="[^"]*"', content)[1:]
    assert {name for name, part in zip(sheets, parts, strict=True) if "table:formula=" in part} == {"Quote"}
    assert all(link.startswith("#") for link in re.findall(r'xlink:href="([^"]*)"', content) if "Object" not in link)
    assert "dde-" not in content and ">=cmd|" in content
