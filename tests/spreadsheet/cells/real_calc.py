"""A real headless LibreOffice with the add-in in it, driven from the tests over its own pipe."""

import importlib.util
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pricing.spreadsheet.calc.extension import extension_parts

SYSTEM_PACKAGES = "/usr/lib/python3/dist-packages"  # where Debian keeps uno.py


def why_not():
    """Why no LibreOffice can be driven here, "" where it can."""
    if shutil.which("soffice") is None:
        return "LibreOffice (soffice) is not installed"
    if importlib.util.find_spec("uno") is None and not Path(SYSTEM_PACKAGES, "uno.py").exists():
        return "python3-uno, by which the tests drive LibreOffice, is not installed"
    return ""


needs_calc = pytest.mark.skipif(bool(why_not()), reason=why_not())


class RealCalc:
    """LibreOffice in a profile of its own; `bundled` has the add-in unpacked as if it had been delivered with it."""

    def __init__(self, folder, environment=None, bundled=True):
        if SYSTEM_PACKAGES not in sys.path:
            sys.path.append(SYSTEM_PACKAGES)  # appended: nothing there comes before the project's own packages
        self.folder, self.cache = Path(folder), Path(folder) / "cache"
        arguments = ["soffice", "--headless", "--norestore", "--nologo", "--nodefault"]
        if bundled:
            for name, text in extension_parts().items():
                part = self.folder / "bundled" / "tube.oxt" / name
                part.parent.mkdir(parents=True, exist_ok=True)
                part.write_text(text, encoding="utf-8")
            arguments += [f"-env:BUNDLED_EXTENSIONS=file://{self.folder}/bundled",
                          f"-env:UserInstallation=file://{self.folder}/profile"]
        self.pipe = f"tubeshop{os.getpid()}{id(self)}"
        self.process = subprocess.Popen(
            [*arguments, f"--accept=pipe,name={self.pipe};urp;"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            env={**os.environ, "TUBE_PRICE_CACHE": str(self.cache), **(environment or {})})
        self.desktop = self._connect()

    def _connect(self):
        import uno

        local = uno.getComponentContext()
        resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
        for _ in range(300):
            try:
                self.context = resolver.resolve(f"uno:pipe,name={self.pipe};urp;StarOffice.ComponentContext")
                break
            except Exception:  # not up yet
                assert self.process.poll() is None, "LibreOffice ended while starting"
                time.sleep(0.1)
        return self.service("com.sun.star.frame.Desktop")

    def service(self, name):
        """A UNO service."""
        return self.context.ServiceManager.createInstanceWithContext(name, self.context)

    def new(self):
        """An empty document."""
        return self.open("private:factory/scalc")

    def open(self, path):
        """The document at a path or address."""
        address = path if isinstance(path, str) else path.resolve().as_uri()
        return self.desktop.loadComponentFromURL(address, "_blank", 0, (_property("Hidden", True),))

    def save(self, document, path):
        """Save a copy: .ods or .xlsx."""
        kind = {".ods": "calc8", ".xlsx": "Calc MS Excel 2007 XML"}[path.suffix]
        document.storeToURL(path.resolve().as_uri(), (_property("FilterName", kind),))
        return path

    def close(self):
        """End LibreOffice."""
        try:
            self.desktop.terminate()
        except Exception:  # the pipe goes first
            pass
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:
            self.process.kill()

    def workers(self):
        """Process ids of the add-in's workers under this LibreOffice."""
        found = []
        for entry in Path("/proc").iterdir():
            if entry.name.isdigit():
                try:
                    ours = f"TUBE_PRICE_CACHE={self.cache}".encode() in (entry / "environ").read_bytes()
                    if ours and b"calc.worker" in (entry / "cmdline").read_bytes():
                        found.append(int(entry.name))
                except OSError:  # ended meanwhile
                    pass
        return found


def _property(name, value):
    from com.sun.star.beans import PropertyValue

    one = PropertyValue()
    one.Name, one.Value = name, value
    return one


def fill(sheet, rows, column=0, row=0):
    """Write rows of cells; None is an empty cell."""
    width = max(map(len, rows))
    data = tuple(tuple("" if one is None else one for one in [*line, *[None] * (width - len(line))]) for line in rows)
    sheet.getCellRangeByPosition(column, row, column + width - 1, row + len(rows) - 1).setDataArray(data)


def value_of(cell):
    """Number, text, or the error's own text of a cell."""
    from com.sun.star.table.CellContentType import TEXT, VALUE

    if cell.getError():
        return cell.getString()
    kind = cell.FormulaResultType2 if cell.getFormula() else 0
    if cell.Type == VALUE or kind == 1:
        return cell.getValue()
    return cell.getString() if cell.Type == TEXT or kind else None
