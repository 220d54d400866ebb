"""The shop's real files through the front door: every line of messy_files.py and of messy_titles.csv as it says."""

import csv
import datetime as dt

import pytest
from shop_tables import messy_files
from shop_tables.test_incoming import TODAY, book, lawful
from shop_tables.test_messy_titles import LINES, NAMED

from pricing.shop_tables.book_so_far import read_book_so_far
from pricing.shop_tables.incoming import read_incoming

EXPECTED = [(file.name, place, line) for file in messy_files.FILES
            for place, line in enumerate(messy_files.lines(file))]


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A workbook in euros that names makers and brands."""
    rows = [{"sold_on": dt.datetime(2020, 1, 1), "type": "EL84", "maker": maker, "brand": brand, "price": 1}
            for maker, brand in NAMED]
    path = tmp_path_factory.mktemp("messy") / "shop.xlsx"
    settings = [{"key": "currency", "value": "EUR"}, {"key": "date order", "value": "day first"}]
    return read_book_so_far(book(path, Sales=rows, Settings=settings), today=TODAY)


@pytest.fixture(scope="module")
def read(shop):
    """(file, place of the line) -> (row as written or None, columns of its refusals), by the law for every file."""
    met = {}
    for file in messy_files.FILES:
        incoming = lawful(read_incoming(messy_files.write(file, shop.path.parent), shop, today=TODAY))
        rows = incoming.rows["Sales"].to_dict("index")
        refused = incoming.problems[incoming.problems["effect"] == "row left out"].groupby("row")["column"].agg(list)
        for index, outcome in enumerate(incoming.outcomes.itertuples()):
            met[file.name, index] = rows.get(index), refused.get(outcome.row, [])
    return met


@pytest.mark.parametrize("name, place, line", EXPECTED, ids=lambda one: "" if isinstance(one, tuple) else str(one))
def test_line(read, name, place, line):
    """Every cell of one line as stated, blank where it says nothing; what is no sale is refused for its column."""
    row, refused = read[name, place]
    if line.expected is None:
        assert row is None and line.column in refused
        return
    assert row is not None, refused
    met = {column: row.get(column) for column in line.expected}
    met = {column: None if value != value or value is None else value for column, value in met.items()}
    met |= {"sold_on": row["sold_on"].date(), "matched": row.get("matched") == "yes"}
    assert met == {column: None if value == "" else value for column, value in line.expected.items()}


def test_the_files_are_long_and_varied():
    """At least 400 lines in 12 files."""
    assert len(EXPECTED) >= 400 and len(messy_files.FILES) == 12


def test_titles_in_a_file(shop):
    """Every title of messy_titles.csv as a line of a file: its type, grade, counts and words, the title kept whole."""
    path = shop.path.with_name("titles.csv")
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([["Date", "Title", "Price"], *(["2024-05-06", one["title"], "30"] for one in LINES)])
    incoming = lawful(read_incoming(path, shop, today=TODAY))
    rows = incoming.rows["Sales"].astype(object).where(incoming.rows["Sales"].notna(), "").to_dict("index")
    for index, line in enumerate(LINES):
        if not line["type"]:
            assert index not in rows
            continue
        row = rows[index]
        for column in ("type", "maker", "brand", "era", "variant", "grade", "matched"):
            assert str(row.get(column, "")) == line[column], (line["title"], column)
        assert [str(row[name]) for name in ("set_size", "qty")] == [line[name] or "1" for name in ("set_size", "qty")]
        assert row["note"] == f"title: {' '.join(line['title'].split())}" or line["title"] == line["type"]
