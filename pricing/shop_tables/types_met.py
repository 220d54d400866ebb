"""What a type cell names: the register asked once per distinct text, set words and mangled numbers told apart."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any, NamedTuple

from pricing.shop_tables.cells import is_blank, tidy


class TypeMet(NamedTuple):
    """One type cell read. `text` is the type as text (the owner's own spelling), `rest` what stood around the type.

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
        self._cells: dict[tuple[type, Any], TypeMet | None] = {}

    def read(self, value: Any) -> TypeMet | None:
        """The type a cell names, None when the cell is blank."""
        key = (type(value), value) if isinstance(value, str | int | float | dt.date) else (str, tidy(value))
        if key not in self._cells:
            self._cells[key] = None if is_blank(value) else self._read(value)
        return self._cells[key]

    def in_title(self, text: str) -> TypeMet | None:
        """The type named inside a longer text, None when there is none."""
        found = self._inside(text)
        if found is None:
            return None
        match, spelt = found
        return self._known(spelt, match, _without(text, spelt))

    def _read(self, value: Any) -> TypeMet:
        if isinstance(value, dt.date):
            likely = f"{value.month}-{value.year % 100:02d}"
            return self._doubtful(likely, "date_for_type", tidy(value))
        text = tidy(value).lstrip("'").strip()
        mangled = _mangled(text)
        match = self._find(text)
        if _status(match) == "unknown" and mangled:
            likely = next((one for one in mangled if _status(self._find(one)) != "unknown"), mangled[0])
            return self._doubtful(likely, "number_for_type", text)
        if _status(match) != "unknown":
            return self._known(text, match, "")
        inside = self._inside(text)
        if inside is not None:
            found, spelt = inside
            return self._known(text, found, _without(text, spelt))
        return self._unknown(text, match)

    def _find(self, text: str) -> Any:
        return self.register.find(text)

    def _inside(self, text: str) -> tuple[Any, str] | None:
        """(match, its spelling in the text) of the first type inside a text."""
        found = self.register.find_in_text(text)
        if found is None:
            return None
        if isinstance(found, list | tuple) and not hasattr(found, "status"):
            found = found[0] if found else None
        if found is None or _status(found) == "unknown":
            return None
        return found, found.text

    def _known(self, text: str, match: Any, rest: str) -> TypeMet:
        if _status(match) == "ambiguous":
            taken = match.designation or (match.candidates[0] if match.candidates else text)
            canonical = match.canonical_type or taken
            return TypeMet(text, taken, canonical, self._family(taken), rest, "ambiguous_type",
                           {"near": " or ".join(match.candidates), "taken": taken})
        return TypeMet(text, match.designation, match.canonical_type, self._family(match.designation), rest)

    def _unknown(self, text: str, match: Any) -> TypeMet:
        near = ", ".join(match.candidates[:3]) if match is not None and match.candidates else "nothing near it is known"
        return TypeMet(text, text, text, f"other: {text}", "", "unknown_type", {"near": near}, known=False)

    def _doubtful(self, likely: str, code: str, shown: str) -> TypeMet:
        match = self._find(likely)
        met = self._known(likely, match, "") if _status(match) != "unknown" else self._unknown(likely, match)
        return met._replace(code=code, details={"taken": likely, "shown": shown})

    def _family(self, designation: str) -> str:
        try:
            return self.register.shop_family(designation)
        except KeyError:
            return f"other: {designation}"


def _status(match: Any) -> str:
    return "unknown" if match is None else match.status


def _without(text: str, spelt: str) -> str:
    """The text with the first place of `spelt` taken out."""
    at = text.casefold().find(spelt.casefold())
    return text if at < 0 else f"{text[:at]} {text[at + len(spelt):]}".strip()


_EXPONENT = re.compile(r"(\d)(?:[.,](\d+))?[eE]\+?(\d{1,3})")


def _mangled(text: str) -> list[str]:
    """Types a number may have been before a spreadsheet read it: 600000 -> 6E5, 60E4; "1.2E+02" and 120 -> 12E1."""
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
