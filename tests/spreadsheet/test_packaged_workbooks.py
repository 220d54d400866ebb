"""The workbooks in workbooks/ are what the program builds today."""

import runpy
from pathlib import Path

import openpyxl
import pytest

FOLDER = Path(__file__).parents[2] / "workbooks"


def contents(path):
    """sheet -> rows of cell values; numbers to six significant digits, as machines differ in the last
    ones.
    """
    book = openpyxl.load_workbook(path, read_only=True)
    return {
        sheet.title: [
            [float(f"{cell:.6g}") if isinstance(cell, float) else cell for cell in row]
            for row in sheet.iter_rows(values_only=True)
        ]
        for sheet in book
    }


@pytest.fixture(scope="module")
def rebuilt(tmp_path_factory):
    """Folder with both workbooks built anew."""
    folder = tmp_path_factory.mktemp("workbooks")
    runpy.run_path(str(FOLDER / "make_workbooks.py"))["make"](folder)
    return folder


@pytest.mark.parametrize("name", ["demo shop.xlsx", "empty shop.xlsx"])
def test_workbook_is_not_stale(rebuilt, name):
    """Cell by cell the same; where not, run: python workbooks/make_workbooks.py"""
    stored, now = contents(FOLDER / name), contents(rebuilt / name)
    assert list(stored) == list(now)
    for sheet in now:
        assert stored[sheet] == now[sheet], f"{name}, sheet {sheet}: run python workbooks/make_workbooks.py"
