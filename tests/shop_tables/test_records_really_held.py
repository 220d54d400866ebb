"""What owners really type (notes on the trade: headings, grades, types, titles, prices, dates), item by item.

Common practice, no source, unless a line says otherwise.
"""

import datetime as dt
import math

import pandas as pd
import pytest

from pricing.shop_tables import Settings, clean_items, clean_sales
from pricing.shop_tables.cells import read_money, read_number, read_percent
from pricing.shop_tables.columns import SALES, TABLES
from pricing.shop_tables.dates import read_dates
from pricing.shop_tables.headings import column_of
from pricing.shop_tables.sets import pieces_in
from pricing.shop_tables.vocabularies import read_channel, read_currency, read_era, read_grade

TODAY = dt.date(2026, 3, 1)


def sale(**cells):
    """One raw sale with these cells over a plain one, cleaned: (row, problems)."""
    row = {"sold_on": "2024-05-06", "type": "EL84", "price": 30} | cells
    clean, problems = clean_sales(pd.DataFrame([row]), today=TODAY)
    return (clean.iloc[0] if len(clean) else None), problems


@pytest.mark.parametrize("heading, column", [
    ("Date", "sold_on"), ("Sold", "sold_on"), ("Datum", "sold_on"), ("Item", "title"), ("Title", "title"),
    ("Tube", "type"), ("Type", "type"), ("Röhre", "type"), ("RÖHRE ", "type"), ("Brand", "brand"),
    ("Made by", "maker"),
    ("Cond", "grade"), ("Cond.", "grade"), ("Grade", "grade"), ("Qty", "qty"), ("Price", "price"),
    ("Total", "price"),
    ("Preis", "price"), ("Ship", "postage_charged"), ("Fee", "fee"), ("Cur", "currency"),
    ("Channel", "channel"),
    ("Country", "country"), ("Box", "boxed"), ("Code", "sku"), ("Test", "reading_pct"), ("Cost", "cost"),
    ("Lot", "lot"),
    ("Notes", "note"), ("Price (EUR)", "price"), ("reading %", "reading_pct"), ("État", "grade"),
    ("Prezzo", "price"),
    ("Precio", "price"), ("Prijs", "price"), ("Fabricant", "maker"), ("Aantal", "qty"), ("Zustand", "grade"),
    ("sold_on", "sold_on"), ("Weather", None),
])
def test_heading_is_known(heading, column):
    """A heading in another spelling or language means its column; an unknown one means nothing."""
    met = column_of(heading, SALES)
    assert (met and met[0]) == column


@pytest.mark.parametrize("table, heading, column", [
    ("Stock", "Price", "ask"), ("Offers", "Preis", "ask"), ("Lots", "Price", "paid"),
    ("Lots", "Date", "bought_on"),
    ("Offers", "Datum", "seen_on"), ("Listening", "Date", "heard_on"), ("Readings", "Test", "test"),
    ("Asks", "From", "from_date"),
    ("Readings", "Reading", "value"), ("Offers", "Shipping", "postage"), ("Lots", "Versand", "freight"),
    ("Circuits", "Amp", "circuit"), ("Listening", "Amp", "system"), ("Circuits", "Tube", "fitted_type"),
    ("Stock", "Date", "acquired_on"), ("Types", "Type", "designation"), ("Settings", "Wert", "value"),
])
def test_heading_means_what_its_table_makes_of_it(table, heading, column):
    """The same heading means another column in another table."""
    assert column_of(heading, TABLES[table])[0] == column


@pytest.mark.parametrize("text, grade, reading, doubtful", [
    ("NOS", "new old stock", None, False), ("N.O.S.", "new old stock", None, False),
    ("nos/nib", "new old stock, boxed", None, False), ("nos", "new old stock", None, False),
    ("nib", "new old stock, boxed", None, False), ("new old stock", "new old stock", None, False),
    ("NOS?", "new old stock", None, True), ("ANOS", "used, strong", None, False),
    ("used - tests strong", "used, strong", None, False), ("tstd 95%", "used, strong", 95, False),
    ("tstd 72%", "used, good", 72, False), ("tstd 55%", "used, weak", 55, False),
    ("88/91", "used, strong", 89.5, True),
    ("pulled", "pulled or untested", None, False), ("", "unknown", None, False),
    (None, "unknown", None, False),
    ("used", "used, good", None, False), ("not NOS", "unknown", None, True),
    ("for parts", "for parts", None, False),
    ("NOS, not tested", "pulled or untested", None, False), ("gebraucht", "used, good", None, False),
])
def test_grade_is_read(text, grade, reading, doubtful):
    """Every grade spelling lands on one of our grades; a question mark or denial is doubt."""
    met = read_grade(text)
    assert (met.grade, met.reading_pct, met.code is not None) == (grade, reading, doubtful)


