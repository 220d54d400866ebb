"""One position of a circuit as its owner measured it: the Circuits columns read into plain numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from pricing.problems import Problem, problem
from pricing.shop_tables.cells import is_blank, read_number, tidy
from pricing.shop_tables.circuit_values import RANGES, WORDS, bad_cells

THREE_HALVES = 1.5  # current against electrode volts, all raised alike (Child 1911, Langmuir 1913)


@dataclass(frozen=True)
class CircuitRow:
    """Columns of Circuits; None and "" where the owner gives nothing. Plate figures are per section."""

    circuit: str = ""
    fitted_type: str = ""
    position: str = ""
    base: str = ""
    plate_v: float | None = None
    plate_ma: float | None = None
    plate_w: float | None = None
    section: str = ""
    sections_used: float | None = None
    screen_v: float | None = None
    screen_w: float | None = None
    cathode_ma: float | None = None
    heater_v: float | None = None
    heater_a: float | None = None
    heater_string: str = ""
    heater_cathode_v: float | None = None
    grid_leak_ohm: float | None = None
    bias: str = ""
    winding_v: float | None = None
    dc_ma: float | None = None
    first_cap_uf: float | None = None
    plate_supply_ohm: float | None = None
    mains_variation_pct: float | None = None

    @property
    def section_w(self) -> float | None:
        """Plate dissipation of one section, W: as stated, or volts times current; the larger where both are there."""
        product = self.plate_v * self.plate_ma / 1000 if self.plate_v and self.plate_ma else None
        return max((w for w in (self.plate_w, product) if w is not None), default=None)

    @property
    def screen_dissipation_w(self) -> float | None:
        """Screen dissipation, W: as stated, or screen volts times what the cathode carries beyond the plate."""
        if self.screen_w is None and None not in (self.screen_v, self.cathode_ma, self.plate_ma):
            return self.screen_v * (self.cathode_ma - self.plate_ma) / 1000
        return self.screen_w

    def raised(self, factor: float) -> CircuitRow:
        """The row with every plate and screen voltage times `factor`.

        Current follows volts by the three-halves law, watts follow both: an upper estimate, since a cathode
        resistor holds the current back.
        """
        def times(value: float | None, power: float) -> float | None:
            return None if value is None else value * factor**power

        return replace(
            self, plate_v=times(self.plate_v, 1), screen_v=times(self.screen_v, 1),
            plate_ma=times(self.plate_ma, THREE_HALVES), cathode_ma=times(self.cathode_ma, THREE_HALVES),
            plate_w=times(self.plate_w, 1 + THREE_HALVES), screen_w=times(self.screen_w, 1 + THREE_HALVES))


def read_circuit_row(row: Mapping[str, Any], register: Any) -> tuple[CircuitRow, list[Problem]]:
    """The row, and a Problem for every cell that could not be read or cannot be; never raises on content.

    `row` is a mapping or Series of the Circuits columns, clean or raw; `sheet` and `row` in it say where it stands.
    """
    at = place_of(row)
    problems: list[Problem] = []
    read: dict[str, Any] = {}
    for field in fields(CircuitRow):
        cell = row.get(field.name)
        if field.name not in RANGES:
            read[field.name] = "" if is_blank(cell) else tidy(cell)
            continue
        met = read_number(cell)
        read[field.name] = met.value
        if met.code:
            problems.append(problem(met.code, column=field.name, value=cell, **at, **met.details))
    for column, code, value, details in bad_cells(read, register):
        shown = f"{value:g}" if isinstance(value, float) else value
        problems.append(problem(code, column=column, value=shown, **at, **details))
        if code != "circuit_cells_disagree":
            read[column] = None if column in RANGES else ""
        elif column == "cathode_ma":
            read[column] = read["plate_ma"]
    for name, known in WORDS.items():
        read[name] = known.get(read[name].casefold(), "")
    read["section"] = read["section"].casefold()
    return CircuitRow(**read), problems


def place_of(row: Mapping[str, Any]) -> dict[str, Any]:
    """Where a row stands, for its Problems: sheet and row, as far as the row carries them."""
    number = row.get("row")
    whole = not is_blank(number) and not isinstance(number, str) and number == int(number)
    return {"sheet": str(row.get("sheet") or "Circuits"), "row": int(number) if whole else None}
