"""New rows below those that stand on the owner's own sheets of an .xlsx or .xlsm; nothing that stands there changes."""

from __future__ import annotations

import datetime as dt
import re
import zipfile
import zlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

from openpyxl.formula.translate import Translator
from openpyxl.styles.numbers import BUILTIN_FORMATS, is_date_format
from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, to_excel

from pricing.spreadsheet.package.additions import MOST_ROWS, NewRows, Value
from pricing.spreadsheet.package.areas import Area, around, letters, sheet_areas, sheet_reference
from pricing.spreadsheet.package.book import NotKept, Package
from pricing.spreadsheet.package.cells import Row, rows_of
from pricing.spreadsheet.package.markup import Markup, attributes, plain, with_attributes
from pricing.spreadsheet.package.sheet import SHEET_ORDER
from pricing.spreadsheet.package.styles import StyleList
from pricing.spreadsheet.package.tables import TABLE_ORDER, Table, tables_of
from pricing.spreadsheet.tables import as_held

LIKE_A_FORMULA = ("=", "+", "-", "@")
_LOOKED_AT = 40  # rows above the new ones that tell how a column looks
_DATE_FORMAT = "yyyy-mm-dd"
_STYLE = re.compile(rb"\ss=[\"'](\d+)[\"']")
_FORMULA = re.compile(rb"<f\b([^>]*?)(?:/>|>([^<]*)</f>)")
_PLACE = re.compile(rb"\sr=[\"']([A-Z]+\d+)[\"']")
_GROUP = re.compile(rb"\ssi=[\"'](\d+)[\"']")
_SPAN_OF_ROWS = re.compile(r"(?<![\w!'.])\$?[A-Z]{1,3}\$?(\d+):\$?[A-Z]{1,3}\$?(\d+)(?![\w(])")
_ADDRESS = re.compile(r"(?<![\w\[.])\$?[A-Z]{1,3}\$?\d+(?![\w(\]])")
_NOT_SEEN = re.compile(rb"\s(?:spans|hidden)=[\"'][^\"']*[\"']")
_SQREF = re.compile(rb"(\ssqref=\")([^\"]*)"
                    rb"|(<xm:sqref>)([^<]*)(?=</xm:sqref>\s*</x14:(?:conditionalFormatting|dataValidation)>)")


def with_new_rows(owner: bytes, additions: Iterable[NewRows]) -> tuple[bytes, list[str]]:
    """The owner's file with the new rows, and what he should hear.

    A row goes below the last filled one, under the same headings, each cell in the style of the one above it; a table
    object, its filter, and rules and drop-downs that covered the whole column grow along, formulas of the row above go
    on. Every other part keeps its bytes. NotKept when something stands in the way or the file cannot be kept whole.
    """
    try:
        book = Package(owner)
        styles = _Styles(book)
        told = [words for one in additions for words in _Sheet(book, styles, one).with_rows()]
        styles.finish()
        book.calculate_on_opening()
        return book.save(), told
    except (LookupError, ValueError, StopIteration, RuntimeError, zlib.error, zipfile.BadZipFile) as error:
        raise NotKept(f"its parts do not fit together ({type(error).__name__}: {error}). Save it once in your "
                      "spreadsheet program and try again.") from error


