"""Whole tables cleaned: dates by the column, currencies, repeats, messages, and what must hold for any
content.
"""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from openpyxl.utils.datetime import from_excel

from pricing.shop_tables import (
    ERAS,
    GRADES,
    TABLES,
    Settings,
    clean_asks,
    clean_circuits,
    clean_items,
    clean_listening,
    clean_lots,
    clean_offers,
    clean_readings,
    clean_sales,
    clean_stock,
)
from pricing.shop_tables.cells import plain_number
from pricing.shop_tables.dates import read_dates

TODAY = dt.date(2026, 3, 1)
CLEANERS = {
    "Sales": clean_sales,
    "Stock": clean_stock,
    "Asks": clean_asks,
    "Readings": clean_readings,
    "Offers": clean_offers,
    "Listening": clean_listening,
    "Circuits": clean_circuits,
    "Lots": clean_lots,
    "Items": clean_items,
}


def sales(rows, settings=None, **columns):
    """Raw sales over plain ones: a list of dicts, cleaned."""
    plain = {"sold_on": "2024-05-06", "type": "EL84", "price": 30}
    return clean_sales(pd.DataFrame([plain | row for row in rows]), settings=settings, today=TODAY)


def by_code(problems):
    """(row, column, code) of every problem."""
    return [(p.row, p.column, p.code) for p in problems]


@pytest.mark.parametrize("typed, stated, order, decided", [
    (["03/04/2023", "05/06/2023"], "", "day", False),
    (["03/04/2023", "05/06/2023"], "month", "month", False),
    (["03/04/2023", "13/06/2023"], "month", "day", True),
    (["03/04/2023", "05/26/2023"], "", "month", True),
    (["03.04.2023"], "month", "day", True),
    (["05/05/2023"], "", "day", True),
    (["2023-04-03", 44927], "", "day", True),
])
def test_order_of_day_and_month_is_the_column_s(typed, stated, order, decided):
    """One telling cell settles the whole column; only open columns fall back on Settings or the day."""
    met = read_dates(typed, stated, TODAY)
    assert (met.order, met.decided) == (order, decided)


def test_open_date_order_is_one_problem():
    """A column that never tells is said once, for the whole column."""
    _, problems = sales([{"sold_on": "03/04/2023"}, {"sold_on": "05/06/2023"}])
    assert by_code(problems) == [(None, "sold_on", "date_order_assumed")]
    assert problems[0].message == (
        "Nothing in the column 'sold_on' shows whether the day or the month comes first "
        "(first such date: '03/04/2023'); read day first."
    )
    assert not sales([{"sold_on": "03/04/2023"}], Settings.from_rows([("date order", "month first")]))[1]


def test_cell_against_the_order_of_its_column():
    """A date that only reads the other way is read that way and reported."""
    clean, problems = sales([{"sold_on": d} for d in ("13/02/2023", "14/02/2023", "02/15/2023")])
    assert clean["sold_on"].dt.strftime("%Y-%m-%d").tolist() == ["2023-02-13", "2023-02-14", "2023-02-15"]
    assert by_code(problems) == [(4, "sold_on", "date_other_order")]


@given(st.integers(20_001, 79_000))
def test_serials_agree_with_openpyxl(serial):
    """Day numbers mean the date they mean to openpyxl (ECMA-376, 1900 date base)."""
    assert read_dates([serial], today=TODAY).readings[0].value == from_excel(serial).date()


@given(
    st.dates(dt.date(1990, 1, 1), dt.date(2026, 3, 1)),
    st.sampled_from(["%Y-%m-%d", "%d %b %Y", "%d. %B %Y", "%Y/%m/%d", "%Y%m%d"]),
)
def test_dates_written_plainly_come_back(date, form):
    """Unambiguous forms, as Python writes them, are read back to the same date."""
    assert read_dates([date.strftime(form)], today=TODAY).readings[0].value == date


