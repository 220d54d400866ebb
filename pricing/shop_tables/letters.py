"""How the letters of a text file are stored: said by the file, or weighed from all its bytes.

UTF-8 and UTF-16 show themselves. The older single-byte codes do not: every byte is a letter in each of them, so the one
is taken in which the file's letters stand as letters do in words, signs beside figures and Cyrillic beside no Latin.
"""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple

# Latin-1 is Windows-1252 but for control characters that no table holds. The first of equals is taken.
SINGLE_BYTE = {"cp1252": "Windows-1252 (Latin-1)", "cp1251": "Windows-1251 (Cyrillic)", "mac-roman": "Mac OS Roman"}
_WESTERN = frozenset("äöüßéèêëàâáãíìîïóòôõúùûñçåæøœÄÖÜÉÈÀÁÍÓÚÑÇÅÆØŒ")
_SIGNS = frozenset("€£¥§°µ±²³½¼×·«»–—’‘“”„…´®©™¿¡№\u00a0")


class Decoded(NamedTuple):
    """The text of a file, the name of the code it is stored in and, where the file does not settle that, the same name
    as `guessed` and a word read by it.
    """

    text: str
    guessed: str = ""
    example: str = ""
    code: str = "UTF-8"


def decode(data: bytes) -> Decoded:
    """Text of a file in UTF-8, UTF-16 (marked or not), Windows-1252, Windows-1251 or Mac OS Roman. Never raises."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return Decoded(data.decode("utf-16", "replace"), code="UTF-16")
    if data.count(0) * 5 > len(data):
        # of commas, figures and line ends, one byte in two is 0: the second in little-endian
        little = data[1::2].count(0) >= data[::2].count(0)
        return Decoded(data.decode("utf-16-le" if little else "utf-16-be", "replace"), code="UTF-16")
    try:
        return Decoded(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        pass
    kinds = {data[max(met.start() - 1, 0): met.end() + 1] for met in re.finditer(rb"[\x80-\xff]+", data)}
    weights = {code: sum(_weight(kind.decode(code, "replace")) for kind in kinds) for code in SINGLE_BYTE}
    code = max(weights, key=weights.__getitem__)
    text = data.decode(code, "replace")
    words = re.search(r"[^\s,;|\"]*[^\x00-\x7f][^\s,;|\"]*", text)
    return Decoded(text, SINGLE_BYTE[code], words.group()[:40] if words else "", SINGLE_BYTE[code])


def _weight(run: str) -> float:
    """How well a run of letters outside ASCII, with its ASCII neighbours, stands as written text."""
    weight = 0.0
    for place, char in enumerate(run):
        if char.isascii():
            continue
        before, after = run[place - 1: place] if place else "", run[place + 1: place + 2]
        beside = before + after
        if char in _SIGNS:
            weight += -1 if before.isalpha() and after.isalpha() and char not in "’´" else 0.5
        elif "А" <= char <= "я" or char in "Ёё":
            latin = any(one.isalpha() and (one.isascii() or one in _WESTERN) for one in beside)
            figures_follow = after.isdigit() and not before.isalnum()  # as they follow a sign of money
            weight += -2 if latin or _rises(before, char) else 0.25 if figures_follow else 1
        elif char in _WESTERN:
            figure = any(one.isdigit() for one in beside)
            cyrillic = any("Ѐ" <= one <= "ӿ" for one in beside)
            alone = not any(one.isalpha() for one in beside)
            weight += -2 if figure or cyrillic or alone or _rises(before, char) else 1
        else:
            weight -= 3 if unicodedata.category(char) in ("Cc", "Cn", "So", "Co") else 2
    return weight


def _rises(before: str, char: str) -> bool:
    """A capital behind a small letter: no word is written so."""
    return before.islower() and char.isupper()
