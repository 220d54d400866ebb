"""`connect excel`: the folder, its workbook beside xlwings' template, what it says, and the button's Python side."""

import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from types import SimpleNamespace

import openpyxl
import pytest
import xlwings
from lxml import etree
from spreadsheet.cells.real_calc import RealCalc, needs_calc
from spreadsheet.small_shop import write_small_shop

from pricing.command_line import BAD_CALL, DONE, main
from pricing.spreadsheet.cell_functions.example_workbook import formula
from pricing.spreadsheet.cell_functions.registry import FUNCTIONS
from pricing.spreadsheet.excel import connect, refresh_button
from pricing.spreadsheet.excel.macro_workbook import template, write_macro_workbook
from pricing.spreadsheet.excel.refresh_button import SAID_AT, NoShopOpen, refresh_open_workbook, shop_book


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The folder, written through the command."""
    path = tmp_path_factory.mktemp("for excel") / "cell functions"
    assert main(["connect", "excel", str(path)]) == DONE
    return path


def test_the_vba_project_is_xlwings_own_byte_for_byte(folder):
    """vbaProject.bin of the template, is carried over unchanged; the version installed is the one pinned."""
    with zipfile.ZipFile(folder / connect.WORKBOOK) as file, zipfile.ZipFile(template()) as theirs:
        vba = file.read("xl/vbaProject.bin")
        assert vba == theirs.read("xl/vbaProject.bin")
        types = file.read("[Content_Types].xml").decode()
    assert "application/vnd.ms-excel.sheet.macroEnabled.main+xml" in types
    pinned = re.search(r'"xlwings==([\d.]+)"', (Path(__file__).parents[3] / "pyproject.toml").read_text()).group(1)
    assert xlwings.__version__ == pinned  # the template's macros load the library of their own version only


def test_every_part_is_well_formed_and_referred_to(folder):
    """XML parses, each target of a relationship is in the file, no part is there twice, code names stay."""
    with zipfile.ZipFile(folder / connect.WORKBOOK) as file:
        names = file.namelist()
        assert len(names) == len(set(names)) and file.testzip() is None
        parts = {name: etree.fromstring(file.read(name)) for name in names if name.endswith((".xml", ".rels"))}
    for name, root in parts.items():
        if name.endswith(".rels"):
            base = Path(name).parent.parent
            for one in root:
                target = one.get("Target")
                assert (target.lstrip("/") if target.startswith("/") else str(base / target)) in names
    sheet = etree.tostring(parts["xl/worksheets/sheet1.xml"]).decode()
    assert 'codeName="Sheet1"' in sheet and sheet.index("<pageSetup") < sheet.index("<drawing")
    (shape,) = parts["xl/drawings/drawing1.xml"].iter("{*}sp")
    assert shape.get("macro") == "[0]!SampleCall"  # runs main() of the module with the workbook's name


def test_the_settings_sheet_is_filled_in_and_active(folder):
    """xlwings reads the sheet xlwings.conf from A1 to the first blank key: modules, folders, interpreters."""
    sheet = openpyxl.load_workbook(folder / connect.WORKBOOK, keep_vba=True)["xlwings.conf"]
    rows = {}
    for key, value in sheet.iter_rows(1, sheet.max_row, 1, 2, values_only=True):
        if key is None:
            break
        rows[key] = value
    assert rows["UDF Modules"] == "tube_prices" == Path(connect.WORKBOOK).stem == Path(connect.PYTHON_FILE).stem
    assert rows["PYTHONPATH"].split(";") == [str(folder), str(Path(connect.pricing.__file__).resolve().parents[1])]
    assert rows["Interpreter_Win"] == rows["Interpreter_Mac"] == "python"  # this is neither
    assert len({key.upper() for key in rows}) == len(rows) and not any("LICENSE" in key.upper() for key in rows)


@pytest.mark.parametrize("system, own", [("win32", "Interpreter_Win"), ("darwin", "Interpreter_Mac")])
def test_the_systems_own_python_is_named(system, own, monkeypatch, tmp_path):
    """On Windows and macOS the running Python stands in that system's row."""
    monkeypatch.setattr(sys, "platform", system)
    settings = connect.workbook_settings(tmp_path)
    assert settings[own] == sys.executable and sorted(settings.values()).count("python") == 1


def test_the_workbook_has_every_example(folder):
    """Each example's formula under its name in Excel, tables as array formulas of their size; no empty texts."""
    book = openpyxl.load_workbook(folder / connect.WORKBOOK, keep_vba=True)
    met = [getattr(cell.value, "text", cell.value) for (cell,) in book["Functions"].iter_rows(min_col=2, max_col=2)
           if str(getattr(cell.value, "text", cell.value)).startswith("=")]
    assert met == [formula(one, one.excel_name) for one in FUNCTIONS]
    assert book.sheetnames[0] == "Start" and book.sheetnames[-1] == "xlwings.conf"
    assert not [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value == ""]


