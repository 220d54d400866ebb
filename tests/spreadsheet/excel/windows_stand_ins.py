"""xlwings' own Windows code at work without Windows: pywin32 and COM are stand-ins, everything of xlwings is real.

Only for a process of its own, as the stand-ins stay: Windows starts one. As a program it prints the VBA that
xlwings writes for the functions:

    PYTHONPATH=tests python tests/spreadsheet/excel/windows_stand_ins.py > tests/spreadsheet/excel/xlwings_udfs.bas
"""

import concurrent.futures
import ctypes
import datetime as dt
import importlib
import io
import multiprocessing
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from unittest.mock import MagicMock

import numpy as np
import pandas as pd

MISSING = -2147352572  # what an argument left out arrives as (DISP_E_PARAMNOTFOUND)
# XlCVError as COM hands it over (Microsoft, Excel VBA reference): 0x800A0000 + 2042 and so on.
NA, DIV0, REF, SPILL, BLOCKED = (-2146828288 + code for code in (2042, 2007, 2023, 2045, 2047))
_RANGE = "{00020846-0000-0000-C000-000000000046}"
_MODULES = """pythoncom pywintypes win32api win32con win32gui win32process win32timezone win32event win32com
    win32com.client win32com.server win32com.server.dispatcher win32com.server.policy win32com.server.util""".split()


@dataclass
class Cells:
    """A range of cells to be handed over: `rows` as Range.Value2 has them. `last`: its last row and column, where the
    formula names more than is used."""

    rows: list = field(default_factory=list)
    last: tuple = ()


class StandInRange:
    """Excel's Range as far as a function's argument is asked. What is used begins at the first cell here."""

    def __init__(self, rows, last=(), reads=None):
        self._rows, self._reads = rows, [] if reads is None else reads
        height, width = last or (len(rows), len(rows[0]))
        self.Row = self.Column = 1
        self.Rows, self.Columns = SimpleNamespace(Count=height), SimpleNamespace(Count=width)
        self._oleobj_ = MagicMock()
        self._oleobj_.GetTypeInfo().GetTypeAttr().iid = _RANGE

    @property
    def Worksheet(self):
        used = SimpleNamespace(Row=1, Column=1, Rows=SimpleNamespace(Count=len(self._rows)),
                               Columns=SimpleNamespace(Count=len(self._rows[0])))
        return SimpleNamespace(
            UsedRange=used, Cells=lambda row, column: (row, column), Parent=MagicMock(), Application=MagicMock(),
            Range=lambda first, last: StandInRange(self._rows, last, self._reads))

    @property
    def Value2(self):
        height, width = self.Rows.Count, self.Columns.Count
        if height > 100_000:
            raise MemoryError("a whole column was read")
        rows = tuple(tuple(row[:width]) for row in self._rows[:height])
        return rows[0][0] if height == width == 1 else rows

    @property
    def Value(self):
        raise AssertionError("Range.Value cuts amounts to four decimals and turns dates into objects")


def install():
    """Put the stand-ins in place and import xlwings as on Windows."""
    for name in _MODULES:
        sys.modules[name] = MagicMock(name=name)
        parent, _, own = name.rpartition(".")
        if parent:
            setattr(sys.modules[parent], own, sys.modules[name])
    sys.modules["pythoncom"].__file__ = "x.dll"
    types, client = sys.modules["pywintypes"], sys.modules["win32com.client"]
    types.com_error, types.error = type("com_error", (Exception,), {}), type("error", (Exception,), {})
    types.TimeType, types.IID = type("TimeType", (), {}), str
    for name in ("CDispatch", "CoClassBaseClass", "DispatchBaseClass"):
        setattr(client, name, type(name, (), {}))
    sys.modules["win32com.server.util"].unwrap.side_effect = TypeError  # no argument is a Python object in disguise
    for name in ("oledll", "windll", "PyDLL"):
        setattr(ctypes, name, MagicMock())
    import builtins

    builtins.WindowsError = OSError
    real, sys.platform = sys.platform, "win32"
    try:
        import xlwings.com_server  # noqa: F401
    finally:
        sys.platform = real


