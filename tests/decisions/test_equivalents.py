"""Equivalents: candidates by what they ask for, ratings that differ by how much, one-way rows, and warnings."""

import pytest

from pricing.decisions.equivalents import KINDS, find_equivalents
from pricing.decisions.rating_comparison import aligned, differences
from pricing.register import load_register

REGISTER = load_register()


def kinds(name, register=None):
    """Kind by candidate."""
    found = find_equivalents(name, register).candidates
    return dict(zip(found["type"], found["kind"], strict=True))


def of(name, candidate, column):
    """One cell of one candidate."""
    return find_equivalents(name).candidates.set_index("type").loc[candidate, column]


# (wanted, candidate, kind, why): classes of the register's list, whose rows carry their own source and basis
@pytest.mark.parametrize("wanted, candidate, kind, why", [
    ("EL84", "6BQ5", "straight", "one type, two schemes"),
    ("EL84", "7189", "straight", "400 V for 300 V, the rest equal"),
    ("7189", "EL84", "with a check", "300 V for 400 V"),
    ("EL84", "7189A", "with a check", "pins not known"),
    ("12AX7", "12AX7A", "straight", "the same limits under another rating system"),
    ("ECC83", "7025", "straight", "by way of 12AX7A"),
    ("12AX7", "CV4004", "with a check", "limits of CV4004 not found"),
    ("6SN7GT", "6SN7GTA", "straight", "450 V for 300 V, 5 W for 2.5 W"),
    ("6SN7GT", "6SN7GTB", "with a check", "its 20 mA are design-maximum where 6SN7GT's are design-centre"),
    ("6SN7GTB", "6SN7GT", "with a check", "300 V for 450 V"),
    ("6SN7GTB", "5692", "with a check", "an industrial version with lower limits"),
    ("6SN7GT", "12SN7GT", "with a heater rewire", "12.6 V"),
    ("6SN7GT", "7N7", "with a socket adapter", "loctal"),
    ("6L6GC", "EL34", "circuit change", "heater 1.5 A, pin 1"),
    ("5Y3GT", "5AR4", "circuit change", "48 V more supply"),
    ("6L6GC", "6P3S", "with a check", "20.5 W for 30 W"),
])
def test_kind_of_candidate(wanted, candidate, kind, why):
    """What each candidate asks for."""
    assert kinds(wanted)[candidate] == kind, why


def test_not_a_substitute_is_a_warning_never_a_candidate():
    """12AU7 for 12AX7 fits the socket and is warned of; no candidate is warned of as well."""
    found = find_equivalents("12AX7")
    assert "12AU7" in set(found.warnings["type"]) and "12AU7" not in set(found.candidates["type"])
    assert found.warnings.set_index("type").loc["12AU7", "reason"].startswith("not a substitute: same pins only")
    for name in REGISTER.designations:
        found = find_equivalents(name)
        assert not set(found.candidates["type"]) & set(found.warnings["type"])
        assert set(found.candidates["kind"]) <= set(KINDS)


def test_one_way_is_one_way():
    """12AT7 may stand in for 12AX7, not the reverse; kin listed one way only are named as a warning the other way."""
    assert "12AT7" in kinds("12AX7") and "12AX7" not in kinds("12AT7")
    warned = find_equivalents("5692").warnings.set_index("type")["reason"]
    assert warned["6SN7GT"] == "listed the other way round only: 5692 in place of 6SN7GT"
    assert "6SN7GT" not in kinds("5692")


def test_folk_equivalents_show_what_is_lower():
    """6P14P printed with EL84's own figures is lower once its unknown system is held as absolute."""
    assert kinds("EL84")["6P14P"] == "with a check"
    lower = of("EL84", "6P14P", "lower")
    system = "absolute-maximum (taken, not known), not design-centre"
    assert f"plate volts 300 V on both (lower once aligned: {system})" in lower
    assert "screen volts 300 V for 450 V (-33 %" in of("6L6GC", "6P3S-E", "lower")
    assert "heater-cathode volts 90 V for 180 V (-50 %)" in of("12AX7", "12AT7", "lower")


