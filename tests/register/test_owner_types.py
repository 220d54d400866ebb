"""The owner's Types sheet on top of the register."""

from hypothesis import given, settings
from hypothesis import strategies as st

from pricing.register import load_register
from pricing.register.tube_type import COLUMNS

REGISTER = load_register()


def test_correction_keeps_the_rest():
    """A corrected cell is the owner's, the blank ones stay the register's, and the delivered register is
    untouched."""
    mine, problems = REGISTER.with_types(
        [{"designation": "6bq5", "pa_max_w_section": "13,2", "va_max_v": ""}])
    assert problems == []
    assert mine.value("6BQ5", "pa_max_w_section").value == 13.2
    assert mine.value("6BQ5", "pa_max_w_section").basis == "owner"
    assert mine.value("6BQ5", "va_max_v").basis == "secondary"
    assert REGISTER.type("6BQ5").pa_max_w_section == 12


def test_new_type_is_found_and_pooled():
    """A new type is found under its name and alias and takes the family of the type it is pooled with."""
    mine, problems = REGISTER.with_types(
        [{"type": "ZZ-84", "canonical_type": "6BQ5", "heater_v": 6.3, "aliases": "ZZ84X"}])
    assert problems == []
    assert mine.find("zz84").canonical_type == "EL84"
    assert mine.find("ZZ84X").designation == "ZZ-84"
    assert mine.shop_family("ZZ-84") == "EL84 kin"
    assert REGISTER.find("ZZ-84").status == "unknown"


def test_family_may_be_changed():
    """The owner may move a type to a family of his own."""
    mine, _ = REGISTER.with_types([{"designation": "6973", "shop_family": "radio set tubes"}])
    assert mine.shop_family("6973") == "radio set tubes"
    assert "radio set tubes" in mine.families


def test_section_of_a_triode_pentode():
    """A row may name the section it corrects; without one it is the pentode's."""
    mine, _ = REGISTER.with_types([{"designation": "ECL82", "section": "triode", "mu": 71},
                                   {"designation": "ECL82", "pa_max_w_section": 6.5}])
    assert mine.type("ECL82", "triode").mu == 71
    assert mine.type("ECL82").pa_max_w_section == 6.5
    assert mine.sections("ECL82") == ("pentode", "triode")


def test_bad_cells_are_explained():
    """Each bad cell gives one Problem with row, column and value; the rest of the row is used."""
    mine, problems = REGISTER.with_types([
        {"designation": "EL84", "va_max_v": "abc", "pa_max_w_section": -3, "rating_system": "peak", "mu": 19},
        {"designation": "", "heater_v": 6.3},
        {"designation": "ZZ1", "colour": "green", "aliases": "12AX7"},
        {"designation": "6-53", "row": 40},
        {},
    ])
    assert [(p.row, p.column, p.value, p.code) for p in problems] == [
        (2, "va_max_v", "abc", "rating_unreadable"), (2, "pa_max_w_section", "-3", "rating_unreadable"),
        (2, "rating_system", "peak", "rating_system_unknown"), (3, "designation", "", "type_without_name"),
        (4, "colour", "green", "type_column_unknown"), (4, "aliases", "12AX7", "alias_of_other_type"),
        (40, "designation", "6-53", "type_name_unreadable"),
    ]
    assert mine.type("EL84").mu == 19
    assert mine.find("12AX7").designation == "12AX7"
    assert all(p.sheet == "Types" and p.remedy for p in problems)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.dictionaries(
    st.sampled_from([*COLUMNS, "type", "aliases", "row", "odd"]),
    st.one_of(st.none(), st.text(max_size=12), st.floats(), st.integers(), st.booleans(),
              st.sampled_from(["EL84", "6BQ5", "triode", "12AX7;ECC83", "design-centre"]))), max_size=4))
def test_any_sheet_is_answered(rows):
    """Whatever the sheet holds, a register comes back that still knows every delivered designation."""
    mine, problems = REGISTER.with_types(rows)
    assert set(REGISTER.designations) <= set(mine.designations)
    assert all(p.message and p.remedy for p in problems)
