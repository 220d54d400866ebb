"""One result sheet of ours: put into the owner's file as new, or brought up to date where it stands."""

from __future__ import annotations

import posixpath
import re

from pricing.spreadsheet.package.areas import Area, Areas, Move, sheet_areas
from pricing.spreadsheet.package.beside import SharedTexts
from pricing.spreadsheet.package.book import RELATIONS, NotKept, Package, Relation, relation_id, relations_part
from pricing.spreadsheet.package.cells import merged_rows
from pricing.spreadsheet.package.charts import anchors_of, moved_anchor, with_ranges
from pricing.spreadsheet.package.markup import Markup, attributes, quoted, with_attributes
from pricing.spreadsheet.package.rules import links, merged_cells, moved_notes, moved_rule
from pricing.spreadsheet.package.styles import StyleMap, restyled, restyled_rules
from pricing.spreadsheet.package.tables import Match, matches, resized, tables_of

SHEET_ORDER = (  # ISO/IEC 29500-1, CT_Worksheet
    "sheetPr dimension sheetViews sheetFormatPr cols sheetData sheetCalcPr sheetProtection protectedRanges "
    "scenarios autoFilter sortState dataConsolidate customSheetViews mergeCells phoneticPr "
    "conditionalFormatting dataValidations hyperlinks printOptions pageMargins pageSetup headerFooter "
    "rowBreaks colBreaks customProperties cellWatches ignoredErrors smartTags drawing legacyDrawing "
    "legacyDrawingHF drawingHF picture oleObjects controls webPublishItems tableParts extLst"
).split()
_SHEET_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"
_DRAWING_TYPE = "application/vnd.openxmlformats-officedocument.drawing+xml"
_TABLE_NAME = re.compile(rb"<table\b[^>]*>")