@given(
    st.integers(0, 99_999_999),
    st.sampled_from([(",", "."), (".", ","), ("'", "."), (" ", ","), ("", "."), ("", ",")]),
)
def test_amounts_with_cents_come_back(cents, marks):
    """An amount with two decimals is read back whatever the grouping and decimal marks."""
    thousands, decimal = marks
    text = f"{cents / 100:,.2f}".replace(",", "T").replace(".", decimal).replace("T", thousands)
    assert plain_number(text) == pytest.approx(cents / 100)


def test_rows_that_cannot_be_used():
    """No date, no type, no price, a price of nothing, the future: left out, each with its reason; the index
    stays.
    """
    rows = [
        {},
        {"sold_on": ""},
        {"type": None},
        {"price": "ask"},
        {"price": -5},
        {"sold_on": "2031-01-01"},
        {"price": 0},
        {"sold_on": "x", "price": "y"},
        {},
    ]
    clean, problems = sales(rows)
    assert clean.index.tolist() == [0, 8] and clean["row"].tolist() == [2, 10]
    assert by_code(problems)[:8] == [
        (3, "sold_on", "date_missing"), (4, "type", "type_missing"), (5, "price", "price_unreadable"),
        (6, "price", "price_not_positive"), (7, "sold_on", "date_in_future"),
        (8, "price", "price_not_positive"),
        (9, "sold_on", "date_unreadable"), (9, "price", "price_unreadable")]
    assert {p.effect for p in problems[:8]} == {"row left out"}
    assert (problems[4].message, problems[2].message) == (
        "The date 2031-01-01 lies in the future.", "'ask' is not an amount of money.")


def test_exact_words_of_a_swallowed_type():
    """The message names the number, the likely type and what to do."""
    _, problems = sales([{"type": 600000}])
    assert (problems[0].value, problems[0].message, problems[0].remedy) == (
        "600000",
        "The cell holds the number 600000: a spreadsheet has turned a type into a number; it was likely 6E5.",
        "Format the column as text and type 6E5 again.",
    )


def test_a_type_that_became_a_date():
    """"6-53" typed into a spreadsheet is a date; the row stays under the likely type and says so."""
    clean, problems = sales([{"type": dt.datetime(1953, 6, 1)}])
    assert clean["type"].tolist() == ["6-53"] and by_code(problems) == [(2, "type", "date_for_type")]


def test_price_each_is_reported_once():
    """A cell has one problem at most: "$45 ea?" is reported for the price each, not again for the doubt."""
    clean, problems = sales([{"price": "$45 ea", "qty": 2}])
    assert clean["price"].tolist() == [90.0] and clean["currency"].tolist() == ["USD"]
    assert [p.message for p in problems] == [
        "'$45 ea' is a price each; with 2 pieces the line comes to 90.00."
    ]


def test_exchange_at_the_month_s_rate():
    """Prices are converted at the month's rate; a missing month takes the nearest earlier one and says so
    once.
    """
    settings = Settings.from_rows(
        [("currency", "EUR"), ("rate: USD 2024-03", 0.9), ("rate: USD 2024-05", 0.8)]
    )
    rows = [
        {"price": "$10", "sold_on": d}
        for d in ("2024-03-05", "2024-04-05", "2024-04-09", "2024-05-05", "2024-01-05")
    ]
    clean, problems = sales([*rows, {"price": "£5"}, {"price": 7}], settings)
    assert clean["price_home"].tolist() == pytest.approx([9, 9, 9, 8, 9, 7])
    assert clean["price"].tolist() == [10, 10, 10, 10, 10, 7]
    assert [(p.sheet, p.row, p.code) for p in problems] == [
        ("Settings", None, "rate_of_other_month"),
        ("Settings", None, "rate_of_other_month"),
        ("Sales", 7, "no_rate"),
    ]
    assert (
        problems[0].message == "There is no rate for USD in 2024-04; the rate of 2024-03 was used for 2 rows."
    )


def test_one_currency_needs_no_rate():
    """A shop in one currency, with or without its name, is priced as it stands."""
    assert sales([{"currency": "USD"}, {}])[0]["price_home"].tolist() == [30, 30]
    assert sales([{}])[0]["price_home"].tolist() == [30]


