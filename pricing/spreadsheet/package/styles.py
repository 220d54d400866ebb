"""Cell styles of a fresh workbook found again in the owner's, or added at the end of his lists: no index changes."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from pricing.spreadsheet.package.markup import (
    Markup,
    attributes,
    prefixed,
    quoted,
    unprefixed,
    with_attributes,
)

INPUT_STYLES = "shop input "  # names of the cell styles of what an owner types
_ORDER = ("numFmts", "fonts", "fills", "borders", "cellStyleXfs", "cellXfs", "cellStyles", "dxfs", "tableStyles",
          "colors", "extLst")
_FIRST_OWN_FORMAT = 164  # numFmtId below are the standard's own (ISO/IEC 29500-1, 18.8.30)
_PARTS = {"fontId": "fonts", "fillId": "fills", "borderId": "borders"}


class StyleList:
    """The lists of one styles part, each item as unprefixed text."""

    def __init__(self, text: bytes) -> None:
        self.sheet = Markup(text)
        self.prefix = self.sheet.prefix
        self.items: dict[str, list[bytes]] = {}
        for name in _ORDER[:-3]:
            list_ = self.sheet.get(name)
            items = Markup(list_).items() if list_ is not None else []
            self.items[name] = [unprefixed(item, self.prefix) for item in items]
        self.kept = {name: len(items) for name, items in self.items.items()}
        self.formats = {attributes(item).get("numFmtId"): attributes(item).get("formatCode", "")
                        for item in self.items["numFmts"]}
        self.names = {int(attributes(item).get("xfId", 0)): attributes(item).get("name", "")
                      for item in self.items["cellStyles"]}

    def looks(self, xf: bytes) -> tuple:
        """What an xf shows: its format code, font, fill, border, alignment, protection and prefix."""
        met = attributes(xf)
        parts = [_canonical(self._item(list_, int(met.get(key, 0)))) for key, list_ in _PARTS.items()]
        inner = tuple(sorted(_canonical(item) for item in Markup(xf).items()))
        id_ = met.get("numFmtId", "0")
        return (self.formats.get(id_, id_), *parts, inner, met.get("quotePrefix", "0") in ("1", "true"))

    def name_of(self, xf: bytes) -> str:
        """Name of the cell style an xf goes by."""
        return self.names.get(int(attributes(xf).get("xfId", 0)), "Normal")

    def _item(self, list_: str, at: int) -> bytes:
        items = self.items[list_]
        return items[at] if at < len(items) else b"<none/>"

    def place(self, list_: str, item: bytes) -> int:
        """Index of an item like this one, added at the end where there is none."""
        wanted = _canonical(item)
        for at, met in enumerate(self.items[list_]):
            if _canonical(met) == wanted:
                return at
        self.items[list_].append(item)
        return len(self.items[list_]) - 1

    def format_id(self, code: str) -> str:
        """Id of a number format, added where there is none."""
        for id_, met in self.formats.items():
            if met == code:
                return id_
        id_ = str(max([_FIRST_OWN_FORMAT - 1, *(int(one) for one in self.formats if one)]) + 1)
        self.formats[id_] = code
        self.items["numFmts"].append(f'<numFmt numFmtId="{id_}" formatCode="{quoted(code)}"/>'.encode())
        return id_

    def __bytes__(self) -> bytes:
        """The part with the added items; the very bytes read when there are none."""
        for name, items in self.items.items():
            added = items[self.kept[name]:]
            if not added:
                continue
            old = self.sheet.get(name)
            list_ = Markup(old if old is not None else f"<{self.prefix}{name}/>".encode())
            for item in added:
                list_.append(prefixed(item, self.prefix), "item")
            text = with_attributes(bytes(list_), count=str(len(items)))
            self.sheet.replace(name, [text], _ORDER)
        return bytes(self.sheet)


class StyleMap:
    """From the indices of a fresh workbook's styles to those of the owner's."""

    def __init__(self, fresh: bytes, owner: bytes) -> None:
        self.fresh, self.owner = StyleList(fresh), StyleList(owner)
        self._known: dict[int, int] = {}
        self._rules: dict[int, int] = {}
        self._ours: dict[int, bool] = {}
        self._made = {(self.fresh.name_of(xf), self.fresh.looks(xf)) for xf in self.fresh.items["cellXfs"]}
        self._looks = {}
        for at, xf in enumerate(self.owner.items["cellXfs"]):
            self._looks.setdefault((self.owner.name_of(xf), self.owner.looks(xf)), at)

    def cell(self, index: int) -> int:
        """The owner's index of a fresh cell style. A cell that shows its named style as it is follows the owner's style
        of that name, whatever he made of it."""
        if index not in self._known:
            self._known[index] = self._cell(index)
        return self._known[index]

    @property
    def for_typing(self) -> set[bytes]:
        """Fresh indices of cells on result sheets that the owner types in: those styled as his input."""
        return {b"%d" % at for at, xf in enumerate(self.fresh.items["cellXfs"])
                if self.fresh.name_of(xf).startswith(INPUT_STYLES)}

    def is_ours(self, index: int) -> bool:
        """Whether a cell style of the owner's file looks as we made it, or as he made our named style look."""
        if index not in self._ours:
            xf = self.owner.items["cellXfs"][index]
            name, looks = self.owner.name_of(xf), self.owner.looks(xf)
            base = self.owner.items["cellStyleXfs"][int(attributes(xf).get("xfId", 0))]
            plain = name != "Normal" and name in self.fresh.names.values() and looks == self.owner.looks(base)
            self._ours[index] = plain or (name, looks) in self._made or index == 0
        return self._ours[index]

    def rule(self, index: int) -> int:
        """The owner's index of a fresh style of a conditional format."""
        if index not in self._rules:
            self._rules[index] = self.owner.place("dxfs", self.fresh.items["dxfs"][index])
        return self._rules[index]

    def _cell(self, index: int) -> int:
        xf = self.fresh.items["cellXfs"][index]
        name, looks = self.fresh.name_of(xf), self.fresh.looks(xf)
        style_at = {met: at for at, met in self.owner.names.items()}.get(name)
        base = self.fresh.items["cellStyleXfs"][int(attributes(xf).get("xfId", 0))]
        if style_at is not None and name != "Normal" and looks == self.fresh.looks(base):
            own = self.owner.items["cellStyleXfs"][style_at]
            wanted = self.owner.looks(own)
            if (name, wanted) in self._looks:
                return self._looks[name, wanted]
            return self._add(name, wanted, with_attributes(own, xfId=str(style_at)))
        if (name, looks) in self._looks:
            return self._looks[name, looks]
        if style_at is None:
            style_at = self._add_named(name, base)
        return self._add(name, looks, with_attributes(self._translated(xf), xfId=str(style_at)))

    def _add(self, name: str, looks: tuple, xf: bytes) -> int:
        self.owner.items["cellXfs"].append(xf)
        at = len(self.owner.items["cellXfs"]) - 1
        self._looks[name, looks] = at
        return at

    def _add_named(self, name: str, base: bytes) -> int:
        self.owner.items["cellStyleXfs"].append(with_attributes(self._translated(base), xfId=None))
        at = len(self.owner.items["cellStyleXfs"]) - 1
        self.owner.items["cellStyles"].append(f'<cellStyle name="{quoted(name)}" xfId="{at}"/>'.encode())
        self.owner.names[at] = name
        return at

    def _translated(self, xf: bytes) -> bytes:
        met = attributes(xf)
        new = {key: str(self.owner.place(list_, self.fresh._item(list_, int(met.get(key, 0)))))
               for key, list_ in _PARTS.items()}
        code = self.fresh.formats.get(met.get("numFmtId", "0"))
        if code is not None:
            new["numFmtId"] = self.owner.format_id(code)
        applied = {"applyNumberFormat": "1", "applyFont": "1", "applyFill": "1", "applyBorder": "1"}
        return with_attributes(xf, **new, **applied)


def _canonical(item: bytes) -> str:
    """The same text for the same element whatever the order of its attributes."""
    try:
        root = ElementTree.fromstring(re.sub(rb"\s[\w.-]+:[\w.-]+=\"[^\"]*\"", b"", item))
    except ElementTree.ParseError:
        return item.decode("utf-8", "replace")
    return _told(root)


def _told(node: ElementTree.Element) -> str:
    inner = "".join(_told(child) for child in node)
    return f"<{node.tag.rpartition('}')[2]} {sorted(node.attrib.items())}>{node.text or ''}{inner}"


def restyled(cells: bytes, styles: StyleMap) -> bytes:
    """Rows or columns of a fresh sheet with the owner's style indices."""
    return re.sub(rb"(<(?:c|row|col)\b[^>]*?\s)(s|style)=\"(\d+)\"",
                  lambda met: b'%s%s="%d"' % (met[1], met[2], styles.cell(int(met[3]))), cells)


def restyled_rules(element: bytes, styles: StyleMap) -> bytes:
    """A conditional format of a fresh sheet with the owner's style indices."""
    return re.sub(rb"dxfId=\"(\d+)\"", lambda met: b'dxfId="%d"' % styles.rule(int(met[1])), element)