class Graft:
    """Result sheets on their way from a `fresh` workbook into the owner's `book`. `told` collects what the owner should
    hear; `places`: our title of each sheet -> its name in the owner's file."""

    def __init__(self, book: Package, fresh: Package, places: dict[str, str], told: list[str]) -> None:
        self.book, self.fresh, self.places, self.told = book, fresh, places, told
        self.styles_part = book.related("styles")
        if self.styles_part is None:
            raise NotKept("the workbook has no styles. Save it once in your spreadsheet program.")
        self.styles = StyleMap(fresh.read(fresh.related("styles")), book.read(self.styles_part))
        shared = book.related("sharedStrings")
        self.shared = SharedTexts(lambda: book.read(shared) if shared else b"")
        tables = [part for part in book.archive.names if (book.type_of(part) or "").endswith("spreadsheetml.table+xml")]
        heads = [attributes(_TABLE_NAME.search(book.read(part)).group()) for part in tables
                 if _TABLE_NAME.search(book.read(part))]
        self.table_ids = {int(head.get("id", 0)) for head in heads}
        self.table_names = {head.get("displayName", "").casefold() for head in heads}
        self.table_names |= {name.casefold() for name in book.names()}

    def finish(self) -> None:
        """Write the styles that were added."""
        text = bytes(self.styles.owner)
        if text != self.book.read(self.styles_part):
            self.book.changed[self.styles_part] = text

    def add(self, title: str) -> None:
        """The sheet `title` as a new last sheet."""
        source = self.fresh.sheets[title]
        sheet = self._restyled(self._renamed(self.fresh.read(source)))
        sheet = re.sub(rb"\stabSelected=\"1\"", b"", sheet)
        part = self.book.free_part("xl/worksheets/sheet#.xml")
        self.book.add_sheet(self.places[title], part, sheet, _SHEET_TYPE)
        for relation in self.fresh.relations_of(source):
            self._relate(part, relation)

    def update(self, title: str, ours: Areas, new: Areas) -> None:
        """The sheet `title` where it stands: cells, tables, ranges of rules and charts; the rest is the owner's."""
        name = self.places[title]
        part, source = self.book.sheets[name], self.fresh.sheets[title]
        text = self.book.read(part)
        sheet, fresh = Markup(text), Markup(self._renamed(self.fresh.read(source)))
        if sheet.prefix or b"<!" in text or sheet.get("sheetData") is None:
            raise NotKept(f"the sheet '{name}' was written by a program whose way of writing is not known here. Save "
                          "the file once in your spreadsheet program, or delete the sheet.")
        old_tables, new_tables = tables_of(self.book, part), tables_of(self.fresh, source)
        own = [one for one in old_tables if ours.holds(one.area.top, one.area.left)]
        found = matches(own, new_tables, ours, name)
        gone = [one for one in own if one not in [match.old for match in found]]
        left = Areas(one.area for one in gone)
        if any(not ours.hold(one.body) for one in gone):
            raise NotKept(f"on the sheet '{name}' the table {gone[0].name} is no longer needed, but columns of yours "
                          "are in it. Move them out of the table and refresh again.")
        hers = [one.area for one in old_tables if one not in own]
        for one in old_tables:
            if one not in own and new.meets(one.area):
                raise NotKept(f"on the sheet '{name}' your table {one.name} stands where the new results need room. "
                              "Move it to the right and refresh again.")
        moves = [match.move for match in found]
        data, reach, words = merged_rows(sheet.get("sheetData"), fresh.get("sheetData"), ours, new, found,
                                         self.styles, self.shared, hers, name)
        self.told += words
        sheet.replace("sheetData", [data], SHEET_ORDER)
        if sheet.get("dimension") is not None and reach is not None:
            sheet.replace("dimension", [with_attributes(sheet.get("dimension"), ref=str(reach))], SHEET_ORDER)
        added = Areas(one.area for one in new_tables if one not in [match.new for match in found])
        self._put_rules(sheet, fresh, moves, left, added)
        self._put_one(sheet, "mergeCells", merged_cells(sheet.get("mergeCells"), fresh.get("mergeCells"), ours, new,
                                                        name))
        self._put_links(sheet, fresh, part, source, ours)
        self._put_tables(sheet, part, source, found, gone)
        self._put_notes(part, moves, left)
        self._put_charts(sheet, part, source, added)
        self.book.changed[part] = bytes(sheet)
        if any(match.old.filtered for match in found):
            self.told.append(f"On the sheet '{name}' the filter of a table was taken off: it was set on other rows.")

    def _renamed(self, text: bytes) -> bytes:
        """References to our sheets by the names the owner gave them."""
        for title, name in self.places.items():
            if name != title:
                text = text.replace(f"'{title}'!".encode(), quoted("'" + name.replace("'", "''") + "'!").encode())
        return text

    def _restyled(self, sheet: bytes) -> bytes:
        return restyled_rules(re.sub(rb"\scm=\"\d+\"", b"", restyled(sheet, self.styles)), self.styles)

    def _put_one(self, sheet: Markup, name: str, element: bytes | None) -> None:
        if element is not None:
            sheet.replace(name, [element], SHEET_ORDER)
        else:
            sheet.children = [child for child in sheet.children if child[0] != name]

    def _put_rules(self, sheet: Markup, fresh: Markup, moves: list[Move], gone: Areas, added: Areas) -> None:
        def on_added(element: bytes) -> bool:
            first = Area.of(attributes(element)["sqref"].split()[0])
            return added.holds(first.top, first.left)

        rules = [moved_rule(one, moves, gone) for one in sheet.all("conditionalFormatting")]
        rules = [one for one in rules if one is not None]
        rules += [restyled_rules(one, self.styles) for one in fresh.all("conditionalFormatting") if on_added(one)]
        if rules or sheet.get("conditionalFormatting"):
            sheet.replace("conditionalFormatting", rules, SHEET_ORDER)
        lists = Markup(sheet.get("dataValidations") or b"<dataValidations></dataValidations>")
        kept = [moved_rule(one, moves, gone) for one in lists.items()]
        kept = [one for one in kept if one is not None]
        kept += [one for one in Markup(fresh.get("dataValidations") or b"<a></a>").items() if on_added(one)]
        if kept != lists.items():
            lists.children = [["dataValidation", one] for one in kept]
            whole = with_attributes(bytes(lists), count=str(len(kept)))
            self._put_one(sheet, "dataValidations", whole if kept else None)

    def _put_links(self, sheet: Markup, fresh: Markup, part: str, source: str, ours: Areas) -> None:
        new = fresh.get("hyperlinks")
        before = {relation_id(one) for one in Markup(sheet.get("hyperlinks") or b"<a></a>").items()}
        for relation in self.fresh.relations_of(source):
            if relation.kind == "hyperlink":
                id_ = self.book.relate(part, relation.type, relation.part, relation.external)
                new = new.replace(f'r:id="{relation.id}"'.encode(), f'r:id="{id_}"'.encode(), 1)
        both = links(sheet.get("hyperlinks"), new, ours)
        after = {relation_id(one) for one in Markup(both or b"<a></a>").items()}
        if before - after:
            self.book.unrelate(part, before - after)
        self._put_one(sheet, "hyperlinks", both)

    def _put_tables(self, sheet: Markup, part: str, source: str, found: list[Match], gone: list) -> None:
        for match in found:
            text = resized(self.book.read(match.old.part), match, self.fresh.read(match.new.part))
            if text != self.book.read(match.old.part):
                self.book.changed[match.old.part] = text
        if gone:
            self.book.unrelate(part, {one.relation for one in gone})
            for one in gone:
                self.book.drop_part(one.part)
        ids = {one.relation for one in gone}
        parts = Markup(sheet.get("tableParts") or b"<tableParts></tableParts>")
        kept = [one for one in parts.items() if relation_id(one) not in ids]
        known = {match.new.relation for match in found}
        for relation in self.fresh.relations_of(source):
            if relation.kind == "table" and relation.id not in known:
                id_ = self.book.relate(part, relation.type, self._copied(relation))
                kept.append(f'<tablePart xmlns:r="{RELATIONS}" r:id="{id_}"/>'.encode())
        if kept != parts.items():
            parts.children = [["tablePart", one] for one in kept]
            self._put_one(sheet, "tableParts", with_attributes(bytes(parts), count=str(len(kept))) if kept else None)

    def _put_notes(self, part: str, moves: list[Move], gone: Areas) -> None:
        relations = {one.kind: one.part for one in self.book.relations_of(part)}
        comments, shapes = relations.get("comments"), relations.get("vmlDrawing")
        if comments is None or shapes is None or (not gone.all and all(move.old.top == move.new.top for move in moves)):
            return
        texts, boxes = moved_notes(self.book.read(comments), self.book.read(shapes), moves, gone)
        self.book.changed[comments], self.book.changed[shapes] = texts, boxes

    def _put_charts(self, sheet: Markup, part: str, source: str, added: Areas) -> None:
        drawing = _drawing_of(self.book, part)
        old, fresh = anchors_of(self.book, drawing), anchors_of(self.fresh, _drawing_of(self.fresh, source))
        new = []
        for key, chart in fresh.items():
            text = self._renamed(self.fresh.read(chart.part))
            if key not in old:
                if self._draws_added(text, added):
                    new.append(chart)
                continue
            mine = old[key]
            ranges = with_ranges(self.book.read(mine.part), text)
            if ranges is None:
                self.told.append(f"On the sheet '{sheet_name(self.book, part)}' the chart {key} was drawn anew: it has "
                                 "other series than before.")
            self.book.changed[mine.part] = text if ranges is None else ranges
            self._swap(drawing, mine.element, moved_anchor(mine, chart))
        for key, mine in old.items():
            if key not in fresh:
                self._swap(drawing, mine.element, b"")
                self.book.unrelate(drawing, {mine.relation})
                for relation in self.book.relations_of(mine.part):
                    if not relation.external:
                        self.book.drop_part(relation.part)
                self.book.drop_part(mine.part)
        if not new:
            return
        if drawing is None:
            drawing = self.book.free_part("xl/drawings/drawing#.xml")
            whole = Markup(self.fresh.read(_drawing_of(self.fresh, source)))
            whole.children = []
            self.book.add_part(drawing, bytes(whole), _DRAWING_TYPE)
            id_ = self.book.relate(part, f"{RELATIONS}/drawing", drawing)
            sheet.replace("drawing", [f'<drawing xmlns:r="{RELATIONS}" r:id="{id_}"/>'.encode()], SHEET_ORDER)
        home = Markup(self.book.read(drawing))
        for chart in new:
            relation = next(one for one in self.fresh.relations_of(_drawing_of(self.fresh, source))
                            if one.id == chart.relation)
            id_ = self.book.relate(drawing, relation.type, self._copied(relation))
            element = _in_drawing(chart.element, home, id_, chart.relation)
            home.append(element, "anchor")
        self.book.changed[drawing] = bytes(home)

    def _draws_added(self, chart: bytes, added: Areas) -> bool:
        return any(added.holds(area.top, area.left) for _, area in sheet_areas(chart.decode().replace("&apos;", "'")))

    def _swap(self, drawing: str, old: bytes, new: bytes) -> None:
        text = self.book.read(drawing)
        if new != old:
            self.book.changed[drawing] = text.replace(old, new, 1)

    def _relate(self, part: str, relation: Relation) -> None:
        """A relationship of a fresh part, under its own id, for its copy in the owner's file."""
        target = relation.part if relation.external else self._copied(relation)
        where = relations_part(part)
        self.book.relate(part, relation.type, target, relation.external)
        text = self.book.read(where)
        last = Markup(text).items()[-1]
        self.book.changed[where] = text.replace(last, with_attributes(last, Id=relation.id), 1)

    def _copied(self, relation: Relation) -> str:
        """The part a fresh relationship leads to, copied with all it leads to; its name in the owner's file."""
        folder, name = posixpath.split(relation.part)
        part = self.book.free_part(posixpath.join(folder, re.sub(r"\d*(\.\w+)$", r"#\1", name)))
        text = self._renamed(self.fresh.read(relation.part))
        if relation.kind == "table":
            text = self._new_table(text)
        type_ = self.fresh.type_of(relation.part)
        self.book.add_part(part, text, type_)
        if type_ is None:
            ending = name.rpartition(".")[2].casefold()
            defaults = [attributes(one) for one in self.fresh.types.all("Default")]
            self.book.state_default(ending, next(one["ContentType"] for one in defaults
                                                 if one["Extension"].casefold() == ending))
        for inner in self.fresh.relations_of(relation.part):
            self._relate(part, inner)
        return part

    def _new_table(self, text: bytes) -> bytes:
        name = attributes(text).get("displayName", "")
        if name.casefold() in self.table_names:
            raise NotKept(f"the name {name} is taken in your workbook, and a table of the results needs it. Give yours "
                          "another name and refresh again.")
        id_ = max(self.table_ids, default=0) + 1
        self.table_ids.add(id_)
        self.table_names.add(name.casefold())
        return with_attributes(text, id=str(id_))


def sheet_name(book: Package, part: str) -> str:
    """Name of the sheet in `part`."""
    return next(name for name, where in book.sheets.items() if where == part)


def _drawing_of(book: Package, part: str) -> str | None:
    return next((one.part for one in book.relations_of(part) if one.kind == "drawing"), None)


def _in_drawing(anchor: bytes, home: Markup, new_id: str, old_id: str) -> bytes:
    """A fresh anchor as a child of the owner's drawing: its namespace stated, relationship and number its own."""
    anchor = anchor.replace(f'r:id="{old_id}"'.encode(), f'r:id="{new_id}"'.encode(), 1)
    numbers = [int(one) for one in re.findall(rb"<(?:[\w.-]+:)?cNvPr\b[^>]*?\sid=\"(\d+)\"", bytes(home))]
    anchor = re.sub(rb"(<cNvPr\b[^>]*?\sid=)\"\d+\"", b'\\1"%d"' % (max(numbers, default=1) + 1), anchor, count=1)
    return with_attributes(anchor, xmlns="http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing")
