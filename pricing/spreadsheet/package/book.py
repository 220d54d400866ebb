"""The parts of an .xlsx or .xlsm package that hold it together: sheets, names, relationships, content types."""

from __future__ import annotations

import posixpath
import re
import zipfile

from pricing.spreadsheet.package.archive import Archive
from pricing.spreadsheet.package.markup import (
    Markup,
    attributes,
    elements_named,
    plain,
    prefixed,
    quoted,
    with_attributes,
)

RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_STRICT = b"http://purl.oclc.org/ooxml/"
_BOOK_ORDER = ("fileVersion", "fileSharing", "workbookPr", "AlternateContent", "revisionPtr", "absPath",
               "workbookProtection", "bookViews", "sheets", "functionGroups", "externalReferences", "definedNames",
               "calcPr", "oleSize", "customWorkbookViews", "pivotCaches", "smartTagPr", "smartTagTypes",
               "webPublishing", "fileRecoveryPr", "webPublishObjects", "extLst")


class NotKept(Exception):
    """The file, or a sheet in it, cannot be changed without losing something. The message says what and what mends
    it."""


class Relation:
    """One relationship: id, kind (the last word of its type) and the part it leads to."""

    def __init__(self, element: bytes, source: str) -> None:
        met = attributes(element)
        self.id, self.type, self.element = met.get("Id", ""), met.get("Type", ""), element
        self.kind = self.type.rpartition("/")[2]
        self.external = met.get("TargetMode") == "External"
        target = met.get("Target", "")
        self.part = target if self.external else posixpath.normpath(
            target.lstrip("/") if target.startswith("/") else posixpath.join(posixpath.dirname(source), target))


