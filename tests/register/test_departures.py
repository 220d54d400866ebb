"""The register against the raw facts it was built from: every departure is listed, with its reason."""

import csv
import hashlib
from collections import defaultdict
from pathlib import Path

import pytest

from pricing.register.register import read_rows

HERE = Path(__file__).parent
MAIN_SECTIONS = ("", "pentode")  # the raw facts hold the pentode of a triode-pentode


def digest(text: str) -> str:
    """As make_raw_facts_digest.py beside this file, which wrote raw_facts_digest.csv."""
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def raw_digests() -> dict[tuple[str, str, str], set[str]]:
    """Digests by (table, row, column)."""
    held = defaultdict(set)
    with open(HERE / "raw_facts_digest.csv", encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            held[row["table"], row["row"], row["column"]].add(row["digest"])
    return dict(held)


def present_digests() -> dict[tuple[str, str, str], set[str]]:
    """The same keys, read from the register's own files."""
    held = defaultdict(set)
    for row in read_rows("types.csv"):
        if row["section"] in MAIN_SECTIONS:
            for column, text in row.items():
                if text:
                    held["types", row["designation"], column].add(digest(text))
    for row in read_rows("aliases.csv"):
        held["types", row["designation"], "aliases"].add(digest(row["alias"]))
    sources = {row["source"]: row for row in read_rows("sources.csv")}
    for row in read_rows("cell_basis.csv"):
        if row["source"] and row["section"] in MAIN_SECTIONS:
            for column in row["columns"].split():
                held["types_published_cells", row["designation"], column].add(
                    digest(f"{row['basis']}|{sources[row['source']]['text']}"))
    for row in read_rows("aliases.csv"):
        if row["source"]:
            held["types_published_cells", row["designation"], "aliases"].add(
                digest(f"{row['basis']}|{sources[row['source']]['text']}"))
    for row in read_rows("substitutions.csv"):
        name = f"{row['from_type']} > {row['to_type']}"
        for column in ("direction", "class", "reason", "source", "basis"):
            text = sources[row["source"]]["text"] if column == "source" and row["source"] else row[column]
            if text:
                held["substitutions", name, column].add(digest(text))
    return dict(held)


RAW = raw_digests()
PRESENT = present_digests()
LISTED = read_rows("departures.csv")
RAW_TYPES = {row for table, row, _ in RAW if table == "types"}
RAW_COLUMNS = {column for table, _, column in RAW if table == "types"}


def listed(table: str, row: str, column: str) -> bool:
    """Whether departures.csv names the cell; "*" stands for every row of a column."""
    return any(d["designation"] in (row, "*") for d in LISTED if (d["table"], d["column"]) == (table, column))


def departed() -> set[tuple[str, str, str]]:
    """Cells in which the register no longer says what the raw facts said, or says what they left empty."""
    away = {name for name, digests in RAW.items() if digests - PRESENT.get(name, set())}
    filled = {(table, row, column) for table, row, column in PRESENT
              if table == "types" and row in RAW_TYPES and column in RAW_COLUMNS - {"aliases"}
              and (table, row, column) not in RAW}
    return away | filled


def test_every_departure_is_listed():
    """No cell differs from the raw facts without a row in departures.csv."""
    assert [name for name in sorted(departed()) if not listed(*name)] == []


@pytest.mark.parametrize("row", LISTED, ids=lambda d: f"{d['table']}-{d['designation']}-{d['column']}")
def test_listed_departure_is_real(row):
    """Each listed departure quotes the raw value truly, gives a reason and what stands now, and is still
    one."""
    assert row["reason"]
    if row["designation"] == "*":
        return
    name = row["table"], row["designation"], row["column"]
    assert name in departed()
    if row["table"] != "types_published_cells" and row["raw"]:
        assert digest(row["raw"]) in RAW[name]
    if row["table"] != "types_published_cells" and row["now"]:
        assert digest(row["now"]) in PRESENT[name]


def test_no_type_of_the_raw_facts_is_lost():
    """All 140 raw designations still stand."""
    assert len(RAW_TYPES) == 140
    assert RAW_TYPES <= {row["designation"] for row in read_rows("types.csv")}


def test_no_substitution_of_the_raw_facts_is_lost():
    """All 269 raw pairs still stand."""
    raw = {row for table, row, _ in RAW if table == "substitutions"}
    assert len(raw) == 269
    assert raw <= {f"{row['from_type']} > {row['to_type']}" for row in read_rows("substitutions.csv")}
