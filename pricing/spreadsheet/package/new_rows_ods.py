"""New rows below those on the owner's own sheets of an .ods: content.xml spliced as text, all else as it was.

Names and rules of OASIS OpenDocument 1.3, part 3 (schema), section 9 (tables; runs of equal rows and cells are written
once with a count), and part 4 (OpenFormula), section 5 (references).
"""

from __future__ import annotations

import datetime as dt
import re
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

from pricing.spreadsheet.package.additions import MOST_ROWS, NewRows, Value
from pricing.spreadsheet.package.archive import Archive
from pricing.spreadsheet.package.areas import Area, letters
from pricing.spreadsheet.package.book import NotKept
from pricing.spreadsheet.package.markup import attributes, plain, quoted, start_tag, with_attributes
from pricing.spreadsheet.tables import NOT_IN_XML

_IN_TAG = rb"(?:[^>\"']|\"[^\"]*\"|'[^']*')*?"
_ROW = re.compile(rb"<table:table-row(?=[\s/>])%s(?:/>|>.*?</table:table-row>)" % _IN_TAG, re.DOTALL)
_CELL = re.compile(rb"<table:(?:covered-)?table-cell(?=[\s/>])%s(?:/>|>.*?</table:(?:covered-)?table-cell>)" % _IN_TAG,
                   re.DOTALL)
_COLUMN = re.compile(rb"<table:table-column(?=[\s/>])%s/?>" % _IN_TAG)
_TABLE = re.compile(rb"<table:table(?=[\s>])%s>" % _IN_TAG)
_RANGE = re.compile(rb"(<(?:table:database-range|calcext:conditional-format)\s%starget-range-address=\")([^\"]*)"
                    % _IN_TAG)
_FILTERED = re.compile(rb"<table:database-range\s%starget-range-address=\"([^\"]*)\"(?:(?!</table:database-range>).)*?"
                       rb"<table:filter" % _IN_TAG, re.DOTALL)
_ROWS, _COLUMNS = "table:number-rows-repeated", "table:number-columns-repeated"
_STYLE, _OFFER = "table:style-name", "table:content-validation-name"
_OVER_ROWS = re.compile(r"\[\.\$?[A-Z]{1,3}\$?(\d+):\.\$?[A-Z]{1,3}\$?(\d+)\]")
_DRAWN_TOGETHER = re.compile("\t|^ +| +$|(?<= ) +")
_PREFIXES = {b"table": b"table:1.0", b"office": b"office:1.0", b"text": b"text:1.0"}
_NAMESPACES = b"urn:oasis:names:tc:opendocument:xmlns:"
_DATE_STYLE = "added_date"
_DATE = b"""<number:date-style xmlns:number="%sdatastyle:1.0" xmlns:style="%sstyle:1.0" style:name="%s">\
<number:year number:style="long"/><number:text>-</number:text><number:month number:style="long"/>\
<number:text>-</number:text><number:day number:style="long"/></number:date-style>""" % (
    _NAMESPACES, _NAMESPACES, _DATE_STYLE.encode())


def with_new_rows_ods(owner: bytes, additions: Iterable[NewRows]) -> tuple[bytes, list[str]]:
    """As with_new_rows, for an .ods: only content.xml changes."""
    told: list[str] = []
    try:
        archive = Archive.of(owner)
        if "META-INF/documentsignatures.xml" in archive:
            raise NotKept("the file carries a digital signature, which any change would break. Use a copy saved "
                          "without the signature.")
        content = archive.read("content.xml")
        root = attributes(content[content.index(b"<office:document-content"):])
        if b"<!" in content or any(root.get(f"xmlns:{prefix.decode()}", "").encode() != _NAMESPACES + name
                                   for prefix, name in _PREFIXES.items()):
            raise NotKept("its content is written in a way that is not known here. Save it once in LibreOffice and try "
                          "again.")
        for one in additions:
            table = _Table(content, archive.read("styles.xml") if "styles.xml" in archive else b"", one)
            content = table.with_rows()
            told += table.told
        return archive.with_parts({"content.xml": content}), told
    except (LookupError, ValueError, RuntimeError, zlib.error, zipfile.BadZipFile) as error:
        raise NotKept(f"its parts do not fit together ({type(error).__name__}: {error}). Save it once in LibreOffice "
                      "and try again.") from error


