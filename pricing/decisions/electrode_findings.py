"""Plate, screen, cathode, heater-cathode and grid resistor of one type against one position's own figures."""

from __future__ import annotations

from dataclasses import replace

from pricing.decisions.circuit_row import THREE_HALVES, CircuitRow
from pricing.decisions.rating_rules import Finding, basis_words, cannot, figure, held, of_limit, system_words
from pricing.decisions.socket_and_heater import fitted_in
from pricing.register import RatedValue, Register, TubeType

_WATTS = 1 + THREE_HALVES
_OWN_CURRENT = ("plate dissipation", "total dissipation", "screen dissipation", "cathode current")


def electrode_findings(tube: TubeType, circuit: CircuitRow, register: Register) -> list[Finding]:
    """A finding for each rating of an amplifying tube that the circuit uses."""
    name = tube.designation
    section, note = section_of(tube, circuit, register)
    mains = circuit.mains_variation_pct

    def rated(column: str) -> RatedValue:
        value = register.value(name, column, section.section if section else tube.section)
        return value if section else replace(value, value=None, basis="")

    def limit(rating: str, column: str, nominal: float | None, power: float, *, missing: str = "") -> Finding:
        found = held(rating, rated(column), nominal, mains, power=power, whose=whose, spread=power > 1, missing=missing)
        return replace(found, reason=f"{note} {found.reason}".strip()) if note else found

    whose = f"{name} while no section is named" if not section else \
        f"the {section.section} of {name}" if section.section else name
    watts = circuit.section_w
    no_watts = "the circuit gives neither plate watts nor plate volts and current"
    findings = [
        limit("plate volts", "va_max_v", circuit.plate_v, 1),
        limit("plate dissipation", "pa_max_w_section", watts, _WATTS, missing=no_watts),
    ]
    if not (section and section.section) and (tube.sections or 1) > 1:
        findings += _all_sections(tube, circuit, limit)
    if has_screen(section or tube):
        findings.append(limit("screen volts", "vg2_max_v", circuit.screen_v, 1))
        findings.append(limit("screen dissipation", "pg2_max_w", circuit.screen_dissipation_w, _WATTS,
                              missing="the circuit gives neither screen watts nor cathode current"))
        cathode_ma, no_current = circuit.cathode_ma, "the circuit gives no cathode current"
    else:  # in a triode the cathode carries the plate current and no other
        cathode_ma, no_current = circuit.cathode_ma or circuit.plate_ma, "the circuit gives no plate or cathode current"
    findings.append(limit("cathode current", "ik_max_ma", cathode_ma, THREE_HALVES, missing=no_current))
    findings = [_other_electrodes(found, name, circuit, register) for found in findings]
    if "filament" not in tube.kind:
        findings.append(heater_cathode(section or tube, circuit, register))
    findings.append(_grid_resistor(circuit, rated("rg1_max_fixed_bias_ohm"), rated("rg1_max_cathode_bias_ohm"), whose))
    return findings


def section_of(tube: TubeType, circuit: CircuitRow, register: Register) -> tuple[TubeType | None, str]:
    """The row that holds the section in use, None when the circuit does not tell; and what was assumed."""
    sections = register.sections(tube.designation)
    if not sections:
        return tube, ""
    if circuit.section in sections:
        return register.type(tube.designation, circuit.section), ""
    if not circuit.section and circuit.screen_v and "pentode" in sections:
        return register.type(tube.designation, "pentode"), "The pentode, as the circuit gives screen volts."
    return None, f"The circuit does not say which section is used ({' or '.join(sections)})."


def has_screen(tube: TubeType) -> bool:
    """Whether the tube, or this section of it, has a screen."""
    return tube.section == "pentode" if tube.section else "pentode" in tube.kind or "tetrode" in tube.kind


def _all_sections(tube: TubeType, circuit: CircuitRow, limit) -> list[Finding]:
    """Both sections together have a limit of their own, lower than twice one section's (as MIL-PRF-1/779 shows)."""
    used = circuit.sections_used
    if used == 1:
        return []
    total = None if used is None or circuit.section_w is None else used * circuit.section_w
    missing = "the circuit does not say how many sections are used" if used is None else \
        "the circuit gives neither plate watts nor plate volts and current"
    found = limit("total dissipation", "pa_max_w_total", total, _WATTS, missing=missing)
    if found.limit is None:
        found = replace(found, reason=f"{found.reason} It may be less than twice the limit of one section.")
    return [found]


