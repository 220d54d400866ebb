"""What a row of Circuits cannot say: values no tube meets, words that mean nothing, cells that disagree."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pricing.shop_tables.ledger import Ledger

# column: (least, most, what is wanted). Wide bounds: what lies outside is a slip of the pen or of the unit.
RANGES: dict[str, tuple[float, float, str]] = {
    "plate_v": (1, 5_000, "volts above nought, plate to cathode"),
    "plate_ma": (0.001, 2_000, "milliamperes above nought, one section"),
    "plate_w": (0.001, 2_000, "watts above nought, one section"),
    "screen_v": (1, 3_000, "volts above nought, screen to cathode"),
    "screen_w": (0, 200, "watts, nought or more"),
    "cathode_ma": (0.001, 2_000, "milliamperes above nought"),
    "heater_v": (0.5, 150, "volts above nought"),
    "heater_a": (0.02, 50, "amperes above nought"),
    "heater_cathode_v": (-3_000, 3_000, "volts, with a minus where the heater is below the cathode"),
    "grid_leak_ohm": (1_000, 100e6, "ohms, for example 470000 for 470 kilohm"),
    "winding_v": (1, 5_000, "volts rms per plate, above nought"),
    "dc_ma": (0.1, 5_000, "milliamperes above nought"),
    "first_cap_uf": (0, 5_000, "microfarads, nought for choke input"),
    "plate_supply_ohm": (0, 20_000, "ohms per plate, nought or more"),
    "sections_used": (1, 4, "a whole number from 1 on"),
    "mains_variation_pct": (0, 30, "per cent, for example 5; nought for a regulated supply"),
}
WORDS: dict[str, dict[str, str]] = {
    "bias": {"fixed": "fixed", "fixed bias": "fixed", "grid bias": "fixed", "cathode": "cathode",
             "cathode bias": "cathode", "self": "cathode", "self bias": "cathode", "auto": "cathode",
             "auto bias": "cathode", "automatic": "cathode"},
    "heater_string": {"parallel": "parallel", "series": "series", "series string": "series"},
}
_DISAGREE = 1.15  # plate_w against plate_v times plate_ma: more apart than rounding and meters explain

# (column, code of the problem, value met, details)
BadCell = tuple[str, str, Any, dict[str, Any]]


def bad_cells(row: Mapping[str, Any], register: Any) -> Iterator[BadCell]:
    """Every cell of one read row (numbers as floats, NaN or None where blank) that cannot stand."""
    met = {name: row.get(name) for name in RANGES if row.get(name) is not None and row.get(name) == row.get(name)}
    good = dict(met)
    for name, value in met.items():
        least, most, wanted = RANGES[name]
        fraction = name == "mains_variation_pct" and 0 < value < 1
        part = name == "sections_used" and value != int(value)
        if not least <= value <= most or fraction or part:
            del good[name]
            yield name, "circuit_value_impossible", value, {"wanted": wanted}
    for name, known in WORDS.items():
        text = str(row.get(name) or "").strip()
        if text and text.casefold() not in known:
            wanted = " or ".join(dict.fromkeys(known.values()))
            yield name, "circuit_word_unknown", text, {"wanted": wanted}
    yield from _against_type(row, good, register)
    if {"cathode_ma", "plate_ma"} <= good.keys() and good["cathode_ma"] < good["plate_ma"] * (1 - 1e-9):
        yield ("cathode_ma", "circuit_cells_disagree", good["cathode_ma"], {
            "against": f"the plate current of {good['plate_ma']:g} mA, which flows through the cathode too",
            "used": f"{good['plate_ma']:g} mA"})
    if {"plate_w", "plate_v", "plate_ma"} <= good.keys():
        product = good["plate_v"] * good["plate_ma"] / 1000
        if not 1 / _DISAGREE <= good["plate_w"] / product <= _DISAGREE:
            yield ("plate_w", "circuit_cells_disagree", good["plate_w"], {
                "against": f"plate volts times plate current, {product:.3g} W",
                "used": f"{max(product, good['plate_w']):.3g} W"})


def _against_type(row: Mapping[str, Any], good: Mapping[str, float], register: Any) -> Iterator[BadCell]:
    """Sections that the fitted type does not have."""
    match = register.find(row.get("fitted_type"))
    if match.status != "found":
        return
    sections, tube = register.sections(match.designation), register.type(match.designation)
    section = str(row.get("section") or "").strip()
    if section and sections and section.casefold() not in sections:
        yield "section", "circuit_word_unknown", section, {"wanted": " or ".join(sections)}
    used = good.get("sections_used")
    if used and tube.sections and used > tube.sections:
        yield ("sections_used", "circuit_value_impossible", used, {
            "wanted": f"at most {tube.sections:g}, as {match.designation} has no more"})


def check_circuits(out: dict[str, Any], register: Any, ledger: Ledger) -> None:
    """Reports the bad cells of a Circuits table while it is read, and blanks those that cannot stand."""
    names = [name for name in (*RANGES, *WORDS, "fitted_type", "section") if name in out]
    for position in range(len(out["circuit"])):
        row = {name: out[name][position] for name in names}
        for column, code, value, details in bad_cells(row, register):
            shown = f"{value:g}" if isinstance(value, float) else value
            ledger.cell(position, column, code, shown, **details)
            if code == "circuit_value_impossible":
                out[column][position] = float("nan")
            elif code == "circuit_word_unknown":
                out[column][position] = ""