@dataclass(frozen=True)
class _Run:
    """Equal rows, written once: the first's number, how many, and where the element stands in the content."""

    number: int
    count: int
    element: bytes
    start: int

    @property
    def last(self) -> int:
        return self.number + self.count - 1

    def times(self, count: int) -> bytes:
        """So many of them."""
        return with_attributes(self.element, **{_ROWS: str(count) if count > 1 else None})

    def cells(self) -> Iterator[tuple[int, int, bytes]]:
        """(first column, how many, element) of every run of equal cells."""
        at = 1
        for cell in _CELL.findall(self.element):
            count = int(attributes(cell).get(_COLUMNS, 1))
            yield at, count, cell
            at += count


@dataclass
class _Table:
    """One sheet on its way to new rows: the whole content, and styles.xml."""

    content: bytes
    styles: bytes
    new: NewRows
    told: list[str] = field(default_factory=list)
    dated: dict[str, bytes] = field(default_factory=dict)  # styles to be written
    shows_dates: dict[str, bool] = field(default_factory=dict)

    def with_rows(self) -> bytes:
        """The content with the rows in it."""
        new = self.new
        opening = next(met for met in _TABLE.finditer(self.content)
                       if attributes(met.group()).get("table:name") == new.sheet)
        end = self.content.index(b"</table:table>", opening.end())
        about = attributes(opening.group())
        if about.get("table:protected") == "true":
            raise new.refused("is protected. Take the protection off")
        if _TABLE.search(self.content, opening.end(), end) or b"<table:table>" in self.content[opening.end():end]:
            raise new.refused("holds a table within a cell. Save the file once in LibreOffice")
        runs, number = [], 1
        for met in _ROW.finditer(self.content, opening.end(), end):
            count = int(attributes(met.group()).get(_ROWS, 1))
            runs.append(_Run(number, count, met.group(), met.start()))
            number += count
        last = self._last_filled(runs)
        self.target = Area(last + 1, new.first, last + len(new.rows), new.last)
        if self.target.bottom > MOST_ROWS:
            raise new.no_room()
        self.columns = self.content[opening.end(): runs[0].start]
        self.told.append(new.added(self.target))
        rows = self._rows(runs)
        met = [run for run in runs if run.last >= self.target.top and run.number <= self.target.bottom]
        start = met[0].start if met else runs[-1].start + len(runs[-1].element)
        stop = met[-1].start + len(met[-1].element) if met else start
        if _closed_up(b"".join(run.element for run in met)) != _closed_up(self.content[start:stop]):
            raise new.refused("has rows in groups where the new rows need room. Take the grouping off")
        for area in self._areas(about.get("table:print-ranges", "")):
            if new.grown(area, self.target) != area:
                self.told.append(new.not_printed(area))
        content = self.content[:start] + rows + self.content[stop:]
        content = _RANGE.sub(lambda one: one[1] + quoted(self._grown(plain(one[2]))).replace("'", "&apos;").encode()
                             if self._areas(plain(one[2])) else one.group(), content)
        if any(self._areas(plain(one)) for one in _FILTERED.findall(self.content)):
            self.told.append(new.filter_is_set())
        return self._with_styles(content)

    # where

    def _last_filled(self, runs: list[_Run]) -> int:
        """The last whole row, and rows right below it that are begun."""
        last = self.new.last_row
        for run in runs:
            if not run.number <= last + 1 <= run.last:
                continue
            met = [cell for first, count, cell in run.cells()
                   if _has_content(cell) and first <= self.new.last and first + count > self.new.first]
            if any(b" table:formula=" not in start_tag(cell) for cell in met):
                if any(_sums(cell) for cell in met):
                    raise self.new.sums_above(last + 1)
                last = run.last
        return last

    # cells

    def _rows(self, runs: list[_Run]) -> bytes:
        """The new rows, and what the runs of rows they come out of leave above and below."""
        target, written = self.target, bytearray()
        above = [run for run in runs if self.new.head_row < run.last and run.number < target.top][-40:]
        looks, dates = self._looks(above)
        formulas = self._formulas(runs)
        at = target.top
        for run in runs:
            if run.last < target.top or run.number > target.bottom:
                continue
            if run.number < target.top:
                written += run.times(target.top - run.number)
            while at <= min(run.last, target.bottom):
                written += self._row(run, at, looks, dates, formulas)
                at += 1
            if run.last > target.bottom:
                written += run.times(run.last - target.bottom)
        style = attributes(runs[-1].element).get(_STYLE)
        plain_row = b"<table:table-row%s/>" % (f' {_STYLE}="{quoted(style)}"'.encode() if style else b"")
        for number in range(at, target.bottom + 1):
            written += self._row(_Run(number, 1, plain_row, 0), number, looks, dates, formulas)
        return bytes(written)

    def _row(self, run: _Run, at: int, looks: dict, dates: dict, formulas: dict) -> bytes:
        """One new row out of the one that stands there."""
        values = self.new.rows[at - self.target.top]
        left, middle, right = bytearray(), {}, bytearray()
        reached = 0
        for first, count, cell in run.cells():
            last = reached = first + count - 1
            if first < self.target.left:
                left += _times(cell, min(last, self.target.left - 1) - first + 1)
            for column in self._columns(first, count):
                middle[column] = _times(cell, 1)
            if last > self.target.right:
                right += _times(cell, last - max(first, self.target.right + 1) + 1)
        if reached < self.target.left - 1:
            left += _times(b"<table:table-cell/>", self.target.left - 1 - reached)
        for column in range(self.target.left, self.target.right + 1):
            old, value = middle.get(column, b"<table:table-cell/>"), values.get(column)
            formula = b" table:formula=" in start_tag(old)
            if _sums(old):
                raise self.new.sums_above(at)
            if _is_merged(old) or _has_content(old) and (not formula or value is not None):
                raise self.new.taken(at, column)
            if value is not None:
                middle[column] = self._cell(value, _looks_of(old), column, looks, dates)
            elif not formula:
                goes_on = formulas[column](at - self.target.top + 1) if column in formulas else None
                middle[column] = _cell({**looks.get(column, {}), **_looks_of(old)}, formula=goes_on)
        tag = re.sub(rb"/>$", b">", start_tag(with_attributes(run.element, **{_ROWS: None, "table:visibility": None})))
        return b"".join([tag, left, *(middle[column] for column in sorted(middle)), right, b"</table:table-row>"])

    def _columns(self, first: int, count: int) -> range:
        """Those under the headings of so many columns from `first` on."""
        return range(max(first, self.target.left), min(first + count - 1, self.target.right) + 1)

    def _cell(self, value: Value, old: dict[str, str], column: int, looks: dict, dates: dict) -> bytes:
        about = {**looks.get(column, {}), **old}
        if not isinstance(value, dt.date):
            return _cell(about, value)
        style = about.get(_STYLE) or self._style_of_column(column)
        if not self._shows_dates(style):
            about[_STYLE] = dates.get(column) or self._dated(style)
        return _cell(about, value)

    def _looks(self, above: list[_Run]) -> tuple[dict[int, dict[str, str]], dict[int, str]]:
        """Of every column the look of the nearest cell above, and the style of the nearest date."""
        looks: dict[int, dict[str, str]] = {}
        dates: dict[int, str] = {}
        for run in reversed(above):
            for first, count, cell in run.cells():
                met = attributes(cell)
                for column in self._columns(first, count):
                    looks.setdefault(column, _looks_of(cell))
                    if met.get("office:value-type") == "date" and _STYLE in met:
                        dates.setdefault(column, met[_STYLE])
        return looks, dates

    def _formulas(self, runs: list[_Run]) -> dict[int, Callable[[int], str | None]]:
        """For every column whose formula goes on: the formula so many rows below the last one."""
        last, found = self.target.top - 1, {}
        if last <= self.new.head_row:
            return found
        seen = {}
        for row in (last - 1, last):
            run = next(run for run in runs if run.number <= row <= run.last)
            seen[row] = {column: attributes(cell) for first, count, cell in run.cells()
                         for column in self._columns(first, count)}
        for column, met in seen[last].items():
            formula, over = met.get("table:formula"), seen[last - 1].get(column, {}).get("table:formula", "")
            if formula is None:
                continue
            matrix = "table:number-matrix-rows-spanned" in met
            if not matrix and moved(formula, 0) and (last - 1 == self.new.head_row or moved(over, 1) == formula):
                found[column] = lambda rows, formula=formula: moved(formula, rows)
            elif all(row.get(column) is None for row in self.new.rows):
                self.told.append(self.new.not_carried_on(f"{letters(column)}{last}"))
        return found

    # styles

    def _style_of_column(self, column: int) -> str:
        at = 1
        for one in _COLUMN.findall(self.columns):
            met = attributes(one)
            at += int(met.get(_COLUMNS, 1))
            if column < at:
                return met.get("table:default-cell-style-name", "Default")
        return "Default"

    def _styled(self, name: str) -> bytes | None:
        """The element of a cell style."""
        pattern = re.compile(rb"<style:style(?=\s)%sstyle:name=\"%s\"%s(?:/>|>.*?</style:style>)"
                             % (_IN_TAG, re.escape(quoted(name).encode()), _IN_TAG), re.DOTALL)
        met = pattern.search(self.content) or pattern.search(self.styles)
        return met.group() if met else None

    def _shows_dates(self, name: str) -> bool:
        """Whether a style or one of its parents has a date's number format."""
        if name not in self.shows_dates:
            style = attributes(self._styled(name) or b"<none/>")
            data, parent = style.get("style:data-style-name"), style.get("style:parent-style-name")
            if data is None:
                self.shows_dates[name] = parent not in (None, name) and self._shows_dates(parent)
            else:
                date = re.compile(rb"<number:date-style\s%sstyle:name=\"%s\"" % (_IN_TAG, re.escape(data.encode())))
                self.shows_dates[name] = any(date.search(text) for text in (self.content, self.styles))
        return self.shows_dates[name]

    def _dated(self, name: str) -> str:
        """The name of a style like this one that shows dates."""
        new = f"{_DATE_STYLE}_{re.sub('[^A-Za-z0-9_]', '_', name)}"
        if new not in self.dated:
            style = self._styled(name)
            if style is None or style in self.styles:  # one of the document's own, which others build on
                style = f'<style:style style:family="table-cell" style:parent-style-name="{quoted(name)}"/>'.encode()
            about = {"xmlns:style": f"{_NAMESPACES.decode()}style:1.0", "style:name": new,
                     "style:data-style-name": _DATE_STYLE}
            self.dated[new] = with_attributes(style, **about)
        return new

    def _with_styles(self, content: bytes) -> bytes:
        added = [style for name, style in self.dated.items() if self._styled(name) is None]
        if not added:
            return content
        date = b"" if b'style:name="%s"' % _DATE_STYLE.encode() in content else _DATE
        styles = date + b"".join(added)
        if b"</office:automatic-styles>" in content:
            return content.replace(b"</office:automatic-styles>", styles + b"</office:automatic-styles>", 1)
        content = re.sub(rb"<office:automatic-styles\s*/>", b"", content, count=1)
        return content.replace(b"<office:body", b"<office:automatic-styles>%s</office:automatic-styles><office:body"
                               % styles, 1)

    # ranges

    @property
    def _address(self) -> re.Pattern[str]:
        name = re.escape(self.new.sheet.replace("'", "''"))
        sheet = rf"\$?(?:'{name}'|{name})\."
        return re.compile(rf"({sheet})(\$?[A-Z]{{1,3}}\$?\d+)(:(?:{sheet}|\.)?)(\$?[A-Z]{{1,3}}\$?)(\d+)")

    def _areas(self, addresses: str) -> list[Area]:
        """Areas of this sheet among addresses."""
        return [Area.of(f"{met[2]}:{met[4]}{met[5]}") for met in self._address.finditer(addresses)]

    def _grown(self, addresses: str) -> str:
        def longer(met: re.Match[str]) -> str:
            bottom = self.new.grown(Area.of(f"{met[2]}:{met[4]}{met[5]}"), self.target).bottom
            return f"{met[1]}{met[2]}{met[3]}{met[4]}{bottom}"

        return self._address.sub(longer, addresses)


