"""Files of the shop read for its workbook: which rows are new, which stand there already, which cannot be understood.

Every filled row of a sheet that is read, its heading row aside, has exactly one outcome. Nothing is written here.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd

from pricing.problems import Problem, problem, problems_frame
from pricing.shop_tables.book_so_far import BookSoFar, read_book_so_far, without_need_of_rates
from pricing.shop_tables.cells import currencies_in, is_blank, read_money, tidy
from pricing.shop_tables.columns import TABLES, Table
from pricing.shop_tables.found_table import FoundTable
from pricing.shop_tables.goods_price import without_postage
from pricing.shop_tables.incoming_rows import RowWriter
from pricing.shop_tables.incoming_words import ALREADY, NEW, ON_PROBLEMS, SheetRead, sheet_words
from pricing.shop_tables.ledger import WHOLE_ROW
from pricing.shop_tables.placing import Placed, place
from pricing.shop_tables.reading import RawSheet, ShopFileError, filled_rows, is_empty, read_every_sheet
from pricing.shop_tables.seen_before import seen_before
from pricing.shop_tables.settling_dates import settle_dates
from pricing.shop_tables.shop import CLEANERS
from pricing.shop_tables.titles import Names
from pricing.shop_tables.types_met import TypeReader
from pricing.shop_tables.vocabularies import read_currency

OUTCOME_COLUMNS = ["file", "sheet", "row", "table", "outcome", "repeats", "text"]


@dataclass(frozen=True)
class Incoming:
    """What files bring to a workbook.

    `rows`: the new rows by table, in the columns of the workbook, in the order of the files. `outcomes`: one row a
    filled row of the files (file, sheet, row, table, outcome, repeats, text), `outcome` one of "new", "already there"
    (`repeats` names the row) and "on Problems"; the index of `rows` points into it. `problems`: as everywhere, with
    `file`, `heading` (of the column in the file) and `whole_row` (its text). `words`: the summary, in lines.
    """

    rows: Mapping[str, pd.DataFrame]
    outcomes: pd.DataFrame
    problems: pd.DataFrame
    words: tuple[str, ...]

    def count(self, outcome: str) -> int:
        """How many rows had this outcome."""
        return int((self.outcomes["outcome"] == outcome).sum())


def read_incoming(paths: Path | str | Sequence[Path | str], book: BookSoFar | Path | str, *, table: str = "",
                  date_order: str = "", register: Any = None, today: dt.date | None = None) -> Incoming:
    """What text tables, .xlsx, .xlsm and .ods files bring to the shop's workbook, row by row.

    `table`: the table their rows belong to, where they do not tell; `date_order`: "day" or "month", where the dates do
    not tell. ShopFileError when a file cannot be read, NotPlaced when the table of none of its sheets can be told.
    """
    if not isinstance(book, BookSoFar):
        book = read_book_so_far(book, register, today)
    paths = [Path(paths)] if isinstance(paths, str | Path) else [Path(path) for path in paths]
    reading = _Reading(book, paths, date_order, today)
    for path in paths:
        reading.file(path, table)
    return reading.incoming()


class _Reading:
    """One import: files one after the other, each held against the workbook and the files before it."""

    def __init__(self, book: BookSoFar, paths: Sequence[Path], date_order: str, today: dt.date | None) -> None:
        alike = Counter(path.name for path in set(paths))
        self.names = {path: path.name if alike[path.name] == 1 else str(path) for path in paths}
        self.book, self.date_order, self.today = book, date_order, today
        self.settings = without_need_of_rates(book.settings)
        self.there = dict(book.rows)
        self.places = {name: [f"{book.path.name}, row {row}" for row in frame["row"]]
                       for name, frame in book.rows.items()}
        types = TypeReader(book.register)
        self._type, self._title = cache(types.read), cache(types.in_title)
        self.outcomes: list[dict[str, Any]] = []
        self.problems: list[dict[str, Any]] = []
        self.rows: dict[str, list[dict[str, Any]]] = defaultdict(list)
        self.index: dict[str, list[int]] = defaultdict(list)
        self.words: list[str] = []

    def incoming(self) -> Incoming:
        rows = {name: pd.DataFrame(rows, index=self.index[name], dtype=object) for name, rows in self.rows.items()}
        for name, frame in rows.items():
            order = [column for column in TABLES[name].names if column in frame]
            rows[name] = frame[[*order, *(column for column in frame if column not in order)]].infer_objects()
        outcomes = pd.DataFrame(self.outcomes, columns=OUTCOME_COLUMNS)
        names = ["file", *problems_frame([]).columns, "heading", "whole_row"]
        return Incoming(rows, outcomes, pd.DataFrame(self.problems, columns=names), tuple(self.words))

    def file(self, path: Path, asked: str) -> None:
        """One file: its sheets placed, cleaned and held against what is there."""
        places = place(path, read_every_sheet(path), asked, self.settings.own_headings)
        names = self.book.names
        for placed in places.placed:
            self._must_have(placed.found.table)
            names = names.beside(Names.of(placed.found.makers_and_brands()))
        read = []
        for placed in places.placed:
            read.append(self._sheet(path, placed, names))
            self._take_currency(read[-1])
        for sheet, why in places.unplaced:
            for number, row in filled_rows(sheet.rows, 0):
                self._outcome(path, sheet.name, number, "", ON_PROBLEMS, "", _text(row))
                self._problem(path, problem("sheet_not_placed", sheet=sheet.name, row=number, column=WHOLE_ROW,
                                            value=sheet.name, why=why), _text(row))
        for sheet in places.left_alone:
            self._problem(path, problem("sheet_left_alone", sheet=sheet.name, row=None, column="", value=sheet.name,
                                        count=len(filled_rows(sheet.rows, 0))))
        for name in dict.fromkeys(one.found.table.name for one in read):
            self._table(path, name, [one for one in read if one.found.table.name == name])
        for one in read:
            self.words += sheet_words(path, one, self.book)
        for sheet, why in places.unplaced:
            self.words.append(f"{path.name}, sheet '{sheet.name}': not read, its rows are on Problems: {why}.")
        if places.left_alone:
            self.words.append(f"{path.name}: sheets left alone, since others are named after tables: "
                              f"{', '.join(sheet.name for sheet in places.left_alone)}.")

    def _take_currency(self, one: SheetRead) -> None:
        """Where the shop's currency is not known, the one most rows of the first sheet are in, for the whole import."""
        named = one.clean.get("currency", pd.Series(dtype=str)).replace("", None).dropna()
        if not self.settings.currency and len(named):
            currency = str(named.mode().iloc[0])
            self.settings = self.settings.with_currency(currency)
            self.book = replace(self.book, settings=self.book.settings.with_currency(currency))
            one.problems.append(problem("currency_assumed", sheet=one.found.sheet, row=None, column="currency",
                                        value=currency))

    def _must_have(self, table: Table) -> None:
        if table.name not in self.book.columns:
            raise ShopFileError(self.book.path, f"there is no sheet {table.name} with headings for "
                                f"{', '.join(table.required)}, so its rows have no place.",
                                "Add the sheet and its headings, and import again.")

    def _sheet(self, path: Path, placed: Placed, names: Names) -> SheetRead:
        """A sheet's rows cleaned; those that cannot be told apart or dated are problems before that."""
        sheet = placed.sheet
        found, postage = without_postage(placed.found)
        table = found.table.name
        problems = [problem("above_headings", sheet=sheet.name, row=number, column=WHOLE_ROW, value=_text(row),
                            headings=found.headings.row)
                    for number, row in filled_rows(sheet.rows, 0) if number < found.headings.row]
        if sheet.guessed:
            problems.append(problem("letters_guessed", sheet=sheet.name, row=None, column="", value=sheet.guessed,
                                    example=sheet.example))
        problems += [replace(one, sheet=sheet.name) for one in found.headings.problems] + postage
        wide = _too_wide(sheet, found)
        problems += [problem("row_too_wide", sheet=sheet.name, row=number, column=WHOLE_ROW, value=_text(row),
                             cells=_width(row), headings=_width(found.titles), mark=sheet.separator)
                     for number, row in found.rows if number in wide]
        stood = {number: _by_column(found, row) for number, row in found.rows}
        kept = replace(found, rows=[row for row in found.rows if row[0] not in wide])
        dates = settle_dates(kept, self.date_order, self.settings.date_order, self.today)
        problems += dates.problems
        kept = replace(kept, rows=[row for row in dates.rows if row[0] not in dates.refused])
        kept = self._titles_apart(kept, stood, problems)
        kept = self._currency_of_heading(kept, stood, problems)
        titles = [found.headings.columns.get(at, title) for at, title in enumerate(kept.titles)]
        kept = replace(kept, titles=titles)
        named = {"names": names} if "title" in kept.table.names else {}
        clean, met = CLEANERS[table](kept.frame(), self.book.register, self.settings, sheet.name, self.today, **named)
        heading_codes = ("near_heading", "double_heading", "date_order_assumed", "rate_of_other_month")
        for one in met:
            if one.code not in heading_codes:
                cell = stood.get(one.row, {}).get(one.column)
                a_date = one.code.startswith("date_") and one.column in found.headings.columns.values()
                problems.append(replace(one, value=tidy(cell)) if a_date and not is_blank(cell) else one)
        if table != "Sales":
            problems += _repeats(found)
        return SheetRead(sheet, found, placed.why, dates.words, stood, clean, problems)

    def _titles_apart(self, found: FoundTable, stood: dict[int, Mapping[str, Any]],
                      problems: list[Problem]) -> FoundTable:
        """The table with its titles where titles are read: a long text of the type column ("EL84 pair NOS 1957") is one
        where the row has none; a type no register knows ("vacuum tube") gives way to the one its title names.
        """
        places = {column: at for at, column in found.headings.columns.items()}
        if "type" not in places or "title" not in found.table.names:
            return found
        at, titles, rows = places["type"], list(found.titles), []
        to = places.get("title", max([len(titles), *(len(row) for _, row in found.rows)]))
        for number, row in found.rows:
            cell, title = stood[number].get("type"), stood[number].get("title")
            if is_blank(title) and isinstance(cell, str) and len(cell.split()) > 2:
                if self._title(cell) is not None:
                    row = [*row, *[None] * (to + 1 - len(row))]
                    row[to], row[at] = cell, None
                    stood[number] = {**stood[number], "type": None, "title": cell}
            elif not is_blank(title) and not is_blank(cell) and self._type(cell).code == "unknown_type":
                met = self._title(tidy(title))
                if met is not None and met.known:
                    row = [*row]
                    row[at] = None
                    problems.append(problem("type_from_title", sheet=found.sheet, row=number, column="type",
                                            value=tidy(cell), taken=met.designation))
            rows.append((number, row))
        if "title" not in places:
            titles = [*titles, *[""] * (to - len(titles)), "title"]
        return replace(found, rows=rows, titles=titles)

    def _currency_of_heading(self, found: FoundTable, stood: dict[int, Mapping[str, Any]],
                             problems: list[Problem]) -> FoundTable:
        """The table with the currency that the heading of its prices names ("Price (USD)"), where it has no column of
        currencies. Another sum whose heading names a currency that is not the shop's is told.
        """
        unsaid = "currency" in found.table.names and "currency" not in found.headings.columns.values()
        priced = ""
        for at, column in found.headings.columns.items():
            kind = found.table.column(column).kind
            named = currencies_in(tidy(found.titles[at]), read_currency) if kind in ("price", "money") else set()
            if len(named) == 1:
                currency, home = named.pop(), self.settings.currency
                if kind == "price" and unsaid:
                    priced = currency
                elif home and currency != home:
                    problems.append(problem("foreign_sign", sheet=found.sheet, row=None, column=column,
                                            value=tidy(found.titles[at]), sign=currency, home=home))
        if not priced:
            return found
        for number, cells in stood.items():
            stood[number] = {**cells, "currency": priced}
        width = max([len(found.titles), *(len(row) for _, row in found.rows)])
        rows = [(number, [*row, *[None] * (width - len(row)), priced]) for number, row in found.rows]
        return replace(found, rows=rows, titles=[*found.titles, *[""] * (width - len(found.titles)), "currency"])

    def _table(self, path: Path, name: str, read: Sequence[SheetRead]) -> None:
        """The rows of one table of a file: new ones written, others already there or on Problems."""
        clean = pd.concat([one.clean for one in read], ignore_index=True) if len(read) > 1 else read[0].clean
        there = self.there.get(name, clean.iloc[:0])
        stated = {column for one in read for column in one.found.headings.columns.values()}
        both = [column for column in TABLES[name].names if column in stated & self.book.columns[name]]
        by_sheet = {one.found.sheet: one for one in read}
        named = [_names_currency(by_sheet[sheet].stood[row]) for sheet, row in zip(clean["sheet"], clean["row"])]
        repeated = seen_before(name, clean, there, both, named)
        writers = {sheet: RowWriter(TABLES[name], self.book, sheet, one.problems, one.spelt)
                   for sheet, one in by_sheet.items()}
        doubted: dict[tuple[str, int | None], set[str]] = defaultdict(set)
        for one in read:
            for met in one.problems:
                doubted[met.sheet, met.row].add(met.column)
        kept: list[int] = []
        pieces = {row["sku"]: row for row in there.to_dict("records")} if name == "Stock" else {}
        records = clean.to_dict("records")
        for at, (row, repeats) in enumerate(zip(records, repeated)):
            key = row["sheet"], row["row"]
            one = by_sheet[row["sheet"]]
            known = pieces.get(row["sku"]) if name == "Stock" else None
            if known is not None and _other_piece(row, known):
                one.problems.append(problem("code_taken", sheet=key[0], row=key[1], column="sku", value=row["sku"],
                                            other=_piece(known), says=_piece(row)))
            elif repeats is None:
                cells = writers[row["sheet"]].written(row, one.stood[row["row"]], doubted[key])
                if cells is not None:
                    one.new[row["row"]] = cells
                    kept.append(at)
                    if name == "Stock":
                        pieces.setdefault(row["sku"], row)
            else:
                one.already[row["row"]] = self.places[name][repeats]
        for one in read:
            one.problems += self._rates_missing(one)
            self._outcomes(path, one)
        self.there[name] = pd.concat([there, clean.iloc[kept]], ignore_index=True)
        self.places[name] = [*self.places.get(name, ()),
                             *(f"{self.names[path]}, row {records[at]['row']}" for at in kept)]

    def _rates_missing(self, one: SheetRead) -> list[Problem]:
        """A problem for every currency that no rate turns into the shop's."""
        rows = one.clean[one.clean["row"].isin(one.new)]
        if "currency" not in rows:
            return []
        home, rates = self.book.settings.currency, self.book.settings.rates
        foreign = rows[~rows["currency"].isin(["", home, *rates])] if home else rows.iloc[:0]
        date = "sold_on" if "sold_on" in rows else "seen_on"
        return [problem("rate_missing", sheet=one.found.sheet, row=None, column="currency", value=currency,
                        count=len(part), month=f"{part[date].max():%Y-%m}" if part[date].notna().any() else "")
                for currency, part in foreign.groupby("currency")]

    def _outcomes(self, path: Path, one: SheetRead) -> None:
        """One outcome a row, and the problems of rows that are not there already."""
        name, headings = one.found.table.name, one.found.headings
        above = [row for row in filled_rows(one.sheet.rows, 0) if row[0] < headings.row]
        texts = {number: _text(row) for number, row in above}
        texts |= {number: _text(row, one.found.titles) for number, row in one.found.rows}
        for number, text in texts.items():
            if number in one.new:
                self.index[name].append(len(self.outcomes))
                self.rows[name].append(one.new[number])
            outcome = NEW if number in one.new else ALREADY if number in one.already else ON_PROBLEMS
            self._outcome(path, one.found.sheet, number, name, outcome, one.already.get(number, ""), text)
        titles = {column: tidy(one.found.titles[at]) for at, column in headings.columns.items()}
        for met in one.problems:
            if met.row not in one.already:
                self._problem(path, met, texts.get(met.row, ""), titles.get(met.column, ""))

    def _outcome(self, *cells: Any) -> None:
        self.outcomes.append(dict(zip(OUTCOME_COLUMNS, (self.names[cells[0]], *cells[1:]))))

    def _problem(self, path: Path, met: Problem, whole_row: str = "", heading: str = "") -> None:
        self.problems.append({"file": self.names[path], **vars(met), "heading": heading, "whole_row": whole_row})


