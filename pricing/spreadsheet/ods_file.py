"""Writing a plain .ods: rows of values and formulas, by the standard OASIS OpenDocument 1.3, parts 3 (schema, sections
9 and 19) and 4 (OpenFormula, section 5: references in brackets, arguments between semicolons).
"""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

_MIMETYPE = "application/vnd.oasis.opendocument.spreadsheet"
_REFERENCE = re.compile(r"(?:(\w+)!)?(\$?[A-Z]{1,3}\$?\d+)(?::(\$?[A-Z]{1,3}\$?\d+))?(?![\w(.])")


def write_ods(path: Path, sheets: dict[str, list[list[Any]]],
              formulas: dict[str, dict[tuple[int, int], tuple[str, tuple[int, int] | None]]]) -> None:
    """Write `sheets` (rows of values by name). `formulas[sheet][row, column]`, counted from 1: the formula as .xlsx
    spells it, and for one that fills a range its rows and columns."""
    tables = "".join(_table(name, rows, formulas.get(name, {})) for name, rows in sheets.items())
    content = (
        '<?xml version="1.0" encoding="UTF-8"?><office:document-content '
        'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
        'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
        'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" '
        'xmlns:of="urn:oasis:names:tc:opendocument:xmlns:of:1.2" office:version="1.3">'
        f"<office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>")
    manifest = (
        '<?xml version="1.0" encoding="UTF-8"?><manifest:manifest '
        'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0" manifest:version="1.3">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{_MIMETYPE}"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>')
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr(zipfile.ZipInfo("mimetype"), _MIMETYPE)  # first, and not compressed
        file.writestr("content.xml", content)
        file.writestr("META-INF/manifest.xml", manifest)


def open_formula(text: str) -> str:
    """An .xlsx formula in OpenFormula: "=A(B!C1:D2, 1)" is "of:=A([B.C1:.D2]; 1)"."""
    parts = re.split(r'("(?:[^"]|"")*")', text)
    for at in range(0, len(parts), 2):  # what stands between quotation marks stays
        parts[at] = _REFERENCE.sub(_bracketed, parts[at]).replace(",", ";")
    return "of:" + "".join(parts)


def _bracketed(met: re.Match[str]) -> str:
    sheet, first, last = met.groups()
    return f"[{'$' + sheet if sheet else ''}.{first}{':.' + last if last else ''}]"


def _table(name: str, rows: list[list[Any]], formulas: dict[tuple[int, int], Any]) -> str:
    last_row = max([len(rows), *(row for row, _ in formulas)])
    lines = []
    for number in range(1, last_row + 1):
        values = rows[number - 1] if number <= len(rows) else []
        width = max([len(values), *(column for row, column in formulas if row == number)])
        cells = "".join(_cell(values[at - 1] if at <= len(values) else None, formulas.get((number, at)))
                        for at in range(1, width + 1))
        lines.append(f"<table:table-row>{cells or '<table:table-cell/>'}</table:table-row>")
    return f"<table:table table:name={quoteattr(name)}>{''.join(lines)}</table:table>"


def _cell(value: Any, formula: Any) -> str:
    if formula is not None:
        text, size = formula
        spans = (f' table:number-matrix-rows-spanned="{size[0]}" table:number-matrix-columns-spanned="{size[1]}"'
                 if size else "")
        return f"<table:table-cell table:formula={quoteattr(open_formula(text))}{spans}/>"
    if value is None or value == "":
        return "<table:table-cell/>"
    if isinstance(value, dt.date):
        return f'<table:table-cell office:value-type="date" office:date-value="{value:%Y-%m-%d}"/>'
    if isinstance(value, int | float):
        return f'<table:table-cell office:value-type="float" office:value="{value!r}"/>'
    return f'<table:table-cell office:value-type="string"><text:p>{escape(str(value))}</text:p></table:table-cell>'
