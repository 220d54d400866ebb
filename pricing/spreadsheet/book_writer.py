"""openpyxl's writer with the cells of a sheet written as text: an XML element for each took half its time.

It leans on two methods of openpyxl 3.1 that are not public; `tests/spreadsheet/test_book_writer.py` holds the result to
that of openpyxl itself.
"""

from __future__ import annotations

import io
import zipfile
from types import SimpleNamespace
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from openpyxl import Workbook
from openpyxl.cell._writer import etree_write_cell
from openpyxl.cell.rich_text import CellRichText
from openpyxl.comments.comment_sheet import CommentRecord
from openpyxl.compat import safe_string
from openpyxl.utils import get_column_letter
from openpyxl.utils.datetime import to_excel
from openpyxl.worksheet._writer import WorksheetWriter
from openpyxl.writer import excel
from openpyxl.xml.functions import tostring

_PLAIN = {"n", "s", "b", "d"}
_HERE = "the rows of cells"


def written(book: Workbook) -> bytes:
    """The workbook's file, its parts not compressed."""
    file = io.BytesIO()
    _BookWriter(book, zipfile.ZipFile(file, "w", zipfile.ZIP_STORED)).save()
    return file.getvalue()


class _BookWriter(excel.ExcelWriter):
    def write_worksheet(self, ws: Any) -> None:
        ws._drawing = excel.SpreadsheetDrawing()
        ws._drawing.charts, ws._drawing.images = ws._charts, ws._images
        writer = _SheetWriter(ws)
        writer.write()
        ws._rels = writer._rels
        content = writer.read()
        writer.cleanup()
        self._archive.writestr(ws.path[1:], content.replace(f"<sheetData>{_HERE}".encode(), writer.rows_text, 1))
        self.manifest.append(ws)


class _SheetWriter(WorksheetWriter):
    rows_text = b""

    def write_rows(self) -> None:
        self._styles: dict[bytes, str] = {}
        self._columns: dict[int, str] = {}
        rows = ["<sheetData>"]
        for number, cells in self.rows():
            about = "".join(f" {name}={quoteattr(text)}" for name, text in
                            ({"r": str(number)} | dict(self.ws.row_dimensions.get(number, {}))).items())
            rows.append(f"<row{about}>{''.join(map(self._cell, cells))}</row>")
        self.rows_text = "".join(rows).encode("ascii", "xmlcharrefreplace")
        markup = self.xf.send(True)
        with markup.element("sheetData"):
            markup.write(_HERE)
        self.xf.send(None)

    def _cell(self, cell: Any) -> str:
        if cell._comment is not None:
            self.ws._comments.append(CommentRecord.from_cell(cell))
        style, value, kind = self._style(cell), cell._value, cell.data_type
        if value is None and not style and cell._comment is None:
            return ""
        if kind not in _PLAIN or isinstance(value, CellRichText):
            elements: list[Any] = []
            etree_write_cell(SimpleNamespace(write=elements.append), self.ws, cell, bool(style))
            return tostring(elements[0]).decode().replace("<v/>", "<v></v>")
        if cell._hyperlink is not None:
            self.ws._hyperlinks.append(cell._hyperlink)
        column = self._columns.get(cell.column)
        if column is None:
            column = self._columns[cell.column] = get_column_letter(cell.column)
        head = f'<c r="{column}{cell.row}"{style} t="'
        if value is None or value == "":
            return f'{head}{"inlineStr" if kind == "s" else kind}"></c>'
        if kind == "s":
            space = ' xml:space="preserve"' if value != value.strip() else ""
            return f'{head}inlineStr"><is><t{space}>{escape(value)}</t></is></c>'
        if kind == "d":
            value, kind = to_excel(value, self.ws.parent.epoch), "n"
        return f'{head}{kind}"><v>{safe_string(value)}</v></c>'

    def _style(self, cell: Any) -> str:
        """The attribute of a cell's style, nothing for none."""
        key = b"" if cell._style is None else cell._style.tobytes()
        known = self._styles.get(key)
        if known is None:
            known = self._styles[key] = f' s="{cell.style_id}"' if cell.has_style else ""
        return known
