"""Free-text listing titles: every line of messy_titles.csv is read as it says; no text is lost or stops the reading."""

import csv
import datetime as dt
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from pricing.shop_tables import clean_items, clean_offers, clean_sales, read_shop
from pricing.shop_tables.cells import is_blank, tidy

TODAY = dt.date(2026, 3, 1)
LINES = list(csv.DictReader(Path(__file__).with_name("messy_titles.csv").open(encoding="utf-8")))
# What the owner's own columns hold: makers, brands, and a brand that stands on another maker's tubes.
NAMED = [("Varnoseth", ""), ("Luskarn", "Tivenshaw"), ("Nimbrade", ""), ("Wexmarrow", ""), ("Old Skarn Works", ""),
         ("Haldrune", "Haldrune"), ("Luskarn", "Ostrelk"), ("Ostrelk", "Ostrelk")]
COLUMNS = ("type", "maker", "brand", "era", "variant", "grade", "reading_pct", "set_size", "qty", "matched")


def titled(titles, clean=clean_sales):
    """Sales of these titles, behind rows that name makers and brands: (clean rows of the titles, their problems)."""
    own = [{"type": "EL84", "maker": maker, "brand": brand} for maker, brand in NAMED]
    rows = [{"sold_on": "2024-05-06", "price": 30, "offer": "o", "ask": 30} | one
            for one in [*own, *({"title": title} for title in titles)]]
    frame, problems = clean(pd.DataFrame(rows), today=TODAY)
    return frame.loc[frame.index >= len(own)], [one for one in problems if (one.row or 0) > len(own) + 1]


@pytest.fixture(scope="module")
def read():
    """Reading of every line of the table, and the columns in doubt."""
    frame, problems = titled([line["title"] for line in LINES])
    doubts, lost = {}, {one.row: one for one in problems if one.code == "type_missing"}
    for one in problems:
        if one.code == "title_doubtful":
            doubts.setdefault(one.row, set()).add(one.column)
    met = {row["row"]: row for row in frame.to_dict("records")}
    first = len(NAMED) + 2
    return [(met.get(row), doubts.get(row, set()), lost.get(row)) for row in range(first, first + len(LINES))]


@pytest.mark.parametrize("place", range(len(LINES)), ids=lambda place: LINES[place]["title"])
def test_title(read, place):
    """One line: every column as the table says, blank where it says nothing, and doubts where it names them."""
    line, (row, doubts, lost) = LINES[place], read[place]
    if not line["type"]:  # a bare number nothing shows to be a type: the row is left out and says so
        assert row is None and lost.value == line["title"]
        return
    said = {name: line[name] for name in COLUMNS}
    met = {name: "" if row[name] in ("unknown", False) or row[name] != row[name] else row[name] for name in COLUMNS}
    met |= {"type": row["designation"], "matched": "yes" if row["matched"] else "",
            "set_size": "" if row["set_size"] == 1 else row["set_size"], "qty": "" if row["qty"] == 1 else row["qty"]}
    met["reading_pct"] = f"{met['reading_pct']:g}" if met["reading_pct"] != "" else ""
    assert {name: str(value) for name, value in met.items()} == said
    assert doubts == set(line["doubts"].split())


def test_the_table_is_long_and_varied():
    """At least 400 different titles."""
    assert len({line["title"] for line in LINES}) == len(LINES) >= 400


WORDS = ["EL84", "12AX7", "6Н8С", "ECC83/12AX7", "600000", "6-53", "6E5", "45", "1957", "95%", "88/91", "€32,00/pr",
         "(2)", "lot of 10", "pair?", "Varnoseth", "Tivenshaw?", "made by", "NOS", "not", "1950s", "$", "?",
         "long plates", "x", "2x", "/", "\u0000", "🙂", "1e400", "matched", "9" * 30]
TITLES = st.one_of(st.text(max_size=120), st.lists(st.sampled_from(WORDS), max_size=9).map(" ".join))