def test_the_module_has_every_function_and_runs_when_the_button_is_pressed(folder, monkeypatch):
    """Also without Windows the module can be imported: plain functions, and main()."""
    monkeypatch.syspath_prepend(str(folder))
    monkeypatch.delitem(sys.modules, "tube_prices", raising=False)
    import tube_prices

    assert tube_prices.TUBE_RATING([["EL84"]], "pa_max_w_section") == 12.0
    assert {name for name in vars(tube_prices) if name.startswith("TUBE_")} == {one.excel_name for one in FUNCTIONS}
    pressed = []
    monkeypatch.setattr(tube_prices, "refresh_open_workbook", lambda: pressed.append(True))
    tube_prices.main()
    assert pressed == [True]


def test_the_how_to_is_one_page_of_plain_text(folder):
    """Sixty lines at most, ASCII, with every file and macro that the folder really has."""
    text = (folder / connect.HOW_TO).read_text(encoding="ascii")
    assert len(text.splitlines()) <= 60 and max(map(len, text.splitlines())) <= 200
    vba = (folder / connect.VBA_FILE).read_text(encoding="ascii")
    for word in (connect.WORKBOOK, connect.VBA_FILE, "xlwings.conf", "DescribeTubeFunctions", "ImportPythonUDFs"):
        assert word in text
    assert "Sub DescribeTubeFunctions()" in vba
    assert "None of this was tried in Excel itself" in text


def test_a_second_time_leaves_the_owners_workbook(folder, capsys):
    """The workbook may hold work by now: all else is written again, and the settings it should have are told."""
    workbook = folder / connect.WORKBOOK
    before = workbook.read_bytes()
    (folder / connect.VBA_FILE).unlink()
    assert main(["connect", "excel", str(folder)]) == DONE
    said = capsys.readouterr().out
    assert workbook.read_bytes() == before and (folder / connect.VBA_FILE).exists()
    assert "which may hold your work" in said and "  UDF Modules: tube_prices" in said


@pytest.mark.parametrize("system, excel, words", [
    ("linux", False, "Excel does not run on this system: the cell functions work in Excel on Windows only"),
    ("win32", False, "install Excel for Windows"), ("win32", True, ""),
    ("darwin", False, "install Excel for Mac first"), ("darwin", True, "only the button of the workbook works"),
])
def test_it_says_where_it_works_and_what_to_install(system, excel, words, monkeypatch, tmp_path):
    """By system, with and without Excel; the folder is written on each."""
    monkeypatch.setattr(connect.sys, "platform", system)
    monkeypatch.setattr(connect, "excel_is_here", lambda: excel)
    said = connect.connect_excel(tmp_path / "here")
    assert words in said and (tmp_path / "here" / connect.WORKBOOK).exists()
    assert ("connect calc" in said) == ((system, excel) != ("win32", True))
    assert "Nothing was installed: to take it away, delete the folder" in said


@pytest.mark.parametrize("arguments, words", [
    (["excel", "a;b"], "no folder's name may hold one"), (["excel", "--remove"], "delete its folder"),
    (["excel", "--example", "x.xlsx"], "its workbook has the examples"), (["calc", "here"], "writes no folder"),
])
def test_bad_calls_say_what_would_help(arguments, words, capsys, monkeypatch, tmp_path):
    """Exit status 2, and nothing is written."""
    monkeypatch.chdir(tmp_path)
    assert main(["connect", *arguments]) == BAD_CALL
    assert words in capsys.readouterr().err and not list(tmp_path.iterdir())


def test_a_template_without_the_settings_is_told(tmp_path):
    """Another xlwings whose template lacks a key stops with its name instead of writing a workbook that cannot run."""
    with pytest.raises(ValueError, match="has no setting Interpreter_Moon"):
        write_macro_workbook(tmp_path / "x.xlsm", {"Interpreter_Moon": "python"}, ["Start"])


@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice (soffice) is not installed")
def test_libreoffice_opens_it_with_its_button_and_formulas(folder, tmp_path):
    """Read and written again by LibreOffice, the shape with its macro and the formulas are there."""
    subprocess.run(["soffice", f"-env:UserInstallation=file://{tmp_path}/profile", "--headless", "--convert-to", "fods",
                    "--outdir", str(tmp_path), str(folder / connect.WORKBOOK)],
                   check=True, capture_output=True, timeout=120)
    text = (tmp_path / "tube_prices.fods").read_text(encoding="utf-8")
    assert "Refresh the open shop workbook" in text and "SampleCall" in text
    assert all(f"{one.excel_name}(".casefold() in text.casefold() for one in FUNCTIONS)


