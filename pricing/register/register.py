"""The register: every type it knows, looked up by any spelling the trade uses."""

from __future__ import annotations

import csv
from collections import defaultdict
from functools import cache, cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Iterable

from .finding import Finder
from .pins import PinComparison, compare_pins
from .substitution import SAME, Substitution, links_of, rating_differences, reached
from .tube_type import ARRANGEMENT, COLUMNS, UNITS, Match, RatedValue, TubeType

if TYPE_CHECKING:
    from pricing.problems import Problem

DATA = Path(__file__).parent / "data"
_LEVELS = ("published", "owner", "secondary", "mixed", "memory", "common practice")

# (basis, source text, rating system or "") of one cell
CellBasis = tuple[str, str, str]


class Register:
    """Types, spellings, substitutions and sources. Never changed; `with_types` gives a new one."""

    def __init__(self, types: dict[tuple[str, str], TubeType],
                 basis: dict[tuple[str, str, str], list[CellBasis]], aliases: list[tuple[str, str, str]],
                 substitutions: list[dict[str, str]], pins: dict[str, dict[str, str]],
                 own_rows: tuple[dict[str, Any], ...] = ()):
        self._types = types
        self._basis = basis
        self._aliases = aliases
        self._rows = substitutions
        self._pins = pins
        self.own_rows = own_rows  # rows of the owner's Types sheet laid on top
        self._sections: dict[str, list[str]] = defaultdict(list)
        for designation, section in types:
            self._sections[designation].append(section)
        names = {name: types[name, sections[0]].canonical_type for name, sections in self._sections.items()}
        self._canonical = names
        self._finder = Finder(names, aliases, self._same_kin)

    # names --------------------------------------------------------------------------------------------------
    @property
    def designations(self) -> tuple[str, ...]:
        """Every printed designation, as the register spells it."""
        return tuple(self._sections)

    @property
    def families(self) -> tuple[str, ...]:
        """The shop families, in the register's order."""
        return tuple(dict.fromkeys(t.shop_family for t in self._types.values()))

    @property
    def aliases(self) -> tuple[tuple[str, str], ...]:
        """(alias, designation) pairs."""
        return tuple((alias, designation) for alias, designation, _ in self._aliases)

    def find(self, text: Any) -> Match:
        """The type one cell stands for: slashes, blanks, dashes, prefixes, alphabets and O for 0 are seen
        through.

        Never raises; see Match for the three outcomes.
        """
        return self._finder.find(text)

    def find_in_text(self, text: Any) -> list[Match]:
        """Every designation that stands in a longer text, in order. Never raises."""
        return self._finder.find_in_text(text)

    def near(self, text: str) -> tuple[str, ...]:
        """Up to five known spellings that look most like the text."""
        return self._finder.near(text)

    # ratings ------------------------------------------------------------------------------------------------
    def type(self, text: str, section: str = "") -> TubeType:
        """The ratings of a designation (or any spelling that is found); of one section where sections differ.

        Without `section` a triode-pentode gives its pentode. KeyError, with near spellings, when nothing is
        found, and for a section the type does not have.
        """
        name = self._name(text)
        sections = self._sections[name]
        if section and section not in sections:
            held = ", ".join(filter(None, sections)) or "one row"
            raise KeyError(f"{name} has no section '{section}'; it has {held}")
        return self._types[name, section or sections[0]]

    def sections(self, text: str) -> tuple[str, ...]:
        """Names of the sections that have a row of their own, () for types whose sections are alike."""
        return tuple(filter(None, self._sections[self._name(text)]))

    def shop_family(self, text: str) -> str:
        """The family the owner thinks in. KeyError as `type`."""
        return self.type(text).shop_family

    def value(self, text: str, column: str, section: str = "") -> RatedValue:
        """One cell with its unit, basis, source and rating system. KeyError for an unknown type or column."""
        if column not in COLUMNS:
            raise KeyError(f"no column '{column}'; the columns are {', '.join(COLUMNS)}")
        tube = self.type(text, section)
        found = getattr(tube, column)
        known = sorted(self._basis.get((tube.designation, tube.section, column), []),
                       key=lambda cell: _LEVELS.index(cell[0]))
        level = known[0][0] if known else ""
        source = "; ".join(dict.fromkeys(text for basis, text, _ in known if text and basis == level))
        system = next((own for _, _, own in known if own), tube.rating_system)
        return RatedValue(None if found == "" else found, UNITS.get(column, ""), level, source, system)

    def pins(self, text: str) -> dict[str, str] | None:
        """Pin to element, None where the pin table is not known."""
        table = self._pins.get(self.type(text).basing)
        return dict(table) if table else None

    def compare_pins(self, old: str, new: str) -> PinComparison:
        """Whether the pins of `new` fit a socket wired for `old`; "cannot check" where unknown."""
        a, b = self.type(old), self.type(new)
        if a.base and b.base and a.base.split(",")[0] != b.base.split(",")[0]:
            return PinComparison("differ")
        return compare_pins(self.pins(old), self.pins(new))

    # substitutions ------------------------------------------------------------------------------------------
    def substitutions(self, from_type: str) -> list[Substitution]:
        """What may stand in for a canonical type (or any designation of it), listed pairs first; [] when
        unknown.

        Closed over canonical types: a row written for ECC88 serves 6DJ8. One-way rows stay one-way. Rows of
        class "not a substitute" are kept, so that a reader sees the warning.
        """
        match = self.find(from_type)
        start = match.canonical_type if match.status == "found" else from_type
        closed = []
        for deciding, path in sorted(reached(self._links, start), key=lambda item: len(item[1])):
            end = path[-1].end
            through = tuple(link.end for link in path[:-1])
            reason = deciding.reason if not through else f"by way of {', '.join(through)}: " + "; ".join(
                dict.fromkeys(link.reason for link in path))
            closed.append(Substitution(
                start, end, deciding.substitution_class, reason, deciding.basis, deciding.source,
                self._differences(start, end), through))
        return closed

    def _differences(self, start: str, end: str):
        old, new = self._row_of(start), self._row_of(end)
        return rating_differences(old, new) if old and new else ()

    def _row_of(self, canonical: str) -> TubeType | None:
        """The row that stands for a canonical type: its own, or the first designation pooled under it."""
        name = canonical if canonical in self._sections else next(
            (n for n, c in self._canonical.items() if c == canonical), None)
        return self._types[name, self._sections[name][0]] if name else None

    @cached_property
    def _links(self):
        return links_of(self._rows, lambda name: self._canonical.get(name, name))

    def _same_kin(self, a: str, b: str) -> bool:
        return any(path[-1].end == y and deciding.substitution_class in SAME
                   for x, y in ((a, b), (b, a)) for deciding, path in reached(self._links, x))

    # the owner's own types ----------------------------------------------------------------------------------
    def with_types(self, rows: Iterable[dict[str, Any]],
                   sheet: str = "Types") -> tuple[Register, list[Problem]]:
        """A register with the owner's new types and corrections on top, and a Problem for each cell not used.

        `rows`: one mapping a row, columns as TubeType plus `aliases`; a blank cell leaves the register's
        value. A row may carry its file row under the key "row" (otherwise the first is row 2).
        """
        from .owner_types import read_owner_types

        rows = list(rows)
        types, basis, aliases, problems = read_owner_types(self, rows, sheet)
        return Register({**self._types, **types}, {**self._basis, **basis}, self._aliases + aliases,
                        self._rows, self._pins, (*self.own_rows, *rows)), problems

    def _name(self, text: str) -> str:
        if text in self._sections:
            return text
        match = self.find(text)
        if match.status == "found":
            return match.designation
        words = "may be" if match.status == "ambiguous" else "near spellings:"
        raise KeyError(f"no type '{text}' in the register; {words} {', '.join(match.candidates) or 'none'}")


