"""From a designation as somebody typed it to the keys it may stand under: text in, text out."""

from __future__ import annotations

import re
import unicodedata
from datetime import date
from itertools import product
from typing import Any

# GOST letters in Latin; a look-alike is a Cyrillic sign with the shape of another Latin letter.
_CYRILLIC = {
    "А": "A", "Б": "B", "В": "V", "Г": "G", "Д": "D", "Е": "E", "Ж": "Zh", "З": "Z", "И": "I",
    "К": "K", "Л": "L", "М": "M", "Н": "N", "О": "O", "П": "P", "Р": "R", "С": "S", "Т": "T",
    "У": "U", "Ф": "F", "Х": "Kh", "Ц": "C", "Э": "E", "Ю": "Yu", "Я": "Ya",
}
_LOOK_ALIKE = str.maketrans("АВЕКМНОРСТУХ", "ABEKMHOPCTYX")
_SHAPES_OF_CYRILLIC = str.maketrans("CHBXY", "СНВХУ")
_DASHES = str.maketrans({c: "-" for c in "‐‑‒–—−﹘"})
_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_DATE = re.compile(
    rf"\d{{1,4}}[-./]\d{{1,4}}([-./]\d{{1,4}})?( 00:00(:00)?)?"
    rf"|\d{{1,2}}[- .]({_MONTHS})[a-z]*([- .]\d{{2,4}})?"
    rf"|({_MONTHS})[a-z]*[- .']+(\d\d|(19|20)\d\d)", re.I)  # "JAN 5751" is no date: JAN is a prefix too
_FLOAT = re.compile(r"\d+(\.\d*)?(e[+]?\d+)?", re.I)
LONGEST = 300  # characters of a text that are looked at: a designation stands well within it


def text_of(value: Any) -> str:
    """The value of a cell as one tidy line: a whole float loses its '.0', a blank or NaN is ''."""
    try:
        if value is None or isinstance(value, bool) or value != value:
            return ""
        if isinstance(value, float) and abs(value) < 1e15 and value == int(value):
            value = int(value)
        written = str(value)[:LONGEST]
    except Exception:  # a foreign object whose comparison or text fails is no designation
        return ""
    text = unicodedata.normalize("NFKC", written).translate(_DASHES)
    text = " ".join(text.replace("_", " ").split()).strip(" '\"`´’“”.,;:*#")
    return re.sub(r"^(\d+)\.0+$", r"\1", text)


def is_date(value: Any) -> bool:
    """True for a date, and for text that can only be one ("6-53", "4/3/23", "Jun-53")."""
    return isinstance(value, date) or bool(_DATE.fullmatch(text_of(value)))


def key(text: str) -> str:
    """Letters and figures only, in capitals: the form in which spellings are compared."""
    return re.sub(r"[^0-9A-ZА-Я]", "", text.upper())


def latin_readings(text: str) -> list[tuple[str, str]]:
    """(reading, note) of text with Cyrillic letters: transliterated first, then read by shape.

    Latin signs among Cyrillic ones are taken as the Cyrillic they look like ("6Н8C" is 6Н8С): nobody mixes
    alphabets on purpose. Text without Cyrillic gives itself alone.
    """
    upper = text.upper()
    if not re.search("[А-Я]", upper):
        return [(text, "")]
    whole = upper.translate(_SHAPES_OF_CYRILLIC)
    readings = [("".join(_CYRILLIC.get(c, c) for c in form), "Cyrillic letters read as Latin ones")
                for form in dict.fromkeys((upper, whole))]
    return readings + [(upper.translate(_LOOK_ALIKE), "by shape")]


def nought_variants(text_key: str) -> list[str]:
    """The key with each letter O and figure 0 read either way, the typed form first; at most 32 forms."""
    spots = [i for i, c in enumerate(text_key) if c in "O0"][:5]
    forms = []
    for signs in product(*[(text_key[i], "0" if text_key[i] == "O" else "O") for i in spots]):
        letters = list(text_key)
        for i, sign in zip(spots, signs):
            letters[i] = sign
        forms.append("".join(letters))
    return forms


def number_of(text: str) -> float | None:
    """The number a spreadsheet may have made of a type (6E5 becomes 600000); None for other text."""
    plain = re.sub(r"(?<=\d)[ ,](?=\d{3}(?!\d))", "", text)  # signs between thousands
    if not _FLOAT.fullmatch(plain):
        return None
    try:
        number = float(plain)
    except (ValueError, OverflowError):
        return None
    return number if number < float("inf") else None


def without_military_prefix(text_key: str) -> list[str]:
    """The keys left when JAN, USN or a contractor's letters are taken off the front; [] when there are none.

    Contractor letters stand between JAN and the number (JAN-CRC-6SN7GT) and name who made it, not what it is.
    """
    met = re.match(r"(JAN|USN|USAF|NAVY|MIL)(?=.)", text_key)
    if not met:
        return []
    rest = text_key[met.end():]
    return [rest[n:] for n in range(0, 5) if len(rest) > n + 1 and (n == 0 or rest[:n].isalpha())]