class _Styles:
    """The workbook's cell styles, and the same ones as a date or as text that looks like a formula."""

    def __init__(self, book: Package) -> None:
        self._book, self._part = book, book.related("styles")
        if self._part is None:
            raise NotKept("the workbook has no styles. Save it once in your spreadsheet program.")
        self._list = StyleList(book.read(self._part))
        self._made: dict[tuple[int, str], int] = {}
        old = attributes(book.workbook.get("workbookPr") or b"<none/>").get("date1904") in ("1", "true")
        self._calendar = CALENDAR_MAC_1904 if old else CALENDAR_WINDOWS_1900

    def finish(self) -> None:
        """Write the styles that were added."""
        if self._made:
            self._book.changed[self._part] = bytes(self._list)

    def cell(self, place: str, style: int, value: Value) -> bytes:
        """A cell that holds a value, text always as text."""
        if isinstance(value, str):
            if value.startswith(LIKE_A_FORMULA):
                style = self._changed(style, "text")
            text = escape(as_held(value)).encode()
            kind, inner = b' t="inlineStr"', b'<is><t xml:space="preserve">%s</t></is>' % text
        elif isinstance(value, dt.date):
            style = self._changed(style, "date")
            kind, inner = b"", f"<v>{to_excel(value, self._calendar)!r}</v>".encode()
        else:
            kind, inner = b"", b"" if value is None else f"<v>{value!r}</v>".encode()
        return cell_of(place, style, inner, kind)

    def _changed(self, style: int, use: str) -> int:
        if (style, use) not in self._made:
            xf = self._list.items["cellXfs"][style]
            met = attributes(xf)
            if use == "text":
                new = {"quotePrefix": "1"}
            else:
                id_ = met.get("numFmtId", "0")
                code = self._list.formats.get(id_) or BUILTIN_FORMATS.get(int(id_), "")
                if is_date_format(code) or 27 <= int(id_) <= 58:  # dates in some language (ISO/IEC 29500-1, 18.8.30)
                    return style
                new = {"numFmtId": self._list.format_id(_DATE_FORMAT), "applyNumberFormat": "1"}
            self._made[style, use] = self._list.place("cellXfs", with_attributes(xf, **new))
        return self._made[style, use]


def cell_of(place: str, style: int, inner: bytes, kind: bytes = b"") -> bytes:
    """A cell element."""
    seen = b' s="%d"' % style if style else b""
    end = b">%s</c>" % inner if inner else b"/>"
    return b'<c r="%s"%s%s%s' % (place.encode(), seen, kind, end)


