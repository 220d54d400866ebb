"""A consistency check of an .xlsx or .xlsm package, after ISO/IEC 29500-1 and -2: what it finds is a list of sentences.

It shares no code with the package writer: everything is parsed here by ElementTree.
"""

import posixpath
import re
import zipfile
from collections import Counter
from xml.etree import ElementTree

MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
REL = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}"
CHILDREN = (
    "sheetPr dimension sheetViews sheetFormatPr cols sheetData sheetCalcPr sheetProtection protectedRanges scenarios "
    "autoFilter sortState dataConsolidate customSheetViews mergeCells phoneticPr conditionalFormatting dataValidations "
    "hyperlinks printOptions pageMargins pageSetup headerFooter rowBreaks colBreaks customProperties cellWatches "
    "ignoredErrors smartTags drawing legacyDrawing legacyDrawingHF drawingHF picture oleObjects controls "
    "webPublishItems tableParts extLst"
).split()


def findings(path):
    """Everything that is wrong with the file; an empty list for a sound one."""
    with zipfile.ZipFile(path) as file:
        broken = file.testzip()
        if broken:
            return [f"{broken} does not unpack"]
        parts = {name: file.read(name) for name in file.namelist() if not name.endswith("/")}
    return [*_not_well_formed(parts), *_relations(parts), *_types(parts), *_book(parts)]


def _not_well_formed(parts):
    for name, content in parts.items():
        if name.endswith((".xml", ".rels", ".vml")):
            try:
                ElementTree.fromstring(content)
            except ElementTree.ParseError as error:
                yield f"{name} is not well-formed: {error}"


def relations(parts, name):
    """id -> (kind, target) of the inner relationships of a part."""
    folder, last = posixpath.split(name)
    rels = posixpath.join(folder, "_rels", f"{last}.rels")
    found = {}
    for one in ElementTree.fromstring(parts[rels]) if rels in parts else ():
        if one.get("TargetMode") != "External":
            target = one.get("Target").partition("#")[0]
            target = target.lstrip("/") if target.startswith("/") else posixpath.normpath(
                posixpath.join(folder, target))
            found[one.get("Id")] = (one.get("Type").rpartition("/")[2], target)
    return found


def _relations(parts):
    reached = {"[Content_Types].xml", *[name for name in parts if name.endswith(".rels")]}
    for rels in [name for name in parts if name.endswith(".rels")]:
        folder, last = posixpath.split(rels)
        owner = posixpath.join(posixpath.dirname(folder), last.removesuffix(".rels"))
        if owner and owner not in parts:
            yield f"{rels} belongs to no part"
        ids = [one.get("Id") for one in ElementTree.fromstring(parts[rels])]
        if len(ids) != len(set(ids)):
            yield f"{rels} has an id twice"
        for id_, (_, target) in relations(parts, owner).items():
            reached.add(target)
            if target not in parts:
                yield f"{rels}: {id_} leads to {target}, which is not there"
        if owner in parts and owner.endswith(".xml"):
            used = set(re.findall(rb"\sr:(?:id|embed|link|pict)=\"([^\"]*)\"", parts[owner]))
            for id_ in used - {one.encode() for one in ids} - {b""}:
                yield f"{owner} uses {id_.decode()}, which {rels} does not have"
    for name in parts.keys() - reached:
        yield f"{name} is reached from nowhere"


def _types(parts):
    root = ElementTree.fromstring(parts["[Content_Types].xml"])
    defaults = [one.get("Extension").casefold() for one in root if one.tag.endswith("Default")]
    stated = [one.get("PartName") for one in root if one.tag.endswith("Override")]
    for name, count in [*Counter(defaults).items(), *Counter(stated).items()]:
        if count > 1:
            yield f"the type of {name} is stated twice"
    for name in stated:
        if name.lstrip("/") not in parts:
            yield f"a type is stated for {name}, which is not there"
    for name in parts:
        if name != "[Content_Types].xml" and f"/{name}" not in stated and (
            name.rpartition(".")[2].casefold() not in defaults):
            yield f"{name} has no type"