def read_rows(name: str) -> list[dict[str, str]]:
    """The rows of one CSV file of the register."""
    with open(DATA / name, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _tube(row: dict[str, str]) -> TubeType:
    return TubeType(**{column: (float(cell) if cell else None) if column in UNITS else cell
                       for column, cell in row.items()})


@cache
def load_register() -> Register:
    """The register as delivered, read once. Needs the csv module only."""
    types = {(row["designation"], row["section"]): _tube(row) for row in read_rows("types.csv")}
    texts = {row["source"]: row["text"] for row in read_rows("sources.csv")}
    basis: dict[tuple[str, str, str], list[CellBasis]] = defaultdict(list)
    for row in read_rows("cell_basis.csv"):
        for column in row["columns"].split():
            basis[row["designation"], row["section"], column].append(
                (row["basis"], texts.get(row["source"], ""), row["rating_system"]))
    pins: dict[str, dict[str, str]] = defaultdict(dict)
    for row in read_rows("pins.csv"):
        pins[row["basing"]][row["pin"]] = row["element"]
    aliases = [(row["alias"], row["designation"],
                f"no suffix is written: read as {row['designation']}" if row["kind"] == "no suffix" else "")
               for row in read_rows("aliases.csv")]
    substitutions = [{**row, "source": texts.get(row["source"], "")}
                     for row in read_rows("substitutions.csv")]
    return Register(types, dict(basis), aliases, substitutions, dict(pins))


def has_basis(column: str) -> bool:
    """Whether a column holds facts about tubes, which need a basis, not the register's own order."""
    return column not in ARRANGEMENT
