"""How many pieces: set words in texts ("matched pair", "(2)", "lot of 10", "1.5 pr") and counts in their own
columns.
"""

from __future__ import annotations

import re
from typing import Any, NamedTuple

from pricing.shop_tables.cells import TAKEN_OUT, Reading, is_blank, plain_number, tidy

MOST_PIECES = 100_000

_SIZES = {
    1: "single singles",
    2: "пара пары пар pair pairs pr prs mp duo duos duet paar paare pärchen paire paires coppia coppie pareja parejas "
    "paren koppel",
    3: "trio trios triplet",
    4: "quad quads mq quartet quartets quartett quartette quatuor quartetto cuarteto kwartet quadruple",
    6: "sextet sextets sextett",
    8: "octet octets oktett",
}
SIZE_OF_WORD: dict[str, int] = {word: size for size, words in _SIZES.items() for word in words.split()}
_WORD = "|".join(sorted(SIZE_OF_WORD, key=len, reverse=True))
_SET = re.compile(
    rf"(?i)(?:(?<![\w.,/])(\d{{1,4}}(?:[.,]\d)?)\s*[x×*]?\s*)?(?:(?<![^\W\d_])(matched|match|gematcht\w*|gepaart\w*|selected|"
    rf"appari\w+|selezionat\w+|gematchte?)\s+)?(?<![^\W\d_])({_WORD})(?!\w)\.?"
)
_SET_OF = re.compile(
    r"(?i)(?:(?<![\w.,/])(\d{1,3})\s*[x×]?\s+)?(?<!\w)(?:matched\s+)?(?:sets?|satz|jeu|juego|stel)\s+"
    r"(?:of|von|de|di|van)\s+(\d{1,3})(?!\w)"
)
_LOT_OF = re.compile(
    r"(?i)(?<!\w)(?:lot|qty|quantity|bundle|box|pack|sleeve|tray|konvolut|posten|lotto|lote|лот|partij|menge|stück|pcs)\s*"
    r"(?:of|von|de|di|van|:)?\s*(\d{1,4})(?!\w)"
)
_TIMES = re.compile(
    r"(?i)(?<![\w.,/])(\d{1,4})\s?[x×](?!\w)|(?<!\w)[x×]\s?(\d{1,4})(?!\w)|\(\s*[x×]?\s*(\d{1,3})\s*(?:[x×]|pcs|stk)?\s*\)|"
    r"(?<![\w.,/])(\d{1,4})\s?(?:pcs|pc|шт|stk|stück|st|pieces|pièces|pezzi|piezas|stuks|tubes|off)\b\.?"
)
_BRACKETED = re.compile(r"\(\s*[x×]?\s*(\d{1,2})\s*\)")
_TUBES_NEXT = re.compile(r"(?i)[\s,;-]*(?:tubes?|valves?|pcs|pieces|röhren|lampes|valvole|buizen)\b")
_MATCHED = re.compile(
    r"(?i)(?<!\w)(matched|gematcht\w*|gepaart\w*|appari[ée]\w*|selezionat[aoie]|mp|mq)(?!\w)"
)


class Pieces(NamedTuple):
    """What words say of a line: tubes in a set, sets (None: not said), matched or not, and doubt ("1.5 pr").
    """

    set_size: int | None = None
    qty: int | None = None
    matched: bool = False
    doubtful: bool = False

    @property
    def said(self) -> str:
        size, qty = self.set_size or 1, self.qty or 1
        return f"{qty} x set of {size}" if size > 1 else f"{qty} single" + ("s" if qty > 1 else "")


NOTHING = Pieces()


