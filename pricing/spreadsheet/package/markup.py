"""XML as text: an element and its children as byte strings, so that what is not replaced stays as it was written."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape, unescape

_TAG = re.compile(
    rb"<!--.*?-->|<!\[CDATA\[.*?\]\]>|<\?.*?\?>|<!DOCTYPE[^>]*>"
    rb"|<(?P<close>/?)(?P<name>[^\s/>!?]+)(?:[^>\"']|\"[^\"]*\"|'[^']*')*?(?P<empty>/?)>",
    re.DOTALL,
)
_ATTRIBUTE = re.compile(rb"([\w:.-]+)\s*=\s*(?:\"([^\"]*)\"|'([^']*)')")
_LONG = b"sheetData"  # skipped over in one step: it may be most of the file, and holds no other of its name


class Markup:
    """An element in pieces: `head` up to its first child, `children` as [local name, bytes], `tail` from its end tag.

    Text between children is a child named "". Joined again the pieces are the very bytes given. Raises ValueError when
    the text is no element.
    """

    def __init__(self, text: bytes) -> None:
        self.children: list[list] = []
        depth, start, end, name = 0, 0, 0, b""
        self.head = self.tail = b""
        self.empty = False
        position = 0
        while (met := _TAG.search(text, position)) is not None:
            position = met.end()
            if met["name"] is None:
                continue
            if met["close"]:
                depth -= 1
                if depth == 1:
                    self._add(name, text[start:position], text[end:start])
                    end = position
                elif depth == 0:
                    if met.start() > end:
                        self.children.append(["", text[end : met.start()]])
                    self.tail = text[met.start() :]
                    break
                continue
            if depth == 0:
                self.head, end = text[:position], position
                self.name = met["name"].decode()
                if met["empty"]:
                    self.empty, self.tail = True, text[position:]
                    break
            elif depth == 1:
                start, name = met.start(), met["name"]
                if met["empty"]:
                    self._add(name, text[start:position], text[end:start])
                    end = position
            if not met["empty"]:
                depth += 1
                if depth == 2 and local(name) == _LONG.decode():
                    position = text.rindex(b"</" + name)
        if not self.head or not (self.tail or self.empty):
            raise ValueError("not a whole XML element")

    def _add(self, name: bytes, content: bytes, before: bytes) -> None:
        if before:
            self.children.append(["", before])
        self.children.append([local(name), content])

    @property
    def prefix(self) -> str:
        """Namespace prefix of the element with its colon, such as "x:", or nothing."""
        return self.name[: self.name.find(":") + 1]

    def __bytes__(self) -> bytes:
        if self.empty and self.children:
            opened = re.sub(rb"/>$", b">", self.head)
            return b"".join([opened, *(content for _, content in self.children), f"</{self.name}>".encode(), self.tail])
        return b"".join([self.head, *(content for _, content in self.children), self.tail])

    def all(self, name: str) -> list[bytes]:
        """Every child of this local name."""
        return [content for met, content in self.children if met == name]

    def get(self, name: str) -> bytes | None:
        """The first child of this local name."""
        return next(iter(self.all(name)), None)

    def items(self) -> list[bytes]:
        """Every child element."""
        return [content for met, content in self.children if met]

    def replace(self, name: str, contents: Sequence[bytes], order: Sequence[str]) -> None:
        """Put `contents` in place of all children of this name; where there were none, where `order` has them."""
        places = [at for at, (met, _) in enumerate(self.children) if met == name]
        if places:
            at = places[0]
        else:
            later = set(order[order.index(name) + 1 :])
            at = next((at for at, (met, _) in enumerate(self.children) if met in later), len(self.children))
        self.children = [child for child in self.children if child[0] != name]
        self.children[at:at] = [[name, content] for content in contents]

    def append(self, content: bytes, name: str) -> None:
        """Add a child after the last element."""
        at = max((at + 1 for at, (met, _) in enumerate(self.children) if met), default=0)
        self.children.insert(at, [name, content])


def local(name: bytes | str) -> str:
    """A tag's name without its prefix."""
    text = name.decode() if isinstance(name, bytes) else name
    return text.rpartition(":")[2]


def start_tag(element: bytes) -> bytes:
    """The start tag of an element."""
    for met in _TAG.finditer(element):
        if met["name"] is not None:
            return met.group()
    raise ValueError("not an XML element")


def attributes(element: bytes) -> dict[str, str]:
    """Attributes of an element's start tag, entities resolved; names with their prefixes."""
    tag = start_tag(element)
    return {name.decode(): plain(double or single) for name, double, single in _ATTRIBUTE.findall(tag)}


def with_attributes(element: bytes, **new: str | None) -> bytes:
    """The element with attributes set; None takes one away. "__" in a name stands for ":"."""
    tag = start_tag(element)
    changed = tag
    for name, value in new.items():
        pattern = re.compile(rb"\s" + name.replace("__", ":").encode() + rb"\s*=\s*(\"[^\"]*\"|'[^']*')")
        written = b"" if value is None else f' {name.replace("__", ":")}="{quoted(value)}"'.encode()
        if pattern.search(changed):
            changed = pattern.sub(lambda _: written, changed, count=1)
        else:
            changed = re.sub(rb"(\s*/?>)$", lambda end: written + end.group(), changed)
    return element.replace(tag, changed, 1)


def plain(text: bytes) -> str:
    """Text of an attribute or element with its entities resolved."""
    words = re.sub(r"&#(x[0-9A-Fa-f]+|\d+);", lambda met: chr(int("0" + met[1] if met[1][0] == "x" else met[1],
                                                                  16 if met[1][0] == "x" else 10)), text.decode())
    return unescape(words, {"&quot;": '"', "&apos;": "'"})


def quoted(text: str) -> str:
    """`text` as it stands between double quotes in XML."""
    return escape(text, {'"': "&quot;", "\n": "&#10;", "\t": "&#9;"})


def prefixed(fragment: bytes, prefix: str) -> bytes:
    """A fragment of unprefixed elements with `prefix` on every tag."""
    if not prefix:
        return fragment
    return re.sub(rb"<(/?)(?=[A-Za-z])(?![\w.-]+:)", lambda met: met.group() + prefix.encode(), fragment)


def unprefixed(fragment: bytes, prefix: str) -> bytes:
    """The reverse of `prefixed`."""
    return re.sub(rb"<(/?)" + re.escape(prefix.encode()), rb"<\1", fragment) if prefix else fragment


def elements_named(text: bytes, name: str) -> Iterator[bytes]:
    """Every element of this local name without others of the same name inside, anywhere in the text."""
    tag = name.encode()
    pattern = re.compile(rb"<(?P<all>(?:[\w.-]+:)?" + tag + rb")(?=[\s/>])(?:[^>\"']|\"[^\"]*\"|'[^']*')*?"
                         rb"(?:/>|>.*?</(?P=all)\s*>)", re.DOTALL)
    for met in pattern.finditer(text):
        yield met.group()