def moved(formula: str, rows: int) -> str | None:
    """An OpenFormula formula so many rows further down; "" or None for one that cannot be moved with certainty."""
    if not formula.startswith("of:="):
        return None
    parts = re.split(r'("(?:[^"]|"")*")', formula)
    for at in range(0, len(parts), 2):  # what stands between quotation marks stays
        if any("'" in one for one in re.findall(r"\[[^\]]*\]", parts[at])):
            return None
        parts[at] = re.sub(r"\[[^\]]*\]", lambda met: re.sub(
            r"\.(\$?[A-Z]{1,3})(\d+)", lambda one: f".{one[1]}{int(one[2]) + rows}", met.group()), parts[at])
    return "".join(parts)


def _closed_up(text: bytes) -> bytes:
    return re.sub(rb">\s+<", b"><", text)


def _sums(cell: bytes) -> bool:
    formula = attributes(cell).get("table:formula", "")
    return any(top != bottom for top, bottom in _OVER_ROWS.findall(formula))


def _has_content(cell: bytes) -> bool:
    tag = start_tag(cell)
    return (b"value-type=" in tag or b" table:formula=" in tag
            or re.fullmatch(rb"(?:\s*</[^>]*>)?\s*", cell[len(tag):]) is None)


def _is_merged(cell: bytes) -> bool:
    tag = start_tag(cell)
    return tag.startswith(b"<table:covered") or b"-spanned=" in tag


