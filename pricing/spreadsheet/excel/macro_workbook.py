"""The macro-enabled workbook: xlwings' own stand-alone template, its settings filled in, the examples, and a button.

The VBA project of the template is carried over byte for byte.
"""

from __future__ import annotations

import importlib.util
import io
import zipfile
from pathlib import Path
from typing import Any

from pricing.spreadsheet.cell_functions.example_workbook import SIZES, example_sheets, formula, function_rows
from pricing.spreadsheet.excel.refresh_button import SAID_AT, START

SETTINGS_SHEET = "xlwings.conf"  # the name the template's macros look for
_TEMPLATE, _TEMPLATE_SHEETS = "quickstart_standalone.xlsm", ("Sheet1", "_xlwings.conf")
_BUTTON_MACRO = "SampleCall"  # the template's macro that runs main() of the module named like the workbook
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"


def template() -> Path:
    """xlwings' stand-alone template, where it is installed."""
    return Path(importlib.util.find_spec("xlwings").origin).with_name(_TEMPLATE)


def write_macro_workbook(path: Path | str, settings: dict[str, str], words: list[str]) -> Path:
    """Write the workbook at `path` (.xlsm): `settings` into the sheet xlwings reads, `words` onto the first sheet.

    ValueError when xlwings' template lacks one of the settings.
    """
    from openpyxl import load_workbook
    from openpyxl.styles import Alignment, Font

    book = load_workbook(template(), keep_vba=True)
    start, conf = (book[name] for name in _TEMPLATE_SHEETS)
    start.title, conf.title = START, SETTINGS_SHEET
    for number, line in enumerate(words, 1):
        start.cell(number, 1, line or None).alignment = Alignment(wrap_text=True, vertical="top")
    start["A1"].font = Font(bold=True)
    start.column_dimensions["A"].width = 110
    _fill_settings(conf, settings)
    for name, rows in {"Functions": function_rows(lambda one: one.excel_name)[0], **example_sheets()}.items():
        sheet = book.create_sheet(name, len(book.sheetnames) - 1)
        for row in rows:
            sheet.append([None if one == "" else one for one in row])
        sheet.column_dimensions["A"].width = 18
    _write_formulas(book["Functions"])
    book.properties.creator, book.properties.title = "pricing", "Cell functions"
    whole = io.BytesIO()
    book.save(whole)
    _with_button(whole, Path(path))
    return Path(path)


def _fill_settings(sheet: Any, settings: dict[str, str]) -> None:
    """Write values beside their keys; what the template says on activating the sheet goes, as it is active now."""
    left = dict(settings)
    for key, value in sheet.iter_rows(1, sheet.max_row, 1, 2):
        if key.row > 9 or key.value is None:
            key.value = None
        elif key.value in left:
            value.value = left.pop(key.value)
    if left:
        raise ValueError(f"xlwings' template has no setting {', '.join(left)}; the version pinned has")


def _write_formulas(sheet: Any) -> None:
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.formula import ArrayFormula

    for row, one in function_rows(lambda each: each.excel_name)[1]:
        text = formula(one, one.excel_name)
        if one.name in SIZES:
            rows, columns = SIZES[one.name]
            text = ArrayFormula(f"B{row}:{get_column_letter(1 + columns)}{row + rows - 1}", text)
        sheet.cell(row, 2, text)


def _with_button(whole: io.BytesIO, path: Path) -> None:
    """Copy the parts and give the first sheet a drawing: a shape that runs a macro (ECMA-376, 20.5.2.29, `macro`)."""
    sheet, rels = "xl/worksheets/sheet1.xml", "xl/worksheets/_rels/sheet1.xml.rels"
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            content = old.read(part)
            if part.filename == sheet:
                content = _before(content, "</worksheet>", f'<drawing xmlns:r="{_OFFICE}" r:id="rId1"/>')
            elif part.filename == "[Content_Types].xml":
                content = _before(content, "</Types>", '<Override PartName="/xl/drawings/drawing1.xml" ContentType='
                                  '"application/vnd.openxmlformats-officedocument.drawing+xml"/>')
            new.writestr(part, content)
        new.writestr(rels, f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" '
                     f'Type="{_OFFICE}/drawing" Target="/xl/drawings/drawing1.xml"/></Relationships>')
        new.writestr("xl/drawings/drawing1.xml", _DRAWING)


def _before(content: bytes, mark: str, text: str) -> bytes:
    head, mark_met, tail = content.rpartition(mark.encode())
    return head + text.encode() + mark_met + tail


_ROW = int(SAID_AT[1:]) - 4  # from 0: three rows high, it ends above the cell that says what was done
_DRAWING = f"""<?xml version="1.0" encoding="UTF-8" standalone="yes"?>
<xdr:wsDr xmlns:xdr="http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing" \
xmlns:a="http://schemas.openxmlformats.org/drawingml/2006/main"><xdr:twoCellAnchor>\
<xdr:from><xdr:col>0</xdr:col><xdr:colOff>0</xdr:colOff><xdr:row>{_ROW}</xdr:row><xdr:rowOff>60000</xdr:rowOff>\
</xdr:from><xdr:to><xdr:col>0</xdr:col><xdr:colOff>2400000</xdr:colOff><xdr:row>{_ROW + 2}</xdr:row>\
<xdr:rowOff>60000</xdr:rowOff></xdr:to><xdr:sp macro="[0]!{_BUTTON_MACRO}" textlink=""><xdr:nvSpPr>\
<xdr:cNvPr id="2" name="Refresh button"/><xdr:cNvSpPr/></xdr:nvSpPr><xdr:spPr><a:xfrm><a:off x="0" y="0"/>\
<a:ext cx="2400000" cy="400000"/></a:xfrm><a:prstGeom prst="roundRect"><a:avLst/></a:prstGeom><a:solidFill>\
<a:srgbClr val="E7E6E6"/></a:solidFill><a:ln w="9525"><a:solidFill><a:srgbClr val="7F7F7F"/></a:solidFill></a:ln>\
</xdr:spPr><xdr:txBody><a:bodyPr vertOverflow="clip" rtlCol="0" anchor="ctr"/><a:lstStyle/><a:p>\
<a:pPr algn="ctr"/><a:r><a:rPr lang="en-GB" sz="1100"><a:solidFill><a:srgbClr val="000000"/></a:solidFill></a:rPr>\
<a:t>Refresh the open shop workbook</a:t></a:r></a:p></xdr:txBody></xdr:sp><xdr:clientData/></xdr:twoCellAnchor>\
</xdr:wsDr>"""
