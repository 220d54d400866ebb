"""Fresh result sheets into the file of the owner's workbook."""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Collection

from pricing.spreadsheet.package.areas import sheet_areas, sheet_reference
from pricing.spreadsheet.package.book import NotKept, Package, relation_id
from pricing.spreadsheet.package.charts import name_charts
from pricing.spreadsheet.package.marks import PREFIX, Mark, mark_name, marks_of, title_of
from pricing.spreadsheet.package.markup import Markup, attributes, with_attributes
from pricing.spreadsheet.package.sheet import Graft

_PRINT = {"_xlnm.Print_Titles", "_xlnm.Print_Area"}


def finished(fresh: bytes) -> bytes:
    """A fresh workbook as openpyxl writes it, with its charts named so that a refresh knows them again."""
    book = Package(fresh)
    name_charts(book)
    return book.save()


def grafted(owner: bytes, fresh: bytes, *, restore: bool = False) -> tuple[bytes, list[str]]:
    """The owner's file with the marked sheets of `fresh` in it, and what he should hear.

    A result sheet that is marked in his file is brought up to date where it stands, one he deleted stays away unless
    `restore`, one that was never there comes last. Every part but those of our sheets and the few that list the parts
    keeps its bytes. NotKept when something of his would be lost.
    """
    try:
        return _grafted(owner, fresh, restore)
    except (LookupError, ValueError, StopIteration, RuntimeError, zlib.error, zipfile.BadZipFile) as error:
        raise NotKept(f"its parts do not fit together ({type(error).__name__}: {error}). Save it once in your "
                      "spreadsheet program and refresh again.") from error


def _grafted(owner: bytes, fresh: bytes, restore: bool) -> tuple[bytes, list[str]]:
    book, new = Package(owner), Package(fresh)
    name_charts(new)
    sheets = book.sheets
    marks = marks_of(book.names(), sheets)
    fresh_marks = {mark.sheet: mark for mark in marks_of(new.names(), new.sheets).values()}
    told: list[str] = []
    update, add = [], []
    for title in (name for name in new.sheets if name in fresh_marks):
        mark = marks.get(mark_name(title))
        if mark is not None and mark.sheet is not None:
            update.append(title)
        elif mark is None or restore:
            add.append(title)
        else:
            told.append(f"The sheet '{title}' was deleted in this workbook and stays away; refresh with "
                        "--restore-sheets to have it again.")
    _must_be_free(add, sheets)
    locked = attributes(book.workbook.get("workbookProtection") or b"<none/>").get("lockStructure")
    if add and locked in ("1", "true"):
        raise NotKept(f"the workbook's structure is locked, and sheets are to be added ({', '.join(add)}). Unlock it "
                      "and refresh again.")
    places = {title: marks[mark_name(title)].sheet for title in update} | {title: title for title in add}
    graft = Graft(book, new, places, told)
    for title in add:
        graft.add(title)
    for title in update:
        graft.update(title, marks[mark_name(title)].cells, fresh_marks[title].cells)
    graft.finish()
    _put_names(book, new, places, fresh_marks, marks)
    _drop_from_chain(book, [book.sheets[name] for name in places.values()])
    book.calculate_on_opening()
    return book.save(), told


def sheets_of(owner: bytes) -> tuple[list[str], list[str]]:
    """Names of the file's sheets, and our titles of the result sheets among them."""
    book = Package(owner)
    marks = marks_of(book.names(), book.sheets)
    return list(book.sheets), [title_of(name) for name, mark in marks.items() if mark.sheet is not None]


def _must_be_free(titles: list[str], sheets: Collection[str]) -> None:
    taken = {name.casefold(): name for name in sheets}
    for title in titles:
        if title.casefold() in taken:
            raise NotKept(f"there is a sheet '{taken[title.casefold()]}' that this program did not make, or made "
                          "before it marked its sheets. It is left alone: rename it, or delete it if you do not need "
                          "it, and refresh again.")


def _put_names(book: Package, new: Package, places: dict[str, str], fresh: dict[str, Mark],
               old: dict[str, Mark]) -> None:
    """Marks at their new cells; print titles and areas that are ours; names that lead to our sheets."""
    there = {area for mark in old.values() for area in [mark.sheet] if area}
    for title, name in places.items():
        book.set_name(mark_name(title), fresh[title].cells.reference(name), hidden=True)
        mine = book.sheet_names(name)
        was = old.get(mark_name(title))
        for kind, reference in new.sheet_names(title).items():
            new_sheet = name not in there
            if kind in _PRINT and (new_sheet or _ours(kind, mine.get(kind), was, reference)):
                book.set_name(kind, _moved(reference, title, name), sheet=name)
    defined = book.names()
    for name, reference in new.names().items():
        areas = sheet_areas(reference)
        if not areas and name not in defined:  # a constant or a formula
            book.set_name(name, reference)
        if name.startswith(PREFIX) or not areas or areas[0][0] not in places:
            continue
        where = places[areas[0][0]]
        if name in defined and not any(sheet == where for sheet, _ in sheet_areas(defined[name])):
            raise NotKept(f"the name {name} is taken in your workbook, and the results need it. Give yours another "
                          "name and refresh again.")
        book.set_name(name, _moved(reference, areas[0][0], where))


def _ours(kind: str, reference: str | None, was: Mark | None, fresh: str) -> bool:
    """Whether print titles or a print area are still as we set them: from A1 over our columns, one row of headings."""
    if reference is None or was is None:
        return False
    if kind == "_xlnm.Print_Titles":
        return re.search(r"!\$(\d+):\$\1$", reference) is not None
    areas, new = sheet_areas(reference), sheet_areas(fresh)
    return len(areas) == len(new) == 1 and (areas[0][1][:2], areas[0][1].right) == (new[0][1][:2], new[0][1].right)


def _moved(reference: str, title: str, name: str) -> str:
    return reference.replace(f"{sheet_reference(title)}!", f"{sheet_reference(name)}!")


def _drop_from_chain(book: Package, parts: Collection[str]) -> None:
    """Take our sheets' formulas off the list of the order of calculation, as some of them are gone."""
    chain_part = book.related("calcChain")
    if chain_part is None:
        return
    numbers = set()
    by_relation = {one.id: one.part for one in book.relations}
    for element in Markup(book.workbook.get("sheets")).items():
        if by_relation.get(relation_id(element)) in parts:
            numbers.add(attributes(element).get("sheetId"))
    chain = Markup(book.read(chain_part))
    kept, sheet, dropped = [], None, False
    for name, element in chain.children:
        met = attributes(element) if name else {}
        sheet = met.get("i", sheet)
        if name and sheet in numbers:
            dropped = True
        else:
            kept.append([name, element if not name or "i" in met else with_attributes(element, i=sheet)])
    if not dropped:
        return
    if any(name for name, _ in kept):
        chain.children = kept
        book.changed[chain_part] = bytes(chain)
    else:
        book.unrelate(book.workbook_part, {one.id for one in book.relations if one.kind == "calcChain"})
        book.drop_part(chain_part)

