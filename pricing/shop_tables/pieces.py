"""A sales history too long for a sheet, read in pieces: Parquet, CSV or a DuckDB database.

DuckDB reads all three; it is an extra (`pip install tube-shop-pricing[large]`) that small shops do not need.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from pricing.shop_tables import columns as spec
from pricing.shop_tables.dates import read_dates
from pricing.shop_tables.headings import read_headings
from pricing.shop_tables.reading import ShopFileError
from pricing.shop_tables.settings import Settings

# DuckDB hands out rows in vectors of 2,048.
VECTOR = 2_048


def sales_in_pieces(
    path: Path | str, *, table: str = "sales", settings: Settings | None = None, rows_at_once: int = 50_000
) -> Iterator[pd.DataFrame]:
    """Raw Sales rows of a .parquet, .csv or .duckdb file (its `table`), about `rows_at_once` at a time, in order.

    Cells of a CSV stay as written; whether the day or the month stands first in its dates is settled from the whole
    column before the first piece. Every piece has a column `row`: the line of a CSV (heading = 1), else the place in
    the table counted from 2. Raises ShopFileError for a file that cannot be read so, ImportError without DuckDB.
    """
    try:
        import duckdb
    except ImportError as error:
        raise ImportError("reading a history in pieces needs DuckDB: pip install duckdb") from error
    path, settings = Path(path), settings or Settings()
    if not path.exists():
        raise ShopFileError(path, "there is no such file.", "Check the name and the folder.")
    kind = path.suffix.lower()
    try:
        if kind in (".duckdb", ".db"):
            connection, source = duckdb.connect(str(path), read_only=True), _quoted(table)
        elif kind == ".parquet":
            connection, source = duckdb.connect(), f"read_parquet({_text(path)})"
        elif kind in (".csv", ".txt", ".tsv"):
            connection, source = duckdb.connect(), f"read_csv({_text(path)}, all_varchar=true, header=true)"
        else:
            raise ShopFileError(path, f"'{kind}' is not read in pieces.", "Give a .parquet, .csv or .duckdb file.")
        with connection:
            yield from _pieces(connection, source, settings, max(rows_at_once // VECTOR, 1))
    except duckdb.Error as error:
        raise ShopFileError(path, f"it cannot be read ({str(error).splitlines()[0]}).",
                            "Check that it is a whole Parquet, CSV or DuckDB file with a table of sales.") from error


def _pieces(connection, source: str, settings: Settings, vectors: int) -> Iterator[pd.DataFrame]:
    names = [row[0] for row in connection.execute(f"describe select * from {source}").fetchall()]
    columns = read_headings(names, spec.SALES, settings.own_headings).columns
    dates = {}
    for position, column in columns.items():
        if spec.SALES.column(column).kind == "date":
            dates[names[position]] = _whole_column_dates(connection, source, names[position], settings)
    rows, first = connection.execute(f"select * from {source}"), 2
    while len(piece := rows.fetch_df_chunk(vectors)):
        for name, read in dates.items():
            piece[name] = piece[name].map(lambda cell, read=read: read.get(cell, cell)).astype(object)
        if "row" not in piece:
            piece["row"] = range(first, first + len(piece))
        first += len(piece)
        yield piece


def _whole_column_dates(connection, source: str, name: str, settings: Settings) -> dict:
    """Date by text, for every text of the column that can be read; nothing for a column of real dates."""
    quoted = _quoted(name)
    texts = [row[0] for row in connection.execute(f"select distinct {quoted} from {source}").fetchall()]
    if not all(isinstance(text, str) or text is None for text in texts):
        return {}
    met = read_dates(texts, settings.date_order)
    return {text: one.value for text, one in zip(texts, met.readings) if one.value is not None and one.code is None}


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _text(path: Path) -> str:
    return "'" + str(path).replace("'", "''") + "'"
