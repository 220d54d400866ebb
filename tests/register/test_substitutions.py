"""Substitutions closed over canonical types, pin tables, and rectifier drops."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.register import load_register, rectifier_drop_v
from pricing.register.pins import compare_pins
from pricing.register.register import read_rows
from pricing.register.substitution import CLASSES, SAME

REGISTER = load_register()
LISTED = read_rows("substitutions.csv")
CANONICAL = {name: REGISTER.type(name).canonical_type for name in REGISTER.designations}


def classes(name):
    """Class by canonical type of what may stand in for `name`."""
    return {s.to_canonical: s.substitution_class for s in REGISTER.substitutions(name)}


def test_listed_rows_are_in_order():
    """Listed pairs name known types, a known class, direction and basis."""
    for row in LISTED:
        assert {row["from_type"], row["to_type"]} <= set(CANONICAL)
        assert row["class"] in CLASSES and row["direction"] in ("both", "one-way")
        assert row["basis"] in ("published", "secondary", "mixed", "memory", "common practice, no source")


@pytest.mark.parametrize("row", LISTED, ids=lambda row: f"{row['from_type']}-{row['to_type']}")
def test_each_listed_row_is_found(row):
    """A listed pair is found from any name of the type, with its class; "both" the other way round as
    well."""
    a, b = CANONICAL[row["from_type"]], CANONICAL[row["to_type"]]
    if a == b:
        return
    assert classes(row["from_type"])[b] == row["class"]
    if row["direction"] == "both":
        assert a in classes(row["to_type"])


def test_closed_over_names():
    """Every designation of a canonical type has the same substitutions."""
    for name, canonical in CANONICAL.items():
        assert classes(name) == classes(canonical)


def test_gap_7_pairs_not_listed_by_name():
    """ECC88 to E88CC and 7025 to ECC83 are found, though no row names them so."""
    assert classes("ECC88")[CANONICAL["E88CC"]] == "direct, lower ratings: check"
    found = {s.to_canonical: s for s in REGISTER.substitutions("7025")}[CANONICAL["ECC83"]]
    assert found.through == ("12AX7A",)
    assert found.reason.startswith("by way of 12AX7A: ")


def test_one_way_stays_one_way():
    """A one-way row does not serve the other way: 12AT7 for 12AX7 is listed, 12AX7 for 12AT7 is not."""
    assert "12AT7" in classes("12AX7")
    assert "12AX7" not in classes("12AT7")


def test_two_steps_of_change_are_never_joined():
    """A derived pair passes through SAME links and at most one other: 5Y3GT does not reach GZ37 by way of
    5AR4."""
    assert "GZ37" in classes("5AR4")
    assert "GZ37" not in classes("5Y3GT")
    for name in set(CANONICAL.values()):
        for found in REGISTER.substitutions(name):
            assert found.to_canonical != name
            if found.through and found.substitution_class in SAME:
                assert all(classes(name)[step] in SAME for step in found.through)


def test_direct_needs_no_heavier_heater():
    """Nothing classed direct or the same needs another heater voltage, base, or over 10 % more current."""
    for name in set(CANONICAL.values()):
        old = REGISTER.type(name)
        for found in REGISTER.substitutions(name):
            new = REGISTER.type(found.to_canonical)
            if found.substitution_class.startswith(("direct", "same type", "same limits")):
                if old.heater_a and new.heater_a:
                    assert new.heater_a <= 1.1 * old.heater_a + 1e-9 and new.heater_v == old.heater_v
                assert old.base == new.base or not (old.base and new.base)
                assert REGISTER.compare_pins(name, found.to_canonical).verdict != "differ"


def test_higher_ratings_are_higher():
    """ "direct, higher ratings" holds no lower plate limit, and none that is unknown on the old side.

    Two rows stand for another virtue: longer life (6P3S-E) and controlled warm-up (6SN7GTB).
    """
    limits = ("va_max_v", "pa_max_w_section", "vg2_max_v", "piv_max_v", "ia_peak_max_ma", "idc_max_ma")
    for name in set(CANONICAL.values()):
        old = REGISTER.type(name)
        for found in REGISTER.substitutions(name):
            new = REGISTER.type(found.to_canonical)
            if found.substitution_class != "direct, higher ratings":
                continue
            both = [(getattr(old, c), getattr(new, c)) for c in limits if getattr(old, c) and getattr(new, c)]
            assert all(b >= a for a, b in both)
            assert any(b > a for a, b in both) or found.to_canonical in ("6P3S-E", "6SN7GTB")
            assert (old.va_max_v or old.piv_max_v) or not (new.va_max_v or new.piv_max_v)


def test_differing_ratings():
    """The ratings that differ are listed with both values, the equal ones are not."""
    found = {s.to_canonical: s for s in REGISTER.substitutions("EL84")}["7189"]
    differing = {d.column: (d.from_value, d.to_value) for d in found.differing}
    assert differing["va_max_v"] == (300, 400)
    assert "pa_max_w_section" not in differing


def test_unknown_type_has_no_substitutions():
    """A type nobody knows has none, and no error."""
    assert REGISTER.substitutions("QQ99") == []


# pins -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("old, new, verdict", [
    ("6L6G", "6F6G", "same"),  # 7AC and 7S
    ("5U4G", "5AR4", "same"), ("5V4G", "GZ34", "same"),  # 5T, 5L and 5DA
    ("6CG7", "6FQ7", "same"),  # 9AJ without its shield
    ("6L6GC", "EL34", "extra connections"),  # suppressor on pin 1
    ("12AX7", "6N2P", "differ"),  # heater on 4-5, shield on 9: trade story 10
    ("5687", "12AU7", "differ"), ("EL84", "6V6GT", "differ"), ("EL84", "7189A", "cannot check"),
    ("6S45P", "6DJ8", "differ"),
])
def test_gap_6_pins_are_compared(old, new, verdict):
    """Pin tables decide, not the names of basings (general basing knowledge from memory; 9AJ and 8CJ
    secondary)."""
    assert REGISTER.compare_pins(old, new).verdict == verdict


def test_own_pins_of_the_single_triode():
    """6S45P: plate 1, 6, 9; grid 2, 8; cathode 3, 7; heater 4, 5 (Katsnelson & Larionov 1981, p. 117)."""
    pins = REGISTER.pins("6S45P")
    assert [p for p, e in pins.items() if e == "plate"] == ["1", "6", "9"]
    assert [p for p, e in pins.items() if e == "heater"] == ["4", "5"]


@given(st.dictionaries(st.sampled_from("123456789"),
                       st.sampled_from(["plate", "grid", "none", "shield", "heater"])))
def test_a_socket_fits_itself(pins):
    """Any table compared with itself is the same, or cannot be checked when it is empty."""
    assert compare_pins(pins, pins).verdict == ("same" if pins else "cannot check")


# rectifier drop ---------------------------------------------------------------------------------------------
def test_gap_5_drop_at_the_circuits_own_current():
    """A 5AR4 of 17 V at 225 mA drops about 11.5 V at 125 mA: 17 (125/225)**(2/3) = 11.49 (arithmetic).

    In place of a 5Y3GT (60 V at 125 mA) it lifts a capacitor-input supply by roughly 48 V.
    """
    drop = rectifier_drop_v(REGISTER.type("5AR4"), 125)
    assert drop == pytest.approx(11.49, abs=0.005)
    assert rectifier_drop_v(REGISTER.type("5Y3GT"), 125) - drop == pytest.approx(48.5, abs=0.1)


def test_drop_is_the_printed_one_at_the_printed_current():
    """At the current the sheet read it, the drop is the printed one; nought at nought."""
    for name in REGISTER.designations:
        tube = REGISTER.type(name)
        if tube.drop_v_at_idc:
            assert rectifier_drop_v(tube, tube.drop_at_ma) == pytest.approx(tube.drop_v_at_idc)
            if tube.drop_law == "three-halves":
                assert rectifier_drop_v(tube, 0) == 0


def test_mercury_vapour_holds_its_drop():
    """The 83 drops 15 V at any current (memory)."""
    assert rectifier_drop_v(REGISTER.type("83"), 10) == rectifier_drop_v(REGISTER.type("83"), 200) == 15


def test_no_drop_known():
    """A type without a printed drop gives None."""
    assert rectifier_drop_v(REGISTER.type("GZ32"), 100) is None
    assert rectifier_drop_v(REGISTER.type("EL84"), 100) is None


@pytest.mark.parametrize("current", [-1, float("nan"), float("inf")])
def test_impossible_current(current):
    """A current below nought or not finite is refused by name and value."""
    with pytest.raises(ValueError, match="current_ma must be a finite number"):
        rectifier_drop_v(REGISTER.type("5AR4"), current)
