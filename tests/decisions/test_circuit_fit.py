"""Circuit fit: worked cases with their sources, rating systems, bad input, and rectifiers that lift a supply."""

import math

import pandas as pd
import pytest
from decisions.fit_cases import CASES, EL84_AMP, SUPPLY, TWIN
from hypothesis import given, settings
from hypothesis import strategies as st

import pricing
from pricing.decisions.circuit_fit import check_all_circuits, check_change_of_rectifier
from pricing.decisions.rating_rules import VERDICTS, of_limit
from pricing.register import load_register
from pricing.shop_tables import clean_circuits

REGISTER = load_register()
FORBIDDEN = ("safe", "compatible", "drop-in")


@pytest.mark.parametrize("type_name, circuit, rating, verdict, source", [case[1:] for case in CASES],
                         ids=[case[0] for case in CASES])
def test_worked_case(type_name, circuit, rating, verdict, source):
    """The verdict on one rating; the source or basis stands beside each case."""
    fit = pricing.check_circuit_fit(type_name, circuit)
    found = fit.finding(rating)
    assert source and found["verdict"] == verdict, found["reason"]
    assert VERDICTS.index(fit.verdict) <= VERDICTS.index(verdict)


def test_there_are_enough_cases():
    """At least forty, each under a name of its own."""
    assert len({case[0] for case in CASES}) == len(CASES) >= 40


def test_values_limits_and_headroom():
    """340 V on 300 V is 13.3 % over; 374 V of 440 V leaves 15 % (arithmetic)."""
    over = pricing.check_circuit_fit("EL84", EL84_AMP).finding("plate volts")
    assert (over["limit"], over["value"], over["unit"]) == (300, 340, "V")
    assert over["headroom_pct"] == pytest.approx(-100 * 40 / 300)
    up = pricing.check_circuit_fit("7189A", EL84_AMP | {"mains_variation_pct": 10}).finding("plate volts")
    assert up["value"] == pytest.approx(374) and up["headroom_pct"] == pytest.approx(15)
    assert "374 V with mains 10 % up" in up["reason"]


def test_summary_counts_all_and_names_what_was_not_checked():
    """Missing figures inform without hiding what was found."""
    fit = pricing.check_circuit_fit("7189A", EL84_AMP)
    assert fit.summary == ("within on 5, exceeds 0, cannot check 6: pins, plate dissipation, screen dissipation, "
                           "cathode current, heater-cathode volts, grid resistor")
    assert fit.verdict == "cannot check"
    counted = pricing.check_circuit_fit("EL84", EL84_AMP).summary
    assert counted.startswith("within on 4, exceeds 2 (plate volts, screen volts), cannot check 5: ")


def test_unknown_system_is_said():
    """A limit of unknown rating system is held as absolute-maximum, and its finding says so."""
    found = pricing.check_circuit_fit("KT66", {"plate_v": 400}).finding("plate volts")
    assert found["rating_system"] == "not known: treated as absolute-maximum"
    found = pricing.check_circuit_fit("300B", {"plate_v": 400}).finding("plate volts")
    assert found["rating_system"] == "none stated: treated as absolute-maximum"


def test_system_of_the_cell_not_of_the_row():
    """5687: volts are design-centre, watts from an absolute military sheet (MIL-PRF-1/779)."""
    fit = pricing.check_circuit_fit("5687", {"plate_v": 200, "plate_ma": 10})
    assert fit.finding("plate volts")["rating_system"] == "design-centre"
    assert fit.finding("plate dissipation")["rating_system"] == "absolute-maximum"
    assert "MIL-PRF-1/779" in fit.finding("plate dissipation")["basis"]


def test_no_limit_without_its_basis_and_no_empty_one_checked():
    """For every type: a limit compared has a basis; an empty one is "cannot check"; the words promise nothing."""
    for name in REGISTER.designations:
        circuit = dict(TWIN, fitted_type=name, screen_v=200, winding_v=300, dc_ma=50, first_cap_uf=8,
                       plate_supply_ohm=100)
        for found in pricing.check_circuit_fit(name, circuit).findings.to_dict("records"):
            assert found["verdict"] in VERDICTS and found["reason"].endswith(".")
            if found["limit"] is None or found["limit"] != found["limit"]:
                assert found["verdict"] == "cannot check" or found["rating"] in ("pins", "change of supply volts")
            elif found["verdict"] != "cannot check":
                assert found["basis"] not in ("", "not known")
            assert not any(word in found["reason"].lower() for word in FORBIDDEN)


