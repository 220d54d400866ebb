"""Two types side by side: every rating that differs, by how much, and whether only the rating system differs."""

from __future__ import annotations

from dataclasses import dataclass

from pricing.decisions.rating_rules import SYSTEMS, basis_words, figure, system_used
from pricing.register import RatedValue, Register

LIMITS = {
    "va_max_v": "plate volts", "pa_max_w_section": "plate dissipation", "pa_max_w_total": "total dissipation",
    "vg2_max_v": "screen volts", "pg2_max_w": "screen dissipation", "ik_max_ma": "cathode current",
    "vhk_max_v": "heater-cathode volts", "vhk_heater_positive_max_v": "heater-cathode volts, heater positive",
    "rg1_max_fixed_bias_ohm": "grid resistor, fixed bias", "rg1_max_cathode_bias_ohm": "grid resistor, cathode bias",
    "piv_max_v": "peak inverse volts", "ia_peak_max_ma": "peak plate current", "idc_max_ma": "direct current",
    "idc_cap_input_max_ma": "direct current into a capacitor", "winding_max_v": "winding volts per plate",
    "first_cap_max_uf": "first capacitor",
}
CHARACTERISTICS = {
    "heater_v": "heater volts", "heater_a": "heater current", "warmup_s": "heater warm-up",
    "mu": "amplification factor", "gm_ma_v": "mutual conductance", "rp_ohm": "plate resistance",
    "typ_ia_ma": "plate current at the typical point", "plate_supply_min_ohm": "least plate supply resistance",
    "drop_v_at_idc": "drop", "base": "base",
}
STEP = 1.1  # from one rating system to the next, about ten per cent (an audio web journal, December 2000)
_ROUNDING = 0.025  # printed limits are rounded: 90 and 100, 315 and 350 V are ten per cent apart


@dataclass(frozen=True)
class Difference:
    """One rating of two types. `comparison` is of the candidate: higher, lower, equal once aligned (the rating systems
    explain the difference), differs (no limit), or not known; `change_pct` is as printed, unconverted."""

    rating: str
    column: str
    unit: str
    wanted: float | str | None
    candidate: float | str | None
    change_pct: float | None
    comparison: str
    wanted_system: str
    candidate_system: str
    wanted_basis: str
    candidate_basis: str
    words: str


def differences(wanted: str, candidate: str, register: Register, section: str = "") -> list[Difference]:
    """Every compared rating in which two types are not equal, or equal by figure under different rating systems."""
    found = []
    for column, rating in {**LIMITS, **CHARACTERISTICS}.items():
        a, b = (register.value(name, column, section) for name in (wanted, candidate))
        if a.value is None and b.value is None or (
                a.value == b.value and not (column in LIMITS and _by_system(column, a, b))):
            continue
        label = f"{section} {rating}".strip()
        comparison, words = _compared(label, column, a, b)
        change = None
        if isinstance(a.value, float) and isinstance(b.value, float) and a.value:
            change = 100 * (b.value / a.value - 1)
        found.append(Difference(label, column, a.unit or b.unit, a.value, b.value, change, comparison,
                                a.rating_system, b.rating_system, basis_words(a), basis_words(b), words))
    return found


def _system(rated: RatedValue) -> str:
    return system_used(rated.rating_system)


def _compared(label: str, column: str, a: RatedValue, b: RatedValue) -> tuple[str, str]:
    """(comparison, words) of the candidate's value `b` beside the wanted one's `a`."""
    if a.value is None or b.value is None:
        unknown, known = ("the wanted type's", b) if a.value is None else ("its own", a)
        return "not known", f"{label}: {unknown} not known, the other's {_shown(known)}"
    if isinstance(a.value, str):
        return "differs", f"{label} {_shown(b)} for {_shown(a)}"
    change = f"{100 * (b.value / a.value - 1):+.0f} %"
    if column not in LIMITS:
        return "differs", f"{label} {_shown(b)} for {_shown(a)} ({change})"
    if not _by_system(column, a, b):
        return "higher" if b.value > a.value else "lower", f"{label} {_shown(b)} for {_shown(a)} ({change})"
    comparison = aligned(a.value, a.rating_system, b.value, b.rating_system)
    systems = f"{_system_words(b)}, not {_system_words(a)}"
    if comparison == "equal once aligned":
        return comparison, f"{label} {_shown(b)} for {_shown(a)} (the same once aligned: {systems})"
    if a.value == b.value:
        return comparison, f"{label} {_shown(b)} on both ({comparison} once aligned: {systems})"
    turned = "" if (b.value > a.value) == (comparison == "higher") else f", {comparison} once aligned"
    return comparison, f"{label} {_shown(b)} for {_shown(a)} ({change}{turned}; {systems})"


def _by_system(column: str, a: RatedValue, b: RatedValue) -> bool:
    """Whether the rating systems of two limits matter: not for parts of the circuit, which do not follow the mains."""
    return _system(a) != _system(b) and not column.startswith(("rg1_", "first_cap"))


def _system_words(rated: RatedValue) -> str:
    return _system(rated) + ("" if rated.rating_system in SYSTEMS else " (taken, not known)")


def _shown(rated: RatedValue) -> str:
    return rated.value if isinstance(rated.value, str) else figure(rated.value, rated.unit)


def aligned(a: float, a_system: str, b: float, b_system: str) -> str:
    """Whether limit `b` is higher or lower than `a` once their rating systems are aligned, or equal.

    A step between systems is about ten per cent; two steps may have been taken as one, so that 300 V design-centre
    equals anything from 330 to 363 V absolute-maximum.
    """
    steps = SYSTEMS.index(system_used(b_system)) - SYSTEMS.index(system_used(a_system))
    least, most = sorted((1.0, STEP**steps)) if steps == 0 else sorted((STEP ** (1 if steps > 0 else -1), STEP**steps))
    slack = _ROUNDING if steps else 1e-9
    ratio = b / a
    if ratio > most * (1 + slack):
        return "higher"
    return "lower" if ratio < least * (1 - slack) else "equal once aligned"
