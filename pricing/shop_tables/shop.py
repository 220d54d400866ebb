"""A whole shop read from its file: clean tables, settings, register with the owner's types, and every
problem.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from pricing.problems import Problem, problem, problems_frame
from pricing.shop_tables import cleaning
from pricing.shop_tables.cells import tidy
from pricing.shop_tables.columns import TABLES, TYPES, Table
from pricing.shop_tables.cross_checks import check_across
from pricing.shop_tables.found_table import FoundTable, lacking
from pricing.shop_tables.headings import find_headings, table_of_sheet
from pricing.shop_tables.meter_readings import percent_of_nominal, section_balance
from pricing.shop_tables.reading import RawSheet, ShopFileError, filled_rows, read_sheets
from pricing.shop_tables.settings import Settings
from pricing.shop_tables.titles import Names

CLEANERS: dict[str, Callable[..., cleaning.Cleaned]] = {
    "Sales": cleaning.clean_sales,
    "Stock": cleaning.clean_stock,
    "Asks": cleaning.clean_asks,
    "Readings": cleaning.clean_readings,
    "Offers": cleaning.clean_offers,
    "Listening": cleaning.clean_listening,
    "Circuits": cleaning.clean_circuits,
    "Lots": cleaning.clean_lots,
}


@dataclass(frozen=True)
class Shop:
    """What one shop wrote down. Tables it does not keep are empty frames with the right columns.

    `readings` carries `percent_of_nominal`, `stock` the `balance_pct` of its sections (weaker over stronger).
    `problems` has a row a problem; `tables_present` names the tables met, `rows_in` how many filled rows each
    had.
    """

    sales: pd.DataFrame
    stock: pd.DataFrame
    asks: pd.DataFrame
    readings: pd.DataFrame
    offers: pd.DataFrame
    listening: pd.DataFrame
    circuits: pd.DataFrame
    lots: pd.DataFrame
    types: pd.DataFrame
    settings: Settings
    problems: pd.DataFrame
    register: Any
    path: Path
    tables_present: tuple[str, ...]
    rows_in: dict[str, int] = field(default_factory=dict)

    def row_counts(self) -> pd.DataFrame:
        """Rows of every table present: rows_in = used + left_out; every row left out has its Problem."""
        rows = []
        for name in self.tables_present:
            if name in CLEANERS:
                used, rows_in = len(getattr(self, name.lower())), self.rows_in[name]
                rows.append((name, rows_in, used, rows_in - used))
        return pd.DataFrame(rows, columns=["table", "rows_in", "used", "left_out"])


def read_shop(path: Path | str, register: Any = None, today: dt.date | None = None) -> Shop:
    """The shop kept in a workbook (.xlsx, .xlsm, .ods), a CSV of sales, or a folder of CSVs.

    ShopFileError when the file cannot be read at all: missing, no workbook, no Sales, a required heading or
    every row of Sales missing. What is wrong with single cells stands in `.problems`; such rows and cells
    never stop the rest.
    """
    path = Path(path)
    sheets = read_sheets(path)
    problems = [problem("letters_guessed", sheet=sheet.name, row=None, column="", value=sheet.guessed,
                        example=sheet.example) for sheet in sheets if sheet.guessed]
    by_table = sheet_of_tables(sheets, problems)
    if "Sales" not in by_table:
        raise ShopFileError(
            path, "there is no Sales table.", "Name the sheet or file that lists your sales 'Sales'."
        )
    settings = settings_of(by_table.get("Settings"))
    problems += settings.problems
    found: dict[str, FoundTable] = {}
    for name, sheet in by_table.items():
        if name != "Settings":
            met = _find(path, TABLES[name], sheet, settings, problems)
            if met:
                found[name] = met
    register, types = register_with(found.get("Types"), register, problems)
    names = Names.of(pair for met in found.values() for pair in met.makers_and_brands())
    tables: dict[str, pd.DataFrame] = {}
    for name, cleaner in CLEANERS.items():
        met = found.get(name)
        raw = met.frame() if met else pd.DataFrame(columns=list(TABLES[name].names))
        named = {"names": names} if "title" in TABLES[name].names else {}
        tables[name.lower()], reported = cleaner(raw, register, settings, met.sheet if met else name, today, **named)
        problems += reported
        if name == "Sales" and not settings.currency and len(tables["sales"]):
            settings = settings.with_currency(str(tables["sales"]["currency"].mode().iloc[0]))
    pieces = pd.concat([tables["stock"], tables["sales"]])[["sku", "designation", "canonical_type", "family"]]
    tables["readings"], reported = percent_of_nominal(tables["readings"], settings, pieces[pieces["sku"] != ""])
    problems += reported
    problems += check_across(tables)
    balance = section_balance(tables["readings"])["balance_pct"].astype(float)
    tables["stock"]["balance_pct"] = tables["stock"]["sku"].map(balance)
    present = tuple(name for name in TABLES if name in by_table)
    return Shop(
        **tables,
        types=types,
        settings=settings,
        problems=problems_frame(problems),
        register=register,
        path=path,
        tables_present=present,
        rows_in={name: len(found[name].rows) if name in found else 0 for name in present},
    )


def sheet_of_tables(sheets: list[RawSheet], problems: list[Problem]) -> dict[str, RawSheet]:
    """The sheet of every table; a sheet called exactly as the table comes before a translation."""
    by_table: dict[str, RawSheet] = {}
    for sheet in sorted(sheets, key=lambda one: one.name not in TABLES):
        name = table_of_sheet(sheet.name)
        if name is None:
            continue
        if name in by_table:
            problems.append(problem("double_sheet", sheet=sheet.name, row=None, column="", value=sheet.name,
                                    table=name, kept=by_table[name].name))
        else:
            by_table[name] = sheet
    return by_table


def settings_of(sheet: RawSheet | None) -> Settings:
    """What a Settings sheet says; the defaults where there is none."""
    if sheet is None:
        return Settings()
    headings = find_headings(sheet.rows, TABLES["Settings"])
    places = {name: position for position, name in headings.columns.items()}
    key, value = places.get("key", 0), places.get("value", 1)
    first = headings.row if "key" in places else 0
    rows = [{"key": row[key] if key < len(row) else None, "value": row[value] if value < len(row) else None,
             "row": number} for number, row in filled_rows(sheet.rows, first)]
    return Settings.from_rows(rows, sheet.name)


def _find(
    path: Path, table: Table, sheet: RawSheet, settings: Settings, problems: list[Problem]
) -> FoundTable | None:
    """The headings and rows of a sheet; a Sales sheet without them stops the reading, another is reported."""
    headings = find_headings(sheet.rows, table, settings.own_headings, sheet.name)
    missing = lacking(headings, table)
    titles = list(sheet.rows[headings.row - 1]) if len(sheet.rows) >= headings.row else []
    rows = filled_rows(sheet.rows, headings.row)
    if missing:
        met = ", ".join(tidy(title) for title in titles if tidy(title)) or "none"
        if table.name == "Sales":
            raise ShopFileError(
                path,
                f"the sheet '{sheet.name}' has no heading for {', '.join(missing)}; headings met in row "
                f"{headings.row}: {met[:400]}.",
                f"Put headings for {', '.join(table.required)} in one row within the first ten, or add a "
                f"Settings row "
                f"such as 'heading: {tidy(titles[0])[:30] if titles and tidy(titles[0]) else 'Preis'}' with "
                f"the column it means.",
            )
        problems.append(
            problem(
                "table_without_heading",
                sheet=sheet.name,
                row=headings.row,
                column=missing[0],
                value="",
                sheet_name=sheet.name,
                met=met[:200],
                needed=", ".join(table.required),
            )
        )
        return None
    if table.name == "Sales" and not rows:
        raise ShopFileError(path, f"the sheet '{sheet.name}' has headings but no sales below them.",
                            "Enter or import some sales first.")
    return FoundTable(sheet.name, table, headings, rows, titles)


def register_with(met: FoundTable | None, register: Any, problems: list[Problem]) -> tuple[Any, pd.DataFrame]:
    """The register with the owner's Types on top, and those types as a frame of text."""
    if register is None:
        from pricing.register import load_register

        register = load_register()
    if met is None:
        return register, pd.DataFrame(columns=[*TYPES.names, "sheet", "row"])
    rows = []
    for number, row in met.rows:
        cells = {name: tidy(row[position]) if position < len(row) and row[position] is not None else ""
                 for position, name in met.headings.columns.items()}
        rows.append({name: cells.get(name, "") for name in TYPES.names} | {"sheet": met.sheet, "row": number})
    register, reported = register.with_types(rows)
    problems += reported
    return register, pd.DataFrame(rows, columns=[*TYPES.names, "sheet", "row"])