@needs_calc
def test_a_compiler_takes_the_file_to_import(folder, tmp_path):
    """LibreOffice Basic in its VBA mode compiles it; with a bracket too many, or `variant` as a name, it does not."""
    code = (folder / connect.VBA_FILE).read_text(encoding="ascii").partition("\n")[2]
    texts = {"Ours": code, "Bracket": code.replace("Array( _", "Array(( _", 1),
             "Word": code.replace("variant_", "variant")}
    home = {"HOME": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path / ".config")}
    calc, answers = RealCalc(tmp_path, home, bundled=False), {}
    try:
        document = calc.new()
        if not document.BasicLibraries.hasByName("Standard"):
            document.BasicLibraries.createLibrary("Standard")
        library = document.BasicLibraries.getByName("Standard")
        for name, text in texts.items():
            library.insertByName(name, f"Option VBASupport 1\n{text}\nFunction Probe()\nProbe = 42\nEnd Function\n")
            script = document.getScriptProvider().getScript(
                f"vnd.sun.star.script:Standard.{name}.Probe?language=Basic&location=document")
            answers[name] = script.invoke((), (), ())[0]
        document.close(True)
    finally:
        calc.close()
    assert answers == {"Ours": 42, "Bracket": None, "Word": None}


# The button ------------------------------------------------------------------------------------------------------

class StandInBook:
    """An open workbook as far as the button asks."""

    def __init__(self, path, sheets, app):
        self.fullname, self.name, self.app, self.saved = str(path), Path(path).name, app, 0
        self.cell = SimpleNamespace(value=None)
        self.sheets = Sheets({name: {SAID_AT: self.cell} for name in sheets})
        app.books.append(self)

    def save(self):
        self.saved += 1


class Sheets(dict):
    """Sheets by name; running through them gives sheets."""

    def __iter__(self):
        return iter([SimpleNamespace(name=name) for name in self.keys()])


class Books(list):
    """Open workbooks; opens more."""

    def open(self, path):
        assert Path(path).exists()
        self.opened = path


def open_books(*books):
    """(home, the other stand-in workbooks) in one application."""
    app = SimpleNamespace(books=Books())
    return [StandInBook("tube_prices.xlsm", ["Start", "Sales"], app), *(StandInBook(*one, app) for one in books)]


def test_the_button_refreshes_the_open_shop_workbook(tmp_path):
    """Saved, refreshed into a new file beside it, that one opened, and both told under the button."""
    path = write_small_shop(tmp_path / "shop.xlsx")
    before = path.read_bytes()
    home, shop = open_books((path, ["Sales", "Stock", "Settings"]))
    refresh_open_workbook(home)
    new = Path(home.app.books.opened)
    assert new.parent == tmp_path and new.name.startswith("shop (refreshed ") and shop.saved == 1
    assert home.cell.value == f"Wrote {new}. shop.xlsx is as it was."
    assert path.read_bytes() == before
    assert "Price list" in openpyxl.load_workbook(new, read_only=True).sheetnames


def test_the_button_takes_its_own_workbook_where_that_is_the_shop():
    """Sales and Stock moved into the macro workbook: then it is the one, unless another has them too."""
    app = SimpleNamespace(books=Books())
    home = StandInBook("tube_prices.xlsm", ["Start", "Sales", "Stock"], app)
    assert shop_book(home) is home
    other = StandInBook("shop.xlsx", ["Sales", "Stock"], app)
    assert shop_book(home) is other


@pytest.mark.parametrize("names, words", [
    ([], "No open workbook has the sheets Sales and Stock"), (["a.xlsx", "b.xlsx"], "(a.xlsx, b.xlsx): close all but"),
])
def test_the_button_asks_for_one_shop(names, words):
    """None or several open: told under the button, nothing saved."""
    home, *others = open_books(*((name, ["Sales", "Stock"]) for name in names))
    with pytest.raises(NoShopOpen):
        shop_book(home)
    refresh_open_workbook(home)
    assert words in home.cell.value and not any(book.saved for book in others)


@pytest.mark.parametrize("error, words", [
    (ValueError("shop.xlsx: no usable row in Sales"), "no usable row"),
    (PermissionError(13, "denied"), "The refresh failed (PermissionError: [Errno 13] denied). Nothing was changed."),
])
def test_what_goes_wrong_stands_under_the_button(error, words, monkeypatch):
    """Nothing is raised into Excel's message box."""
    def fail(path):
        raise error

    monkeypatch.setattr(refresh_button, "_refreshed", fail)
    home, _ = open_books(("shop.xlsx", ["Sales", "Stock"]))
    refresh_open_workbook(home)
    assert words in home.cell.value
