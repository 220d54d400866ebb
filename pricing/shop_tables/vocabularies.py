"""Grades, eras, channels and currencies: the words of the tables, and the many ways owners spell them.

Spellings stand in spellings.csv beside this file (vocabulary, meaning, spellings; a trailing ? marks a
doubtful one). The owner's own spellings, from Settings, come first.
"""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib import resources
from typing import Any, NamedTuple

from pricing.shop_tables.cells import Reading, is_blank, tidy

GRADES: tuple[str, ...] = (
    "new old stock, boxed",
    "new old stock",
    "used, strong",
    "used, good",
    "used, weak",
    "pulled or untested",
    "for parts",
    "unknown",
)
GRADE_ORDER: tuple[str, ...] = GRADES[:5]
ERAS: tuple[str, ...] = (*(f"{decade}s" for decade in range(1930, 2030, 10)), "unknown")
CHANNELS: tuple[str, ...] = ("own site", "marketplace", "auction", "direct", "fair", "wholesale")
UNKNOWN = "unknown"

# Bands in percent of nominal for a bare "used" with a reading: common practice, no source.
STRONG_FROM_PCT = 80.0
WEAK_BELOW_PCT = 65.0


class Spelling(NamedTuple):
    meaning: str
    doubtful: bool


def plain(text: str) -> str:
    """Text reduced for comparison: case folded, dots dropped, other marks and spaces made one space."""
    text = text.casefold().replace(".", "").replace("'", "").replace("’", "").replace("_", " ")
    return re.sub(r"[^\w%+&?]+", " ", text).strip()