def test_cautions_always():
    """Lethal volts, whose word comes first, and what is never checked stand in every result."""
    for name in ("EL84", "QQ99", "5AR4"):
        words = " ".join(pricing.check_circuit_fit(name, {}).cautions)
        assert "Lethal voltages" in words and "equipment maker" in words and "Not checked, ever" in words
    said = pricing.check_circuit_fit("6N2P", dict(fitted_type="12AX7")).cautions
    assert any("similar, circuit change" in line for line in said)


@settings(deadline=None, max_examples=60)
@given(st.floats(1, 1000), st.floats(1, 1000), st.sampled_from([0.0, 5.0, 10.0, None]))
def test_more_volts_are_never_better(low, more, mains):
    """Raising the plate volts never improves the verdict."""
    def rank(volts):
        found = pricing.check_circuit_fit("6V6GTA", {"plate_v": volts, "mains_variation_pct": mains})
        return ["within", "at the edge", "cannot check", "exceeds"].index(found.finding("plate volts")["verdict"])

    assert rank(low + more) >= rank(low)


def test_edges_of_the_verdict():
    """Five per cent left is within, less is at the edge, the limit itself is not exceeded (the house rule)."""
    assert [of_limit(v, 100) for v in (95, 95.001, 100, 100.001)] == ["within", "at the edge", "at the edge", "exceeds"]
    assert of_limit(1.9, 2.0) == of_limit(0.76, 0.8) == "within"


# bad input --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("cells, column, code", [
    ({"plate_v": -5}, "plate_v", "circuit_value_impossible"),
    ({"plate_v": "lots"}, "plate_v", "number_unreadable"),
    ({"plate_v": math.inf}, "plate_v", None),
    ({"grid_leak_ohm": 470}, "grid_leak_ohm", "circuit_value_impossible"),
    ({"mains_variation_pct": 0.05}, "mains_variation_pct", "circuit_value_impossible"),
    ({"bias": "wobbly"}, "bias", "circuit_word_unknown"),
    ({"heater_string": "in a row"}, "heater_string", "circuit_word_unknown"),
    ({"fitted_type": "ECL82", "section": "tetrode"}, "section", "circuit_word_unknown"),
    ({"fitted_type": "12AX7", "sections_used": 3}, "sections_used", "circuit_value_impossible"),
    ({"sections_used": 1.5}, "sections_used", "circuit_value_impossible"),
    ({"plate_ma": 40, "cathode_ma": 30}, "cathode_ma", "circuit_cells_disagree"),
    ({"plate_v": 300, "plate_ma": 40, "plate_w": 6}, "plate_w", "circuit_cells_disagree"),
])
def test_impossible_cells_are_problems_and_the_rest_is_checked(cells, column, code):
    """A cell that cannot be is named with its remedy; what needs it is "cannot check", what does not is checked."""
    fit = pricing.check_circuit_fit("12AX7", {"heater_v": 6.3, "sheet": "Circuits", "row": 7} | cells)
    met = fit.problems[fit.problems["column"] == column]
    assert not met.empty and (code is None or met["code"].tolist() == [code])
    assert (met["row"] == 7).all() and met["remedy"].str.len().min() > 10
    assert fit.finding("heater volts")["verdict"] == "within"
    if "impossible" in (code or "") and column == "plate_v":
        assert fit.finding("plate volts")["verdict"] == "cannot check"


def test_the_larger_of_two_that_disagree_is_used():
    """Plate watts below volts times current: the product counts (the stricter reading)."""
    fit = pricing.check_circuit_fit("EL84", {"plate_v": 300, "plate_ma": 45, "plate_w": 6})
    assert fit.finding("plate dissipation")["value"] == pytest.approx(13.5)


def test_a_read_table_blanks_and_reports_what_cannot_be():
    """clean_circuits keeps the row, blanks the cell and says where it stands."""
    frame = pd.DataFrame([{**TWIN, "plate_v": -400}, {**TWIN, "bias": "??"}, TWIN])
    clean, problems = clean_circuits(frame)
    assert len(clean) == 3 and math.isnan(clean["plate_v"].iloc[0]) and clean["bias"].iloc[1] == ""
    assert [(p.sheet, p.row, p.column, p.effect) for p in problems] == [
        ("Circuits", 2, "plate_v", "cell ignored"), ("Circuits", 3, "bias", "cell ignored")]
    again, more = clean_circuits(clean)
    assert again.equals(clean) and more == []


