"""Opening a shop's file: xlsx, xlsm, ods, one CSV (Sales) or a folder of CSVs named after the tables.

Sizes are checked before anything is unpacked: a workbook of a few kilobytes can claim billions of cells.
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from pricing.shop_tables.cells import RUNS
from pricing.shop_tables.headings import table_of_sheet
from pricing.shop_tables.letters import decode

MOST_UNPACKED_BYTES = 600_000_000
# Sheets of rows all alike unpack to some fifty times their size; only a large part is looked at.
MOST_TIMES_UNPACKED, LARGE_PART_BYTES = 300, 20_000_000
MOST_CELLS = 30_000_000
_MACROS_OF_ODS = ("Basic", "Dialogs")  # LibreOffice writes them with a document type; nothing reads them here
WORKBOOKS = (".xlsx", ".xlsm", ".ods")
_TEXTS = (".csv", ".txt", ".tsv")
_STATED = re.compile(r"""(?i)("?)sep=([,;\t|])\1(?=[\r\n])""")
_END = "end of the text"


class ShopFileError(Exception):
    """A file that cannot be read at all. The message names the file, what was met and what would mend it.

    `path` is the file, `remedy` the last sentence of the message.
    """

    def __init__(self, path: Path | str, what: str, remedy: str) -> None:
        self.path, self.remedy = Path(path), remedy
        super().__init__(f"{path}: {what} {remedy}")


class RawSheet(NamedTuple):
    """One sheet as it stands: `rows` from row 1 of the sheet, cells as Python values, "" or None where blank.

    Of a text file, `code` and `separator` are those it was read by; where the file does not settle its code, `guessed`
    names that as well, and `example` a word read so.
    """

    name: str
    rows: list[list[Any]]
    guessed: str = ""
    example: str = ""
    code: str = ""
    separator: str = ""


def read_every_sheet(path: Path | str) -> list[RawSheet]:
    """Every sheet of a file to import, whatever its name; a text file is one sheet called as the file.

    ShopFileError when the file cannot be read, or its cells cannot be told apart.
    """
    path = Path(path)
    if path.is_dir():
        raise ShopFileError(path, "this is a folder.", "Name the files in it.")
    _must_exist(path)
    if path.suffix.casefold() in _TEXTS:
        return [_csv_sheet(path.stem, path, whole=True)]
    if path.suffix.casefold() in WORKBOOKS:
        return _read_workbook(path, lambda name: True)
    raise _no_kind(path)


def read_sheets(path: Path | str, may_be_empty: bool = False) -> list[RawSheet]:
    """Every sheet of a shop's file that is named after a table. ShopFileError when the file cannot be read; a workbook
    without Sales too, unless it may be empty.
    """
    path = Path(path)
    if path.is_dir():
        return _read_folder(path)
    _must_exist(path)
    if path.suffix.casefold() in _TEXTS:
        return [_csv_sheet("Sales", path)]
    if path.suffix.casefold() in WORKBOOKS:
        return _read_workbook(path, lambda name: table_of_sheet(name) is not None, need_sales=not may_be_empty)
    raise _no_kind(path)


def _must_exist(path: Path) -> None:
    if not path.exists():
        raise ShopFileError(path, "there is no such file.", "Check the name and the folder.")
    if not path.is_file():
        raise ShopFileError(path, "this is not a file of bytes but a pipe or device, or a folder.",
                            "Name the file itself.")


def _no_kind(path: Path) -> ShopFileError:
    ending = path.suffix.casefold()
    return ShopFileError(path, f"'{ending or 'no ending'}' is not a kind of file that is read here.",
                         "Save it as .xlsx, .ods or .csv.")


def _read_folder(path: Path) -> list[RawSheet]:
    sheets = []
    for one in sorted(path.iterdir()):
        table = table_of_sheet(one.stem) if one.suffix.casefold() == ".csv" else None
        if table:
            sheets.append(_csv_sheet(table if one.stem.casefold() == table.casefold() else one.stem, one))
    if not sheets:
        raise ShopFileError(path, "the folder holds no CSV named after a table.",
                            "Name the files Sales.csv, Stock.csv and so on.")
    return sheets


def _csv_sheet(name: str, path: Path, whole: bool = False) -> RawSheet:
    """A CSV in any of the codes of letters.py, separated by comma, semicolon, tab or bar. `whole`: refused where a
    quotation mark is never closed, because the rows behind it are one cell then.
    """
    size = path.stat().st_size
    if size > MOST_UNPACKED_BYTES:
        raise ShopFileError(
            path, f"the file has {size:,} bytes, more than is read at once.", "Split it by year."
        )
    data = path.read_bytes()
    if data[:4] == b"PK\x03\x04":
        raise ShopFileError(
            path, "the file is named .csv but holds a workbook.", "Rename it to .xlsx or .ods."
        )
    text, guessed, example, code = decode(data)
    if not text.strip():
        raise ShopFileError(path, "the file is empty.", "Export the table again.")
    stated = _STATED.match(text)  # a first line for the spreadsheet program: "sep=;"
    separator = stated.group(2) if stated else _delimiter(text)
    text = text if stated is None else text[stated.end():]
    try:
        rows = [list(row) for row in csv.reader(io.StringIO(text, newline=""), delimiter=separator)]
    except csv.Error as error:
        raise ShopFileError(path, f"the text cannot be split into cells ({error}).",
                            "Look for a quotation mark that is never closed, and export again.") from error
    if "'" in text:
        # with which CSV writers, ours among them, keep text from running as a formula
        rows = [[cell[1:] if cell[:1] == "'" and RUNS.match(cell, 1) else cell for cell in row] for row in rows]
    if whole and '"' in text and (line := _never_closed(text, separator)):
        raise ShopFileError(path, f"a quotation mark in the row that begins in line {line:,} is never closed, so the "
                            "rows behind it cannot be told apart.", "Close or delete that mark, and import again.")
    return RawSheet(name, rows, guessed, example, code, separator)