def pieces_in(text: str) -> Pieces:
    """Set size and count that the words of a text tell; take a type out of the text first ("211 x 2")."""
    denied = re.search(r"(?i)(?<!\w)(?:un|not |nicht )(?:ge)?match", text)
    matched = bool(_MATCHED.search(text)) and not denied
    size = qty = None
    doubtful = False
    text = rest = _counting_tubes(text)
    met = _SET.search(text)
    if met:
        size = SIZE_OF_WORD[met.group(3).casefold()]
        matched |= met.group(2) is not None and not denied
        if met.group(1):
            count = float(met.group(1).replace(",", "."))
            if count.is_integer():
                qty = int(count) or None
            else:
                pieces = round(count * size)
                size, qty, doubtful = 1, pieces, True
        rest = text[: met.start()] + " " + text[met.end():]
    else:
        met = _SET_OF.search(text)
        if met:
            size, qty = int(met.group(2)) or None, int(met.group(1) or 0) or None
            rest = text[: met.start()] + " " + text[met.end():]
        else:
            met = _BRACKETED.search(text)
            if met and 2 <= int(met.group(1)) <= 8:
                size = int(met.group(1))
                rest = text[: met.start()] + " " + text[met.end():]
    count = _count(rest)
    if count is not None and qty is None and not doubtful and count != size:
        qty = count // size if size and size > 1 and _LOT_OF.search(rest) and count % size == 0 else count
    if size is None and qty is None and not matched:
        return NOTHING
    if (size or 0) > 100 or (qty or 0) > MOST_PIECES:
        return Pieces(matched=matched)
    return Pieces(size, qty, matched, doubtful)


def _counting_tubes(text: str) -> str:
    """A long title without the bracketed counts of other things."""
    return _BRACKETED.sub(_count_of_tubes, text) if len(text.split()) > 6 else text


def _count_of_tubes(met: re.Match[str]) -> str:
    """A bracketed count of a long title, dropped where it counts something else: "with two (2) boxes"."""
    before, after = met.string[: met.start()], met.string[met.end():]
    alone = not before.strip() or not after.strip() or before.rstrip().endswith(TAKEN_OUT.strip())
    return met.group() if alone or _TUBES_NEXT.match(after) else " "


def _count(text: str) -> int | None:
    met = _LOT_OF.search(text) or _TIMES.search(text)
    if not met:
        return None
    return int(next(group for group in met.groups() if group)) or None


def counts_agree(text: str, pieces: Pieces) -> bool:
    """True when every count that stands in a text is the set size or the number of tubes of these pieces."""
    size, said, text = pieces.set_size or 1, set(), _counting_tubes(text)
    for met in _SET.finditer(text):
        said.add(SIZE_OF_WORD[met.group(3).casefold()] * float((met.group(1) or "1").replace(",", ".")))
    text = _SET.sub(TAKEN_OUT, text)
    said |= {int(met.group(2)) * int(met.group(1) or 1) for met in _SET_OF.finditer(text)}
    text = _SET_OF.sub(TAKEN_OUT, text)
    for pattern in (_LOT_OF, _TIMES):
        said |= {int(next(group for group in met.groups() if group)) for met in pattern.finditer(text)}
    return said <= {size, size * (pieces.qty or 1)}


def without_set_words(text: str) -> str:
    """The text with its set words and counts taken out."""
    for pattern in (_SET, _SET_OF, _LOT_OF, _TIMES, _MATCHED):
        text = pattern.sub(" ", text)
    return re.sub(r"\s+", " ", text).strip(" ,;:-/+")


def names_a_set(text: str) -> bool:
    """True when a word such as pair, quad or "set of 4" stands in the text."""
    return bool(_SET.search(text) or _SET_OF.search(text))


def only_set_words(text: str) -> bool:
    """True when a text says nothing but pair, quad, (2) and the like."""
    return pieces_in(text) != NOTHING and not without_set_words(text)


def read_count(value: Any, column: str) -> Reading:
    """A cell of `column` (set_size or qty): value is Pieces, None when blank or not a count.

    A bare number fills the part named by `column`; "(2)" and "2 pcs" are bare numbers.
    """
    if is_blank(value):
        return Reading(None)
    if isinstance(value, bool):
        return Reading(None, "count_unreadable")
    number = value if isinstance(value, int | float) else None
    if number is None and hasattr(value, "dtype"):
        try:
            number = float(value)
        except (TypeError, ValueError):
            return Reading(None, "count_unreadable")
    if number is None:
        text = tidy(value)
        number = plain_number(text.strip("()")) if text.isascii() else None
        if number is None:
            met = pieces_in(text)
            if met.set_size is None and met.qty is None:
                return Reading(None, "count_unreadable")
            return Reading(met, "count_part_set" if met.doubtful else None, {"count": met.qty})
    if not 1 <= number <= MOST_PIECES or number != int(number):
        return Reading(None, "count_unreadable")
    count = int(number)
    return Reading(Pieces(count, None) if column == "set_size" else Pieces(None, count))