@pytest.mark.parametrize("typed, designation, canonical", [
    ("12AX7/ECC83", "12AX7", "12AX7"), ("6V6 GT/G", "6V6GT", "6V6GT"), ("6BQ5-EL84", "6BQ5", "EL84"),
    ("12AX7A = 7025", "12AX7A", "12AX7A"), ("CV4004", "CV4004", "12AX7"), ("JAN-5751", "5751", "5751"),
    ("OA2", "0A2", "0A2"), ("6Н8С", "6N8S", "6N8S"), ("6H8C", "6N8S", "6N8S"), (600000, "6E5", "6E5"),
    (120, "12E1", "12E1"),
    ("6.00E+05", "6E5", "6E5"), (45.0, "45", "45"), ("ECC83 (2)", "ECC83", "12AX7"),
    ("211 x 2", "211", "211"),
    ("45 matched PAIR", "45", "45"), ("lot of 10 EL84", "EL84", "EL84"),
])
def test_type_is_read(typed, designation, canonical):
    """Double names, bases, military marks, look-alike letters, swallowed numbers and words around the type.
    """
    row, _ = sale(type=typed)
    assert (row["designation"], row["canonical_type"]) == (designation, canonical)


@pytest.mark.parametrize("text, size, qty, matched", [
    ("MP", 2, None, True), ("matched PAIR", 2, None, True), ("(2)", 2, None, False), ("quad", 4, None, False),
    ("lot of 10", None, 10, False), ("1.5 pr", 1, 3, False), ("pr", 2, None, False), ("pair", 2, None, False),
    ("2x", None, 2, False), ("trio", 3, None, False), ("sextet", 6, None, False), ("3 pairs", 2, 3, False),
    ("matched quad (4)", 4, None, True), ("set of 4", 4, None, False), ("Paar", 2, None, False),
    ("old", None, None, False),
])
def test_set_words_are_read(text, size, qty, matched):
    """Words of titles say set size, count and matching."""
    met = pieces_in(text)
    assert (met.set_size, met.qty, met.matched) == (size, qty, matched)


@pytest.mark.parametrize("text, amount, currency, per", [
    ("€32,00", 32.00, "EUR", ""), ("1.250,00", 1250, "", ""), ("1,250.00", 1250, "", ""),
    ("$45 ea", 45, "USD", "each"),
    ("90/pr", 90, "", "2"), ("45.-", 45, "", ""), ("45,--", 45, "", ""), ("£ 12 50?", 12.5, "GBP", ""),
    ("1'250.00", 1250, "", ""), ("1 250,00 €", 1250, "EUR", ""), ("CHF 80.-", 80, "CHF", ""),
    ("32,5", 32.5, "", ""),
    ("45 each", 45, "", "each"), ("120 the pair", 120, "", "2"), ("200/quad", 200, "", "4"),
    (19.99, 19.99, "", ""),
    ("1,250", 1250, "", ""), ("0.95", 0.95, "", ""), ("US$ 7", 7, "USD", ""),
])
def test_price_is_read(text, amount, currency, per):
    """Prices with either decimal mark, signs, dashes for cents, and prices each or per set."""
    money = read_money(text, read_currency).value
    assert (money.amount, money.currency, money.per) == (pytest.approx(amount), currency, per)


@pytest.mark.parametrize(
    "text", ["free", "45 + 5", "1,2,3", "1.2.3", "12 34 56", "€45 $50", True, dt.date(2020, 1, 1), "1e5"]
)
def test_what_is_no_price(text):
    """Texts, two amounts, dates and truth values are not amounts of money."""
    assert read_money(text, read_currency) == (None, "unreadable", {})


@pytest.mark.parametrize("typed, date", [
    ("03/04/2023", dt.date(2023, 4, 3)), ("4.3.23", dt.date(2023, 3, 4)), ("Apr '22", dt.date(2022, 4, 1)),
    (44927, dt.date(2023, 1, 1)), ("44927", dt.date(2023, 1, 1)), ("2023-04-03", dt.date(2023, 4, 3)),
    ("3 Apr 2023", dt.date(2023, 4, 3)), ("April 3, 2023", dt.date(2023, 4, 3)),
    ("3. März 2023", dt.date(2023, 3, 3)),
    ("3 août 2023", dt.date(2023, 8, 3)), ("2023-04-03T14:22:00Z", dt.date(2023, 4, 3)),
    ("20230403", dt.date(2023, 4, 3)),
    (dt.datetime(2023, 4, 3, 14, 0), dt.date(2023, 4, 3)), ("3-Apr-23", dt.date(2023, 4, 3)),
    ("Mon, 3 Apr 2023", dt.date(2023, 4, 3)),
    ("31.2.2023", None), ("spring?", None), ("2023", None), (2.5, None), ("", None),
])
def test_date_is_read(typed, date):
    """Dates in every form met, days before months where nothing tells."""
    assert read_dates([typed], today=TODAY).readings[0].value == date