def _book(parts):
    book_part = next(target for kind, target in relations(parts, "").values() if kind == "officeDocument")
    book = ElementTree.fromstring(parts[book_part])
    rels = relations(parts, book_part)
    sheets = book.find(f"{MAIN}sheets")
    for what in ("name", "sheetId", f"{REL}id"):
        values = [one.get(what).casefold() for one in sheets]
        if len(values) != len(set(values)):
            yield f"two sheets with one {what}"
    names = [(one.get("name").casefold(), one.get("localSheetId")) for one in book.iter(f"{MAIN}definedName")]
    for name, count in Counter(names).items():
        if count > 1:
            yield f"the name {name} is defined twice"
    for one in book.iter(f"{MAIN}definedName"):
        if one.get("localSheetId") is not None and int(one.get("localSheetId")) >= len(sheets):
            yield f"{one.get('name')} belongs to a sheet that is not there"
        if len(one.text or "") > 8192:
            yield f"{one.get('name')} is longer than a formula may be"
    styles = next(target for kind, target in rels.values() if kind == "styles")
    yield from _styles(ElementTree.fromstring(parts[styles]))
    root = ElementTree.fromstring(parts[styles])
    counts = {name: len(root.find(f"{MAIN}{name}") if root.find(f"{MAIN}{name}") is not None else ())
              for name in ("cellXfs", "dxfs")}
    strings = next((target for kind, target in rels.values() if kind == "sharedStrings"), None)
    shared = ElementTree.fromstring(parts[strings]).findall(f"{MAIN}si") if strings else []
    shared = ["".join(text.text or "" for text in node.iter(f"{MAIN}t")) for node in shared]
    tables = []
    formulas = {}
    for sheet in sheets:
        kind, part = rels[sheet.get(f"{REL}id")]
        if kind != "worksheet":
            continue
        formulas[sheet.get("sheetId")] = set()
        yield from _sheet(parts, part, sheet.get("name"), counts, shared, tables, formulas[sheet.get("sheetId")])
    for what in ("id", "name"):
        values = [table[what] for table in tables]
        if len(values) != len(set(values)):
            yield f"two tables with one {what}"
    chain = next((target for kind, target in rels.values() if kind == "calcChain"), None)
    at = None
    for one in ElementTree.fromstring(parts[chain]) if chain else ():
        at = one.get("i", at)
        if one.get("r") not in formulas.get(at, ()):
            yield f"the chain of calculation has {one.get('r')} of sheet {at}, where no formula is"


def _styles(root):
    def count(name):
        found = root.find(f"{MAIN}{name}")
        if found is not None and found.get("count") and int(found.get("count")) != len(found):
            yield f"styles: {name} says {found.get('count')}, has {len(found)}"

    for name in ("fonts", "fills", "borders", "cellStyleXfs", "cellXfs", "cellStyles", "dxfs", "numFmts"):
        yield from count(name)
    lengths = {name: len(found) if (found := root.find(f"{MAIN}{name}")) is not None else 0
               for name in ("fonts", "fills", "borders", "cellStyleXfs")}
    for xf in root.find(f"{MAIN}cellXfs"):
        for key, name in (("fontId", "fonts"), ("fillId", "fills"), ("borderId", "borders"), ("xfId", "cellStyleXfs")):
            if int(xf.get(key, 0)) >= max(lengths[name], 1):
                yield f"styles: {key} {xf.get(key)} is out of range"


