"""Files from strangers: each is refused in words, or read with nothing but its cells, in seconds and little memory."""

import io
import json
import random
import struct
import subprocess
import sys
import zipfile
import zlib
from pathlib import Path

import openpyxl
import pytest

import pricing

HERE = Path(__file__).parent
MOST_S, MOST_MB = 5.0, 1_024
FUZZED, FUZZED_IN_FULL = 60, 600
LAUGHS = ('<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "ha">'
          + "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefgh", "bcdefghi")) + "]>")
OUTSIDE = '<?xml version="1.0"?><!DOCTYPE l [<!ENTITY i SYSTEM "file:///etc/hostname">]>'


def read(*paths, book=None):
    """[name, outcome, words, seconds, MB] of every file, read in a child process: as a shop, or to be imported."""
    call = [sys.executable, HERE / "read_in_child.py", *([book] if book else [])]
    names = "".join(f"{one}\n" for one in paths)
    child = subprocess.run(call, input=names, capture_output=True, text=True, timeout=600)
    found = [json.loads(line) for line in child.stdout.splitlines()]
    assert len(found) == len(paths), f"the reader died at {paths[len(found)]}: {child.stderr[-300:]}"
    return found


def workbook(rows=()):
    """Bytes of a plain workbook with a Sales sheet."""
    book = openpyxl.Workbook()
    book.active.title = "Sales"
    for row in (["sold_on", "type", "price", "note"], ["2025-01-02", "EL84", 20, "plain"], *rows):
        book.active.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def with_parts(changes, content=None):
    """The workbook with parts replaced or added: name -> bytes, or a function of the old bytes."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content or workbook())) as old, \
            zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new:
        names = old.namelist()
        for name in [*names, *(name for name in changes if name not in names)]:
            change = changes.get(name)
            part = old.read(name) if name in names else b""
            new.writestr(name, part if change is None else change(part) if callable(change) else change)
    return buffer.getvalue()


SHEET, STRINGS = "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"


def after_declaration(declaration, words):
    """Puts a document type before the root of a part and an entity into its first text."""
    def change(part):
        body = part[part.index(b"?>") + 2:] if part.startswith(b"<?xml") else part
        return declaration.encode() + body.replace(b"plain", words.encode())
    return change


def a_liar():
    """A workbook whose shared strings unpack to 2 GB while the directory says 1,000 bytes."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = b"".join([packer.compress(b" " * (1 << 20)) for _ in range(2_000)] + [packer.flush()])
    content = with_parts({STRINGS: packed[:4]})
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        parts = [(info, book.read(info)) for info in book.infolist()]
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as new:
        for info, data in parts:
            new.writestr(info.filename, packed if info.filename == STRINGS else data)
    raw = bytearray(buffer.getvalue())
    for mark, method, sizes in ((b"PK\x03\x04", 8, 18), (b"PK\x01\x02", 10, 20)):
        at = raw.index(STRINGS.encode(), 0 if mark[2:3] == b"\x03" else raw.index(b"PK\x01\x02"))
        head = raw.rindex(mark, 0, at)
        struct.pack_into("<H", raw, head + method, 8)
        struct.pack_into("<II", raw, head + sizes, len(packed), 1_000)
    return bytes(raw)


