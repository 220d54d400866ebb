"""Looking up designations as the trade writes them."""

import csv
from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.register import load_register

with open(Path(__file__).parent / "lookups.csv", encoding="utf-8", newline="") as file:
    LOOKUPS = list(csv.DictReader(file))
REGISTER = load_register()


@pytest.mark.parametrize("case", LOOKUPS, ids=lambda case: case["text"])
def test_find(case):
    """Each case of lookups.csv, whose last column says where the expectation comes from."""
    match = REGISTER.find(case["text"])
    assert (match.status, match.designation, match.canonical_type) == (
        case["status"], case["designation"], case["canonical_type"]), match
    if case["candidates"]:
        assert match.candidates == tuple(case["candidates"].split(";"))


def test_there_are_enough_cases():
    """The table holds at least 150 cases."""
    assert len(LOOKUPS) >= 150


@pytest.mark.parametrize("value, status, expected", [
    (600000.0, "ambiguous", "6E5"), (600000, "ambiguous", "6E5"), (120, "ambiguous", "12E1"),
    (2e26, "ambiguous", "2E26"), (5751.0, "found", "5751"), (6550, "found", "6550"), (45, "found", "45"),
])
def test_number_cells(value, status, expected):
    """A number cell is a type of figures, or the type the spreadsheet read as a power of ten (arithmetic)."""
    match = REGISTER.find(value)
    assert (match.status, match.candidates[0]) == (status, expected)


@pytest.mark.parametrize("value", [
    None, float("nan"), True, date(1953, 6, 1), datetime(1953, 6, 1), "", [], object(), 10**5000,
], ids=lambda v: type(v).__name__)
def test_cells_that_are_no_type(value):
    """Blanks, flags, dates and foreign objects are unknown, not errors."""
    assert REGISTER.find(value).status == "unknown"


def test_unknown_comes_with_near_spellings():
    """A slip is answered with the spellings it looks like."""
    assert "12AX7" in REGISTER.find("12AX8").candidates
    assert "EL84" in REGISTER.find("EL884").candidates


def test_type_says_what_was_near():
    """type() raises a KeyError that names near spellings, or the candidates."""
    with pytest.raises(KeyError, match="near spellings: .*12AX7"):
        REGISTER.type("12AX8")
    with pytest.raises(KeyError, match="may be 5U4G, 5U4GB"):
        REGISTER.type("5U4")


def test_every_alias_is_found():
    """Each alias gives its own designation, none is shadowed."""
    assert [(alias, to) for alias, to in REGISTER.aliases if REGISTER.find(alias).designation != to] == []


@pytest.mark.parametrize("text, expected", [
    ("invented-brand 12AX7 long plate, matched pair", ["12AX7"]),
    ("lot of 6 12AX7 and 2 6V6 GT/G, 1950s, 45 V", ["12AX7", "6V6GT"]),
    ("matched quad EL34/6CA7 brown base 100/98/101/99", ["EL34"]),
    ("(2) JAN-CRC-6SN7GT VT-231 smoked glass", ["6SN7GT"]),
    ("Röhre EL84 = 6BQ5, neu", ["EL84", "6BQ5"]),
    ("лампа 6Н8С 1958", ["6N8S"]),
    ("845 tube", ["845"]),
    ("price 845 for the lot", []),
    ("2023-04-03 10 pcs", []),
    ("nothing here", []),
])
def test_find_in_text(text, expected):
    """Designations within a longer text, in order; bare small numbers are not taken for types."""
    assert [match.designation for match in REGISTER.find_in_text(text)] == expected


@pytest.mark.parametrize("name", REGISTER.designations)
def test_designation_is_itself(name):
    """find(designation) is that designation, in lower case; in a text too."""
    for text in (name, name.lower(), f" {name} "):
        match = REGISTER.find(text)
        assert (match.status, match.designation) == ("found", name)
        assert REGISTER.find(match.designation).designation == name
    assert [m.designation for m in REGISTER.find_in_text(f"tube {name} boxed")] == [name]


@settings(max_examples=300, deadline=None)
@given(st.one_of(st.text(max_size=60), st.floats(), st.integers(),
                 st.text(alphabet="0123456789ABCEGHKLNOPSTUVXYZabc /-=.+()СНПЕ", max_size=16)))
def test_find_never_raises(value):
    """Any value is answered; a found name is a fixed point; the three outcomes keep their promises."""
    match = REGISTER.find(value)
    assert match.status in ("found", "ambiguous", "unknown")
    if match.status == "found":
        again = REGISTER.find(match.designation)
        assert (again.status, again.designation, again.canonical_type) == (
            "found", match.designation, match.canonical_type)
    else:
        assert match.designation == match.canonical_type == ""
        assert match.note
    if match.status == "ambiguous":
        assert match.candidates
        assert all(REGISTER.find(c).designation == c for c in match.candidates)


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=120))
def test_find_in_text_never_raises(text):
    """Any text gives a list of matches that are not "unknown"."""
    assert all(match.status != "unknown" for match in REGISTER.find_in_text(text))


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(REGISTER.designations), st.sampled_from(["", " ", "-"]), st.booleans(), st.data())
def test_blanks_dashes_and_case_do_not_matter(name, gap, lower, data):
    """Blanks or dashes put anywhere in a name that has letters, and lower case, leave it what it is."""
    if name.isdigit():
        return
    cut = data.draw(st.integers(1, len(name) - 1))
    text = name[:cut] + gap + name[cut:]
    assert REGISTER.find(text.lower() if lower else text).designation == name