@pytest.mark.parametrize("text, era", [
    ("1957", "1950s"), (1957, "1950s"), (1957.0, "1950s"), ("50s", "1950s"), ("1950s", "1950s"),
    ("50's", "1950s"),
    ("late 50's", "1950s"), ("early 60s", "1960s"), ("1957-62", "1950s"), ("'57", "1950s"),
    ("50er Jahre", "1950s"),
    ("fifties", "1950s"), ("années 60", "1960s"), ("1925", "unknown"), ("", "unknown"), ("soon", "unknown"),
])
def test_era_is_read(text, era):
    """Years and decades in words and figures become decades."""
    assert read_era(text).value == era


@pytest.mark.parametrize("typed, percent", [
    ("95%", 95), ("95", 95), (95, 95), (0.95, 95), ("0.95", 95), ("0.95?", 95), ("88/91", 89.5), ("84,0", 84),
    ("95 %", 95),
    ("102%", 102), (8800, None), ("strong", None), (-3, None), (0, None),
])
def test_percentage_is_read(typed, percent):
    """Percent signs, fractions, decimal commas and two sections; meter readings are not percentages."""
    assert read_percent(typed).value == (pytest.approx(percent) if percent else None)


@pytest.mark.parametrize("text, channel", [
    ("Web Shop", "own site"), ("Hamfest", "fair"), ("Auktion", "auction"), ("e-mail", "direct"),
    ("Händler", "wholesale"),
    ("My friend Jo", "My friend Jo"), ("", "unknown"),
])
def test_channel_is_read(text, channel):
    """Channels in other words; a text that is none of ours stays the owner's own."""
    assert read_channel(text).value == channel


def test_number_with_unit():
    """Electrical values keep their unit's multiple: 470k is 470,000."""
    assert [read_number(text).value for text in ("250 V", "470k", "1M", "-90", "1,5 A")] == [
        250,
        470e3,
        1e6,
        -90,
        1.5,
    ]


@pytest.mark.parametrize("cells, size, qty, price, currency", [
    (dict(price="$45 ea", qty=2), 1, 2, 90, "USD"),
    (dict(price="90/pr", set_size=1), 2, 1, 90, ""),
    (dict(price="90/pr", set_size=4), 4, 1, 180, ""),
    (dict(price=90, qty=1, type="EL84 PAIR"), 2, 1, 90, ""),
    (dict(price=90, qty="2 pr"), 2, 2, 90, ""),
    (dict(price=90, qty="1.5 pr"), 1, 3, 90, ""),
    (dict(price=90, set_size="MP"), 2, 1, 90, ""),
    (dict(price=90, set_size="lot of 10"), 1, 10, 90, ""),
    (dict(price=90, note="PAIR"), 2, 1, 90, ""),
    (dict(price=90, note="one of a pair, other broke"), 1, 1, 90, ""),
    (dict(price=90, grade="NOS pair"), 2, 1, 90, ""),
    (dict(price=90, set_size=2, type="EL84 (2)"), 2, 1, 90, ""),
])
def test_pieces_and_line_price(cells, size, qty, price, currency):
    """Words and price units settle set size, quantity and the price of the whole line."""
    row, _ = sale(**cells)
    assert (row["set_size"], row["qty"], row["price"], row["currency"]) == (size, qty, price, currency)


def test_title_fills_what_its_own_cells_leave_blank():
    """A title gives type, set, matching, grade and reading where their cells are blank."""
    frame = pd.DataFrame(
        {
            "Date": ["2024-05-06"] * 2,
            "Item": ["Matched pair 12AX7 NOS, tests 98%", "EL84 lot of 10"],
            "Cond": ["", "used"],
            "Total": [120, 80],
        }
    )
    clean, _ = clean_sales(frame, today=TODAY)
    first, second = clean.to_dict("records")
    assert (
        first["canonical_type"],
        first["set_size"],
        first["matched"],
        first["grade"],
        first["reading_pct"],
    ) == ("12AX7", 2, True, "new old stock", 98)
    assert (second["canonical_type"], second["qty"], second["grade"]) == ("EL84", 10, "used, good")


