"""The LibreOffice extension, made from the registry: a zip of a type library, a configuration, and the add-in."""

from __future__ import annotations

import json
import sys
import zipfile
from importlib import metadata
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import pricing
from pricing.spreadsheet.cell_functions.model_store import cache_folder
from pricing.spreadsheet.cell_functions.registry import FUNCTIONS
from pricing.spreadsheet.cell_functions.spec import Argument, CellFunction

IDENTIFIER = "tubeshop.prices"
NAME = "Tube shop prices"
LIMIT_S = 60.0
_UNDATED = (2026, 1, 1, 0, 0, 0)
_IDL = {"cell": "any", "number": "any", "table": "com::sun::star::table::XCellRange"}
_GIVES = {"cell": "any", "table": "sequence< sequence< any > >"}


def write_extension(path: Path | str) -> Path:
    """Write the extension at `path` (.oxt). The same registry and place of Python give the same bytes."""
    path = Path(path)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        for name, text in extension_parts().items():
            part = zipfile.ZipInfo(name, _UNDATED)
            part.compress_type = zipfile.ZIP_DEFLATED
            file.writestr(part, text)
    return path


def extension_parts() -> dict[str, str]:
    """Every file of the extension by its name."""
    return {
        "META-INF/manifest.xml": _MANIFEST,
        "description.xml": _description(),
        "types.idl": type_library(FUNCTIONS),
        "CalcAddIns.xcu": configuration(FUNCTIONS),
        "functions.json": json.dumps([{"method": one.method, "kinds": [_kind(argument) for argument in one.arguments],
                                       "gives": one.gives} for one in FUNCTIONS], indent=1),
        "worker.json": json.dumps(worker_settings(), indent=1),
        "addin.py": (Path(__file__).parent / "addin.py").read_text(encoding="utf-8"),
    }


def worker_settings() -> dict[str, Any]:
    """How the add-in starts the worker: this very Python, and where this package lies."""
    return {
        "python": sys.executable, "module": "pricing.spreadsheet.calc.worker",
        "path": str(Path(pricing.__file__).resolve().parent.parent),
        "limit_s": LIMIT_S, "log": str(cache_folder() / "worker.log"),
    }


def type_library(functions: tuple[CellFunction, ...]) -> str:
    """The interface in UNO IDL, which serves LibreOffice as a type library as it stands."""
    lines = ["module tubeshop {", "  interface XTubePrices {"]
    for one in functions:
        arguments = ", ".join(f"[in] {_IDL[_kind(argument)]} {_plain(argument.name)}" for argument in one.arguments)
        lines.append(f"    {_GIVES[one.gives]} {one.method}({arguments});")
    return "\n".join([*lines, "  };", "};", ""])


def configuration(functions: tuple[CellFunction, ...]) -> str:
    """Names, help and arguments for Calc's function wizard."""
    nodes = "".join(_function_node(one) for one in functions)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<oor:component-data xmlns:oor="http://openoffice.org/2001/registry" '
        'xmlns:xs="http://www.w3.org/2001/XMLSchema" oor:name="CalcAddIns" oor:package="org.openoffice.Office">\n'
        '<node oor:name="AddInInfo"><node oor:name="tube" oor:op="replace"><node oor:name="AddInFunctions">\n'
        f"{nodes}</node></node></node>\n</oor:component-data>\n"
    )


def _kind(argument: Argument) -> str:
    """Calc lets only plain arguments be left out: an optional range comes as its values."""
    return "cell" if argument.optional and argument.kind == "table" else argument.kind


def _plain(name: str) -> str:
    """A name as UNO takes it: without underscores."""
    return name.replace("_", "")


def _function_node(one: CellFunction) -> str:
    arguments = "".join(
        f'<node oor:name={quoteattr(_plain(argument.name))} oor:op="replace">{_text("DisplayName", argument.name)}'
        f'{_text("Description", argument.help)}</node>' for argument in one.arguments)
    return (
        f'<node oor:name="{one.method}" oor:op="replace">{_text("DisplayName", one.calc_name)}'
        f'{_text("Description", one.help)}<prop oor:name="Category"><value>Add-In</value></prop>'
        f'{_text("CompatibilityName", one.excel_name)}<node oor:name="Parameters">{arguments}</node></node>\n'
    )


def _text(name: str, words: str) -> str:
    return f'<prop oor:name="{name}"><value xml:lang="en">{escape(words)}</value></prop>'


def _description() -> str:
    try:
        version = metadata.version("tube-shop-pricing")
    except metadata.PackageNotFoundError:  # run from a clone that is not installed
        version = "0"
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<description xmlns="http://openoffice.org/extensions/description/2006" '
        'xmlns:xlink="http://www.w3.org/1999/xlink">\n'
        f'<identifier value="{IDENTIFIER}"/><version value="{version}"/>\n'
        f'<display-name><name lang="en">{NAME}</name></display-name>\n</description>\n'
    )


# LibreOffice takes the parts in this order: types, configuration, code.
_MANIFEST = """<?xml version="1.0" encoding="UTF-8"?>
<manifest:manifest xmlns:manifest="http://openoffice.org/2001/manifest">
<manifest:file-entry manifest:full-path="types.idl"
 manifest:media-type="application/vnd.sun.star.uno-typelibrary;type=RDB"/>
<manifest:file-entry manifest:full-path="CalcAddIns.xcu"
 manifest:media-type="application/vnd.sun.star.configuration-data"/>
<manifest:file-entry manifest:full-path="addin.py"
 manifest:media-type="application/vnd.sun.star.uno-component;type=Python"/>
</manifest:manifest>
"""
