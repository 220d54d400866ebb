"""Whatever stands in a file to import: nothing raises but a refusal with a reason, and no row is lost."""

import csv
import io

import pytest
from hypothesis import HealthCheck, example, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from shop_tables.test_incoming import TODAY, book, lawful

from pricing.shop_tables import ShopFileError
from pricing.shop_tables.book_so_far import read_book_so_far
from pricing.shop_tables.incoming import read_incoming
from pricing.shop_tables.placing import NotPlaced

HEADINGS = ["date", "Datum", "title", "Artikel", "type", "Röhre", "price", "Preis", "maker", "Zustand", "era", "tests",
            "set", "qty", "matched", "cur", "channel", "cost", "listed", "returned", "sku", "offer", "ask", "note",
            "lot", "order no", "box", "family", "sheet", "row", "file", "", "=1+1", "Käufer", "test", "value", "paid"]
NEEDED = [[], ["date", "title", "price"], ["date", "type", "price"], ["sku", "type"], ["offer", "title", "ask"],
          ["sku", "ask", "from"], ["sku"], ["type", "amp", "listener"], ["circuit", "fitted_type"], ["lot", "paid"]]
CELLS = ["EL84", "12AX7/ECC83", "6Н8С", "600000", "6-53", "Matched pair 12AX7 long plate 1957 NOS (2)", "pair", "2x",
         "03/04/2023", "25/04/2023", "04/26/2023", "4.3.23", "Apr '22", "45012", "2023-04-03", "NOS?", "88/91", "95%",
         "€32,00", "1.250,00", "$45 ea", "90/pr", "-5", "0", "1e400", "yes", "USD", "=HYPERLINK(1)", "@x", "n/a", "-",
         "", " ", "\u200b", "\n", 'a "b" c', "x" * 200, "1957", "order 7; x", "9" * 25, "EUR", "Varnoseth", "\x00",
         "🙂", "\ud800", "?", "lot"]


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """An empty workbook in euros, read."""
    path = tmp_path_factory.mktemp("any") / "shop.xlsx"
    return read_book_so_far(book(path, Settings=[{"key": "currency", "value": "EUR"}]), today=TODAY)


def as_csv(rows, separator=";"):
    """Rows as the text of a file."""
    text = io.StringIO()
    csv.writer(text, delimiter=separator).writerows(rows)
    return text.getvalue().encode("utf-8", "surrogatepass")


def brought(shop, data, name, **asked):
    """What a file of these bytes brings, None when it is refused with a reason."""
    path = shop.path.with_name(name)
    path.write_bytes(data)
    try:
        return lawful(read_incoming(path, shop, today=TODAY, **asked))
    except (NotPlaced, ShopFileError) as refusal:
        assert str(path) in str(refusal) and len(str(refusal)) > len(str(path)) + 20
        return None


CELL = st.one_of(st.sampled_from(CELLS), st.text(max_size=30))
TABLE = st.tuples(st.sampled_from(NEEDED), st.integers(0, 5)).flatmap(lambda one: st.tuples(
    st.lists(st.sampled_from(HEADINGS), min_size=one[1], max_size=one[1]).map(lambda more: [*one[0], *more]),
    st.lists(st.lists(CELL, min_size=1, max_size=len(one[0]) + one[1] + 1), max_size=9)))
ASKED = st.sampled_from(["", "Sales", "Stock", "Offers", "Asks", "Readings", "Listening", "Circuits", "Lots"])


@hypothesis_settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(table=TABLE, asked=ASKED, order=st.sampled_from(["", "day", "month"]))
@example(table=(["date", "title", "price", "row"], [["2023-04-03", "EL84", "3", "1"]] * 2), asked="", order="")
def test_no_row_of_any_table_is_lost(shop, table, asked, order):
    """Rows in are rows new, already there or on Problems, for any headings, cells, table and order of dates."""
    headings, rows = table
    brought(shop, as_csv([headings, *rows]), "any.csv", table=asked, date_order=order)


SALES_CELLS = st.tuples(
    st.sampled_from(["2023-04-03", "25/04/2023", "03/04/2023", "4.3.23", "soon", ""]), CELL,
    st.sampled_from(["30", "€32,00", "$45 ea", "90/pr", "1.250,00", "?", ""]), st.sampled_from(["", "A1", "7"]),
    st.sampled_from(["", "NOS", "88/91", "minty"]), st.sampled_from(["", "2", "pair", "1.5"]))


@hypothesis_settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(SALES_CELLS, min_size=1, max_size=8), order=st.sampled_from(["", "order no", "sku"]))
def test_nothing_comes_twice(shop, rows, order):
    """A file brings nothing when its rows are there already, whatever they are; every row taken is found again."""
    data = as_csv([["date", "title", "price", order or "x", "cond", "qty"], *rows])
    first = brought(shop, data, "twice.csv", table="Sales")
    second = shop.path.with_name("again.csv")
    second.write_bytes(data)
    both = lawful(read_incoming([shop.path.with_name("twice.csv"), second], shop, table="Sales", today=TODAY))
    again = both.outcomes[both.outcomes["file"] == "again.csv"]
    assert (again["outcome"] == "new").sum() == 0
    assert (again["outcome"] == "already there").sum() == first.count("new")


@hypothesis_settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.one_of(st.binary(max_size=200), st.binary(max_size=80).map(lambda tail: b"date,type,price\n" + tail),
                      st.text(max_size=80).map(lambda text: ("date;title;price\n" + text).encode("utf-16"))))
def test_any_bytes(shop, data):
    """Bytes that are no text: refused, or every row they make has its outcome."""
    brought(shop, data, "bytes.csv")