def test_sign_against_currency_column():
    """A sign that contradicts the currency column counts and is reported; $ beside CAD is no contradiction.
    """
    clean, problems = sales(
        [{"price": "€5", "currency": "USD"}, {"price": "$5", "currency": "EUR"}, {"currency": "EUR"}],
        Settings.from_rows([("currency", "EUR"), ("rate: USD", 0.5)]),
    )
    assert clean["price_home"].tolist() == [5, 2.5, 30]
    assert [p.code for p in problems] == ["currency_conflict"] * 2
    clean, problems = sales([{"price": "$5", "currency": "CAD"}])
    assert clean["currency"].tolist() == ["CAD"] and not problems


def test_repeated_rows_are_kept_and_reported():
    """A row repeated in every cell is reported with the row it repeats; one that differs in a cell is not."""
    clean, problems = sales([{"sku": "a"}, {"sku": "a"}, {"sku": "b"}, {"sku": "a"}])
    assert len(clean) == 4
    assert [(p.row, p.code, p.effect) for p in problems] == [
        (3, "repeated_row", "please check"), (5, "repeated_row", "please check")]
    assert problems[0].message == "This row repeats row 2 in every cell; both are kept."


def test_headings_double_near_and_unknown():
    """A second heading for a column and a near miss are reported; a heading of the owner's own is left alone.
    """
    frame = pd.DataFrame([["2024-05-06", "EL84", 5, 6, "x", "sunny"]],
                         columns=["sold_on", "type", "price", "Preis", "channell", "weather"])
    clean, problems = clean_sales(frame, today=TODAY)
    assert clean["price"].tolist() == [5] and "weather" not in clean
    assert [(p.row, p.code, p.value) for p in problems] == [
        (1, "double_heading", "Preis"),
        (1, "near_heading", "channell"),
    ]


def test_clean_columns_and_their_kinds():
    """The contract of clean Sales: every column of the table, then what was worked out, in fixed kinds."""
    clean, _ = sales([{}])
    expected = [column.name for column in TABLES["Sales"].columns if column.in_workbook]
    assert clean.columns.tolist() == [
        *expected,
        "designation",
        "canonical_type",
        "family",
        "type_known",
        "price_home",
        "sheet",
        "row",
    ]
    assert clean["sold_on"].dtype == "datetime64[ns]" and clean["listed_on"].dtype == "datetime64[ns]"
    for name in ("price", "price_home", "reading_pct", "cost", "fee"):
        assert clean[name].dtype == float
    assert clean["set_size"].dtype == clean["qty"].dtype == np.int64 and clean["matched"].dtype == bool
    for name in ("maker", "brand", "era", "variant", "grade", "channel"):
        assert clean[name].tolist() == ["unknown"]


def test_listening_aspects_keep_their_names():
    """Numeric columns under the owner's own names are aspects; a wordy one is not."""
    frame = pd.DataFrame(
        {"type": ["EL84", "EL34"], "system": "amp", "listener": "J", "warmth": [3, "4,5"], "mood": ["a", "b"]}
    )
    clean, problems = clean_listening(frame, today=TODAY)
    assert clean["warmth"].tolist() == [3, 4.5] and "mood" not in clean and not problems
    again, _ = clean_listening(clean, today=TODAY)
    pd.testing.assert_frame_equal(clean, again)


def test_stock_ask_each_becomes_the_ask_of_the_set():
    """Stock prices are per set: "45 ea" beside a pair is 90."""
    clean, problems = clean_stock(
        pd.DataFrame({"sku": ["a"], "type": ["EL84"], "set_size": ["pair"], "ask": ["45 ea"]})
    )
    assert clean["ask"].tolist() == [90] and [p.code for p in problems] == ["ask_each"]


