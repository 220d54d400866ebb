"""The owner's cells as they stand in his file, on their way into a new workbook."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pricing.shop_tables import TABLES, Settings, Table
from pricing.shop_tables.headings import find_headings, table_of_sheet
from pricing.shop_tables.reading import read_sheets


@dataclass(frozen=True)
class OwnerSheet:
    """One input sheet: its rows from sheet row 1, what its headings mean (position -> column), and their
    row.
    """

    name: str
    table: Table
    rows: list[list[Any]]
    columns: dict[int, str]
    head_row: int


def read_owner_sheets(path: Path | str, settings: Settings) -> list[OwnerSheet]:
    """Every input sheet of a shop's file, in the order of TABLES, each cell as the owner left it.

    A CSV file has only texts: where a column holds numbers or dates, plain ones (1250.5, 2024-04-03) become
    numbers and dates, as they would on typing them in; everything else stays the text it is.
    """
    path = Path(path)
    from_text = path.is_dir() or path.suffix.casefold() not in (".xlsx", ".xlsm", ".ods")
    sheets = []
    for raw in read_sheets(path):
        table = TABLES[table_of_sheet(raw.name)]
        headings = find_headings(raw.rows, table, settings.own_headings, raw.name)
        rows = raw.rows
        if from_text:
            kinds = {position: _kind(table, name) for position, name in headings.columns.items()}
            rows = [
                row
                if number == headings.row
                else [_typed(cell, kinds.get(at)) for at, cell in enumerate(row)]
                for number, row in enumerate(rows, start=1)
            ]
        sheets.append(OwnerSheet(raw.name, table, rows, headings.columns, headings.row))
    order = list(TABLES)
    return sorted(sheets, key=lambda sheet: (order.index(sheet.table.name), sheet.name not in TABLES))


_NUMBER = re.compile(r"-?(?:0|[1-9]\d{0,14})(?:\.\d{1,9})?", re.ASCII)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_NUMERIC = {"percent", "set_size", "qty", "price", "money", "number", "era", "setting", "aspect"}


def _kind(table: Table, name: str) -> str:
    if table.name == "Settings":
        return "setting" if name == "value" else "text"
    if table.name == "Types":
        return "number"
    return table.column(name).kind


def _typed(cell: Any, kind: str | None) -> Any:
    if not isinstance(cell, str):
        return cell
    if kind == "date" and _DATE.fullmatch(cell):
        try:
            return dt.date.fromisoformat(cell)
        except ValueError:
            return cell
    if (kind in _NUMERIC or kind is None) and _NUMBER.fullmatch(cell):
        return float(cell) if "." in cell else int(cell)
    return cell
