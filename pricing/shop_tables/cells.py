"""Parsers of one cell: blank or not, money, numbers, percentages, yes and no. Words for sets are in sets.py.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from typing import Any, NamedTuple

# A dash or a question mark typed into an empty cell says no more than the blank.
BLANK_WORDS = frozenset(
    {
        "",
        "-",
        "--",
        "---",
        "—",
        "–",
        "?",
        "n/a",
        "na",
        "n.a.",
        "nan",
        "none",
        "null",
        "nat",
        "#n/a",
        ".",
        "<na>",
    }
)
# What spreadsheets may run as a formula when they open a CSV file, blanks before it and full-width signs included.
RUNS = re.compile(r"\s*[=+\-@\uff1d\uff0b\uff0d\uff20]|[\t\r\n]")
_SPACES = re.compile(r"[\s\u00a0\u202f\u2007\u200b\ufeff]+")


class Reading(NamedTuple):
    """What a cell was read as. `code` names the problem to report (None: no doubt), `details` its words."""

    value: Any
    code: str | None = None
    details: dict[str, Any] = {}


def tidy(value: Any) -> str:
    """The cell as one line of text: spaces single, ends trimmed, whole floats without the point."""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        value = int(value)
    if isinstance(value, dt.datetime) and value.time() == dt.time():
        value = value.date()
    text = _SPACES.sub(" ", str(value)).strip()
    return text if text.isascii() else text.encode("utf-8", "replace").decode("utf-8")


def is_blank(value: Any) -> bool:
    """True for None, NaN, NaT, spaces, and the marks people type for "nothing here"."""
    if value is None:
        return True
    if isinstance(value, str):
        text = value if value.isascii() else _SPACES.sub(" ", value)
        return text.strip().casefold() in BLANK_WORDS
    try:
        return bool(value != value)
    except (TypeError, ValueError):
        return False


def plain_number(text: str) -> float | None:
    """A number written the English or the continental way, None when the text is not one number.

    With both marks the last one is the decimal mark; a mark met twice groups thousands; a single mark before
    exactly three digits groups thousands ("1.250" and "1,250" are 1250), otherwise it is the decimal mark.
    """
    text = text.strip().replace("\u2212", "-")
    sign = 1.0
    if re.fullmatch(r"\(.*\)", text):
        text, sign = text[1:-1].strip(), -1.0
    if text[:1] in "+-" and text:
        sign, text = (-sign if text[0] == "-" else sign), text[1:].strip()
    text = re.sub(r"(?<=\d)['’\s\u00a0\u202f](?=\d{3}(?:\D|$))", "", text)
    if not re.fullmatch(r"\d[\d.,]*|[.,]\d+", text, re.ASCII) or len(text) > 18:
        return None
    dots, commas = text.count("."), text.count(",")
    if dots and commas:
        decimal = "." if text.rfind(".") > text.rfind(",") else ","
        if text.count(decimal) > 1:
            return None
        whole, _, part = text.rpartition(decimal)
        groups = whole.split("," if decimal == "." else ".")
    elif dots + commas:
        mark = "." if dots else ","
        pieces = text.split(mark)
        if len(pieces) > 2 or (len(pieces[1]) == 3 and 1 <= len(pieces[0]) <= 3 and pieces[0].strip("0")):
            groups, part = pieces, ""
        else:
            groups, part = [pieces[0]], pieces[1]
    else:
        groups, part = [text], ""
    if len(groups) > 1 and (any(len(g) != 3 for g in groups[1:]) or not 1 <= len(groups[0]) <= 3):
        return None
    return sign * float(f"{''.join(groups) or '0'}.{part or '0'}")


class Money(NamedTuple):
    """An amount with the currency its sign names ("" when none) and what it is a price of.

    `per` is "" for the line, "each" for one piece, or a set size ("2" for a price per pair).
    """

    amount: float
    currency: str
    per: str


_CODES = (
    "EUR|USD|GBP|CHF|JPY|CAD|AUD|NZD|PLN|SEK|DKK|NOK|CZK|HUF|RUB|UAH|INR|CNY|HKD|BGN|RON|TRY|ZAR|BRL|KRW|ILS"
)
_SIGN = re.compile(
    rf"(?i)(us\s?\$|au?\s?\$|ca?\s?\$|nz\s?\$|hk\s?\$|[€£¥₽₴₹$]|zł|kč|(?<![a-z])(?:{_CODES}|euros?|sfr\.?|"
    r"fr\.|dollars?|pounds?)(?![a-z]))"
)
_EACH = re.compile(
    r"(?i)(?:/\s*|\bper\s+|\bà\s+|\s+|(?<=\d)|(?<=-))(ea\.?|each|pcs?\.?|piece|stk\.?|stück|st\.|pièce|cad\.?|c/u|"
    r"p\.\s?st\.?|per\s?stuk|stuk|tube|single|apiece)\s*$"
)
_PER_SET = re.compile(
    r"(?i)(?:/\s*|\bper\s+|\bpro\s+|\bthe\s+|\bl[ae]\s+|\s+|(?<=\d))(prs?\.?|pairs?|paar|paire|coppia|par|duo|quads?|"
    r"quartet|quartett|trio|sextet|mp|mq)\s*$"
)
_SET_WORD_SIZE = {
    "trio": "3",
    "quad": "4",
    "quads": "4",
    "quartet": "4",
    "quartett": "4",
    "sextet": "6",
    "mq": "4",
}
_DOUBT = re.compile(
    r"(?i)^(?:ca\.?|circa|about|approx\.?|~|≈|vb|obo|etwa|env\.?)\s*|\s*(?:vb|obo|ono|approx\.?|ca\.?|ish)$"
)
_WHOLE_MARK = re.compile(r"(?<=\d)\s?[.,]\s?[-–—]+$|(?<=\d)[-–—]+$|(?<=\d)=$")

# Stands where words were taken out of a text, so that their neighbours do not become a phrase.
TAKEN_OUT = " & "
# Prices inside a longer text: "$45", "45 €" (a year may follow), "45 each", "90/pr", "asking 45".
_AMOUNT = r"\d(?:[\d.,'’]*\d)?(?:[.,]?[-–—]+)?"
# In a text the C of "6L6GC $20" is no part of the sign.
_MARK = rf"(?:(?<!\w){_SIGN.pattern.removeprefix('(?i)')}|(?<=\d)(?:{_CODES})(?!\w)|[€£¥₽₴₹$])"
_PRICES = re.compile(
    rf"(?i){_MARK}{_AMOUNT}(?!\w)|(?<![\w.,]){_AMOUNT}{_MARK}(?!\d)|"
    rf"(?<![\w.,])\d[\d.,]*(?:[.,]\d\d|[.,]?[-–—]+)\s{_MARK}(?!\d)|"
    rf"(?<![\w.,]){_AMOUNT}\s{_MARK}(?!\d)(?!\s(?!(?:19[3-9]|20[0-2])\d\b)\d)|{_MARK}\s{_AMOUNT}(?!\w)|"
    rf"(?<![\w.,]){_AMOUNT}(?:/\s?|\sper\s|\s)(?=(?:ea|each)\b)|"
    rf"(?<![\w.,/]){_AMOUNT}(?:/\s?|\sper\s)(?=(?:pr|pair|quad|pc|piece|stk|stück|tube)\b)|"
    rf"(?<!\w)(?:@|asking|price|preis|prix|was|now|only|nur|sold for)\s*:?\s*{_AMOUNT}(?!\w|\s?(?:x|pcs|%|left|hours))"
)


def without_prices(text: str) -> str:
    """The text with TAKEN_OUT for every amount that a sign, a unit or a word shows to be a price."""
    return _PRICES.sub(TAKEN_OUT, text)


def currencies_in(text: str, read_currency: Any) -> set[str]:
    """The currencies that signs and codes in a text name: "Price (USD)"."""
    return {read_currency(sign) for sign in _SIGN.findall(text)}


def read_money(value: Any, read_currency: Any) -> Reading:
    """Money in a cell: value is a Money, or None with a code ("unreadable") when it is not one amount.

    Doubt ("money_doubtful") is raised by a question mark, "about", a space before the cents, or "1.250"
    alone. `read_currency` turns a sign into an ISO code.
    """
    if is_blank(value):
        return Reading(None)
    if isinstance(value, bool) or isinstance(value, dt.date | dt.time | dt.timedelta):
        return Reading(None, "unreadable")
    if isinstance(value, int | float) or hasattr(value, "dtype"):
        return _money_number(value)
    text = tidy(value)
    doubtful = "?" in text
    text = text.replace("?", "").lstrip("'").strip()
    shorter = _DOUBT.sub("", text).strip()
    doubtful |= shorter != text
    text, per = shorter, ""
    each, per_set = _EACH.search(text), _PER_SET.search(text)
    if each:
        text, per = text[: each.start()].strip(), "each"
    elif per_set:
        text, per = (
            text[: per_set.start()].strip(),
            _SET_WORD_SIZE.get(per_set.group(1).casefold().rstrip("."), "2"),
        )
    signs = currencies_in(text, read_currency)
    text = _SIGN.sub(" ", text).strip()
    text = _WHOLE_MARK.sub("", text).strip()
    if len(signs) > 1:
        return Reading(None, "unreadable")
    cents = re.fullmatch(r"(\d{1,4}) (\d\d)", text)
    if cents:
        text, doubtful = f"{cents.group(1)}.{cents.group(2)}", True
    doubtful |= bool(re.fullmatch(r"\d{1,3}\.\d{3}", text)) and not text.startswith("0")
    amount = plain_number(text)
    if amount is None or not math.isfinite(amount):
        return Reading(None, "unreadable")
    currency = signs.pop() if signs else ""
    return Reading(
        Money(amount, currency, per), "money_doubtful" if doubtful else None, {"taken": f"{amount:.2f}"}
    )


def _money_number(value: Any) -> Reading:
    try:
        amount = float(value)
    except (TypeError, ValueError, OverflowError):
        return Reading(None, "unreadable")
    return (
        Reading(Money(amount, "", ""))
        if math.isfinite(amount) and abs(amount) < 1e12
        else Reading(None, "unreadable")
    )


def read_number(value: Any) -> Reading:
    """A plain number with an optional unit behind it ("250 V"), None with a code otherwise."""
    if is_blank(value):
        return Reading(None)
    if isinstance(value, bool) or isinstance(value, dt.date | dt.time | dt.timedelta):
        return Reading(None, "number_unreadable")
    if isinstance(value, int | float) or hasattr(value, "dtype"):
        read = _money_number(value)
        return Reading(None, "number_unreadable") if read.value is None else Reading(read.value.amount)
    text = tidy(value)
    multiple = re.fullmatch(r"(?i)([-+]?[\d.,]+)\s*(k|m)(?:\s?(?:ohms?|Ω))?", text)
    if multiple:
        number = plain_number(multiple.group(1))
        if number is not None:
            return Reading(
                number * (1e3 if multiple.group(2) == "k" else 1e6 if multiple.group(2) == "M" else 1e-3)
            )
    number = plain_number(re.sub(r"(?<=[\d.,])\s*[^\W\d_%µΩ]*[a-zA-Z%µΩ/]+\.?$", "", text))
    return Reading(None, "number_unreadable") if number is None else Reading(number)


LOW_PCT, HIGH_PCT = 5.0, 250.0


def read_percent(value: Any) -> Reading:
    """Percent of nominal: 95, "95%", 0.95 and "95/97" (mean of two sections); None with a code otherwise.

    A number from 0.05 to 2.5 is a fraction and is multiplied by 100; anything outside 5 to 250 % is not a
    percentage.
    """
    if is_blank(value):
        return Reading(None)
    if isinstance(value, bool) or isinstance(value, dt.date | dt.time | dt.timedelta):
        return Reading(None, "percent_unreadable")
    if isinstance(value, int | float) or hasattr(value, "dtype"):
        number, doubtful, signed = _money_number(value).value, False, False
        number = None if number is None else number.amount
    else:
        text = tidy(value)
        doubtful = "?" in text or bool(re.match(r"[~≈]|ca\b", text))
        text = re.sub(r"^[~≈]\s*|^ca\.?\s*|\?", "", text).strip()
        sections = re.fullmatch(r"([\d.,]+)\s*%?\s*[/|&]\s*([\d.,]+)\s*%?", text)
        if sections:
            both = [read_percent(part).value for part in sections.groups()]
            if None in both:
                return Reading(None, "percent_unreadable")
            return _percent(sum(both) / 2, doubtful)
        inside = re.search(r"(\d[\d.,]*)\s*%", text)
        signed = bool(inside)
        number = plain_number(inside.group(1)) if inside else plain_number(text)
        if inside is None and number is None:
            worded = re.fullmatch(r"(?i)[^\d]*?(\d{2,3})[^\d/]*", text)
            number, doubtful = (float(worded.group(1)), True) if worded else (None, doubtful)
    if number is not None and not signed and 0.05 <= number <= 2.5:
        number = round(number * 100, 6)
    return _percent(number, doubtful)


def _percent(number: float | None, doubtful: bool) -> Reading:
    if number is None or not LOW_PCT <= number <= HIGH_PCT:
        return Reading(None, "percent_unreadable")
    return Reading(number, "percent_doubtful" if doubtful else None, {"taken": f"{number:g}"})


_YES = frozenset(
    "yes y x ja j oui o si sí s sì true t 1 1.0 wahr vrai vero verdadero waar matched match mp mq ok ✓ ✔ "
    "gematcht gepaart selected apparié appariée".split()
)
_NO = frozenset("no n nein non nee false f 0 0.0 falsch faux falso onwaar unmatched not - none".split())


def read_flag(value: Any) -> Reading:
    """Yes or no; blank is no. Value is a bool, with a code when the word is neither."""
    if is_blank(value):
        return Reading(False)
    if isinstance(value, bool):
        return Reading(value)
    word = tidy(value).casefold().rstrip(".!")
    if word in _YES or word.startswith(("matched", "yes", "ja ")):
        return Reading(True)
    return Reading(False) if word in _NO else Reading(False, "flag_unreadable")
