"""Does it go in, and does it light: base, pins, heater volts and current of one type against one position."""

from __future__ import annotations

import re
from dataclasses import replace

from pricing.decisions.circuit_row import CircuitRow
from pricing.decisions.rating_rules import Finding, basis_words, cannot, figure, of_limit
from pricing.register import RatedValue, Register, TubeType

# Heater volts: +/-7 % ordinary practice, life and performance not seriously hurt to +/-10 % (The Radio Constructor,
# April 1962). Filaments that are the cathode themselves are usually held to +/-5 % (radio-amateur letters: weak).
GOOD_PCT, FILAMENT_GOOD_PCT, TOLERABLE_PCT = 7.0, 5.0, 10.0
_TINY = 1e-9


def fitted_in(circuit: CircuitRow, register: Register) -> str:
    """Designation of the type the circuit was built for; "" when it names none the register knows."""
    match = register.find(circuit.fitted_type)
    return match.designation if match.status == "found" else ""


def socket_findings(tube: TubeType, circuit: CircuitRow, register: Register) -> list[Finding]:
    """Base and pins, each a finding; a socket it does not go into counts as "exceeds"."""
    name, fitted = tube.designation, fitted_in(circuit, register)
    base = register.value(name, "base")
    built_for = register.type(fitted) if fitted else None
    socket = circuit.base or (built_for.base if built_for else "")
    basis = basis_words(base)

    def found(rating: str, verdict: str, reason: str, value: str | None = None) -> Finding:
        return Finding(rating, base.value if rating == "base" else None, "", "", basis, value, None, verdict, reason)

    findings = []
    if base.value is None or not socket:
        lacks = f"The base of {name} is not known." if base.value is None else "The circuit names no socket."
        findings.append(cannot("base", base, lacks))
    elif base_of(socket) != base_of(base.value):
        findings.append(found("base", "exceeds", f"{name} has a {base.value} base, the socket is {socket}: it does not "
                                                 "go in without an adapter.", socket))
    else:
        findings.append(found("base", "within", f"{base.value} base, {socket} socket.", socket))
    basis = basis_words(register.value(name, "basing"))
    if not fitted:
        unknown = f"'{circuit.fitted_type}' is not known" if circuit.fitted_type else "no fitted type is named"
        findings.append(found("pins", "cannot check", f"What the socket is wired for cannot be told: {unknown}."))
    elif register.type(fitted).canonical_type == tube.canonical_type and (
            built_for.basing == tube.basing or not (built_for.basing and tube.basing)):
        findings.append(found("pins", "within", f"The socket is wired for {fitted}"
                                                + (f", the same type as {name}." if fitted != name else "."), fitted))
    else:
        findings.append(_pins(name, fitted, register, found))
    return findings


def _pins(name: str, fitted: str, register: Register, found) -> Finding:
    compared = register.compare_pins(fitted, name)
    pins = ", ".join(f"pin {pin}: {old} on {fitted}, {new} on {name}" for pin, old, new in compared.pins)
    if compared.verdict == "same":
        return found("pins", "within", f"{name} finds on a socket wired for {fitted} all that it needs.", fitted)
    if compared.verdict == "extra connections":
        return found("pins", "cannot check", f"Look at the socket's wiring first ({pins}): {name} has connections "
                                             f"there that {fitted} has not.", fitted)
    if compared.verdict == "differ":
        return found("pins", "exceeds", f"The wiring does not suit {name}" + (f" ({pins})." if pins else
                     f": another base than {fitted}."), fitted)
    return found("pins", "cannot check", f"The pins of {name} and of {fitted} are not both known: look at the socket's "
                                         "wiring and the sheets, also for pins joined inside the tube.", fitted)


def base_of(text: str) -> str:
    """A base without its alternative name, with its cap: "noval (B9A)" and "Noval" are "noval"."""
    plain = re.sub(r"\s*\([^)]*\)", "", text.casefold()).strip()
    same = {"b9a": "noval", "9-pin miniature": "noval", "7-pin miniature": "b7g", "k8a": "octal", "b8g": "loctal",
            "8-pin octal": "octal", "9-pin": "noval", "7-pin": "b7g", "4-pin": "ux4"}
    return same.get(plain, plain)


def heater_findings(tube: TubeType, circuit: CircuitRow, register: Register) -> list[Finding]:
    """Heater volts, heater current, and warm-up where the heaters are in series."""
    volts, amperes = heater_connection(tube, circuit.heater_v, register)
    findings = [_heater_volts(tube, circuit, volts)]
    if circuit.heater_string == "series":
        findings += [_string_current(tube, circuit, amperes), _warm_up(tube, circuit, register)]
    else:
        findings.append(_winding_current(tube, circuit, amperes))
    return findings


