"""The cleaning of one table, in steps: columns alone, types, words that say how many, money, the frame."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from pricing.problems import IGNORED, Problem
from pricing.shop_tables import column_readers as read
from pricing.shop_tables import columns as spec
from pricing.shop_tables.cells import Money, is_blank, read_number
from pricing.shop_tables.circuit_values import check_circuits
from pricing.shop_tables.columns import Table
from pricing.shop_tables.conversion import convert, home_currency
from pricing.shop_tables.headings import read_headings
from pricing.shop_tables.ledger import WHOLE_ROW, Ledger
from pricing.shop_tables.lines import Counts, Said, WordReader, line_price, settle_counts, settle_state
from pricing.shop_tables.meter_readings import check_meter
from pricing.shop_tables.sets import NOTHING
from pricing.shop_tables.settings import Settings
from pricing.shop_tables.titles import PIECE_COLUMNS, Names, TitleReader, TitleSays
from pricing.shop_tables.types_met import TypeMet, TypeReader, without_names
from pricing.shop_tables.vocabularies import UNKNOWN, read_grade

Cleaned = tuple[pd.DataFrame, list[Problem]]


class OneTable:
    """One pass over one table: each step fills `out`, columns as lists over all rows."""

    def __init__(self, frame: pd.DataFrame, table: Table, register: Any, settings: Settings, sheet: str,
                 today: dt.date, names: Names | None = None) -> None:
        self.names = names
        self.table, self.settings, self.sheet, self.today = table, settings, sheet, today
        self.index, self.size = frame.index, len(frame)
        self.register = register
        names = [str(name) for name in frame.columns]
        placed = [name in ("sheet", "row") and "row" in names for name in names]
        self.headings = read_headings(["" if own else name for name, own in zip(names, placed)], table,
                                      settings.own_headings, sheet, frame.attrs.get("heading_row", 1))
        self.raw: dict[str, list[Any]] = {
            name: _cells(frame.iloc[:, position]) for position, name in self.headings.columns.items()}
        self.other: dict[str, list[Any]] = {
            name: _cells(frame.iloc[:, position])
            for position, name in self.headings.unknown.items()
            if table is spec.LISTENING
            and name not in ("designation", "canonical_type", "type_known", "family")
        }
        self.numeric = {name for position, name in self.headings.unknown.items()
                        if pd.api.types.is_float_dtype(frame.dtypes.iloc[position])}
        self.pooled = {name: _cells(frame.iloc[:, names.index(name)])
                       for name in ("designation", "canonical_type") if name in names}
        self.ledger = Ledger(*self._places(frame, names))
        self.out: dict[str, Any] = {}

    def _places(self, frame: pd.DataFrame, names: list[str]) -> tuple[list[str], list[int]]:
        """Sheet name and row number of every row: from the frame where it has them, else counted below a
        heading.
        """
        rows = list(range(2, self.size + 2))
        sheets = [self.sheet] * self.size
        if "row" in names:
            met = _cells(frame.iloc[:, names.index("row")])
            rows = [int(cell) if _whole(cell) else row for cell, row in zip(met, rows)]
            if "sheet" in names:
                met = _cells(frame.iloc[:, names.index("sheet")])
                sheets = [cell if isinstance(cell, str) and cell else self.sheet for cell in met]
        return sheets, rows

    def run(self) -> Cleaned:
        self._columns()
        if "type" in self.table.names or "fitted_type" in self.table.names:
            self._types()
        if "set_size" in self.table.names:
            self._titles()
            self._pieces()
            self._disagreements()
        self._money()
        if self.table is spec.LISTENING:
            self._aspects()
        if self.table is spec.READINGS:
            check_meter(self.out, self.cells_of("value"), self.ledger)
        if self.table is spec.CIRCUITS:
            check_circuits(self.out, self.register, self.ledger)
        aspects = {name for name in self.out if name in self.other}
        self.ledger.table_problems = [one for one in self.headings.problems if one.value not in aspects] \
            + self.ledger.table_problems
        return self._frame()

    def cells_of(self, name: str) -> list[Any]:
        """Raw cells of a column, blanks when the sheet has none."""
        met = self.raw.get(name)
        return met if met is not None else [None] * self.size

    def _columns(self) -> None:
        """Every column that stands on its own."""
        ledger, settings = self.ledger, self.settings
        for column in self.table.columns:
            if not column.in_workbook and column.name not in self.raw:
                continue
            cells = self.cells_of(column.name)
            if column.kind == "date":
                self.out[column.name] = read.read_date_column(
                    column, cells, ledger, settings, self.sheet, self.today
                )
            elif column.kind == "label":
                self.out[column.name] = read.read_label_column(column, cells, ledger)
            elif column.kind in ("text", "words"):
                self.out[column.name] = read.read_text_column(column, cells, ledger)
            elif column.kind == "number":
                self.out[column.name] = read.read_number_column(column, cells, ledger)
            elif column.kind == "percent":
                self.out[column.name] = read.read_percent_column(column, cells, ledger)
            elif column.kind == "test":
                self.out[column.name] = read.read_test_column(column, cells, ledger)
            elif column.kind == "flag":
                self.out[column.name] = read.read_flag_column(column, cells, ledger)
            elif column.kind == "era":
                self.out[column.name] = read.read_era_column(column, cells, ledger, settings)
            elif column.kind == "channel":
                self.out[column.name] = read.read_channel_column(column, cells, ledger, settings)
            elif column.kind == "currency":
                self.out[column.name] = read.read_currency_column(cells)
            elif column.kind in ("set_size", "qty"):
                self.out[column.name] = read.read_count_column(column, cells, ledger)
            elif column.kind == "price":
                self.out[column.name] = read.read_price_column(column, cells, ledger)
            else:  # money is read when the home currency is known, types and grades further below
                self.out[column.name] = [None] * self.size

    def _types(self) -> None:
        """The type of every row, from its own cell or the title; what stood around it stays for the words."""
        if self.register is None:
            from pricing.register import load_register

            self.register = load_register()
        reader = TypeReader(self.register)
        name = "type" if "type" in self.table.names else "fitted_type"
        cells, titles = self.cells_of(name), self.out.get("title", [""] * self.size)
        met: list[TypeMet | None] = read.each(cells, reader.read)
        families = self.out.get("family", [""] * self.size)
        rows: list[TypeMet] = []
        self.title_rest = [""] * self.size
        for position, (one, title) in enumerate(zip(met, titles)):
            if one is not None:
                if one.code:
                    self.ledger.cell(position, name, one.code, one.details.get("shown", cells[position]),
                                     **one.details)
                if title:
                    self.title_rest[position] = without_names(
                        title, (one.text, one.designation, one.canonical_type))
            elif title and (one := reader.in_title(title)) is not None:
                if one.code:
                    details = {key: value for key, value in one.details.items() if key != "shown"}
                    self.ledger.cell(position, "title", one.code, title, **details)
                self.title_rest[position] = one.rest
                one = one._replace(rest="")
            else:
                self._no_type(position, name, title if is_blank(cells[position]) else cells[position])
                one = TypeMet("", UNKNOWN, UNKNOWN, f"other: {UNKNOWN}", "", known=False)
            rows.append(one)
        self.out[name] = [one.text for one in rows]
        self.type_rest = [one.rest for one in rows]
        # What a clean frame pools under one type stays so where the register has no say.
        for derived in ("designation", "canonical_type"):
            stated = self.pooled.get(derived, [None] * self.size)
            self.out[derived] = [
                getattr(one, derived) if one.known or not isinstance(given, str) or not given else given
                for one, given in zip(rows, stated)]
        self.out["family"] = [
            stated if stated and not stated.startswith("other: ") else one.family
            for stated, one in zip(families, rows)]
        self.out["type_known"] = [one.known for one in rows]

    def _no_type(self, position: int, name: str, value: Any) -> None:
        self.ledger.cell(position, name, "type_missing", value, IGNORED if self.table is spec.ITEMS else None)

    def _titles(self) -> None:
        """What the titles say beside the type: into the columns whose own cells are blank, doubts into the ledger."""
        self.said = [TitleSays()] * self.size
        if not any(self.title_rest):
            return
        titles, out = self.out["title"], self.out
        reader = TitleReader(Names.of(zip(out["maker"], out["brand"])).beside(self.names), out["variant"])
        blank = {name: read.each(self.cells_of(name), is_blank)
                 for name in ("maker", "brand", "era", "variant", "grade", "reading_pct", "set_size", "qty", "matched")}
        for position, rest in enumerate(self.title_rest):
            if not rest:
                continue
            says = self.said[position] = reader.read(rest)
            for name in ("maker", "brand", "era", "variant"):
                if blank[name][position]:
                    out[name][position] = getattr(says, name) or UNKNOWN
            for name, words in says.doubts.items():
                if blank[name][position] and (name != "set_size" or blank["qty"][position]):
                    self.ledger.cell(position, name, "title_doubtful", titles[position], words=words)

    def _pieces(self) -> None:
        """Set size, quantity, matched, grade and reading of every row, with what the words add."""
        grades = self.cells_of("grade")
        own = self.settings.own_grades
        gradings = read.each(grades, lambda value: read_grade(value, own))
        sizes, qtys = self.out["set_size"], self.out.get("qty", [None] * self.size)
        matched = self.out.get("matched", [False] * self.size)
        boxed, readings = self.cells_of("boxed"), self.out["reading_pct"]
        notes = self.out.get("note", [""] * self.size)
        raw_size, raw_qty = self.cells_of("set_size"), self.cells_of("qty")
        words = WordReader()
        self.counts: list[Counts] = []
        graded: list[str] = []
        for position in range(self.size):
            rest, title = self.type_rest[position], self.said[position]
            grade_text = grades[position] if isinstance(grades[position], str) else ""
            grading = gradings[position]
            said = None
            if title.pieces != NOTHING:
                said = Said(title.pieces, "title", self.out["title"][position])
            elif rest or grade_text or notes[position]:
                said = words.first_said(((self._type_name, rest), ("grade", grade_text)), notes[position])
            raw = {"set_size": raw_size[position], "qty": raw_qty[position]}
            self.counts.append(
                settle_counts(
                    position, sizes[position], qtys[position], said, matched[position], raw, self.ledger
                )
            )
            if grading.code and not (grading.code == "unknown_grade" and said and said.column == "grade"):
                self.ledger.cell(position, "grade", grading.code, grades[position], taken=grading.grade)
            grade, readings[position] = settle_state(
                grading, readings[position], title, rest, boxed[position]
            )
            graded.append(grade)
        self.out["grade"] = graded

    _type_name = "type"

    def _disagreements(self) -> None:
        """Cells that say something else than the title of their row: the cell was taken, the title is told."""
        out, titles = self.out, self.out.get("title", ())
        reader = TypeReader(self.register)
        for position, (rest, says) in enumerate(zip(self.title_rest, self.said)):
            if not rest:
                continue
            against = {}
            if rest == titles[position]:  # the type of the row stands nowhere in it
                met = reader.in_title(titles[position])
                if met is not None and met.known and met.canonical_type != out["canonical_type"][position]:
                    against[self._type_name] = (met.designation, out[self._type_name][position])
            against |= says.against({name: out[name][position] for name in PIECE_COLUMNS})
            for name, (said, stated) in against.items():
                self.ledger.cell(position, name, "title_disagrees", titles[position], words=said, stated=stated)

    def _money(self) -> None:
        """Prices of lines, conversion to the shop's currency, and every other sum."""
        table, ledger = self.table, self.ledger
        priced = next((column.name for column in table.columns if column.kind == "price"), None)
        currencies = self.out.get("currency", [""] * self.size)
        money: list[Money | None] = self.out[priced] if priced else []
        home = home_currency(self.settings, currencies, money)
        if priced:
            self.out[priced] = self._line_prices(priced, money)
            if "currency" in table.names:
                met = convert(
                    money,
                    self.out[priced],
                    currencies,
                    self.cells_of("currency"),
                    self.cells_of(priced),
                    self.out["sold_on" if table is spec.SALES else "seen_on"],
                    priced,
                    home,
                    self.settings,
                    ledger,
                    self.today,
                )
                self.out["currency"], self.out[f"{priced}_home"] = met
        for column in table.columns:
            if column.kind == "money":
                sums = read.read_money_column(column, self.cells_of(column.name), ledger, home)
                self.out[column.name] = [self._one_set(column.name, position, one)
                                         for position, one in enumerate(sums)]
        if "set_size" in table.names:
            self.out["set_size"] = [one.set_size for one in self.counts]
            for name, part in (("qty", "qty"), ("matched", "matched")):
                if name in table.names:
                    self.out[name] = [getattr(one, part) for one in self.counts]

    def _line_prices(self, priced: str, money: Sequence[Money | None]) -> list[float]:
        raw, out = self.cells_of(priced), []
        lined = "set_size" in self.table.names
        for position, one in enumerate(money):
            price = float("nan") if one is None else one.amount
            if one is not None and one.per and lined:
                price, self.counts[position] = line_price(position, priced, one, self.counts[position],
                                                          raw[position], self.ledger)
            out.append(price)
        return out

    def _one_set(self, name: str, position: int, money: Money | None) -> float:
        """An optional sum; an ask "each" beside a set becomes the ask of the set."""
        if money is None:
            return float("nan")
        if name == "ask" and money.per == "each" and self.counts[position].set_size > 1:
            size = self.counts[position].set_size
            self.ledger.cell(position, name, "ask_each", self.cells_of(name)[position], size=size,
                             taken=f"{money.amount * size:.2f}")
            return money.amount * size
        return money.amount

    def _aspects(self) -> None:
        """The owner's own numeric columns; columns without a single number are not aspects."""
        for name, cells in self.other.items():
            met = read.each(cells, read_number)
            if name not in self.numeric and not any(one.value is not None for one in met):
                continue
            for position, one in enumerate(met):
                if one.code:
                    self.ledger.cell(position, name, one.code, cells[position])
            self.out[name] = [float("nan") if one.value is None else one.value for one in met]

    def _frame(self) -> Cleaned:
        """The clean frame of the rows that stay."""
        if self.table is not spec.ITEMS:
            self._report_blank_rows()
        kept = np.ones(self.size, dtype=bool)
        kept[list(self.ledger.left_out)] = False
        if self.table is spec.ITEMS:
            kept[:] = True
        dates = {column.name for column in self.table.columns if column.kind == "date"}
        counts = {"set_size", "qty"} & set(self.table.names)  # an aspect of Listening may be called so
        flags = {"matched"} & set(self.table.names) | {"type_known"}
        data = {}
        for name in self._order():
            values = self.out[name]
            if name in dates:
                data[name] = np.array(values, dtype="datetime64[D]").astype("datetime64[ns]")
            elif name in counts:
                data[name] = np.array(values, dtype=np.int64)
            elif name in flags:
                data[name] = np.array(values, dtype=bool)
            elif name in self._floats():
                data[name] = np.array(values, dtype=float)
            else:
                data[name] = pd.Series(values, index=self.index, dtype="str")
        data["sheet"] = pd.Series(self.ledger.sheets, index=self.index, dtype="str")
        data["row"] = np.array(self.ledger.rows, dtype=np.int64)
        frame = pd.DataFrame(data, index=self.index)[kept]
        if self.table is spec.SALES:
            self._report_repeats(frame, np.flatnonzero(kept))
        return frame, self.ledger.problems()

    def _report_blank_rows(self) -> None:
        columns = (*self.raw.values(), *self.other.values())
        blank = {
            position for position in range(self.size) if all(is_blank(cells[position]) for cells in columns)
        }
        self.ledger.forget(blank)
        for position in sorted(blank):
            self.ledger.cell(position, WHOLE_ROW, "row_blank", "")

    def _order(self) -> list[str]:
        """Columns of the table, then what was worked out."""
        derived = ("designation", "canonical_type", "family", "type_known", "price_home", "ask_home")
        named = [name for name in self.table.names if name in self.out and name not in derived]
        aspects = [name for name in self.out if name not in named and name not in derived]
        return [*named, *aspects, *(name for name in derived if name in self.out)]

    def _floats(self) -> set[str]:
        kinds = ("number", "percent", "money", "price")
        return {column.name for column in self.table.columns if column.kind in kinds} | {
            "price_home", "ask_home"} | set(self.other)

    def _report_repeats(self, frame: pd.DataFrame, positions: np.ndarray) -> None:
        """Sales repeated in every cell."""
        cells = frame.drop(columns=["sheet", "row"])
        repeated = cells.duplicated(keep="first").to_numpy()
        if not repeated.any():
            return
        groups = cells.groupby(list(cells.columns), dropna=False, sort=False).ngroup().to_numpy()
        first: dict[int, int] = {}
        rows = frame["row"].to_numpy()
        for at, group in enumerate(groups):
            if repeated[at]:
                one = frame.iloc[at]
                text = f"{one['sold_on']:%Y-%m-%d} {one['type']} {one['price']:.2f}"
                self.ledger.cell(
                    int(positions[at]), WHOLE_ROW, "repeated_row", text, first=int(rows[first[group]])
                )
            first.setdefault(group, at)


def _cells(column: pd.Series) -> list[Any]:
    """Raw cells of a frame's column as Python values, None where pandas sees nothing."""
    return column.astype(object).where(column.notna(), None).tolist()


def _whole(cell: Any) -> bool:
    return isinstance(cell, int | float) and not isinstance(cell, bool) and cell == cell and abs(cell) < 1e9 \
        and cell == int(cell)
