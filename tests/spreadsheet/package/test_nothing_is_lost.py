"""Workbooks with all a spreadsheet can hold: after our sheets came in and were refreshed, the rest is as it was."""

import difflib
import re
import struct
import zipfile

import openpyxl
import pytest
from spreadsheet.package.corpus import FEW, HAS_LIBREOFFICE, by_libreoffice, makers
from spreadsheet.package.package_check import findings, relations
from spreadsheet.package.stand_in_results import results

from pricing.spreadsheet.package.graft import grafted

# Parts that list other parts or styles and so change by nature; what may change in them is held below.
LISTS = {"xl/workbook.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml", "xl/styles.xml", "xl/calcChain.xml"}
COUNTED = rb"<(?:\w+:)?(fonts|fills|borders|numFmts|cellStyleXfs|cellXfs|cellStyles|dxfs|calcPr|definedNames)\b"
REFRESHES = ((5, None), (40, 2), (3, None))  # pieces in stock, problems


def raw_entries(path):
    """name -> (order, date, compressed bytes as they lie in the file)."""
    data = path.read_bytes()
    found = {}
    with zipfile.ZipFile(path) as file:
        for order, info in enumerate(file.infolist()):
            start = info.header_offset
            name, extra = struct.unpack("<HH", data[start + 26:start + 30])
            body = start + 30 + name + extra
            found[info.filename] = (order, info.date_time, data[body:body + info.compress_size])
    return found


def read(path):
    """name -> content of every part."""
    with zipfile.ZipFile(path) as file:
        return {name: file.read(name) for name in file.namelist()}


def ours(parts):
    """Names of the parts that belong to marked sheets: the sheets, and what they lead to."""
    book = openpyxl.xml.functions.fromstring(parts["xl/workbook.xml"])
    main = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
    marked = {re.match(r"'((?:[^']|'')*)'!", name.text)[1] for name in book.iter(f"{main}definedName")
              if name.get("name").startswith("result_sheet.")}
    rels = relations(parts, "xl/workbook.xml")
    id_ = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
    found, open_ = set(), [rels[one.get(id_)][1] for one in book.iter(f"{main}sheet") if one.get("name") in marked]
    while open_:
        part = open_.pop()
        if part not in found:
            found.add(part)
            folder, _, name = part.rpartition("/")
            found.add(f"{folder}/_rels/{name}.rels")
            open_ += [target for _, target in relations(parts, part).values()]
    return found


def taken_away(old, new):
    """Tags and texts of `old` that `new` lacks, but for counts and for the wish to calculate on opening."""
    split = re.compile(rb"<[^>]*>|[^<]+")
    one, other = split.findall(old), split.findall(new)
    lost = []
    for kind, start, end, _, _ in difflib.SequenceMatcher(None, one, other, autojunk=False).get_opcodes():
        if kind in ("delete", "replace"):
            lost += [text for text in one[start:end] if not re.match(COUNTED, text)]
    return lost


def hold(old, new):
    """Everything that was in the file `old` is in the file `new`."""
    before, after = read(old), read(new)
    raw_before, raw_after = raw_entries(old), raw_entries(new)
    mine = ours(after) if "xl/workbook.xml" in after else set()
    kept = [name for name in before if name not in LISTS]
    assert not [name for name in kept if name in mine], "a part of the owner's counts as ours"
    for name in kept:
        assert raw_after[name][1:] == raw_before[name][1:], f"{name} is not as it was"
    for name in LISTS & before.keys() - {"xl/calcChain.xml"}:
        assert not taken_away(before[name], after[name]), f"{name} lost something"
    orders = [raw_after[name][0] for name in before]
    assert orders == sorted(orders)
    assert after.keys() - before.keys() <= mine, "parts were added that belong to no sheet of ours"
    assert not [one for one in findings(new) if one not in findings(old)]


def refresh_thrice(path, folder):
    """The file after our sheets came in and after three refreshes; each time nothing else may have changed."""
    content = path.read_bytes()
    for number, size in enumerate((REFRESHES[0], *REFRESHES)):
        content, told = grafted(content, results(*size))
        assert told == []
        new = folder / f"{path.stem} {number}{path.suffix}"
        new.write_bytes(content)
        hold(path, new)
    return new


@pytest.mark.parametrize("name", FEW)
def test_a_few_workbooks_keep_everything(name, tmp_path):
    """Charts, pictures, sparklines, macros, slicers and more: byte for byte, dates and order of the parts too."""
    makers()[name](tmp_path / name)
    new = refresh_thrice(tmp_path / name, tmp_path)
    rows = openpyxl.load_workbook(new, read_only=True)["Price list"].iter_rows(min_row=7, max_col=2, values_only=True)
    assert [sku for _, sku in rows] == ["P1", "P2", "P3"]


@pytest.mark.slow
def test_all_workbooks_keep_everything(tmp_path):
    """Every workbook of the corpus, and each of them as LibreOffice saves it; LibreOffice opens the results."""
    made, last = [], []
    for name, make in makers().items():
        make(tmp_path / name)
        made.append(tmp_path / name)
    if HAS_LIBREOFFICE:
        for ending in ("xlsx", "xlsm"):
            of_kind = [path for path in made if path.suffix == f".{ending}"]
            saved = by_libreoffice(of_kind, tmp_path / "saved again", ending)
            made += [path for path in saved if path.exists()]
    assert len(made) >= 60
    folder = tmp_path / "new"
    for path in made:
        (folder / path.parent.name).mkdir(parents=True, exist_ok=True)
        last.append(refresh_thrice(path, folder / path.parent.name))
    print(f"{len(made)} workbooks kept everything over {len(REFRESHES)} refreshes")
    if HAS_LIBREOFFICE:
        for group in {path.parent for path in last}:
            files = [path for path in last if path.parent == group]
            opened = by_libreoffice(files, tmp_path / "opened" / group.name, "ods")
            missing = [path.name for path in opened if not path.exists()]
            assert not missing
            for path in opened:
                with zipfile.ZipFile(path) as file:
                    assert b'table:name="Price list"' in file.read("content.xml"), path.name


def test_the_same_results_again_change_no_part(tmp_path):
    """A refresh that finds nothing new gives the very same file."""
    makers()["tables.xlsx"](tmp_path / "book.xlsx")
    once, _ = grafted((tmp_path / "book.xlsx").read_bytes(), results(5))
    assert grafted(once, results(5))[0] == once