class Windows:
    """A process with xlwings' Windows code and the generated module, as Excel's server has them."""

    def __init__(self, folder, environment):
        self.pool = concurrent.futures.ProcessPoolExecutor(
            1, multiprocessing.get_context("spawn"), _begin, (str(folder), environment))

    def metadata(self):
        """{function: what xlwings registered}."""
        return self.pool.submit(_metadata).result()

    def vba(self):
        """The VBA xlwings writes."""
        return self.pool.submit(_vba).result()

    def call(self, name, *arguments):
        """What VBA gets when it calls a function; Cells are ranges, MISSING is an argument left out."""
        return self.pool.submit(_call, name, arguments).result()

    def timed(self, name, *arguments):
        """(seconds, result) of a call inside the server."""
        return self.pool.submit(_timed, name, arguments).result()

    def imported(self):
        """(texts xlwings' Import Functions imports, {macro: what it tells Excel's MacroOptions of it})."""
        return self.pool.submit(_imported).result()

    def replaced(self, function):
        """Register a function of the caller's instead: a picklable CellFunction."""
        return self.pool.submit(_replace, function).result()

    def removed(self, name):
        """Take such a function away again."""
        return self.pool.submit(_remove, name).result()

    def close(self):
        """End the process."""
        self.pool.shutdown()


def _begin(folder, environment):
    import os

    os.environ.update(environment)
    install()
    sys.path.insert(0, folder)


def _module():
    return importlib.import_module("tube_prices")


def _metadata():
    out = {}
    for name, one in vars(_module()).items():
        if hasattr(one, "__xlfunc__"):
            met = one.__xlfunc__
            out[name] = {key: met[key] for key in ("name", "sub", "category", "volatile", "call_in_wizard",
                                                   "async_mode")}
            out[name]["doc"] = met["ret"]["doc"]
            out[name]["arguments"] = [(one["name"], one["doc"], "optional" in one) for one in met["args"]]
    return out


def _vba():
    from xlwings import udfs

    text = io.StringIO()
    udfs.generate_vba_wrapper("tube_prices", _module(), text, SimpleNamespace(Name="tube_prices.xlsm"))
    return text.getvalue()


def _imported():
    from xlwings import udfs

    book = MagicMock()
    book.Name, book.Application.Version = "tube_prices.xlsm", "16.0"
    book.VBProject.VBComponents.Import.side_effect = lambda path: written.append(Path(path).read_text())
    written = []
    udfs.import_udfs("tube_prices", book)
    said = {}
    for call in book.Application.MacroOptions.call_args_list:
        said[call.args[0]] = {name: call.kwargs[name] for name in ("Description", "Category", "ArgumentDescriptions")}
    return written, said


def _call(name, arguments):
    from xlwings.com_server import XLPython

    handed = tuple(StandInRange(one.rows, one.last) if isinstance(one, Cells) else one for one in arguments)
    return XLPython().CallUDF("tube_prices", name, handed, None, StandInRange([[None]]))


def _timed(name, arguments):
    started = time.perf_counter()
    result = _call(name, arguments)
    return time.perf_counter() - started, result


def _replace(function):
    from pricing.spreadsheet.excel.registration import excel_function

    setattr(_module(), function.excel_name, excel_function(function))


def _remove(name):
    delattr(_module(), name)


class OwnText(str):
    """A text of a class of its own."""


def odd_results(which):
    """Results as no spreadsheet takes them."""
    day = dt.date(2026, 1, 31)
    return {
        "booleans": lambda: [[True, np.bool_(False), np.True_]],
        "numbers": lambda: [[2**70, np.int64(3), 0.1, float("inf"), np.float64("nan")]],
        "nothing": lambda: [[None, float("nan"), pd.NaT]],
        "dates": lambda: [[day, dt.datetime(2026, 1, 31, 12), pd.Timestamp(day)]],
        "ragged": lambda: [[1, 2], [3]],
        "long": lambda: [["word " * 99, "\N{GUITAR}" * 249, OwnText("own")]],
        "fault": lambda: 1 / 0,
    }[which]()


if __name__ == "__main__":
    from pricing.spreadsheet.excel.connect import python_module

    with tempfile.TemporaryDirectory() as _folder:
        Path(_folder, "tube_prices.py").write_text(python_module(), encoding="utf-8")
        _begin(_folder, {})
        print(_vba(), end="")
