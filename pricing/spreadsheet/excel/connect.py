"""The folder that makes the cell functions known to Excel: workbook, Python module, VBA to import, how-to."""

from __future__ import annotations

import sys
from pathlib import Path

import pricing
from pricing.spreadsheet.cell_functions.model_store import cache_folder
from pricing.spreadsheet.cell_functions.registry import FUNCTIONS
from pricing.spreadsheet.excel.macro_workbook import SETTINGS_SHEET, write_macro_workbook
from pricing.spreadsheet.excel.vba import vba_module

MODULE = "tube_prices"  # the workbook has the same name, by which its button finds the module
WORKBOOK, PYTHON_FILE, VBA_FILE, HOW_TO = f"{MODULE}.xlsm", f"{MODULE}.py", f"{MODULE}.bas", "How to.txt"


def connect_excel(folder: Path | str) -> str:
    """Write the folder, over an older one but for its workbook, which may hold the owner's work; what was done and
    where it works, in words. ValueError for a folder whose name Excel's macros cannot take."""
    folder = Path(folder).absolute()
    settings = workbook_settings(folder)
    folder.mkdir(parents=True, exist_ok=True)
    workbook = folder / WORKBOOK
    (folder / PYTHON_FILE).write_text(python_module(), encoding="utf-8")
    (folder / VBA_FILE).write_bytes(vba_module(MODULE, FUNCTIONS).encode("ascii"))
    (folder / HOW_TO).write_text(how_to(folder), encoding="utf-8")
    if workbook.exists():
        said = [f"Wrote {folder} again, but for {WORKBOOK}, which may hold your work. Its sheet {SETTINGS_SHEET} "
                "should say:", *(f"  {key}: {value}" for key, value in settings.items())]
    else:
        write_macro_workbook(workbook, settings, _START_WORDS)
        said = [f"Wrote {folder}: {WORKBOOK} with the examples, {PYTHON_FILE}, {VBA_FILE} and {HOW_TO}; read the last "
                "first."]
    return "\n".join([*said, *where_it_works(), f"Nothing was installed: to take it away, delete the folder. Fitted "
                      f"models are kept in {cache_folder()}."])


def where_it_works() -> list[str]:
    """What this machine can do with the folder, in words."""
    if sys.platform == "win32":
        return [] if excel_is_here() else [
            "Excel was not found on this machine: install Excel for Windows (2010 or newer; not Excel on the web), "
            f"then open {WORKBOOK}. Without Excel: python -m pricing connect calc, for LibreOffice."]
    if sys.platform == "darwin":
        found = [] if excel_is_here() else ["Excel was not found in /Applications: install Excel for Mac first."]
        return [*found, "On macOS only the button of the workbook works, not the cell functions: xlwings has none "
                "there. For cell functions on a Mac: python -m pricing connect calc, for LibreOffice."]
    return ["Excel does not run on this system: the cell functions work in Excel on Windows only, the workbook's "
            "button on Windows and macOS. There, install this project and run this command again, so that the workbook "
            "knows that computer's Python. Here: python -m pricing connect calc, for LibreOffice."]


def excel_is_here() -> bool:
    """Whether Excel is installed for this machine's user (Windows, macOS)."""
    if sys.platform == "darwin":
        return any((base / "Applications/Microsoft Excel.app").exists() for base in (Path("/"), Path.home()))
    import winreg

    try:
        winreg.CloseKey(winreg.OpenKey(winreg.HKEY_CLASSES_ROOT, "Excel.Application"))
    except OSError:
        return False
    return True


def workbook_settings(folder: Path) -> dict[str, str]:
    """What the workbook's macros need: this Python on this system, and where the modules lie."""
    paths = [str(folder), str(Path(pricing.__file__).resolve().parent.parent)]
    if any(";" in path for path in paths):
        raise ValueError(f"{folder}: the macros part folders at ';', so no folder's name may hold one; choose another.")
    return {
        "Interpreter_Win": sys.executable if sys.platform == "win32" else "python",
        "Interpreter_Mac": sys.executable if sys.platform == "darwin" else "python",
        "PYTHONPATH": ";".join(paths), "UDF Modules": MODULE,
    }


def python_module() -> str:
    """Text of the Python module that Excel's macros load."""
    return _PYTHON_MODULE


def how_to(folder: Path) -> str:
    """The page that says what to do."""
    text = (Path(__file__).parent / "how_to.txt").read_text(encoding="utf-8")
    return text.format(
        workbook=WORKBOOK, python=PYTHON_FILE, vba=VBA_FILE, folder=folder, conf=SETTINGS_SHEET, module=MODULE,
        xlwings=Path(sys.executable).with_name("xlwings"), cache=cache_folder())


_PYTHON_MODULE = '''"""The cell functions for Excel and the button of the workbook beside this file.

Written by python -m pricing connect excel, which writes it again. The functions come from the installed package.
"""

from pricing.spreadsheet.excel.refresh_button import refresh_open_workbook
from pricing.spreadsheet.excel.registration import register

register(globals())


def main():
    """Runs when the button is pressed."""
    refresh_open_workbook()
'''

_START_WORDS = [
    "Prices of tubes: cell functions and a button. Every sale, maker and price in this workbook is made up.",
    "Windows: press Alt+F8 and run ImportPythonUDFs once, then Ctrl+Alt+F9; the sheet Functions computes. If Excel "
    "does not trust access to VBA, see How to.txt in this folder.",
    "macOS: Excel has no such functions there; the button works. See How to.txt for the one command it needs first.",
    "Prices are estimates from one shop's sales. Tube equipment holds lethal voltages: ratings are no instruction to "
    "open or change it.",
    "",
    "The button saves the open workbook that has the sheets Sales and Stock, writes its refreshed copy beside it, and "
    "opens the copy:",
]