@hypothesis_settings(max_examples=60, deadline=None)
@given(titles=st.lists(TITLES, min_size=1, max_size=8))
def test_any_text_is_read_or_said_to_be_left_out(titles):
    """Whatever stands in a title: nothing raises, every row is kept or has its problem, the words are not altered."""
    for clean in (clean_sales, clean_offers, clean_items):
        frame, problems = titled(titles, clean)
        left_out = {one.row for one in problems if one.effect == "row left out"}
        assert len(frame) + len(left_out - set(frame["row"])) == len(titles)
        for row in frame.to_dict("records"):
            assert row["title"] == ("" if is_blank(typed := titles[row["row"] - len(NAMED) - 2]) else tidy(typed))
        for one in problems:
            if one.code == "title_doubtful":
                assert one.value and one.effect == "please check"


@hypothesis_settings(max_examples=40, deadline=None)
@given(titles=st.lists(TITLES, min_size=1, max_size=8))
def test_a_title_never_overrules_its_own_cells(titles):
    """Cells the owner filled stay as they are, whatever the title says beside them."""
    own = {"type": "EL84", "maker": "Luskarn", "brand": "Haldrune", "era": "1960s", "variant": "mesh plate",
           "grade": "pulled or untested", "reading_pct": 77}
    frame, _ = clean_items(pd.DataFrame([own | {"title": title} for title in titles]), today=TODAY)
    for name, cell in own.items():
        assert (frame[name] == cell).all()


@hypothesis_settings(max_examples=30, deadline=None)
@given(titles=st.lists(TITLES, min_size=1, max_size=8))
def test_reading_twice_reads_the_same(titles):
    """The clean frame of titles, read again, stays as it is."""
    frame, _ = titled(titles, clean_items)
    again, _ = clean_items(frame, today=TODAY)
    pd.testing.assert_frame_equal(again, frame)


def test_makers_of_other_tables_count(tmp_path):
    """A maker that only Stock names is known in the titles of Sales."""
    (tmp_path / "Sales.csv").write_text("Date,Title,Price\n2024-05-06,Quenlow EL84 1962,30\n")
    (tmp_path / "Stock.csv").write_text("sku,type,maker\nA1,EL84,Quenlow\n")
    sales = read_shop(tmp_path, today=TODAY).sales
    assert sales[["maker", "era"]].values.tolist() == [["Quenlow", "1960s"]]


def test_the_owner_s_spelling_is_used():
    """Names and construction words found in titles take the spelling of the owner's own columns."""
    rows = [{"type": "EL84", "maker": "VARNOSETH Ltd.", "variant": "long plate"},
            {"title": "varnoseth ltd EL84, long plates"}]
    frame, problems = clean_items(pd.DataFrame(rows), today=TODAY)
    assert frame[["maker", "variant"]].values.tolist() == [["VARNOSETH Ltd.", "long plate"]] * 2 and not problems


def test_a_doubt_carries_the_title():
    """The problem names the column, the whole title and the words in doubt."""
    _, problems = titled(["EL84 Varnoseth 1957?"])
    assert [(one.column, one.value, one.message) for one in problems] == [(
        "era", "EL84 Varnoseth 1957?",
        "The title 'EL84 Varnoseth 1957?' says '1957', which is not sure; 'era' was not taken from it.")]


@pytest.mark.parametrize("title, taken", [("600000", "6E5"), ("6.00E+05", "6E5"), ("6.00E+05 tuning eye NOS", "6E5"),
                                          (600000.0, "6E5"), (dt.date(2053, 6, 1), "6-53")])
def test_titles_a_spreadsheet_turned(title, taken):
    """A title that became a number is read back, with a problem; a date is kept under what was likely typed."""
    frame, problems = titled([title])
    assert frame["type"].tolist() == [taken]
    assert [one.code for one in problems] == ["date_for_type" if isinstance(title, dt.date) else "number_for_type"]