def test_counts_in_titles_are_said_and_other_counts_left():
    """A bare count out of a title is reported; a bracketed count of something else is not one."""
    titles = ["EL84 (2)", "vintage EL84 power tube in its carton with two (2) stickers", "EL84 matched pair"]
    frame = pd.DataFrame({"Date": "2024-05-06", "Title": titles, "Price": [1, 2, 3]})
    clean, problems = clean_sales(frame, today=TODAY)
    assert (clean["set_size"] * clean["qty"]).tolist() == [2, 1, 2]
    assert [(p.row, p.column, p.code) for p in problems] == [(2, "title", "sets_from_words")]


def test_story_of_the_pair_booked_as_a_single():
    """Worked story 2: EL84 lines 30 31 32 34 35, a "PAIR" at 90 with quantity 1, one at 320 [arithmetic].

    The pair becomes a set of two at 45 a tube; the 320 stays.
    """
    frame = pd.DataFrame({
        "Sold": ["2024-05-06"] * 7, "Type": ["EL84"] * 7, "Notes": ["", "", "", "", "", "PAIR", ""],
        "Qty": [1] * 7, "Price": [30, 31, 32, 34, 35, 90, 320], "Code": list("abcdefg")})
    clean, _ = clean_sales(frame, today=TODAY)
    pieces = clean["set_size"] * clean["qty"]
    assert clean["set_size"].tolist() == [1, 1, 1, 1, 1, 2, 1]
    assert (clean["price"] / pieces).tolist() == [30, 31, 32, 34, 35, 45, 320]
    assert round(clean["price"].iloc[[0, 1, 2, 3, 4, 5, 6]].mean(), 2) == 81.71


def test_box_column_joins_the_grade():
    """A Box column makes new old stock boxed; it does nothing to a used tube or a white box."""
    frame = pd.DataFrame({"Date": ["2024-05-06"] * 4, "Tube": "EL84", "Price": [1, 2, 3, 4],
                          "Cond": ["NOS", "NOS", "used", "NOS"], "Box": ["x", "white", "yes", "orig. box"]})
    clean, _ = clean_sales(frame, today=TODAY)
    assert clean["grade"].tolist() == [
        "new old stock, boxed",
        "new old stock",
        "used, good",
        "new old stock, boxed",
    ]


def test_unknown_type_is_kept_with_near_spellings():
    """A type the register does not know is kept under its own name and listed once."""
    row, problems = sale(type="EK84", family="")
    assert (row["canonical_type"], row["family"], row["type_known"]) == ("EK84", "other: EK84", False)
    assert [(p.code, p.effect) for p in problems] == [
        ("unknown_type", "please check")
    ] and "EL84" in problems[0].remedy
    assert sale(type="EK84", family="mine")[0]["family"] == "mine"


def test_owner_words_in_settings():
    """The owner's spellings of headings, grades, eras and channels come first."""
    settings = Settings.from_rows(
        [
            ("heading: Erlös", "price"),
            ("grade: minty", "used, strong"),
            ("era: black glass", "1940s"),
            ("channel: Sunday", "fair"),
            ("grade: NOS", "pulled"),
        ]
    )
    frame = pd.DataFrame(
        {
            "Date": ["2024-05-06"] * 2,
            "Tube": "EL84",
            "Erlös": [5, 6],
            "Cond": ["Minty", "NOS"],
            "era": "black glass",
            "channel": ["SUNDAY", "web"],
        }
    )
    clean, problems = clean_sales(frame, settings=settings, today=TODAY)
    assert clean["grade"].tolist() == ["used, strong", "pulled or untested"] and not problems
    assert clean["era"].tolist() == ["1940s"] * 2 and clean["channel"].tolist() == ["fair", "own site"]


def test_makers_take_their_most_used_spelling():
    """Makers that differ in capitals, dots or spaces are one; a question mark is doubt and is said so."""
    frame = pd.DataFrame({"sold_on": "2024-05-06", "type": "EL84", "price": [1, 2, 3, 4, 5],
                          "maker": ["Alvora", "alvora ", "ALVORA", "Alvora", "Alvora?"]})
    clean, problems = clean_sales(frame, today=TODAY)
    assert set(clean["maker"]) == {"Alvora"}
    assert [(p.row, p.code) for p in problems] == [(6, "label_doubtful")]


def test_items_are_all_kept():
    """Items keep every row and index, blank types too, and default to unknown."""
    items = pd.DataFrame({"type": ["EL84", None, "6BQ5"], "grade": ["NOS", "", "junky"]}, index=[7, 7, "x"])
    clean, problems = clean_items(items)
    assert clean.index.tolist() == [7, 7, "x"] and clean["canonical_type"].tolist() == [
        "EL84",
        "unknown",
        "EL84",
    ]
    assert clean["channel"].tolist() == ["unknown"] * 3 and math.isnan(clean["reading_pct"].iloc[0])
    assert {p.effect for p in problems} == {"cell ignored"}