@dataclass
class _Sheet:
    """One sheet on its way to new rows."""

    book: Package
    styles: _Styles
    new: NewRows
    told: list[str] = field(default_factory=list)

    def with_rows(self) -> list[str]:
        """Put the rows into the sheet's part and its table's; what to tell."""
        new, self.part = self.new, self.book.sheets[self.new.sheet]
        text = self.book.read(self.part)
        self.sheet = Markup(text)
        if self.sheet.prefix or b"<!" in text or self.sheet.get("sheetData") is None:
            raise new.refused("was written by a program whose way of writing is not known here. Save the file once in "
                              "your spreadsheet program")
        if attributes(self.sheet.get("sheetProtection") or b"<none/>").get("sheet") in ("1", "true"):
            raise new.refused("is protected. Take the protection off")
        self.data = self.sheet.get("sheetData")
        tables = tables_of(self.book, self.part)
        head = Area(new.head_row, new.first, new.head_row, new.last)
        self.table = next((one for one in tables if one.area.top == new.head_row and one.area.meets(head)), None)
        if self.table is not None:
            head = around([head, self.table.area._replace(bottom=new.head_row)])
        rows = list(rows_of(self.data))
        self.last = self._last_filled(rows, head)
        self.target = head._replace(top=self.last + 1, bottom=self.last + len(new.rows))
        if self.target.bottom > MOST_ROWS:
            raise new.no_room()
        self._must_be_free([one for one in tables if one is not self.table])
        self._put_cells(rows)
        if self.table is not None and self.target.bottom > self.table.body.bottom:
            self._grow_table(self.table)
        self._grow_rules()
        self.book.changed[self.part] = bytes(self.sheet)
        return [new.added(self.target), *self.told]

    # where

    def _last_filled(self, rows: list[Row], head: Area) -> int:
        """The last whole row, and rows right below it that are begun."""
        end = self.table.body.bottom if self.table else MOST_ROWS
        if self.new.last_row > end:
            raise self.new.refused(f"has rows below its table {self.table.name} that do not belong to it. Drag the "
                                   "table's corner over them")
        last = self.new.last_row
        for row in rows:
            if row.number != last + 1 or row.number > end:
                continue
            met = [cell for column, cell, filled in row.cells if filled and head.left <= column <= head.right]
            if any(b"<f" not in cell for cell in met):
                if any(self._reaches_over_rows(cell) for cell in met):
                    raise self.new.sums_above(row.number)
                last = row.number
        return last

    def _reaches_over_rows(self, cell: bytes) -> bool:
        formula = _FORMULA.search(cell)
        return formula is not None and any(
            top != bottom for top, bottom in _SPAN_OF_ROWS.findall(plain(formula[2] or b"")))

    def _must_be_free(self, others: list[Table]) -> None:
        for one in others:
            if one.area.meets(self.target):
                raise self._in_the_way(f"another table, {one.name}")
        for one in Markup(self.sheet.get("mergeCells") or b"<none></none>").items():
            if Area.of(attributes(one)["ref"]).meets(self.target):
                raise self._in_the_way(f"merged cells, {attributes(one)['ref']}")
        for one in self.book.relations_of(self.part):
            if one.kind == "pivotTable":
                place = attributes(Markup(self.book.read(one.part)).get("location"))["ref"]
                if Area.of(place).meets(self.target):
                    raise self._in_the_way(f"a pivot table, {place}")

    def _in_the_way(self, what: str) -> NotKept:
        return self.new.refused(f"has {what}, where the new rows need room. Move it to the right")

    # cells

    def _put_cells(self, rows: list[Row]) -> None:
        new, target = self.new, self.target
        above = [row for row in rows if new.head_row < row.number <= self.last][-_LOOKED_AT:]
        there = {row.number: row for row in rows if target.top <= row.number <= target.bottom}
        looks = self._looks(above)
        formulas = self._formulas(above)
        written = bytearray()
        for at, values in enumerate(new.rows, start=target.top):
            row = there.get(at)
            cells = {column: cell for column, cell, _ in row.cells} if row else {}
            for column, cell, filled in row.cells if row else ():
                if filled and target.holds(at, column):
                    if self._reaches_over_rows(cell):
                        raise new.sums_above(at)
                    if b"<f" not in cell or values.get(column) is not None:
                        raise new.taken(at, column)
            for column in range(target.left, target.right + 1):
                place, value = f"{letters(column)}{at}", values.get(column)
                met = _STYLE.search(cells[column], 0, cells[column].find(b">")) if column in cells else None
                style = int(met[1]) if met else looks.get(column, 0)
                if value is not None:
                    cells[column] = self.styles.cell(place, style, value)
                elif column in formulas and b"<f" not in cells.get(column, b""):
                    cells[column] = cell_of(place, style, b"<f>%s</f>" % formulas[column](place))
                elif column not in cells and style:
                    cells[column] = cell_of(place, style, b"")
            tag = _NOT_SEEN.sub(b"", row.tag) if row else b'<row r="%d">' % at
            written += tag + b"".join(cells[column] for column in sorted(cells)) + b"</row>"
        start = next((row.start for row in rows if row.number >= target.top), self.data.rindex(b"</"))
        end = next((row.start for row in rows if row.number > target.bottom), self.data.rindex(b"</"))
        self.sheet.replace("sheetData", [self.data[:start] + bytes(written) + self.data[end:]], SHEET_ORDER)
        dimension = self.sheet.get("dimension")
        if dimension is not None:
            reach = around([Area.of(attributes(dimension)["ref"]), target])
            self.sheet.replace("dimension", [with_attributes(dimension, ref=str(reach))], SHEET_ORDER)

    def _looks(self, above: list[Row]) -> dict[int, int]:
        """Style of the nearest cell above in every column, of the column where there is none."""
        found: dict[int, int] = {}
        for row in reversed(above):
            for column, cell, _ in row.cells:
                met = _STYLE.search(cell, 0, cell.find(b">"))
                found.setdefault(column, int(met[1]) if met else 0)
        for one in Markup(self.sheet.get("cols") or b"<none></none>").items():
            met = attributes(one)
            for column in range(int(met["min"]), min(int(met["max"]), self.target.right) + 1):
                found.setdefault(column, int(met.get("style", 0)))
        return found

    def _formulas(self, above: list[Row]) -> dict[int, Callable[[str], bytes]]:
        """For every column whose formula goes on in the new rows: the formula of a cell."""
        found, seen = {}, {row.number: {column: cell for column, cell, _ in row.cells} for row in above[-2:]}
        for column in range(self.target.left, self.target.right + 1):
            cell = seen.get(self.last, {}).get(column, b"")
            place, before = f"{letters(column)}{self.last}", f"{letters(column)}{self.last - 1}"
            stated = self._stated(column)
            if b"<f" in cell:
                formula = self._formula(cell, place)
                over = seen.get(self.last - 1, {}).get(column, b"")
                same = formula is not None and (self.last - 1 == self.new.head_row or (
                    b"<f" in over and (first := self._formula(over, before)) is not None
                    and Translator(first, before).translate_formula(place) == formula))
                if same:
                    found[column] = lambda goal, formula=formula, place=place: escape(
                        Translator(formula, place).translate_formula(goal)[1:]).encode()
                    continue
            if stated and not _ADDRESS.search(stated):
                found[column] = lambda goal, stated=stated: escape(stated).encode()
            elif b"<f" in cell and all(row.get(column) is None for row in self.new.rows):
                self.told.append(self.new.not_carried_on(place))
        return found

    def _formula(self, cell: bytes, place: str) -> str | None:
        """Formula of a cell with its "="; None for one that fills a range or that cannot be found."""
        kind, text = _FORMULA.search(cell).groups()
        if b"array" in kind or b"dataTable" in kind:
            return None
        group = _GROUP.search(kind)
        if text or group is None:
            return "=" + plain(text) if text else None
        first = list(re.finditer(rb"<f\b(?=[^>]*\ssi=[\"']%s[\"'])[^>]*[^/]>([^<]+)<" % group[1], self.data))
        if not first:
            return None
        where = _PLACE.search(self.data, self.data.rindex(b"<c ", 0, first[-1].start()))[1].decode()
        return Translator("=" + plain(first[-1][1]), where).translate_formula(place)

    def _stated(self, column: int) -> str:
        """The formula a table states for one of its columns, without "="."""
        if self.table is None or not self.table.area.left <= column <= self.table.area.right:
            return ""
        columns = Markup(Markup(self.book.read(self.table.part)).get("tableColumns")).items()
        formula = Markup(columns[column - self.table.area.left]).get("calculatedColumnFormula")
        if formula is None or b"array=" in formula[: formula.find(b">")]:
            return ""
        return plain(re.sub(rb"^[^>]*>|<[^<]*$", b"", formula))

    # what grows along

    def _grow_table(self, table: Table) -> None:
        text = Markup(self.book.read(table.part))
        if table.totals:
            raise self.new.refused(f"has a table, {table.name}, with a row of totals. Take that row off")
        if attributes(text.head).get("tableType", "worksheet") != "worksheet":
            raise self.new.refused(f"has a table, {table.name}, that a query fills. Add the rows at their source")
        area = table.area._replace(bottom=self.target.bottom)
        text = Markup(with_attributes(bytes(text), ref=str(area)))
        filter_ = text.get("autoFilter")
        if filter_ is not None:
            text.replace("autoFilter", [with_attributes(filter_, ref=str(area))], TABLE_ORDER)
        self.book.changed[table.part] = bytes(text)

    def _grow_rules(self) -> None:
        def longer(met: re.Match[bytes]) -> bytes:
            start, areas = (met[1], met[2]) if met[1] else (met[3], met[4])
            return start + " ".join(self._long(text) for text in areas.decode().split()).encode()

        for child in self.sheet.children:
            if child[0] in ("conditionalFormatting", "dataValidations", "extLst"):
                child[1] = _SQREF.sub(longer, child[1])
        name, filter_ = self.new.sheet, self.sheet.get("autoFilter")
        if filter_ is not None:
            area = Area.of(attributes(filter_)["ref"])
            grown = self.new.grown(area, self.target)
            if grown != area:
                self.sheet.replace("autoFilter", [with_attributes(filter_, ref=str(grown))], SHEET_ORDER)
                if "_xlnm._FilterDatabase" in self.book.sheet_names(name):
                    self.book.set_name("_xlnm._FilterDatabase", f"{sheet_reference(name)}!{grown.absolute}", name, True)
        if b"<filterColumn" in (filter_ or b"") or (self.table is not None and self.table.filtered):
            self.told.append(self.new.filter_is_set())
        for _, area in sheet_areas(self.book.sheet_names(name).get("_xlnm.Print_Area", "")):
            if self.new.grown(area, self.target) != area:
                self.told.append(self.new.not_printed(area))

    def _long(self, text: str) -> str:
        try:
            area = Area.of(text)
        except ValueError:  # whole columns or rows
            return text
        grown = self.new.grown(area, self.target)
        return text if grown == area else str(grown)
