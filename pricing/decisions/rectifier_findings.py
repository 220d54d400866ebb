"""A rectifier in its position: currents, volts, first capacitor, and what another drop does to the supply."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

from pricing.decisions.circuit_row import THREE_HALVES, CircuitRow
from pricing.decisions.electrode_findings import heater_cathode
from pricing.decisions.rating_rules import Finding, basis_words, cannot, held
from pricing.decisions.socket_and_heater import fitted_in
from pricing.register import RatedValue, Register, TubeType, rectifier_drop_v

INVERSE = 2 * sqrt(2)  # no-load inverse peak over rms volts per plate, capacitor input with centre tap: arithmetic
SUPPLY = "change of supply volts"
_UNUSED = ("filament", "heater and cathode")


def is_rectifier(tube: TubeType) -> bool:
    """Whether a type rectifies the supply."""
    return "rectifier" in tube.kind


def rectifier_findings(tube: TubeType, circuit: CircuitRow, register: Register) -> list[Finding]:
    """A finding for each rating of a rectifier; the change of supply volts last."""
    name, mains = tube.designation, circuit.mains_variation_pct
    choke = circuit.first_cap_uf == 0
    assumed = " (capacitor input taken: the circuit does not say)" if circuit.first_cap_uf is None else ""

    def rated(column: str) -> RatedValue:
        return register.value(name, column)

    dc = rated("idc_cap_input_max_ma")
    if choke or dc.value is None:
        dc = rated("idc_max_ma")
    winding = circuit.winding_v
    no_winding = "the circuit gives no winding volts"
    dc_found = held("direct current", dc, circuit.dc_ma, mains, power=THREE_HALVES, whose=name,
                    missing="the circuit gives no direct current")
    inverse = held("peak inverse volts", rated("piv_max_v"), None if winding is None else INVERSE * winding, mains,
                   power=1, whose=name, missing=no_winding)
    if inverse.value is not None:
        inverse = replace(inverse, reason=f"2.83 times {winding:g} V rms per plate, no load. {inverse.reason}")
    findings = [
        replace(dc_found, reason=dc_found.reason + assumed),
        inverse,
        held("winding volts per plate", rated("winding_max_v"), winding, mains, power=1, whose=name,
             missing=no_winding),
        *([] if choke else [_first_capacitor(rated("first_cap_max_uf"), circuit, name),
                            _supply_resistance(rated("plate_supply_min_ohm"), rated("winding_max_v"), circuit, name)]),
        cannot("peak plate current", rated("ia_peak_max_ma"), "The circuit's figures do not tell the peak current: it "
               "hangs on the first capacitor and the resistance before it.")]
    elements = register.pins(name)
    if elements is None or not set(elements.values()) & set(_UNUSED):
        findings.append(heater_cathode(tube, circuit, register))
    return [*findings, supply_change(tube, circuit, register)]


def _first_capacitor(limit: RatedValue, circuit: CircuitRow, name: str) -> Finding:
    return held("first capacitor", limit, circuit.first_cap_uf, 0.0, power=0, whose=name,
                missing="the circuit gives no first capacitor")


def _supply_resistance(least: RatedValue, at_winding: RatedValue, circuit: CircuitRow, name: str) -> Finding:
    """The least resistance before a plate; it is stated at the highest winding volts and is smaller below them."""
    rating, ohms = "plate supply resistance", circuit.plate_supply_ohm
    if least.value is None or ohms is None:
        return cannot(rating, least, "The register has no least resistance for " + name + "." if least.value is None
                      else "The circuit gives no resistance before the plates.", ohms)
    at = f" at {at_winding.value:g} V rms" if at_winding.value else ""
    words = f"{ohms:g} ohm per plate; at least {least.value:g} ohm{at}"
    headroom = 100 * (ohms / least.value - 1)
    if ohms >= least.value:
        verdict = "within" if headroom >= 5 else "at the edge"
    elif at_winding.value and circuit.winding_v and circuit.winding_v >= at_winding.value:
        verdict = "exceeds"
    else:
        return cannot(rating, least, f"{words}, less at lower winding volts: how much less is not in the register.",
                      ohms)
    return Finding(rating, least.value, "ohm", "", basis_words(least), ohms, headroom, verdict, words + ".")


def supply_rise_v(name: str, circuit: CircuitRow, register: Register) -> float | None:
    """How far the supply rises with `name` in place of the fitted rectifier, V; None where a drop is not known.

    The difference of drops at the circuit's own current, each moved there by the three-halves law: an estimate.
    """
    fitted = fitted_in(circuit, register)
    if fitted and register.type(fitted).canonical_type == register.type(name).canonical_type:
        return 0.0
    if not fitted or circuit.dc_ma is None:
        return None
    drops = [rectifier_drop_v(register.type(one), circuit.dc_ma) for one in (fitted, name)]
    return None if None in drops else drops[0] - drops[1]


def supply_change(tube: TubeType, circuit: CircuitRow, register: Register) -> Finding:
    """The supply's change in words; what it does to the other tubes this finding alone cannot tell."""
    name, fitted = tube.designation, fitted_in(circuit, register)
    rise, basis = supply_rise_v(name, circuit, register), basis_words(register.value(name, "drop_v_at_idc"))

    def found(verdict: str, reason: str) -> Finding:
        return Finding(SUPPLY, None, "V", "", basis, rise, None, verdict, reason)

    if fitted and register.type(fitted).canonical_type == tube.canonical_type:
        return found("within", f"None: {name} is the type fitted." if name == fitted else
                     f"None: {name} and {fitted} are one type.")
    if rise is None:
        lacks = "no fitted rectifier is known" if not fitted else "the circuit gives no direct current" \
            if circuit.dc_ma is None else f"the drops of {fitted} and {name} are not both known"
        return found("cannot check", f"Cannot be estimated: {lacks}.")
    return found("cannot check", f"{rise_words(rise, name, fitted, circuit)} What that does to the other tubes is to "
                                 "be checked with their own figures.")


def rise_words(rise: float, name: str, fitted: str, circuit: CircuitRow) -> str:
    """The estimate in words."""
    way = "rises" if rise >= 0 else "falls"
    return f"An estimate by the three-halves law: at {circuit.dc_ma:g} mA {name} drops {abs(rise):.0f} V " \
           f"{'less' if rise >= 0 else 'more'} than {fitted}, so the supply {way} by about as much."