def _sheet(parts, part, name, counts, shared, tables, formulas):
    root = ElementTree.fromstring(parts[part])
    order = [CHILDREN.index(child.tag.rpartition("}")[2]) for child in root
             if child.tag.rpartition("}")[2] in CHILDREN]
    if order != sorted(order):
        yield f"{name}: elements out of order"
    cells, last_row = {}, 0
    for row in root.iter(f"{MAIN}row"):
        number = int(row.get("r", last_row + 1))
        if number <= last_row:
            yield f"{name}: row {number} after row {last_row}"
        last_row, last_column = number, 0
        for cell in row:
            met = re.fullmatch(r"([A-Z]+)(\d+)", cell.get("r", ""))
            if met is None or int(met[2]) != number:
                yield f"{name}: {cell.get('r')} in row {number}"
                continue
            column = _number(met[1])
            if column <= last_column:
                yield f"{name}: {cell.get('r')} is out of order or twice there"
            last_column = column
            if int(cell.get("s", 0)) >= counts["cellXfs"]:
                yield f"{name}: {cell.get('r')} has style {cell.get('s')} of {counts['cellXfs']}"
            if cell.find(f"{MAIN}f") is not None:
                formulas.add(cell.get("r"))
            value = cell.find(f"{MAIN}v")
            if cell.get("t") == "inlineStr":
                cells[cell.get("r")] = "".join(cell.itertext())
            elif cell.get("t") == "s":
                if int(value.text) >= len(shared):
                    yield f"{name}: {cell.get('r')} has text {value.text} of {len(shared)}"
                else:
                    cells[cell.get("r")] = shared[int(value.text)]
            elif value is not None:
                cells[cell.get("r")] = value.text
    for rule in root.iter(f"{MAIN}cfRule"):
        if rule.get("dxfId") is not None and int(rule.get("dxfId")) >= counts["dxfs"]:
            yield f"{name}: a rule has style {rule.get('dxfId')} of {counts['dxfs']}"
    for what, attribute in (("dataValidations", "dataValidation"), ("mergeCells", "mergeCell"),
                            ("tableParts", "tablePart"), ("hyperlinks", "hyperlink")):
        for holder in root.iter(f"{MAIN}{what}"):
            if not len(holder):
                yield f"{name}: {what} is empty"
            if holder.get("count") and int(holder.get("count")) != len(holder):
                yield f"{name}: {what} says {holder.get('count')}, has {len(holder)}"
    merged = [_area(one.get("ref")) for one in root.iter(f"{MAIN}mergeCell")]
    for at, one in enumerate(merged):
        for other in merged[at + 1:]:
            if _meet(one, other):
                yield f"{name}: merged cells overlap"
    stated = {one.get(f"{REL}id") for one in root.iter(f"{MAIN}tablePart")}
    own = []
    for id_, (kind, target) in relations(parts, part).items():
        if kind == "table":
            if id_ not in stated:
                yield f"{name}: {target} is not among its tables"
            table = ElementTree.fromstring(parts[target])
            own.append(_area(table.get("ref")))
            tables.append({"id": table.get("id"), "name": table.get("displayName").casefold()})
            yield from _table(table, name, cells)
    for at, one in enumerate(own):
        for other in own[at + 1:]:
            if _meet(one, other):
                yield f"{name}: tables overlap"


def _table(table, sheet, cells):
    title = table.get("displayName")
    left, top, right, bottom = _area(table.get("ref"))
    columns = [one.get("name") for one in table.find(f"{MAIN}tableColumns")]
    if int(table.find(f"{MAIN}tableColumns").get("count")) != len(columns):
        yield f"{title}: count of columns"
    ids = [one.get("id") for one in table.find(f"{MAIN}tableColumns")]
    if len(ids) != len(set(ids)):
        yield f"{title}: two columns with one id"
    if len(columns) != right - left + 1:
        yield f"{title}: {len(columns)} columns in {table.get('ref')}"
    if bottom < top + 1 + int(table.get("totalsRowCount", 0)):
        yield f"{title}: no rows"
    filter_ = table.find(f"{MAIN}autoFilter")
    if filter_ is not None:
        area = _area(filter_.get("ref"))
        if area != (left, top, right, bottom - int(table.get("totalsRowCount", 0))):
            yield f"{title}: its filter is at {filter_.get('ref')}, the table at {table.get('ref')}"
    for at, name in enumerate(columns):
        met = cells.get(f"{_letters(left + at)}{top}")
        plain = re.sub(r"_x([0-9A-Fa-f]{4})_", lambda one: chr(int(one[1], 16)), name)
        if met != plain:
            yield f"{title} on {sheet}: column {name!r} is headed {met!r}"


def _number(letters):
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


def _letters(number):
    text = ""
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(65 + rest) + text
    return text


def _area(ref):
    met = re.fullmatch(r"([A-Z]+)(\d+)(?::([A-Z]+)(\d+))?", ref)
    left, top, right, bottom = met.groups()
    return _number(left), int(top), _number(right or left), int(bottom or top)


def _meet(one, other):
    return one[0] <= other[2] and other[0] <= one[2] and one[1] <= other[3] and other[1] <= one[3]