def _width(row: Sequence[Any]) -> int:
    """How many cells a row has up to its last filled one."""
    return max((at for at, cell in enumerate(row, 1) if not is_empty(cell)), default=0)


def _too_wide(sheet: RawSheet, found: FoundTable) -> set[int]:
    """Rows of a text table with more cells than headings: a mark inside a cell was taken for one between cells."""
    if not sheet.separator:
        return set()
    return {number for number, row in found.rows if _width(row) > len(found.titles)}


def _by_column(found: FoundTable, row: Sequence[Any]) -> dict[str, Any]:
    """Cells of a row by the column they are read as."""
    return {column: row[at] for at, column in found.headings.columns.items() if at < len(row)}


def _text(row: Sequence[Any], titles: Sequence[Any] = ()) -> str:
    """A row in words, each cell behind its heading."""
    cells = []
    for at, cell in enumerate(row):
        if not is_empty(cell):
            title = tidy(titles[at]) if at < len(titles) else ""
            cells.append(f"{title}: {tidy(cell)}" if title else tidy(cell))
    return " | ".join(cells)


def _names_currency(stood: Mapping[str, Any]) -> bool:
    """Whether a row says in what its price is."""
    price = stood.get("price", stood.get("ask"))
    money = read_money(price, read_currency).value if isinstance(price, str) else None
    return not is_blank(stood.get("currency")) or bool(money and money.currency)


def _repeats(found: FoundTable) -> list[Problem]:
    """Rows of a sheet that repeat another in every cell."""
    first: dict[tuple[str, ...], int] = {}
    problems = []
    for number, row in found.rows:
        cells = tuple(tidy(cell) for cell in row[:_width(row)])
        if cells in first:
            problems.append(problem("repeated_row", sheet=found.sheet, row=number, column=WHOLE_ROW,
                                    value=" | ".join(filter(None, cells)), first=first[cells]))
        first.setdefault(cells, number)
    return problems


def _other_piece(row: Mapping[str, Any], there: Mapping[str, Any]) -> bool:
    """Whether two Stock rows of one code are of different pieces, counts or sums."""
    if row["canonical_type"] != there["canonical_type"]:
        return True
    if row["set_size"] * row["qty"] != there["set_size"] * there["qty"]:
        return True
    return any(not abs(row[name] - there[name]) < 0.005 for name in ("ask", "cost") if row[name] == row[name])


def _piece(row: Mapping[str, Any]) -> str:
    sums = ", ".join(f"{name} {row[name]:.2f}" for name in ("cost", "ask") if row[name] == row[name])
    return f"{row['set_size'] * row['qty']} x {row['designation']}{f' ({sums})' if sums else ''}"
