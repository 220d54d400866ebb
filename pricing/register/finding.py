"""Which type a written designation stands for: found, ambiguous, or unknown with near spellings."""

from __future__ import annotations

import difflib
import re
from collections import defaultdict
from typing import Any, Callable, Iterable

from .spelling import (
    is_date,
    key,
    latin_readings,
    nought_variants,
    number_of,
    text_of,
    without_military_prefix,
)
from .tube_type import Match

_SPLIT = re.compile(r"\s*(?:/|=|,|;|\||\(|\)|\+|&|\baka\b|\bor\b|\bequiv\w*\b)\s*", re.I)
_GT_G = re.compile(r"GT\s*/\s*G(?![0-9A-Za-z])", re.I)
# A part such as the "GTB" of "6SN7GTA/GTB": an edition of the name before the stroke.
_EDITION = re.compile(r"(G|GA|GB|GC|GT|GTA|GTB|GTY|A|B|C|W|WA|WB|WC|WGT|WGTA)", re.I)
_GOST_GRADE = re.compile(r"(?<=[A-Z])(EV|ER|VI|DR|E|V|I|D|R|K)$")
_HARMLESS = re.compile(
    r"(x?\d{1,2}x?|\d+pcs?|(19|20)\d\d|(19|20)?\d0'?s|\d+%|\d+(mm|v|ma|w|khz|hz)|\d{1,2}/\d{2,4}|d|o)", re.I)
# A count written onto the name: "2x12AX7", "EL84x4".
_COUNT = re.compile(r"\d{1,2}[x×*](?=\w{3})|(?<=\w{3})[x×*]\d{1,2}$", re.I)
# The part of a US, European or industrial name before its suffix.
_STEM = re.compile(r"\d+[A-Z]{1,3}\d+(?=[A-Z]{0,5}$)|[A-Z]{2,4}\d+(?=[A-Z]{0,3}$)|\d{4}(?=[A-Z]{1,3}$)")
_WORD = re.compile(r"[0-9A-Za-zА-Яа-я]+(?:[-/=.][0-9A-Za-zА-Яа-я]+)*")
_NAMING = {"tube", "tubes", "type", "types", "valve", "valves", "röhre", "röhren", "lampe", "ux", "no"}
NEAR_COUNT = 5


