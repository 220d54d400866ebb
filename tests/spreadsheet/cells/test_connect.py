"""`connect calc` for a fresh user: installs, works at once, twice, and goes again; what the extension is made of."""

import os
import subprocess
import sys
import zipfile
from xml.dom import minidom

import pytest
from spreadsheet.cells.real_calc import RealCalc, needs_calc

from pricing.command_line import BAD_CALL, DONE, main
from pricing.spreadsheet.calc import connect
from pricing.spreadsheet.calc.extension import extension_parts, write_extension
from pricing.spreadsheet.cell_functions.example_workbook import write_example_workbook
from pricing.spreadsheet.cell_functions.registry import FUNCTIONS
from pricing.spreadsheet.ods_file import open_formula


def test_the_extension_is_the_same_bytes_each_time_and_names_every_function(tmp_path):
    """Two builds are equal; types, configuration and methods hold every function; all XML is well formed."""
    one, two = (write_extension(tmp_path / name).read_bytes() for name in ("a.oxt", "b.oxt"))
    assert one == two
    with zipfile.ZipFile(tmp_path / "a.oxt") as file:
        assert file.namelist() == ["META-INF/manifest.xml", "description.xml", "types.idl", "CalcAddIns.xcu",
                                   "functions.json", "worker.json", "addin.py"]
    parts = extension_parts()
    nodes = minidom.parseString(parts["CalcAddIns.xcu"]).getElementsByTagName("node")
    names = [node.getAttribute("oor:name") for node in nodes]
    for function in FUNCTIONS:
        assert function.method in names and f" {function.method}(" in parts["types.idl"]
    minidom.parseString(parts["META-INF/manifest.xml"]), minidom.parseString(parts["description.xml"])
    assert "_" not in parts["types.idl"]  # UNO takes no underscore


def test_the_addin_needs_the_standard_library_only():
    """Inside LibreOffice there is no package of the project: uno's own and the standard library are all it imports."""
    import ast

    tree = ast.parse(extension_parts()["addin.py"], feature_version=(3, 8))
    met = {name.split(".")[0] for node in ast.walk(tree) for name in (
        [alias.name for alias in node.names] if isinstance(node, ast.Import) else
        [node.module] if isinstance(node, ast.ImportFrom) else [])}
    assert met - set(sys.stdlib_module_names) == {"unohelper", "com", "tubeshop"}


def test_without_libreoffice_it_says_what_to_install(monkeypatch, capsys):
    """No unopkg anywhere: exit status 2 and the name of what is missing."""
    monkeypatch.setattr(connect.shutil, "which", lambda *_, **__: None)
    assert main(["connect", "calc"]) == BAD_CALL
    assert "LibreOffice is not installed here" in (said := capsys.readouterr().err) and "apt install" in said


def test_an_example_of_another_kind_is_refused(tmp_path, monkeypatch, capsys):
    """Only .xlsx and .ods are written."""
    monkeypatch.setattr(connect, "connect_calc", lambda: "done")
    assert main(["connect", "calc", "--example", str(tmp_path / "example.csv")]) == BAD_CALL
    assert "ends in .xlsx or .ods" in capsys.readouterr().err


@pytest.mark.parametrize("xlsx, ods", [
    ('=TUBE.FAIR(B4, "a, b!C3", , Sales!A1:B$7)', 'of:=TUBE.FAIR([.B4]; "a, b!C3"; ; [$Sales.A1:.B$7])'),
    ('=TUBE.RATING("EL84", "mu")', 'of:=TUBE.RATING("EL84"; "mu")'),
])
def test_formulas_are_spelt_for_ods(xlsx, ods):
    """References in brackets and semicolons between arguments (OpenFormula 1.3, 5.6 and 5.8); texts untouched."""
    assert open_formula(xlsx) == ods


@needs_calc
def test_connect_works_for_a_fresh_user_without_a_further_step(tmp_path, capfd):
    """In a new home: connect twice, open the example in headless LibreOffice, and the price is there; then remove."""
    home = {"HOME": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path / ".config"),
            "XDG_CACHE_HOME": str(tmp_path / ".cache"), "TUBE_PRICE_CACHE": str(tmp_path / "cache")}

    def run(*arguments):
        done = subprocess.run([sys.executable, "-m", "pricing", "connect", "calc", *arguments], text=True, timeout=120,
                              capture_output=True, env={**os.environ, **home})
        assert done.returncode == DONE, done.stderr
        return done.stdout

    example = tmp_path / "example.ods"
    assert "connect calc --remove" in run() and f"Wrote {example}" in run("--example", str(example))
    calc = RealCalc(tmp_path, {**home, "TUBE_PRICE_PATIENCE_S": "50"}, bundled=False)
    try:
        document = calc.open(example)
        assert document.Sheets.getByName("Functions").getCellRangeByName("B7").Value > 0
        document.close(True)
    finally:
        calc.close()
    assert run("--remove").startswith("The cell functions and the kept models were removed")
    assert "were not installed" in run("--remove") and not (tmp_path / "cache").exists()


def test_the_example_has_both_spellings(tmp_path):
    """For Excel the same workbook with underscores."""
    import openpyxl

    book = openpyxl.load_workbook(write_example_workbook(tmp_path / "example.xlsx", "excel"))
    assert book["Functions"]["B4"].value == "=TUBE_MODEL(Sales!A1:I301, Settings!A1:B6)"
    assert book["Functions"]["B10"].value.text.startswith("=TUBE_FAIR_TABLE(")