@lru_cache(maxsize=1)
def spellings() -> dict[str, dict[str, Spelling]]:
    """vocabulary -> plain spelling -> meaning."""
    tables: dict[str, dict[str, Spelling]] = {}
    text = resources.files(__package__).joinpath("spellings.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(text.splitlines()):
        table = tables.setdefault(row["vocabulary"], {})
        for spelling in (row["meaning"], *row["spellings"].split(";")):
            doubtful = spelling.strip().endswith("?")
            words = plain(spelling.rstrip("? "))
            if words:
                table.setdefault(words, Spelling(row["meaning"], doubtful))
    return tables


@lru_cache(maxsize=None)
def _phrases(vocabulary: str) -> re.Pattern[str]:
    """Every spelling as a whole-word pattern, the longest first."""
    words = sorted(spellings()[vocabulary], key=len, reverse=True)
    return re.compile(r"(?<!\w)(" + "|".join(map(re.escape, words)) + r")(?!\w)")


_DENIALS = re.compile(r"(?<!\w)(not|no|non|nicht|kein|kaum|pas|niet|geen|like|wie|as good as|looks?)(?!\w)")
_SECTIONS = re.compile(r"(?<![\d/])(\d{2,3})\s*%?\s*[/|]\s*(\d{2,3})\s*%?(?![\d/])")
_PERCENT = re.compile(r"(?<![\d.,])(\d{2,3}(?:[.,]\d+)?)\s*%")


class Grading(NamedTuple):
    """What one grade cell says: the grade, a reading in percent of nominal if one is mixed in, and any doubt.
    """

    grade: str
    reading_pct: float | None
    code: str | None


def reading_in(text: str) -> float | None:
    """Percent of nominal mentioned inside a text: "tstd 95%" is 95, two sections "88/91" are their mean 89.5.
    """
    sections = _SECTIONS.search(text)
    if sections:
        both = [float(sections.group(1)), float(sections.group(2))]
        return sum(both) / 2 if all(20 <= one <= 200 for one in both) else None
    percent = _PERCENT.search(text)
    if percent:
        value = float(percent.group(1).replace(",", "."))
        return value if 5 <= value <= 250 else None
    return None


def used_grade(reading_pct: float | None) -> str:
    """Grade of a tube called just "used": by its reading where one is given, else "used, good"."""
    if reading_pct is None:
        return "used, good"
    if reading_pct >= STRONG_FROM_PCT:
        return "used, strong"
    return "used, weak" if reading_pct < WEAK_BELOW_PCT else "used, good"


def read_grade(value: Any, own: Mapping[str, str] | None = None) -> Grading:
    """The grade a cell states. Whole text first (the owner's spellings before ours), then phrases inside it.

    A cell with nothing but a reading ("88/91") is that of a tested, used tube, with doubt.
    """
    if is_blank(value):
        return Grading(UNKNOWN, None, None)
    text = tidy(value)
    if text in GRADES:
        return Grading(text, None, None)
    reading = reading_in(text)
    asked = "?" in text
    words = plain(text.replace("?", " "))
    if own and words in own:
        return Grading(own[words], reading, None)
    if not re.search(r"[^\W\d_]", text) and (reading is not None or isinstance(value, int | float)):
        number = float(value) if isinstance(value, int | float) else None
        if reading is None and number is not None:
            number *= 100 if 0.2 <= number <= 2.5 else 1
            reading = number if 20 <= number <= 250 else None
        if reading is not None:
            return Grading(used_grade(reading), reading, "grade_doubtful")
        return Grading(UNKNOWN, None, "unknown_grade")
    table = spellings()["grade"]
    met = table.get(words)
    if met is None:
        met = _grade_inside(words, table)
    if met is None:
        return Grading(UNKNOWN, reading, "unknown_grade")
    meaning = used_grade(reading) if met.meaning == "used" else met.meaning
    if _DENIALS.search(_cut_known(words)):
        return Grading(UNKNOWN, reading, "unknown_grade")
    doubtful = asked or met.doubtful
    return Grading(meaning, reading, "grade_doubtful" if doubtful else None)


def _cut_known(words: str) -> str:
    return _phrases("grade").sub(" ", words)


def _grade_inside(words: str, table: Mapping[str, Spelling]) -> Spelling | None:
    """The grade named by the phrases inside a text; with several, the most telling one."""
    return most_telling([table[m.group(1)] for m in _phrases("grade").finditer(words)])


def most_telling(met: Sequence[Spelling]) -> Spelling | None:
    """The grade that several phrases come to, None for none; doubtful where they cannot all be true."""
    if not met:
        return None
    meanings = {one.meaning for one in met}
    doubtful = any(one.doubtful for one in met)
    for stronger in ("for parts", "pulled or untested"):
        if stronger in meanings:
            return Spelling(stronger, doubtful)
    if "new old stock, boxed" in meanings:
        return Spelling("new old stock, boxed", doubtful)
    if "new old stock" in meanings:
        used = meanings & {"used", "used, strong", "used, good", "used, weak"}
        # "NOS, tests strong" is new old stock; "NOS, used" cannot be both
        return Spelling("new old stock", doubtful or bool(used & {"used", "used, weak"}))
    for one in ("used, weak", "used, strong", "used, good", "used"):
        if one in meanings:
            clash = {"used, weak", "used, strong"} <= meanings
            return Spelling(one, doubtful or clash)
    return None


def phrases_in(words: str, vocabulary: str) -> list[tuple[int, int, str, Spelling]]:
    """(start, end, phrase, meaning) of every spelling that stands in a plain text."""
    table = spellings()[vocabulary]
    return [(met.start(), met.end(), met.group(1), table[met.group(1)]) for met in _phrases(vocabulary).finditer(words)]


def grade_in_words(words: str) -> str | None:
    """A grade plainly named inside a type text, None when there is none."""
    met = _grade_inside(plain(words.replace("?", " ")), spellings()["grade"])
    if met is None:
        return None
    return used_grade(reading_in(words)) if met.meaning == "used" else met.meaning


_DECADE_WORDS = {"thirties": 1930, "forties": 1940, "fifties": 1950, "sixties": 1960, "seventies": 1970,
                 "eighties": 1980, "nineties": 1990, "dreißiger": 1930, "vierziger": 1940, "fünfziger": 1950,
                 "sechziger": 1960, "siebziger": 1970, "achtziger": 1980, "neunziger": 1990}
_FULL_YEAR = re.compile(r"(?<!\d)((?:19|20)\d\d)(?:\D{0,3}s|er)?(?!\d)")
_SHORT = re.compile(r"(?<!\d)['’]?(\d0)\s?(?:['’]?s|er)(?!\w)")
_SHORT_YEAR = re.compile(r"(?<!\d)['’](\d\d)(?!\d)")
_BARE_DECADE = re.compile(r"(?<!\d)(\d\d)(?!\d)")


def read_era(value: Any, own: Mapping[str, str] | None = None) -> Reading:
    """Decade of making: "1957", "late 50's", "1950s", "'57" -> "1950s". A span of years gives the decade of
    its first.
    """
    if isinstance(value, dt.date):
        return _decade(value.year, False)
    if isinstance(value, float) and value == value and value == int(min(max(value, -1e9), 1e9)):
        value = int(value)
    if is_blank(value):
        return Reading(UNKNOWN)
    text = tidy(value)
    if text in ERAS:
        return Reading(text)
    words = plain(text)
    if own and words in own:
        return Reading(own[words])
    met = spellings()["era"].get(words.replace("?", "").strip())
    if met:
        return Reading(met.meaning, "era_doubtful" if met.doubtful else None, {"taken": met.meaning})
    asked = "?" in text
    full = [int(m.group(1)) for m in _FULL_YEAR.finditer(text)]
    if full:
        tail = re.search(r"(?:19|20)\d\d\s*[-–/]\s*(\d\d)(?!\d)", text)
        last = full[0] // 100 * 100 + int(tail.group(1)) if tail else full[-1]
        return _decade(full[0], asked or full[0] // 10 != last // 10)
    for word, year in _DECADE_WORDS.items():
        if word in words:
            return _decade(year, asked)
    short = [m.group(1) for m in _SHORT.finditer(text)] or [m.group(1) for m in _SHORT_YEAR.finditer(text)]
    if not short and re.search(r"(?i)(ann[ée]es|anni|años|jaren|jahre|c\.|ca|circa|^['’]?\d\d\??$)", text):
        short = [m.group(1) for m in _BARE_DECADE.finditer(text)]
    if short:
        two = int(short[0])
        year = 1900 + two if two >= 30 else 2000 + two
        mixed = bool(re.search(r"\d\d\s*['s]*\s*[-–/]\s*['’]?\d\d", text))
        return _decade(year, asked or two in (10, 20) or mixed)
    return Reading(UNKNOWN, "unknown_era")


_ERA_PHRASE = re.compile(
    r"(?i)(?<![\w.,#/-])(?:19[3-9]|20[0-2])\d(?:['’]?s|er)?(?:(?:\s?[-–/]\s?(?:19|20)\d|[-–/]\d)\d(?:['’]?s)?)?(?![\w%])"
    r"(?![.,/-]\d)|(?<![\w.,$€£])(?:['’]?[3-9]0['’]?s|[3-9]0er|['’][3-9]\d)(?:\s?[-–/]\s?['’]?\d0['’]?s)?(?!\w)|"
    r"(?<!\w)(?:date[ -]?codes?|dated|dates?)\s*:?\s*\d{1,2}[-/.](?:19)?([3-9]\d)(?!\w)|"
    rf"(?<!\w)(?:{'|'.join(_DECADE_WORDS)})(?!\w)")
# A number before such a unit, or after such a word, counts or measures something and is no year.
_NO_YEAR_AFTER = re.compile(
    r"(?i)\s?(?:[uµ]?mhos?|micromhos?|[uµ]s|hours?|hrs?|h|v|volts?|ma|pcs|pieces|tubes|stk|[km]?hz|ohms?)\b|\s?[x×]\s?\d")
_NO_YEAR_BEFORE = re.compile(
    r"(?i)(?:(?<!\w)(?:gm|tests?|tested|tstd|reads?|measures?|lot|no|nr|sku|qty|(?:lot|box|set) of|x|since|est|"
    r"founded(?: in)?|(?:serials?|s/n)[\w\s&,.-]{0,25})|[#×@©])[.:]?\s*$")


def era_phrases(text: str) -> list[tuple[int, int, str]]:
    """(start, end, phrase) of every year, span of years or decade that stands in a title, as `read_era` reads them."""
    met = []
    for one in _ERA_PHRASE.finditer(text):
        if not _NO_YEAR_AFTER.match(text[one.end():]) and not _NO_YEAR_BEFORE.search(text[: one.start()]):
            met.append((one.start(), one.end(), f"'{one.group(1)}" if one.group(1) else one.group()))
    words = text.casefold()
    for start, end, phrase, spelling in phrases_in(words, "era"):
        if spelling.meaning != UNKNOWN:
            met.append((start, end, phrase))
    return sorted(met)


def _decade(year: int, doubtful: bool) -> Reading:
    era = f"{year // 10 * 10}s"
    if era not in ERAS:
        return Reading(UNKNOWN, "unknown_era")
    return Reading(era, "era_doubtful" if doubtful else None, {"taken": era})


def read_test(value: Any) -> Reading:
    """The test a tester made (gm, emission, plate current, gas, leakage, noise), None with a code otherwise."""
    if is_blank(value):
        return Reading(None, "test_missing")
    met = spellings()["test"].get(plain(tidy(value)))
    return Reading(met.meaning) if met else Reading(None, "unknown_test")


def read_channel(value: Any, own: Mapping[str, str] | None = None) -> Reading:
    """The channel; a text that is none of ours is kept as the owner's own channel."""
    if is_blank(value):
        return Reading(UNKNOWN)
    text = tidy(value)
    words = plain(text)
    if own and words in own:
        return Reading(own[words])
    met = spellings()["channel"].get(words)
    return Reading(met.meaning if met else text)


_SIGNS = {
    "€": "EUR",
    "£": "GBP",
    "¥": "JPY",
    "zł": "PLN",
    "₽": "RUB",
    "₴": "UAH",
    "us$": "USD",
    "a$": "AUD",
    "au$": "AUD",
    "c$": "CAD",
    "ca$": "CAD",
    "$": "USD",
    "kč": "CZK",
    "₹": "INR",
    "nz$": "NZD",
    "hk$": "HKD",
}


def read_currency(value: Any) -> str:
    """ISO 4217 code of a sign, code or name; other text in capitals as it stands; "" when blank."""
    if is_blank(value):
        return ""
    text = tidy(value)
    low = text.casefold().replace(" ", "")
    if low in _SIGNS:
        return _SIGNS[low]
    met = spellings()["currency"].get(plain(text))
    return met.meaning if met else text.upper()