def _times(cell: bytes, count: int) -> bytes:
    return with_attributes(cell, **{_COLUMNS: str(count) if count > 1 else None})


def _looks_of(cell: bytes) -> dict[str, str]:
    met = attributes(cell)
    return {name: met[name] for name in (_STYLE, _OFFER) if name in met}


def _cell(about: dict[str, str], value: Value = None, formula: str | None = None) -> bytes:
    """A cell element, text always as text; characters that no XML can hold become the sign for such."""
    about, shown = dict(about), ""
    if formula is not None:
        about["table:formula"] = formula
    elif isinstance(value, dt.date):
        whole = not isinstance(value, dt.datetime) or value.time() == dt.time()
        shown = f"{value:%Y-%m-%d}" if whole else f"{value:%Y-%m-%dT%H:%M:%S}"
        about |= {"office:value-type": "date", "office:date-value": shown}
    elif isinstance(value, str):
        about["office:value-type"], shown = "string", NOT_IN_XML.sub("\ufffd", value)
        if "\t" in value:  # LibreOffice and others read no tabs out of paragraphs
            about["office:string-value"] = shown
    elif value is not None:
        about |= {"office:value-type": "float", "office:value": repr(value)}
        shown = f"{value:g}"
    tag = "".join(f' {name}="{quoted(text)}"' for name, text in about.items())
    return f"<table:table-cell{tag}>{_paragraphs(shown)}</table:table-cell>".encode() if shown else (
        f"<table:table-cell{tag}/>".encode())


def _paragraphs(text: str) -> str:
    """`text` in paragraphs: a line each, spaces and tabs as elements where plain ones would be drawn together."""
    def spaced(met: re.Match[str]) -> str:
        return "<text:tab/>" if met.group() == "\t" else f'<text:s text:c="{len(met.group())}"/>'

    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    lines = [_DRAWN_TOGETHER.sub(spaced, escape(line)) for line in lines]
    return "".join(f"<text:p>{line}</text:p>" for line in lines)
