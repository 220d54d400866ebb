"""What a type cell names: the register asked once per distinct text, set words and mangled numbers told
apart.
"""

from __future__ import annotations

import datetime as dt
import re
from typing import Any, NamedTuple

from pricing.shop_tables.cells import TAKEN_OUT, is_blank, tidy, without_prices
from pricing.shop_tables.dates import read_dates
from pricing.shop_tables.sets import only_set_words


class TypeMet(NamedTuple):
    """One type cell read. `text` is the type as text (the owner's own spelling), `rest` what stood around the
    type.

    `code` names the problem to report, None when the register knows the text without doubt.
    """

    text: str
    designation: str
    canonical_type: str
    family: str
    rest: str
    code: str | None = None
    details: dict[str, Any] = {}
    known: bool = True


class TypeReader:
    """Asks a register about type cells and remembers the answers."""

    def __init__(self, register: Any) -> None:
        self.register = register

    def read(self, value: Any) -> TypeMet | None:
        """The type a cell names, None when the cell is blank."""
        if is_blank(value):
            return None
        date = value if isinstance(value, dt.date) else _first_of_a_month(tidy(value))
        if date is not None:
            return self._doubtful(f"{date.month}-{date.year % 100:02d}", "date_for_type", tidy(value))
        text = tidy(value).lstrip("'").strip()
        bracket = _BRACKET.search(text)  # cut first: "ECC83 (2)" must not be read as ECC832
        match = self.register.find(text[: bracket.start()] if bracket else text)
        if match.status != "found":
            mangled = _mangled(text)
            if mangled:
                likely = next(
                    (one for one in mangled if self.register.find(one).status == "found"), mangled[0]
                )
                return self._doubtful(likely, "number_for_type", text)
            counted = self._counted(text)
            if counted:
                return counted
        if match.status == "found":
            rest = (
                f"{self.rest_of(text[: bracket.start()])} {bracket.group()}"
                if bracket
                else self.rest_of(text)
            )
            return self._found(text, match, rest.strip())
        if match.status == "ambiguous":
            return self._ambiguous(text, match)
        return self._unknown(text, match)

    def in_title(self, title: str) -> TypeMet | None:
        """The type a title names, None when there is none; different types in one title are ambiguous."""
        value = title.lstrip("'").strip()
        if re.fullmatch(r"[\d.,eE+]+|\d{4}-\d\d-\d\d", value, re.ASCII):  # a spreadsheet may have turned it
            met = self.read(dt.date.fromisoformat(value) if "-" in value[1:] else value)
            return met if met is not None and (met.known or met.code == "date_for_type") else None
        text = self._of_the_piece(title)
        pieces = self.register.find_in_text(text)
        if len(pieces) > 1:  # beside a written type a short bare number is a count or a reading
            pieces = [one for one in pieces if not re.fullmatch(r"\d{1,3}", one.text)] or pieces
        if not pieces:
            return self._mangled_inside(without_prices(title))
        spelt = " / ".join(piece.text for piece in pieces)
        match = pieces[0] if len(pieces) == 1 else self.register.find(spelt)
        rest = without_prices(title)
        for piece in pieces:
            rest = rest.replace(piece.text, self._count_on(piece, TAKEN_OUT), 1)
        if match.status == "found":
            return self._found(match.designation, match, rest)
        return self._ambiguous(spelt, match)._replace(rest=rest) if match.status == "ambiguous" else None

    def _of_the_piece(self, title: str) -> str:
        """The title without prices, percentages and the types it is said to replace, where a type is left then."""
        text = _NOT_A_TYPE.sub(TAKEN_OUT, without_prices(title))
        shorter = _REPLACED.sub(TAKEN_OUT, text)
        return shorter if shorter != text and self.register.find_in_text(shorter) else text

    def _mangled_inside(self, text: str) -> TypeMet | None:
        """A type that a spreadsheet turned into a number before it came into a title: "6.00E+05 magic eye"."""
        for met in _SWALLOWED.finditer(text):
            for one in _mangled(met.group()):
                if self.register.find(one).status == "found":
                    rest = f"{text[: met.start()]}{TAKEN_OUT}{text[met.end():]}"
                    return self._doubtful(one, "number_for_type", met.group())._replace(rest=rest)
        return None

    def rest_of(self, text: str) -> str:
        """What a text says beside its types; a count written onto a name ("2x12AX7") stays."""
        if not _MORE_THAN_A_NAME.search(text):
            return ""
        for piece in self.register.find_in_text(text):
            text = text.replace(piece.text, self._count_on(piece), 1)
        return text.strip()

    def _count_on(self, piece: Any, blank: str = " ") -> str:
        """ " 2x " for a piece spelt "2x12AX7"; `blank` for "12AX7", whose x is part of the name."""
        met = _COUNT.fullmatch(piece.text)
        if met:
            name, count = met.group(2) or met.group(3), met.group(1) or met.group(4)
            if self.register.find(name).designation == piece.designation:
                return f" {count}x{blank}"
        return blank

    def _counted(self, text: str) -> TypeMet | None:
        """A bare number of a type beside a count or set words: "211 x 2", "2 x 211", "45 matched pair"."""
        for pattern, name, count in ((_COUNT_LAST, 1, 2), (_COUNT_FIRST, 2, 1)):
            met = pattern.fullmatch(text)
            if met:
                match = self.register.find(met.group(name))
                if match.status == "found":
                    return self._found(text, match, f"{met.group(count)}x")
        head, _, tail = text.partition(" ")
        if tail and only_set_words(tail):
            match = self.register.find(head)
            if match.status == "found":
                return self._found(text, match, tail)
        return None

    def _found(self, text: str, match: Any, rest: str) -> TypeMet:
        return TypeMet(text, match.designation, match.canonical_type, self._family(match.designation), rest)

    def _ambiguous(self, text: str, match: Any) -> TypeMet:
        """A text that may be several types: pooled with them where they are one electrical type, else on its
        own.
        """
        found = [self.register.find(name) for name in match.candidates]
        pooled = {one.canonical_type for one in found if one.status == "found"}
        families = {self._family(one.designation) for one in found if one.status == "found"}
        canonical = pooled.pop() if len(pooled) == 1 else text
        family = families.pop() if len(families) == 1 else f"other: {text}"
        taken = canonical if canonical != text else "a type of its own"
        return TypeMet(text, text, canonical, family, self.rest_of(text), "ambiguous_type",
                       {"near": " or ".join(match.candidates) or "several types", "taken": taken},
                       known=canonical != text)

    def _unknown(self, text: str, match: Any) -> TypeMet:
        near = ", ".join(match.candidates[:3]) or "nothing near it is known"
        return TypeMet(text, text, text, f"other: {text}", "", "unknown_type", {"near": near}, known=False)

    def _doubtful(self, likely: str, code: str, shown: str) -> TypeMet:
        match = self.register.find(likely)
        met = self._found(likely, match, "") if match.status == "found" else self._unknown(likely, match)
        return met._replace(code=code, details={"taken": likely, "shown": shown})

    def _family(self, designation: str) -> str:
        try:
            return self.register.shop_family(designation)
        except KeyError:
            return f"other: {designation}"


