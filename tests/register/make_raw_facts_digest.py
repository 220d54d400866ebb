"""Digest of the raw facts the register was built from, so that every later departure from them shows.

    python tests/register/make_raw_facts_digest.py FOLDER

FOLDER holds types.csv, types_published_cells.csv and substitutions.csv as they were gathered. Writes
raw_facts_digest.csv beside this script: one row a cell that was not empty, with the first 12 hex digits of
its sha256.
"""

import csv
import hashlib
import sys
from pathlib import Path


def digest(text: str) -> str:
    """First 12 hex digits of the sha256 of a cell."""
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def cells(folder: Path):
    """(table, row name, column, text) of every raw cell that is not empty; aliases one by one."""
    def rows(name):
        with open(folder / name, encoding="utf-8", newline="") as file:
            yield from csv.DictReader(file)

    for row in rows("types.csv"):
        for column, text in row.items():
            for piece in text.split(";") if column == "aliases" else [text]:
                if piece:
                    yield "types", row["designation"], column, piece
    for row in rows("types_published_cells.csv"):
        yield "types_published_cells", row["designation"], row["column"], f"{row['basis']}|{row['source']}"
    for row in rows("substitutions.csv"):
        for column in ("direction", "class", "reason", "source", "basis"):
            if row[column]:
                yield "substitutions", f"{row['from_type']} > {row['to_type']}", column, row[column]


if __name__ == "__main__":
    with open(Path(__file__).parent / "raw_facts_digest.csv", "w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["table", "row", "column", "digest"])
        writer.writerows((*name, digest(text)) for *name, text in cells(Path(sys.argv[1])))