def heater_connection(tube: TubeType, supply_v: float | None, register: Register) -> tuple[RatedValue, RatedValue]:
    """Rated volts and current, in whichever of the heater's two connections lies closer to the supply."""
    volts = register.value(tube.designation, "heater_v", tube.section)
    amperes = register.value(tube.designation, "heater_a", tube.section)
    other = re.match(r"([\d.]+) V ([\d.]+) A", tube.heater_alt)
    if other and supply_v and volts.value and abs(float(other[1]) - supply_v) < abs(volts.value - supply_v):
        known = register.value(tube.designation, "heater_alt", tube.section)
        return (replace(known, value=float(other[1]), unit="V"), replace(known, value=float(other[2]), unit="A"))
    return volts, amperes


def _off_nominal(rating: str, rated: RatedValue, value: float | None, tube: TubeType, mains: float | None,
                 what: str, source: str) -> Finding:
    """A heater's volts or current against its rated value, the circuit's mains variation both ways included."""
    if rated.value is None or value is None:
        lacks = f"The {what} {tube.designation} needs is not known." if rated.value is None \
            else f"The circuit gives no {what}."
        return replace(cannot(rating, rated, lacks, value), rating_system="")
    off = 100 * (value / rated.value - 1)
    furthest = max(abs(100 * (value * (1 + way * (mains or 0) / 100) / rated.value - 1)) for way in (-1, 1))
    good = FILAMENT_GOOD_PCT if "filament" in tube.kind else GOOD_PCT
    verdict = "exceeds" if furthest > TOLERABLE_PCT + _TINY else "at the edge" if furthest > good + _TINY else "within"
    swing = f", up to {furthest:.0f} % off with mains {mains:g} % up or down" if mains else ""
    reason = f"{figure(value, rated.unit)} where {figure(rated.value, rated.unit)} is rated ({off:+.0f} %{swing})."
    held_by = f"+/-{good:g} % ordinary, +/-{TOLERABLE_PCT:g} % the most: {source}"
    return Finding(rating, rated.value, rated.unit, held_by, basis_words(rated), value, TOLERABLE_PCT - furthest,
                   verdict, reason)


def _heater_volts(tube: TubeType, circuit: CircuitRow, rated: RatedValue) -> Finding:
    return _off_nominal("heater volts", rated, circuit.heater_v, tube, circuit.mains_variation_pct, "heater volts",
                        "The Radio Constructor, April 1962")


def _string_current(tube: TubeType, circuit: CircuitRow, rated: RatedValue) -> Finding:
    return _off_nominal("heater current", rated, circuit.heater_a, tube, circuit.mains_variation_pct,
                        "heater current of the series string", "common practice, no source")


def _winding_current(tube: TubeType, circuit: CircuitRow, draws: RatedValue) -> Finding:
    """What the heater draws against what the winding has for this tube."""
    gives = circuit.heater_a
    lacks = [words for absent, words in (
        (draws.value is None, f"what the heater of {tube.designation} draws is not known"),
        (gives is None, "the circuit does not say what current the winding has for it")) if absent]
    if lacks:
        reason = "; ".join(lacks)
        return Finding("heater current", gives, "A", "", basis_words(draws), draws.value, None, "cannot check",
                       f"{reason[0].upper()}{reason[1:]}.")
    verdict = of_limit(draws.value, gives)
    more = f": {100 * (draws.value / gives - 1):.0f} % more than the winding has" if verdict == "exceeds" else ""
    as_built = ", all that the winding is stated to have" if draws.value == gives else ""
    string = "" if circuit.heater_string else " (heaters taken as in parallel: the circuit does not say)"
    return Finding("heater current", gives, "A", "", basis_words(draws), draws.value, 100 * (1 - draws.value / gives),
                   verdict, f"Draws {draws.value:g} A of {gives:g} A{as_built}{more}{string}.")


def _warm_up(tube: TubeType, circuit: CircuitRow, register: Register) -> Finding:
    """Controlled warm-up in a series string, against that of the type the string was built for."""
    own = register.value(tube.designation, "warmup_s", tube.section)
    fitted = fitted_in(circuit, register)
    built = register.value(fitted, "warmup_s").value if fitted else None
    if own.value is None:
        return replace(cannot("heater warm-up", own, f"No controlled warm-up of {tube.designation} is known: in a "
                              "series string a heater that warms faster takes more than its volts.", built),
                       limit=built, unit="s", rating_system="")
    if built is None:
        return replace(cannot("heater warm-up", own, f"Warms up in {own.value:g} s under control; whether the string "
                              "was made for that is not known."), rating_system="")
    same = own.value == built
    return Finding("heater warm-up", built, "s", "", basis_words(own), own.value, None,
                   "within" if same else "exceeds",
                   f"{own.value:g} s controlled warm-up, {built:g} s in {fitted}, which the string was built for.")