def ods(content):
    """An .ods with this content.xml."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new:
        new.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet", zipfile.ZIP_STORED)
        new.writestr("content.xml", content)
        new.writestr("META-INF/manifest.xml", '<?xml version="1.0"?><manifest:manifest xmlns:manifest='
                     '"urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>')
    return buffer.getvalue()


ODS = ('<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" xmlns:table='
       '"urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0">'
       '<office:body><office:spreadsheet><table:table table:name="Sales"><table:table-row>'
       '<table:table-cell office:value-type="string"{}><text:p>plain</text:p></table:table-cell></table:table-row>'
       "</table:table></office:spreadsheet></office:body></office:document-content>")
FAR = ODS.format(' table:number-columns-repeated="16384"').replace(
    "<table:table-row>", '<table:table-row table:number-rows-repeated="1048576">')
STRAY = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
ATTACKS = {
    "laughs in the sheet.xlsx": lambda: with_parts({SHEET: after_declaration(LAUGHS, "&i;")}),
    "laughs in the texts.xlsx": lambda: with_parts({STRINGS: after_declaration(LAUGHS, "&i;")}),
    "laughs in the list of sheets.xlsx": lambda: with_parts({"xl/workbook.xml": after_declaration(LAUGHS, "&i;")}),
    "laughs.ods": lambda: ods(LAUGHS + ODS.format("").replace("plain", "&i;")),
    "a cell far out.xlsx": lambda: with_parts({SHEET: lambda part: part.replace(b"</sheetData>", STRAY)}),
    "a cell far out.ods": lambda: ods(FAR),
    "a bomb.xlsx": lambda: with_parts({SHEET: b"<worksheet>" + b" " * 700_000_000}),
    "a small bomb.xlsx": lambda: with_parts({STRINGS: b"<sst>" + b" " * 400_000_000}),
    "a bomb that lies.xlsx": a_liar,
    "a text.xlsx": lambda: b"sold_on,type,price\n",
    "nothing.xlsx": lambda: b"",
    "only a head.xlsx": lambda: b"PK\x03\x04",
    "no parts.xlsx": lambda: b"PK\x05\x06" + bytes(18),
    "half.xlsx": lambda: workbook()[:-400],
    "an outside entity.xlsx": lambda: with_parts({STRINGS: after_declaration(OUTSIDE, "&i;")}),
    "an outside entity.ods": lambda: ods(OUTSIDE + ODS.format("").replace("plain", "&i;")),
    "paths that climb.xlsx": lambda: with_parts({"../../climbed.txt": b"x"}),
    "a path from the root.xlsx": lambda: with_parts({"/tmp/climbed.txt": b"x"}),
}
HARMLESS = {
    "links to other files.xlsx": lambda: with_parts({"xl/externalLinks/externalLink1.xml": b"<externalLink/>"}),
}


@pytest.fixture(scope="module")
def met(tmp_path_factory):
    """What came of every attack, by name."""
    folder = tmp_path_factory.mktemp("hostile")
    for name, make in {**ATTACKS, **HARMLESS}.items():
        (folder / name).write_bytes(make())
    found = {Path(one[0]).name: one[1:] for one in read(*(folder / name for name in {**ATTACKS, **HARMLESS}))}
    assert sorted(path.name for path in folder.iterdir()) == sorted({**ATTACKS, **HARMLESS})  # nothing written
    assert not (folder.parent.parent / "climbed.txt").exists()
    return found


@pytest.mark.parametrize("name", ATTACKS)
def test_an_attack_is_refused_in_words(met, name):
    """ShopFileError with what was met and what would mend it, in seconds and little memory."""
    outcome, words, seconds, taken_mb = met[name]
    assert outcome == "refused" and name in words and words.endswith("."), (outcome, words)
    assert seconds < MOST_S and taken_mb < MOST_MB


def test_attacks_on_the_import(tmp_path):
    """Sheets of any name are checked before they are read for an import; damaged files are read or refused."""
    book = tmp_path / "book.xlsx"
    book.write_bytes(workbook())
    other = {"xl/workbook.xml": lambda part: part.replace(b'"Sales"', b'"Other"')}
    attacks = {"laughs in the sheet.xlsx": with_parts(other, ATTACKS["laughs in the sheet.xlsx"]()),
               "a cell far out.xlsx": with_parts(other, ATTACKS["a cell far out.xlsx"]()),
               "a cell far out.ods": ods(FAR.replace('"Sales"', '"Other"'))}
    for name, content in attacks.items():
        (tmp_path / name).write_bytes(content)
    (tmp_path / "damaged").mkdir()
    damaged = fuzzed(tmp_path / "damaged", FUZZED)
    for path, outcome, words, seconds, taken_mb in read(*(tmp_path / name for name in attacks), *damaged, book=book):
        assert outcome == "refused" or outcome == "read" and Path(path).name not in attacks, (path, outcome, words)
        assert seconds < MOST_S and taken_mb < MOST_MB, path


@pytest.mark.parametrize("name", HARMLESS)
def test_what_a_file_points_to_is_not_followed(met, name):
    """Refused, or read without what lies outside."""
    outcome, words, seconds, taken_mb = met[name]
    assert outcome in ("read", "refused"), words
    assert seconds < MOST_S and taken_mb < MOST_MB


def fuzzed(folder, count):
    """Files cut short or with bits turned, half .xlsx and half .ods or .csv."""
    draw = random.Random(count)
    whole = {".xlsx": workbook([["2025-01-03", "ECC83", 30, "more"]] * 40), ".ods": ods(ODS.format("")),
             ".csv": b"sold_on,type,price\n" + b"2025-01-02,EL84,20\n" * 40}
    for number in range(count):
        ending = draw.choice((".xlsx", ".xlsx", ".ods", ".csv"))
        data = bytearray(whole[ending])
        if draw.random() < 0.4:
            del data[draw.randrange(len(data)):]
        for _ in range(draw.randrange(1, 9) if data else 0):
            data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
        path = folder / f"{number}{ending}"
        path.write_bytes(data)
        yield path


@pytest.mark.parametrize("count", [FUZZED, pytest.param(FUZZED_IN_FULL, marks=pytest.mark.slow)])
def test_damaged_files_are_read_or_refused(tmp_path, count):
    """Never another exception, never long, never large."""
    for name, outcome, words, seconds, taken_mb in read(*fuzzed(tmp_path, count)):
        assert outcome in ("read", "refused"), (name, outcome, words)
        assert seconds < MOST_S and taken_mb < MOST_MB


def test_an_apostrophe_that_holds_text_down_is_taken_off(tmp_path):
    """What a CSV guards against running as a formula is read as it was typed; other apostrophes stay."""
    path = tmp_path / "sales.csv"
    path.write_text("date,type,price,sku,note\n2024-05-01,EL84,12.50,'=A1,'tis dear\n", encoding="utf-8")
    sale = pricing.read_shop(path).sales.iloc[0]
    assert (sale["sku"], sale["note"]) == ("=A1", "'tis dear")