class Finder:
    """Looks spellings up. `names` maps designation to canonical type; `aliases` gives (alias, designation,
    note).

    `same_kin(a, b)` tells whether two canonical types may share one print: the register's substitutions
    class them "same type, other designation" or "same limits, other rating system".
    """

    def __init__(self, names: dict[str, str], aliases: Iterable[tuple[str, str, str]],
                 same_kin: Callable[[str, str], bool]):
        self._names = names
        self._same_kin = same_kin
        self._keys: dict[str, tuple[str, str]] = {}
        self._spelling: dict[str, str] = {}
        for alias, designation, note in aliases:
            self._keys[key(alias)] = (designation, note)
            self._spelling[key(alias)] = alias
        for name in names:  # a designation wins over an alias of the same spelling
            self._keys[key(name)] = (name, "")
            self._spelling[key(name)] = name
        self._mangled: dict[float, list[str]] = defaultdict(list)
        for name in names:
            if re.fullmatch(r"\d+E\d+", name):
                self._mangled[float(name)].append(name)
        self._met: dict[str, Match] = {}

    def find(self, value: Any) -> Match:
        """The Match for one cell. Never raises."""
        text = text_of(value)
        if is_date(value):
            return Match(text, "unknown", note="this is a date, or a date code, not a type")
        met = self._met.get(text)
        if met is None:
            met = self._look_up(text)
            if len(self._met) > 20_000:
                self._met.clear()
            self._met[text] = met
        return met

    def _found(self, text: str, designation: str, note: str = "", candidates: tuple[str, ...] = ()) -> Match:
        return Match(text, "found", designation, self._names[designation], candidates or (designation,), note)

    def _look_up(self, text: str) -> Match:
        if not key(text):
            return Match(text, "unknown", note="no type is written")
        if re.search(r"\d\s*[-–]\s*\d", text) and not re.search("[A-Za-zА-Яа-я]", text):
            return Match(text, "unknown", note="figures with a dash are a date code or a range, not a type")
        number = number_of(text)
        one = None if number is not None and "+" in text else self._one(text)
        if one:
            return one
        if number is not None:
            return self._from_number(text, number)
        return self._several(text) or self._longer(text) or self._editions(text) or self._unknown(text)

    # one designation ----------------------------------------------------------------------------------------
    def _one(self, text: str) -> Match | None:
        text_joined = _GT_G.sub("GT", text)
        if _SPLIT.search(text_joined.strip("()/")) and "/" not in self._spelling.get(key(text), ""):
            return None  # several names, not one name with a stroke in it
        for reading, note in latin_readings(text_joined):
            if " " in reading.strip() and re.fullmatch(r"[\d ]+", reading):
                return None  # "58 81" is two numbers
            met = self._by_key(key(reading))
            if met and note == "by shape":
                return Match(text, "ambiguous", candidates=(met[0],),
                             note=f"Cyrillic letters that only look like {met[0]}: write it in Latin letters")
            if met:
                return self._found(text, met[0], "; ".join(n for n in (note, met[1]) if n))
        return self._counted(text)

    def _counted(self, text: str) -> Match | None:
        for count in (_COUNT.match(text), _COUNT.search(text)):
            if count:
                name = text[:count.start()] + text[count.end():]
                met = self._by_key(key(name)) if re.search("[A-Za-z]", name) else None
                if met:
                    return self._found(text, met[0], "a count is left out")
        return None

    def _by_key(self, text_key: str) -> tuple[str, str] | None:
        """(designation, note): the key as it stands, O for 0, military prefix or GOST grade letters off."""
        for form in nought_variants(text_key):
            if form in self._keys:
                designation, note = self._keys[form]
                return designation, note if form == text_key else "; ".join(
                    n for n in ("letter O and figure 0 exchanged", note) if n)
        for rest in without_military_prefix(text_key):
            for form in nought_variants(rest):
                if form in self._keys:
                    designation, note = self._keys[form]
                    return designation, "; ".join(n for n in ("military prefix left out", note) if n)
        stem = _GOST_GRADE.sub("", text_key)
        if stem != text_key and re.fullmatch(r"\d{1,2}(ZH|[A-Z])\d{1,2}[PSN]", stem) and stem in self._keys:
            designation, note = self._keys[stem]
            grade = text_key[len(stem):]
            return designation, "; ".join(n for n in (
                f"grade letters {grade} left out: they promise life, not higher limits", note) if n)
        return None

    def _from_number(self, text: str, number: float) -> Match:
        if number == int(number) and number < 1e15 and "e" not in text.lower():
            met = self._by_key(str(int(number)))
            if met:
                return self._found(text, met[0])
        likely = tuple(self._mangled.get(number, ()))
        if likely:
            return Match(text, "ambiguous", candidates=likely,
                         note=f"a spreadsheet turns {likely[0]} into this number: format the column as text")
        return self._unknown(text)

    # two names on one piece ---------------------------------------------------------------------------------
    def _several(self, text: str) -> Match | None:
        parts = [p for p in _SPLIT.split(_GT_G.sub("GT", text)) if p and p.strip(" -.")]
        if len(parts) < 2:
            parts = self._parted(text)
        if len(parts) < 2:
            return None
        met: list[Match] = []
        for part in parts:
            one = self._one(part) or (
                None if number_of(part) is not None else self._parted_match(part) or self._longer(part))
            if one is None and met and _EDITION.fullmatch(part):
                one = self._edition_of(met[0].designation, part.upper())
            if one is None:
                return self._half_known(text, met, part) if met else None
            met.append(one)
        return self._agree(text, met)

    def _parted(self, text: str) -> list[str]:
        """Two known names joined by a dash or blanks ("6BQ5-EL84", "6DJ8 ECC88"); [] for none."""
        cuts = [m for m in re.finditer(r"\s*[-\s]\s*", text)]
        for cut in cuts:
            left, right = text[:cut.start()], text[cut.end():]
            if self._one(left) and self._one(right) and re.search("[A-Za-z]", left + right):
                return [left, right]
        return []

    def _parted_match(self, text: str) -> Match | None:
        parts = self._parted(text)
        return self._agree(text, [self._one(p) for p in parts]) if parts else None

    def _edition_of(self, designation: str, edition: str) -> Match | None:
        stem = re.match(r"\d+[A-Z]+\d+|[A-Z]+\d+|\d+", designation)
        whole = (stem.group() if stem else designation) + edition
        return self._one(whole) or self._one(designation + edition)

    def _half_known(self, text: str, met: list[Match], part: str) -> Match | None:
        if any(m.status != "found" for m in met) or not re.search(r"\d", part) or _HARMLESS.fullmatch(part):
            return None
        return Match(text, "ambiguous", candidates=tuple(dict.fromkeys(m.designation for m in met)),
                     note=f"'{part}' is not known beside it")

    def _agree(self, text: str, met: list[Match]) -> Match:
        """One printed piece with several names.

        Rule: names of one canonical type are that type, and so are names of kin that makers print together
        because they are the same type under another designation, or the same limits under another rating
        system; the first name is the designation. Any other pair is ambiguous.
        """
        names = tuple(dict.fromkeys(name for m in met for name in (
            (m.designation,) if m.designation else m.candidates)))
        if any(m.status != "found" for m in met):
            return Match(text, "ambiguous", candidates=names, note="more than one reading")
        first = met[0]
        types = tuple(dict.fromkeys(m.canonical_type for m in met))
        if len(types) == 1:
            note = f"{' and '.join(names)} are one type" if len(names) > 1 else first.note
            return self._found(text, first.designation, note, names)
        if all(self._same_kin(first.canonical_type, other) for other in types[1:]):
            return self._found(text, first.designation,
                               f"{' and '.join(names)} are kin printed together; priced as {types[0]}", names)
        return Match(text, "ambiguous", candidates=names, note=f"{' and '.join(names)} are different types")

    # longer texts -------------------------------------------------------------------------------------------
    def find_in_text(self, text: Any) -> list[Match]:
        """Every designation that stands in a longer text, in order, each once. Never raises.

        One- and two-figure names (45, 80) and bare numbers count only beside a word such as "tube" or
        "type", or with nothing else in the text: in a title they are mostly counts, years and readings.
        """
        words = list(_WORD.finditer(_GT_G.sub("GT", text_of(text))))
        found: list[Match] = []
        i = 0
        while i < len(words):
            taken = 1
            for count in (3, 2, 1):
                if i + count > len(words):
                    continue
                piece = " ".join(w.group() for w in words[i:i + count])
                if count > 1 and not self._joins([w.group() for w in words[i:i + count]]):
                    continue
                beside = {words[j].group().lower() for j in (i - 1, i + count) if 0 <= j < len(words)}
                met = self._piece(piece, beside, len(words))
                if met:
                    found += [m for m in met if (m.status, m.designation, m.candidates) not in
                              [(f.status, f.designation, f.candidates) for f in found]]
                    taken = count
                    break
            i += taken
        return found

    @staticmethod
    def _joins(words: list[str]) -> bool:
        """Words that may be one name written apart ("6V6 GT", "12 AX 7", "JAN 5814A")."""
        signs = "".join(words)
        return any(c.isdigit() for c in signs) and any(c.isalpha() for c in signs) and all(
            len(w) <= 5 and not _HARMLESS.fullmatch(w) or w.isdigit() and len(w) <= 2 for w in words[1:])

    def _piece(self, piece: str, beside: set[str], count: int) -> list[Match]:
        if is_date(piece) or not re.search(r"\d", piece):
            return []
        if re.fullmatch(r"\d+", piece):
            long_enough = len(piece) >= 4 and not re.fullmatch(r"(19|20)\d\d", piece)
            if not (beside & _NAMING or count == 1 or long_enough):
                return []
        one = self._one(piece)
        if one:
            return [one]
        if " " not in piece and re.search("[-/=]", piece):
            several = self._several(piece)
            if several:
                return [several]
            return [m for p in re.split("[-/=]", piece) if p for m in self._piece(p, set(), count + 1)]
        return []

    def _longer(self, text: str) -> Match | None:
        if not re.search(r"[\s/=,;()|-]", text):
            return None
        met = self.find_in_text(text)
        if not met:
            return None
        whole = self._agree(text, met)
        strange = self._strange(_GT_G.sub("GT", text), met)
        if whole.status == "found" and strange:
            return Match(text, "ambiguous", candidates=whole.candidates,
                         note=f"'{strange}' is not known beside it")
        if whole.status == "found":
            return self._found(text, whole.designation, "; ".join(
                n for n in ("read within a longer text", whole.note) if n), whole.candidates)
        return whole

    @staticmethod
    def _strange(text: str, met: list[Match]) -> str:
        """The first unmatched word with figures, or of edition letters, that may be a name; "" for none."""
        known = {key(word) for m in met for word in _WORD.findall(m.text)}
        joined = "".join(key(m.text) for m in met)
        parts = (part for word in _WORD.findall(text) if key(word) not in known
                 for part in re.split("[-/=.]", word))
        return next((part for part in parts if (re.search(r"\d", part) or _EDITION.fullmatch(part))
                     and key(part) not in joined and not _HARMLESS.fullmatch(part)), "")

    # what is left -------------------------------------------------------------------------------------------
    def _editions(self, text: str) -> Match | None:
        """Known editions of a stem whose suffix is missing or not known ("5U4", "6SN7GTC")."""
        text_key = key(latin_readings(text)[0][0])
        if len(text_key) > 12:
            return None
        stem = _STEM.match(text_key)
        if stem:
            kin = [n for n in self._names if re.fullmatch(re.escape(stem.group()) + r"[A-Z]{0,5}", key(n))]
            if not kin and stem.group() in self._keys:
                kin = [self._keys[stem.group()][0]]
            if kin:
                return Match(text, "ambiguous", candidates=tuple(kin),
                             note="this edition is not in the register" if stem.group() != text_key
                             else "several editions share this stem: write the suffix")
        special = re.fullmatch(r"([A-Z])(\d{2,3})([A-Z]{1,3})", text_key)
        if special:
            plain = special[1] + special[3] + special[2]
            if plain in self._keys:
                return Match(text, "ambiguous", candidates=(self._keys[plain][0],),
                             note="figures in the middle mark special-quality kin; this one is not held")
        return None

    def near(self, text: str) -> tuple[str, ...]:
        """Up to five known spellings that look most like the text, nearest first."""
        text_key = key(text)[:20]
        close = difflib.get_close_matches(text_key, self._keys, n=NEAR_COUNT, cutoff=0.6)
        return tuple(dict.fromkeys(self._spelling[k] for k in close))

    def _unknown(self, text: str) -> Match:
        return Match(text, "unknown", candidates=self.near(text), note="not in the register")