class Package:
    """An opened workbook file, and what is to change in it: `changed` parts by name, `removed` names."""

    def __init__(self, data: bytes) -> None:
        try:
            self.archive = Archive.of(data)
            self.changed: dict[str, bytes] = {}
            self.removed: set[str] = set()
            self.types = Markup(self.read("[Content_Types].xml"))
            root = [Relation(element, "") for element in elements_named(self.read("_rels/.rels"), "Relationship")]
            self.workbook_part = next(one.part for one in root if one.kind == "officeDocument")
            self.workbook = Markup(self.read(self.workbook_part))
        except (KeyError, StopIteration, ValueError, zipfile.BadZipFile, RuntimeError) as error:
            raise NotKept(f"the file's parts cannot be told apart ({error}). Save it once in your spreadsheet "
                          "program and try again.") from error
        self._refuse_what_cannot_be_kept()
        self.relations = self.relations_of(self.workbook_part)

    def read(self, part: str) -> bytes:
        """A part as it will be."""
        return self.changed[part] if part in self.changed else self.archive.read(part)

    def __contains__(self, part: str) -> bool:
        return part in self.changed or (part in self.archive and part not in self.removed)

    def save(self) -> bytes:
        """The whole file with what changed."""
        if bytes(self.workbook) != self.archive.read(self.workbook_part):
            self.changed[self.workbook_part] = bytes(self.workbook)
        if bytes(self.types) != self.archive.read("[Content_Types].xml"):
            self.changed["[Content_Types].xml"] = bytes(self.types)
        return self.archive.with_parts(self.changed, self.removed)

    # sheets and names

    @property
    def sheets(self) -> dict[str, str]:
        """Part of every sheet by the sheet's name, in the order of their tabs."""
        parts = {relation.id: relation.part for relation in self.relations}
        found = {}
        for element in self._children("sheets"):
            met = attributes(element)
            found[met.get("name", "")] = parts.get(relation_id(element), "")
        return found

    def names(self) -> dict[str, str]:
        """What the defined names of the whole workbook refer to."""
        return {attributes(one)["name"]: text_of(one) for one in self._children("definedNames")
                if "localSheetId" not in attributes(one)}

    def sheet_names(self, sheet: str) -> dict[str, str]:
        """What the defined names of one sheet refer to."""
        at = str(list(self.sheets).index(sheet))
        return {attributes(one)["name"]: text_of(one) for one in self._children("definedNames")
                if attributes(one).get("localSheetId") == at}

    def set_name(self, name: str, reference: str, sheet: str | None = None, hidden: bool = False) -> None:
        """Define a name, in place of the one of that name and sheet."""
        prefix = self.workbook.prefix
        at = None if sheet is None else str(list(self.sheets).index(sheet))
        place = f' localSheetId="{at}"' if at is not None else ""
        seen = ' hidden="1"' if hidden else ""
        new = (f'<{prefix}definedName name="{quoted(name)}"{place}{seen}>'
               f"{quoted(reference)}</{prefix}definedName>").encode()
        names = Markup(self.workbook.get("definedNames") or f"<{prefix}definedNames/>".encode())
        for child in names.children:
            if child[0] and attributes(child[1])["name"] == name and attributes(child[1]).get("localSheetId") == at:
                child[1] = new if text_of(child[1]) != reference else child[1]
                break
        else:
            names.append(new, "definedName")
        self.workbook.replace("definedNames", [bytes(names)], _BOOK_ORDER)

    def add_sheet(self, name: str, part: str, content: bytes, content_type: str) -> None:
        """A new last sheet."""
        self.add_part(part, content, content_type)
        id_ = self.relate(self.workbook_part, f"{RELATIONS}/worksheet", part)
        self.relations = self.relations_of(self.workbook_part)
        sheets = Markup(self.workbook.get("sheets"))
        number = max([0, *(int(attributes(one).get("sheetId", 0)) for one in sheets.items())]) + 1
        element = (f'<sheet name="{quoted(name)}" sheetId="{number}" xmlns:r="{RELATIONS}" r:id="{id_}"/>').encode()
        sheets.append(prefixed(element, self.workbook.prefix), "sheet")
        self.workbook.replace("sheets", [bytes(sheets)], _BOOK_ORDER)

    def calculate_on_opening(self) -> None:
        """Formulas are computed anew when the file is opened next."""
        old = self.workbook.get("calcPr") or f"<{self.workbook.prefix}calcPr/>".encode()
        self.workbook.replace("calcPr", [with_attributes(old, fullCalcOnLoad="1")], _BOOK_ORDER)

    # parts

    def add_part(self, part: str, content: bytes, content_type: str | None) -> None:
        """A new part; its type is stated unless its ending says it (None)."""
        self.changed[part] = content
        self.removed.discard(part)
        if content_type is not None:
            element = f'<Override PartName="/{part}" ContentType="{content_type}"/>'.encode()
            self.types.append(prefixed(element, self.types.prefix), "Override")

    def drop_part(self, part: str) -> None:
        """Take away a part, its relationships and its stated type."""
        for one in (part, relations_part(part)):
            if one in self:
                self.changed.pop(one, None)
                if one in self.archive:
                    self.removed.add(one)
        self.types.children = [child for child in self.types.children
                               if child[0] != "Override" or attributes(child[1]).get("PartName") != f"/{part}"]

    def state_default(self, ending: str, content_type: str) -> None:
        """The type of parts with this ending, where it is not stated yet."""
        for child in self.types.all("Default"):
            if attributes(child).get("Extension", "").casefold() == ending:
                return
        element = f'<Default Extension="{ending}" ContentType="{content_type}"/>'.encode()
        self.types.children.insert(0, ["Default", prefixed(element, self.types.prefix)])

    def type_of(self, part: str) -> str | None:
        """Stated type of a part, None where its ending tells it."""
        for child in self.types.all("Override"):
            met = attributes(child)
            if met.get("PartName") == f"/{part}":
                return met.get("ContentType")
        return None

    def free_part(self, like: str) -> str:
        """A name that no part has: "xl/tables/table#.xml" with the first free number."""
        taken = {name.casefold() for name in (*self.archive.names, *self.changed)}
        number = 1
        while like.replace("#", str(number)).casefold() in taken:
            number += 1
        return like.replace("#", str(number))

    # relationships

    def relations_of(self, part: str) -> list[Relation]:
        """Relationships of a part."""
        where = relations_part(part)
        if where not in self:
            return []
        return [Relation(element, part) for element in elements_named(self.read(where), "Relationship")]

    def relate(self, part: str, type_: str, target: str, external: bool = False) -> str:
        """Add a relationship of `part`; its id."""
        where = relations_part(part)
        empty = b'<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"/>'
        relations = Markup(self.read(where) if where in self else empty)
        taken = {attributes(one).get("Id") for one in relations.items()}
        number = len(taken) + 1
        while f"rId{number}" in taken:
            number += 1
        goal = f'Target="{quoted(target)}" TargetMode="External"' if external else f'Target="/{target}"'
        element = f'<Relationship Id="rId{number}" Type="{type_}" {goal}/>'.encode()
        relations.append(prefixed(element, relations.prefix), "Relationship")
        self.changed[where] = bytes(relations)
        return f"rId{number}"

    def unrelate(self, part: str, ids: set[str]) -> None:
        """Take away relationships of `part`."""
        where = relations_part(part)
        relations = Markup(self.read(where))
        relations.children = [child for child in relations.children
                              if not child[0] or attributes(child[1]).get("Id") not in ids]
        self.changed[where] = bytes(relations)

    def related(self, kind: str) -> str | None:
        """The workbook's own part of this kind, such as "styles"."""
        return next((one.part for one in self.relations if one.kind == kind and one.part in self), None)

    def _children(self, name: str) -> list[bytes]:
        element = self.workbook.get(name)
        return [] if element is None else Markup(element).items()

    def _refuse_what_cannot_be_kept(self) -> None:
        names = self.archive.names
        if any(name.startswith("_xmlsignatures/") for name in names):
            raise NotKept("the file carries a digital signature, which any change would break. Use a copy saved "
                          "without the signature.")
        if self.workbook_part.endswith(".bin"):
            raise NotKept("the file is a binary workbook (.xlsb). Save it as .xlsx or .xlsm.")
        if _STRICT in self.workbook.head:
            raise NotKept("the file is a Strict Open XML workbook. Save it as an ordinary Excel workbook (.xlsx).")
        if any("/revisions/" in name for name in names):
            raise NotKept("the file is a shared workbook with a log of changes. Stop sharing it and save.")
        if self.workbook.empty or self.workbook.get("sheets") is None:
            raise NotKept("the workbook lists no sheets. Save it once in your spreadsheet program.")
        if re.search(rb"encoding=[\"'](?!utf-?8[\"'])", self.workbook.head[:200], re.IGNORECASE):
            raise NotKept("the file's parts are not in UTF-8. Save it once in your spreadsheet program.")
        if "xl/styles.xml" not in self and not any(name.endswith("styles.xml") for name in names):
            raise NotKept("the workbook has no styles. Save it once in your spreadsheet program.")


def relation_id(element: bytes) -> str:
    """Id of the relationship an element refers to."""
    return next((value for name, value in attributes(element).items() if name.endswith(":id")), "")


def relations_part(part: str) -> str:
    """Name of the part with the relationships of `part`."""
    folder, name = posixpath.split(part)
    return posixpath.join(folder, "_rels", f"{name}.rels")


def text_of(element: bytes) -> str:
    """Text of an element without children."""
    return plain(re.sub(rb"^[^>]*>|<[^<]*$", b"", element.strip())) if not element.rstrip().endswith(b"/>") else ""