def _never_closed(text: str, separator: str) -> int:
    """Line where the row begins that runs on to the end of the text for want of a quotation mark, 0 where none does."""
    line = next_line = 1
    reader = csv.reader(io.StringIO(f"{text}\n{_END}", newline=""), delimiter=separator)
    for row in reader:
        if row == [_END]:
            return 0
        line, next_line = next_line, reader.line_num + 1
    return line


def _delimiter(text: str) -> str:
    """The mark that splits the first lines most often and most evenly."""
    lines = [line for line in text[:20_000].splitlines() if line.strip()][:10]
    best, delimiter = (0, 0), ","
    for mark in ",;\t|":
        counts = sorted(line.count(mark) for line in lines)
        score = (counts[len(counts) // 2], counts[-1])
        if score > best:
            best, delimiter = score, mark
    head = next((line for line in lines if any(mark in line for mark in ",;\t|")), "")
    # decimal commas may outnumber the semicolons of the heading
    return ";" if delimiter == "," and head.count(";") > head.count(",") else delimiter


def _read_workbook(path: Path, wanted: Callable[[str], bool], need_sales: bool = False) -> list[RawSheet]:
    """The sheets whose names are wanted."""
    from python_calamine import CalamineError, CalamineWorkbook, PasswordError, SheetTypeEnum

    _check_workbook(path, wanted)
    try:
        with CalamineWorkbook.from_path(str(path)) as book:
            names = [meta.name for meta in book.sheets_metadata if meta.typ == SheetTypeEnum.WorkSheet]
            if need_sales and not any(table_of_sheet(name) == "Sales" for name in names):
                raise ShopFileError(
                    path,
                    f"there is no sheet named Sales; sheets met: {', '.join(names) or 'none'}.",
                    "Name the sheet that lists your sales 'Sales'.",
                )
            return [
                RawSheet(name, book.get_sheet_by_name(name).to_python(skip_empty_area=False))
                for name in names if wanted(name)
            ]
    except PasswordError as error:
        raise ShopFileError(
            path, "the workbook is locked with a password.", "Save it without one."
        ) from error
    except (CalamineError, OSError, ValueError, zipfile.BadZipFile) as error:
        raise _damaged(path, error) from error


def _damaged(path: Path, error: Exception | str) -> ShopFileError:
    return ShopFileError(path, f"the workbook is damaged or incomplete ({error}).",
                         "Open it in a spreadsheet, save it under a new name, and use that.")


def _check_workbook(path: Path, wanted: Callable[[str], bool]) -> None:
    """Refuses what is no workbook, what is too large unpacked, and sheets that claim absurd ranges."""
    with path.open("rb") as file:
        start = file.read(8)
    if not start:
        raise ShopFileError(path, "the file is empty.", "Save the workbook again.")
    if start[:4] == b"\xd0\xcf\x11\xe0":
        raise ShopFileError(path, "the file is an old .xls workbook or is locked with a password.",
                            "Save it as .xlsx without a password.")
    if start[:2] != b"PK":
        raise ShopFileError(
            path,
            f"the file is named {path.suffix} but is not a workbook; it begins as text or something else.",
            "If it is a text table rename it to .csv, otherwise save it again as .xlsx.",
        )
    try:
        with zipfile.ZipFile(path) as book:
            size = sum(part.file_size for part in book.infolist())
            if size > MOST_UNPACKED_BYTES:
                raise ShopFileError(
                    path,
                    f"unpacked the workbook would take {size:,} bytes, more than {MOST_UNPACKED_BYTES:,}.",
                    "Split it, or remove what does not belong.",
                )
            _check_parts(path, book)
            if path.suffix.casefold() == ".ods":
                _check_ods(path, book)
            else:
                for name, part in _sheet_parts(book):
                    if wanted(name):
                        _check_sheet(path, name, book.read(part))
    except ShopFileError:
        raise
    except Exception as error:  # zipfile and zlib raise many kinds; each means the same to the owner
        raise _damaged(path, error) from error


def _check_parts(path: Path, book: zipfile.ZipFile) -> None:
    """Refuses parts whose names climb out of the workbook, that declare entities or unpack to absurd sizes: no
    spreadsheet writes such.
    """
    for info in book.infolist():
        places = info.filename.replace("\\", "/").split("/")
        if ".." in places or not places[0] or places[0].endswith(":"):
            raise ShopFileError(path, f"the workbook holds a part named '{info.filename}', outside itself.",
                                "Do not open it; ask the sender for a workbook saved anew.")
        if info.file_size > max(LARGE_PART_BYTES, MOST_TIMES_UNPACKED * info.compress_size):
            raise ShopFileError(path, f"the part '{info.filename}' unpacks to {info.file_size:,} bytes, far more than "
                                "any sheet does for its size.",
                                "Do not open it; ask the sender for a workbook saved anew.")
        if info.filename.casefold().endswith((".xml", ".rels")) and places[0] not in _MACROS_OF_ODS:
            with book.open(info) as part:
                if b"<!DOCTYPE" in part.read(1024):
                    raise ShopFileError(path, f"the part '{info.filename}' declares a document type.",
                                        "Do not open it; ask the sender for a workbook saved anew.")


def _sheet_parts(book: zipfile.ZipFile) -> list[tuple[str, str]]:
    """(sheet name, part) of every sheet of an xlsx."""
    from defusedxml import ElementTree

    targets = {}
    for relation in ElementTree.fromstring(book.read("xl/_rels/workbook.xml.rels")):
        target = relation.get("Target", "")
        targets[relation.get("Id")] = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    parts = []
    for node in ElementTree.fromstring(book.read("xl/workbook.xml")).iter():
        if node.tag.rpartition("}")[2] == "sheet":
            ids = [value for name, value in node.attrib.items() if name.rpartition("}")[2] == "id"]
            part = targets.get(ids[0]) if ids else None
            if part in book.NameToInfo:
                parts.append((node.get("name", ""), part))
    return parts


_REFERENCE = re.compile(rb"""[\s]r=["']([A-Z]{0,3})(\d{1,10})["']""")
_DIMENSION = re.compile(rb"""dimension[^>]*?ref=["'](?:[A-Z]+\d+:)?([A-Z]{1,3})(\d{1,10})["']""")


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _check_sheet(path: Path, name: str, xml: bytes) -> None:
    """Counts the cells between A1 and the farthest one any cell of an xlsx sheet names."""
    stated = _DIMENSION.search(xml[:4096])
    row, column = (int(stated.group(2)), _column_number(stated.group(1))) if stated else (0, 0)
    if row * max(column, 1) <= MOST_CELLS:
        met = set(_REFERENCE.findall(xml))
        row = max((int(number) for _, number in met), default=0)
        column = max((_column_number(letters) for letters in {letters for letters, _ in met}), default=0)
    if row * max(column, 1) > MOST_CELLS:
        raise _reaches_too_far(path, name, row, column)


def _reaches_too_far(path: Path, name: str, row: int, column: int) -> ShopFileError:
    return ShopFileError(
        path,
        f"the sheet '{name}' reaches to row {row:,} and column {column:,}, {row * column:,} cells.",
        "Delete the stray cells far right or far below the table (select the empty rows and columns, delete, "
        "save).",
    )


_ODS_TABLE = re.compile(rb'<table:table [^>]*?table:name="([^"]*)".*?</table:table>', re.DOTALL)
_ODS_ROW = re.compile(rb"<table:table-row([^>]*?)(?:/>|>(.*?)</table:table-row>)", re.DOTALL)
_ODS_CELL = re.compile(rb"<table:(?:covered-)?table-cell([^>]*)>")
_ODS_REPEATED = re.compile(rb'-repeated="(\d{1,10})"')


def _check_ods(path: Path, book: zipfile.ZipFile) -> None:
    """Counts the cells up to the last filled one of every sheet: blanks and copies are stored as one with a
    count.
    """
    for table in _ODS_TABLE.finditer(book.read("content.xml")):
        last_row = last_column = at_row = 0
        for row in _ODS_ROW.finditer(table.group()):
            at_row += _repeats(row.group(1))
            if b"office:value-type" in (row.group(2) or b""):
                last_row = at_row
                last_column = max(last_column, _ods_width(row.group(2)))
        if last_row * last_column > MOST_CELLS:
            raise _reaches_too_far(path, table.group(1).decode("utf-8", "replace"), last_row, last_column)


def _ods_width(row: bytes) -> int:
    """Position of the last filled cell of a row."""
    if b"-repeated" not in row:
        return row.count(b"<table:table-cell")
    last = at = 0
    for cell in _ODS_CELL.finditer(row):
        at += _repeats(cell.group(1))
        if b"office:value-type" in cell.group(1):
            last = at
    return last


def _repeats(attributes: bytes) -> int:
    met = _ODS_REPEATED.search(attributes)
    return int(met.group(1)) if met else 1


def is_empty(cell: Any) -> bool:
    """True for a cell nobody typed in."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def filled_rows(rows: Sequence[Sequence[Any]], after: int) -> list[tuple[int, Sequence[Any]]]:
    """(row number, cells) of the rows below row number `after` that hold anything."""
    return [
        (number, row) for number, row in enumerate(rows, 1) if number > after and not all(map(is_empty, row))
    ]