def _other_electrodes(found: Finding, name: str, circuit: CircuitRow, register: Register) -> Finding:
    """Watts and currents measured with another type say little of this one: never better than "cannot check"."""
    fitted = fitted_in(circuit, register)
    if found.rating not in _OWN_CURRENT or found.value is None or found.limit is None:
        return found
    if not circuit.fitted_type or (fitted and draws_alike(fitted, name, register)):
        return found
    words = f" Measured with {fitted or circuit.fitted_type}: {name} draws a current of its own there, so its bias " \
            "is to be set anew and the current measured."
    verdict = found.verdict if found.verdict == "exceeds" else "cannot check"
    return replace(found, verdict=verdict, reason=found.reason + words)


def draws_alike(fitted: str, name: str, register: Register) -> bool:
    """Whether the register holds the two for the same electrodes, so that a current measured with one serves both."""
    a, b = register.type(fitted).canonical_type, register.type(name).canonical_type
    if a == b:
        return True
    return any(one.to_canonical == end and not one.substitution_class.startswith(("similar", "not "))
               for start, end in ((a, b), (b, a)) for one in register.substitutions(start))


def heater_cathode(tube: TubeType, circuit: CircuitRow, register: Register) -> Finding:
    """Heater-cathode volts against the limit of their own polarity."""
    rating, name = "heater-cathode volts", tube.designation
    main = register.value(name, "vhk_max_v", tube.section)
    positive = register.value(name, "vhk_heater_positive_max_v", tube.section)
    volts = circuit.heater_cathode_v
    if volts is None or volts <= 0 or tube.vhk_polarity == "either":
        found = held(rating, main, None if volts is None else abs(volts), circuit.mains_variation_pct, power=1,
                     whose=name)
    elif positive.value is not None:
        found = held(rating, positive, volts, circuit.mains_variation_pct, power=1, whose=f"{name}, heater positive,")
    elif main.value is not None and of_limit(volts, main.value) == "exceeds":
        found = held(rating, main, volts, circuit.mains_variation_pct, power=1, whose=name)
    else:
        reason = f"The register has no limit of {name} for {rating}." if main.value is None else \
            f"Heater {volts:g} V above the cathode: that the limit of {figure(main.value, 'V')} holds this way round " \
            "too is not known."
        found = cannot(rating, main, reason, volts)
    if found.value is not None and volts:
        side = "below" if volts < 0 else "above"
        return replace(found, value=-found.value if volts < 0 and found.value > 0 else found.value,
                       reason=f"Heater {side} the cathode. {found.reason}")
    return found


def _grid_resistor(circuit: CircuitRow, fixed: RatedValue, cathode: RatedValue, whose: str) -> Finding:
    """Grid resistor by bias mode. What is within the fixed-bias limit is within the larger one for cathode bias."""
    rating, ohms, bias = "grid resistor", circuit.grid_leak_ohm, circuit.bias
    known = [one for one in (fixed, cathode) if one.value is not None]
    if ohms is None or not known:
        return held(rating, known[0] if known else fixed, ohms, 0.0, power=0, whose=whose)
    own = fixed if bias == "fixed" else cathode
    if bias and own.value is not None:
        found = held(rating, own, ohms, 0.0, power=0, whose=whose)
        return replace(found, reason=f"With {bias} bias: {found.reason}")
    # cathode bias is allowed the larger resistor, so each limit settles one side of the question
    for used, settles, mode in ((fixed, "within", "fixed"), (cathode, "exceeds", "cathode")):
        if used.value is not None and (ohms > used.value) == (settles == "exceeds"):
            found = held(rating, used, ohms, 0.0, power=0, whose=whose)
            return replace(found, reason=f"By the limit for {mode} bias: {found.reason}")
    lacks = f"the limit of {whose} with {bias} bias is not known" if bias else \
        "the circuit does not say fixed or cathode bias"
    other = ", ".join(f"{figure(one.value, 'ohm')} with {'fixed' if one is fixed else 'cathode'} bias" for one in known)
    return Finding(rating, None, "ohm", system_words(known[0].rating_system), basis_words(known[0]), ohms, None,
                   "cannot check", f"{figure(ohms, 'ohm')}: {lacks}; known is {other}.")