def test_optional_cells_never_cost_the_row():
    """A bad optional cell is ignored and reported; the row stays."""
    bad = {
        "listed_on": "x",
        "cost": "free",
        "reading_pct": "strong",
        "qty": "many",
        "fee": -2,
        "matched": "perhaps",
        "era": "soon",
        "grade": "zing",
    }
    clean, problems = sales([bad])
    assert len(clean) == 1 and len(problems) == len(bad)
    assert {p.column for p in problems} == set(bad)
    assert "row left out" not in {p.effect for p in problems}


def test_duplicate_index_and_odd_frames():
    """Repeated index labels, categories, a frame without rows and one without known columns are all borne."""
    frame = pd.DataFrame(
        {
            "sold_on": pd.to_datetime(["2024-05-06"] * 2),
            "type": pd.Categorical(["EL84", "6BQ5"]),
            "price": [1.0, np.nan],
        },
        index=["a", "a"],
    )
    clean, problems = clean_sales(frame, today=TODAY)
    assert clean.index.tolist() == ["a"] and by_code(problems) == [(3, "price", "price_missing")]
    assert len(clean_sales(frame.iloc[:0])[0]) == 0
    assert len(clean_sales(pd.DataFrame({"zz": [1]}))[0]) == 0
    assert len(clean_sales(pd.DataFrame())[0]) == 0


CELL = st.one_of(
    st.none(),
    st.text(max_size=12),
    st.floats(),
    st.integers(-(10**20), 10**20),
    st.booleans(),
    st.dates(),
    st.datetimes(),
    st.times(),
    st.just(float("nan")),
    st.just(pd.NaT),
    st.just(pd.NA),
    st.lists(st.integers(), max_size=1),
    st.sampled_from(
        [
            "EL84",
            "12AX7/ECC83 pair",
            "45 ea",
            "$45 ea",
            "90/pr",
            "1.5 pr",
            "2 pr",
            "PAIR",
            "(2)",
            "lot of 10",
            "NOS",
            "NOS?",
            "tstd 95%",
            "88/91",
            "03/04/2023",
            "13/04/2023",
            "Apr '22",
            "44927",
            "€32,00",
            "0.95",
            "1957-62",
            "late 50s",
            "2x",
            "quad",
            "6E5",
            "4",
            "1",
            "unknown",
            "?",
            "x",
            "white box",
            "Alvora?",
            "alvora",
            "matched pair EL84 NOS 90%",
            "sold site",
            "hamfest",
            "USD",
            "€",
        ]
    ),
)


@st.composite
def tables(draw, name):
    """Any cells at all under the headings of a table."""
    columns = (*TABLES.get(name, TABLES["Sales"]).names, "warmth")
    chosen = draw(st.lists(st.sampled_from(columns), unique=True, min_size=1))
    size = draw(st.integers(0, 5))
    return pd.DataFrame({column: pd.Series(draw(st.lists(CELL, min_size=size, max_size=size)), dtype=object)
                         for column in chosen})


@pytest.mark.parametrize("name", list(CLEANERS))
@given(data=st.data())
@hypothesis_settings(max_examples=40, deadline=None)
def test_any_content_is_borne(name, data):
    """For any cells: nothing raises, rows in = rows used + rows explained, one problem a cell, own words
    only, and the clean frame comes back unchanged when cleaned again.
    """
    frame = data.draw(tables(name))
    own = Settings.from_rows([("rate: USD", 0.9), ("currency", "EUR")])
    clean, problems = CLEANERS[name](frame, settings=own, today=TODAY)
    left_out = {p.row for p in problems if p.effect == "row left out"}
    assert len(frame) == len(clean) + len(left_out)
    assert not left_out & set(clean["row"])
    cells = [(p.row, p.column) for p in problems if p.row is not None]
    assert len(cells) == len(set(cells))
    if "grade" in clean:
        assert set(clean["grade"]) <= set(GRADES)
    if "era" in clean:
        assert set(clean["era"]) <= set(ERAS)
    again, _ = CLEANERS[name](clean, settings=own, today=TODAY)
    pd.testing.assert_frame_equal(clean, again)