def test_no_straight_candidate_has_a_lower_limit():
    """For every type: straight means nothing known is lower and no main limit of the wanted type is missing."""
    for name in REGISTER.designations:
        found = find_equivalents(name).candidates
        straight = found[found["kind"] == "straight"]
        assert (straight["lower"] == "").all()
        assert not straight["not_known"].str.contains("plate volts|plate dissipation|peak inverse").any()


def test_differences_carry_both_values_systems_and_bases():
    """5 W for 2.5 W is +100 %; each side with its system and how it is known."""
    found = find_equivalents("6SN7GT").differences
    row = found[(found["type"] == "6SN7GTB") & (found["rating"] == "plate dissipation")].iloc[0]
    assert (row["wanted"], row["candidate"], row["change_pct"], row["comparison"]) == (2.5, 5, 100, "higher")
    assert (row["wanted_system"], row["candidate_system"]) == ("design-centre", "design-maximum")
    assert row["wanted_basis"] == row["candidate_basis"] == "memory"


@pytest.mark.parametrize("a, a_system, b, b_system, comparison", [
    (400, "design-centre", 440, "design-maximum", "equal once aligned"),  # web journal, December 2000: 7189 and 7189A
    (440, "design-maximum", 400, "design-centre", "equal once aligned"),
    (315, "design-centre", 350, "design-maximum", "equal once aligned"),  # rounded in print
    (300, "design-centre", 330, "absolute-maximum", "equal once aligned"),  # one step or two
    (300, "design-centre", 363, "absolute-maximum", "equal once aligned"),  # arithmetic: 300 times 1.1 squared
    (300, "design-centre", 400, "absolute-maximum", "higher"),
    (300, "design-centre", 300, "absolute-maximum", "lower"),
    (300, "design-centre", 300, "unknown", "lower"),  # unknown counts as absolute
    (275, "absolute-maximum", 300, "design-centre", "higher"),
    (300, "design-centre", 300, "design-centre", "equal once aligned"),
    (300, "none stated", 301, "unknown", "higher"),
])
def test_limits_are_aligned_before_they_are_compared(a, a_system, b, b_system, comparison):
    """About ten per cent a step between rating systems: a rule of thumb, in both directions."""
    assert aligned(a, a_system, b, b_system) == comparison


def test_equal_types_do_not_differ():
    """A type beside itself shows nothing."""
    assert all(differences(name, name, REGISTER) == [] for name in REGISTER.designations)


def test_sections_are_compared_each():
    """ECL82 and its other name: both sections looked at, nothing differs."""
    found = find_equivalents("ECL82")
    assert found.candidates["type"].tolist() == ["6BM8"] and found.differences.empty
    assert "ECL86" in set(found.warnings["type"])


def test_the_owners_own_types_are_candidates():
    """A type of the Types sheet in the same family is found, said to be the owner's, and never straight."""
    register, problems = REGISTER.with_types([
        {"designation": "QX12", "family": "high-mu-dual-triode-noval", "shop_family": "12AX7 kin",
         "kind": "dual triode", "sections": 2, "base": "noval (B9A)", "basing": "9A", "heater_v": 12.6,
         "heater_a": 0.15, "va_max_v": 250, "mu": 95}])
    assert problems == []
    found = find_equivalents("12AX7", register).candidates.set_index("type").loc["QX12"]
    assert (found["kind"], found["via"], found["basis"]) == ("with a check", "your Types sheet", "owner")
    assert "plate volts 250 V for 300 V" in found["lower"]


def test_a_circuit_adds_its_verdicts():
    """Each candidate's verdict in the circuit: a 7189 exceeds 300 V on its screen, a 7189A's pins are not known."""
    circuit = dict(fitted_type="EL84", plate_v=290, screen_v=320)
    found = find_equivalents("EL84", circuit=circuit).candidates.set_index("type")
    assert found.loc["7189", "verdict"] == "exceeds" and "screen volts" in found.loc["7189", "summary"]
    assert found.loc["7189A", "verdict"] == "cannot check"


@pytest.mark.parametrize("name", ["QQ99", "", None, "5U4"])
def test_unknown_types_have_none_and_a_problem(name):
    """No guess: near spellings instead."""
    found = find_equivalents(name)
    assert found.candidates.empty and found.problems["code"].tolist() == ["circuit_without_type"]
    assert list(found.differences.columns)[0] == "type" and found.cautions