_BRACKET = re.compile(r"(?<=.)\(\s*[x×]?\s*\d{1,2}\s*[x×]?\s*\)\s*$", re.I)
_MORE_THAN_A_NAME = re.compile(r"[\s(),;×*]|\dx|x\d", re.I)
_COUNT = re.compile(r"(\d{1,2})[x×*](\w{3,})|(\w{3,})[x×*](\d{1,2})", re.I)
_COUNT_LAST = re.compile(r"(\w+)\s*(?:\s[x×*]\s?|[×*(]\s*)(\d{1,2})\)?", re.I)
_COUNT_FIRST = re.compile(r"(\d{1,2})\s?[x×*]\s(\w+)", re.I)
_NOT_A_TYPE = re.compile(
    r"(?i)\d+(?:[.,]\d+)?\s?%|(?<!\w)(?:lot|box|set|pack|qty|sleeve)\s+(?:of\s+)?\d+(?!\w)|"
    r"(?<!\w)(?:tests?|tested|tstd|gm|reads?|measures?)\s*(?:at\s+)?\d[\d.,/]*"
    r"(?=\s?(?:[uµ]?mhos?|micromhos?|ma\b|/))\S*|"
    r"(?<!\w)\d[\d.,/]*\s?(?:[uµ]?mhos?|micromhos?|ma|volts?|hours|hrs)(?!\w)")
_REPLACED = re.compile(
    r"(?i)(?<!\w)(?:sub(?:stitutes?)?\.? for|replac\w+(?: for)?|better than|upgrade (?:for|to|from)|"
    r"instead of|similar to|fits|version of|like|in place of|ersatz für|remplace|not|für|for)\s+"
    r"(?:an?\s+)?[\w-]*\d[\w-]*(?:\s?/\s?[\w-]*\d[\w-]*)*")
_SWALLOWED = re.compile(r"(?<![\w.,])(?:[1-9]\d{0,2}0{5,}|\d(?:[.,]\d+)?E\+\d{1,2})(?![\w.,%])", re.I)


def without_names(text: str, names: tuple[str, ...]) -> str:
    """A title without the type its row states, where it stands in it; the register need not be asked."""
    low = text.casefold()
    for name in names:
        at = low.find(name.casefold()) if name else -1
        if at >= 0:
            return f"{text[:at]}{TAKEN_OUT}{text[at + len(name):]}".strip()
    return text


def _first_of_a_month(text: str) -> dt.date | None:
    """The date a spreadsheet shows where 6-53 was typed: "2053-06-01", "01.06.2053", "Jun-53"."""
    if not re.fullmatch(r"\d{4}-\d\d-01|0?1\.\d\d?\.\d{4}|[^\W\d_]{3,4}-\d\d", text):
        return None
    date = read_dates([text]).readings[0].value
    return date if date is not None and date.day == 1 else None


_EXPONENT = re.compile(r"(\d)(?:[.,](\d+))?[eE]\+?(\d{1,3})")


def _mangled(text: str) -> list[str]:
    """Types a number may have been before a spreadsheet read it: 600000 -> 6E5, 60E4; "1.2E+02" and 120 ->
    12E1.
    """
    met = _EXPONENT.fullmatch(text) if "+" in text or "." in text or "," in text else None
    if met:
        digits = met.group(1) + (met.group(2) or "").rstrip("0")
        power = int(met.group(3)) - (len(digits) - 1)
        if power < 0 or power > 99:
            return []
        text = digits + "0" * power
    if not re.fullmatch(r"[1-9]\d{1,101}", text, re.ASCII) or not text.endswith("0"):
        return []
    digits = text.rstrip("0")
    power = len(text) - len(digits)
    if len(digits) > 3:
        return []
    return [f"{digits}{'0' * more}E{power - more}" for more in range(min(power, 3))]
