"""The README's reference of cell functions against the registry."""

import re
from pathlib import Path

import pytest

from pricing.spreadsheet.cell_functions import price_functions
from pricing.spreadsheet.cell_functions.model_store import ModelStore
from pricing.spreadsheet.cell_functions.reference import BEGIN, END, reference
from pricing.spreadsheet.cell_functions.registry import FUNCTIONS

README = Path(__file__).parents[3] / "README.md"
NUMBER = re.compile(r"(?<![\w-])\d+(?:\.\d+)?(?![\w-])")
MAKE = "run: python -m pricing.spreadsheet.cell_functions.reference README.md"


def parts(text):
    """(text without numbers and keys, its numbers)."""
    text = re.sub(r"key [0-9a-f]{16}", "key", text)
    return NUMBER.sub("#", text), [float(one) for one in NUMBER.findall(text)]


def test_the_readme_holds_every_function_with_an_example_that_runs(tmp_path, monkeypatch):
    """The part between the marks is what the registry gives, its results within 2 %; every function stands in it."""
    own = ModelStore(tmp_path, patience_s=60)
    monkeypatch.setattr(price_functions, "store", lambda: own)
    written = README.read_text(encoding="utf-8").partition(BEGIN)[2].partition(END)[0].strip()
    words, numbers = parts(written)
    now_words, now_numbers = parts(reference())
    assert words == now_words, MAKE
    assert numbers == pytest.approx(now_numbers, rel=0.02, abs=0.011), MAKE
    assert all(one.excel_name in written and f"={one.calc_name}(" in written for one in FUNCTIONS)
