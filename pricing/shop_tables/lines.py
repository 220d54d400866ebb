"""What the words of a line add to its columns: set sizes, counts, grades and readings; and the price of the
whole line.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from pricing.shop_tables import sets
from pricing.shop_tables.cells import Money, is_blank, read_flag, tidy
from pricing.shop_tables.ledger import Ledger
from pricing.shop_tables.sets import NOTHING, Pieces, pieces_in
from pricing.shop_tables.titles import TitleSays
from pricing.shop_tables.vocabularies import UNKNOWN, Grading, grade_in_words, reading_in


class Said(NamedTuple):
    """Words that say how many, and the column they stand in."""

    pieces: Pieces
    column: str
    text: str


class WordReader:
    """Set words of texts, remembered."""

    def __init__(self) -> None:
        self._pieces: dict[str, Pieces] = {}
        self._only: dict[str, bool] = {}

    def pieces(self, text: str) -> Pieces:
        if text not in self._pieces:
            self._pieces[text] = pieces_in(text)
        return self._pieces[text]

    def first_said(self, sources: Sequence[tuple[str, str]], note: str = "") -> Said | None:
        """The first (column, text) that says how many; the note only when it says nothing else."""
        for column, text in sources:
            if text:
                met = self.pieces(text)
                if met is not NOTHING:
                    return Said(met, column, text)
        if note and len(note) < 40:
            if note not in self._only:
                self._only[note] = sets.only_set_words(note)
            if self._only[note]:
                return Said(self.pieces(note), "note", note)
        return None


class Counts(NamedTuple):
    """Tubes in a set, sets on the line, matched or not."""

    set_size: int
    qty: int
    matched: bool


def settle_counts(position: int, size_cell: Pieces | None, qty_cell: Pieces | None, said: Said | None,
                  matched: bool, raw: dict[str, Any], ledger: Ledger) -> Counts:
    """Set size and quantity of a line from its two cells and its words.

    Columns come first, but a 1 (or blank) gives way to words: "PAIR" beside quantity 1 is a set of two. Words
    that change what a cell states are reported; words that contradict it (pair against 4) are reported and
    not followed.
    """
    size = 1
    if size_cell is not None:
        size = size_cell.set_size or 1
        matched |= size_cell.matched
    qty = (size_cell.qty if size_cell else None) or 1
    if qty_cell is not None and (qty_cell.set_size or (qty_cell.qty or 1) > 1 or qty == 1):
        matched |= qty_cell.matched
        qty = qty_cell.qty or 1
        if qty_cell.set_size and size == 1:
            size = qty_cell.set_size
    if said is None:
        return Counts(size, qty, matched)
    words = said.pieces
    matched |= words.matched
    if words.set_size is None and words.qty is None:
        return Counts(size, qty, matched)
    total = (words.set_size or 1) * (words.qty or 1)
    stated = Pieces(size, qty).said
    if words.set_size and size > 1 and words.set_size != size:
        if total != size * qty:
            ledger.cell(position, said.column, "count_conflict", said.text, said=words.said, stated=stated)
        return Counts(size, qty, matched)
    new_size = size if size > 1 else words.set_size or 1
    new_qty = qty
    if words.qty and not (words.set_size is None and new_size * qty == words.qty):
        wanted = words.qty if words.set_size else (words.qty // new_size if words.qty % new_size == 0 else 0)
        if qty == 1 and wanted:
            new_qty = wanted
        elif qty != wanted:
            ledger.cell(position, said.column, "count_conflict", said.text, said=words.said, stated=stated)
            return Counts(size, qty, matched)
    now = Pieces(new_size, new_qty).said
    if words.doubtful:
        ledger.cell(position, said.column, "count_part_set", said.text, count=new_qty)
    elif new_qty != qty and not is_blank(raw["qty"]) and qty_cell is not None:
        ledger.cell(position, "qty", "sets_from_words", f"{tidy(raw['qty'])} / {said.text}", said=now)
    elif new_size != size and (qty > 1 or not is_blank(raw["set_size"])):
        ledger.cell(position, said.column, "sets_from_words", said.text, said=now)
    elif said.column == "title" and (new_size, new_qty) != (size, qty) and not sets.names_a_set(said.text):
        ledger.cell(position, said.column, "sets_from_words", said.text, said=now)
    return Counts(new_size, new_qty, matched)


def settle_state(grading: Grading, reading_pct: float, title: TitleSays, words: str, boxed: Any) -> tuple[str, float]:
    """Grade and reading of a line: its own cells, then a reading inside the grade, then the title, then the words
    beside the type.
    """
    grade = grading.grade
    if reading_pct != reading_pct and grading.reading_pct is not None:
        reading_pct = grading.reading_pct
    if grade == UNKNOWN:
        grade = title.grade or (grade_in_words(words) if words else None) or UNKNOWN
    if reading_pct != reading_pct:
        met = title.reading_pct if title.reading_pct is not None else reading_in(words) if "%" in words else None
        reading_pct = reading_pct if met is None else met
    if grade == "new old stock" and _in_its_carton(boxed):
        grade = "new old stock, boxed"
    return grade, reading_pct


def _in_its_carton(value: Any) -> bool:
    """True for a cell of a Box column that says the tube has its own carton."""
    if is_blank(value):
        return False
    words = tidy(value).casefold()
    if "white" in words or "no" in words.split() or "plain" in words:
        return False
    read = read_flag(value)
    return bool(read.value) or any(
        word in words for word in ("box", "orig", "carton", "ovp", "karton", "nib")
    )


def line_price(position: int, column: str, money: Money, counts: Counts, raw: Any,
               ledger: Ledger) -> tuple[float, Counts]:
    """Price of all pieces of a line, and its counts: "$45 ea" times the pieces, "90/pr" times the pairs.

    A price per set fixes the set size where the columns say 1.
    """
    if money.per == "each":
        pieces = counts.set_size * counts.qty
        if pieces == 1:
            return money.amount, counts
        line = round(money.amount * pieces, 2)
        ledger.cell(position, column, "price_each", raw, count=pieces, taken=f"{line:.2f}")
        return line, counts
    if money.per:
        size = int(money.per)
        if counts == counts._replace(set_size=size, qty=1):
            return money.amount, counts
        if counts.set_size == 1:
            counts = counts._replace(set_size=size)
        line = round(money.amount * counts.set_size * counts.qty / size, 2)
        ledger.cell(position, column, "price_per_set", raw, size=size, taken=f"{line:.2f}")
        return line, counts
    return money.amount, counts