@pytest.mark.parametrize("name", ["QQ99", "", "5U4", None, 42.5])
def test_unknown_types_give_one_finding_and_a_problem(name):
    """Unknown, ambiguous or missing: no guess, near spellings named."""
    fit = pricing.check_circuit_fit(name, pd.Series(TWIN | {"row": 9}))
    assert fit.problems["row"].tolist() == [9]
    assert fit.verdict == "cannot check" and fit.findings["rating"].tolist() == ["type"]
    assert fit.problems["code"].tolist() == ["circuit_without_type"]


def test_unknown_fitted_type_leaves_the_limits_checked():
    """Pins cannot be compared and its currents say little; volts are held all the same."""
    fit = pricing.check_circuit_fit("6SN7GTB", dict(TWIN, fitted_type="QQ99", mains_variation_pct=0))
    assert fit.finding("pins")["verdict"] == fit.finding("plate dissipation")["verdict"] == "cannot check"
    assert fit.finding("plate volts")["verdict"] == "within"


def test_an_empty_circuit_is_all_cannot_check():
    """No figure, no verdict."""
    assert set(pricing.check_circuit_fit("EL84", {}).findings["verdict"]) == {"cannot check"}


# rectifiers -------------------------------------------------------------------------------------------------
AMP = pd.DataFrame([
    dict(circuit="case", position="V2", fitted_type="6V6GT", plate_v=305, plate_ma=34, screen_v=225, screen_w=0.6,
         sections_used=1, bias="cathode"),
    dict(circuit="case", position="V1", fitted_type="6SN7GT", plate_v=150, plate_ma=4.5, sections_used=2),
    dict(circuit="another", position="V2", fitted_type="EL84", plate_v=299), SUPPLY])


def test_a_rectifier_that_fits_by_heater_lifts_the_supply():
    """5AR4 for 5Y3GT at 125 mA: 60 - 17 (125/225)**(2/3) = 48.5 V up; 305 V becomes 353.5 V on 315 V (worked story)."""
    change = check_change_of_rectifier("5AR4", SUPPLY, AMP)
    assert change.rise_v == pytest.approx(48.51, abs=0.01)
    assert change.fit.finding("heater current")["verdict"] == "within"
    found = change.fit.finding("change of supply volts")
    assert found["verdict"] == change.verdict == "exceeds"
    assert "estimate by the three-halves law" in found["reason"] and "V2 6V6GT: plate volts 353.5 V" in found["reason"]
    row = change.others.set_index(["position", "rating"]).loc[("V2", "plate volts")]
    assert (row["value_before"], row["verdict_before"], row["verdict_after"]) == (305, "at the edge", "exceeds")
    assert row["value_after"] == pytest.approx(353.51, abs=0.01)
    assert "another" not in change.others.to_string()


def test_the_same_rectifier_changes_nothing():
    """Like for like: no rise, no other tube moved."""
    change = check_change_of_rectifier("5Y3GT", SUPPLY, AMP)
    assert change.rise_v == 0 and change.others.empty
    assert change.fit.finding("change of supply volts")["verdict"] == "within"


def test_a_larger_drop_lowers_the_supply():
    """5Y3GT for 5AR4 falls by as much; nothing is passed by that."""
    change = check_change_of_rectifier("5Y3GT", SUPPLY | {"fitted_type": "5AR4"}, AMP)
    assert change.rise_v == pytest.approx(-48.51, abs=0.01)
    assert (change.others["value_after"] < change.others["value_before"]).all()
    assert "falls" in change.fit.finding("change of supply volts")["reason"]


@pytest.mark.parametrize("type_name, circuit", [
    ("GZ32", SUPPLY), ("5AR4", SUPPLY | {"dc_ma": None}), ("5AR4", SUPPLY | {"fitted_type": ""}), ("EL84", SUPPLY),
    ("QQ99", SUPPLY)])
def test_a_rise_that_cannot_be_estimated(type_name, circuit):
    """A drop or a current not known, no rectifier at all: no figure, and never "within"."""
    change = check_change_of_rectifier(type_name, circuit, AMP)
    assert change.rise_v is None and change.verdict in ("cannot check", "exceeds") and change.others.empty


def test_every_demo_circuit_gets_its_findings():
    """One result a row, each with findings, in the order of the table."""
    frame, _ = clean_circuits(AMP)
    fits = check_all_circuits(frame)
    assert [fit.type for fit in fits] == ["6V6GT", "6SN7GT", "EL84", "5Y3GT"]
    assert all(len(fit.findings) >= 9 for fit in fits)
