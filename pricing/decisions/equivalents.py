"""What may stand in for a type: candidates with what each asks for, and every rating that differs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Any

from pricing.decisions.circuit_fit import CAUTIONS, check_circuit_fit
from pricing.decisions.rating_comparison import CHARACTERISTICS, LIMITS, Difference, differences
from pricing.problems import problem, problems_frame
from pricing.register import Register, load_register

if TYPE_CHECKING:
    import pandas as pd

KINDS = ("straight", "with a check", "with a heater rewire", "with a socket adapter", "circuit change")
# Classes of the register's list of substitutions; "not a substitute" is a warning, never a candidate.
_KIND_OF = {
    "same type, other designation": "straight", "same limits, other rating system": "straight",
    "direct, higher ratings": "straight", "direct, lower ratings: check": "with a check",
    "direct, limits not known: check": "with a check",
    "same electrodes, other heater supply: rewire": "with a heater rewire",
    "same electrodes, other base: socket adapter": "with a socket adapter",
    "similar, circuit change": "circuit change",
}
HEAVIER = 1.1  # a heater that draws over ten per cent more is no straight replacement
_ALIKE_PCT = 20.0  # characteristics further apart ask for another bias or load (common practice, no source)
MAIN = ("va_max_v", "pa_max_w_section", "vg2_max_v", "piv_max_v", "idc_max_ma")  # no straight candidate without them
CANDIDATE_COLUMNS = ("type", "also", "kind", "via", "lower", "not_known", "differs", "reason", "basis", "source")


@dataclass(frozen=True)
class Equivalents:
    """Candidates for a wanted type, best kind first.

    `candidates`: type, also (other designations of it), kind (one of KINDS), via (where it comes from), lower (ratings
    that are lower once rating systems are aligned, in words), not_known (limits known of the wanted type only),
    differs (all the rest), reason, basis, source; with a circuit also verdict and summary of its fit. `differences`
    has a row a rating and candidate, columns of Difference after `type`. `warnings`: type, reason, basis of types that
    are called alike and are none, and of those listed the other way round only.
    """

    wanted: str
    candidates: pd.DataFrame
    differences: pd.DataFrame
    warnings: pd.DataFrame
    cautions: tuple[str, ...]
    problems: pd.DataFrame


def find_equivalents(type_name: str, register: Register | None = None,
                     circuit: Mapping[str, Any] | pd.Series | None = None) -> Equivalents:
    """Candidates for a type from the list of substitutions, its electrical family and the owner's Types sheet.

    One-way stays one-way. A candidate is "straight" only where the list says so, no limit is lower once aligned, the
    main limits (MAIN) are known and the pins are the same; family members that no list names are never straight.
    `circuit`, a row of Circuits, adds each candidate's verdict there. An unknown type has no candidates and a Problem.
    """
    register = register or load_register()
    match = register.find(type_name)
    if match.status != "found":
        near = ", ".join(match.candidates) or "nothing near it is known"
        unknown = problem("circuit_without_type", sheet="", row=None, column="type", value=type_name, near=near)
        return _equivalents(match.text, [], [], [], [unknown])
    wanted = match.designation
    search = _Search(wanted, register)
    search.same_type()
    search.listed()
    search.family()
    rows = search.candidates
    if circuit is not None:
        fits = {row["type"]: check_circuit_fit(row["type"], circuit, register) for row in rows}
        rows = [{**row, "verdict": fits[row["type"]].verdict, "summary": fits[row["type"]].summary} for row in rows]
    rows.sort(key=lambda row: (KINDS.index(row["kind"]), bool(row["not_known"]), row["lower"].count(";"), row["type"]))
    return _equivalents(wanted, rows, search.differences, search.warnings, [])


def _equivalents(wanted: str, rows: list, differing: list, warnings: list, problems: list) -> Equivalents:
    import pandas as pd

    columns = [*CANDIDATE_COLUMNS, *(name for name in ("verdict", "summary") if rows and name in rows[0])]
    return Equivalents(
        wanted, pd.DataFrame(rows, columns=columns),
        pd.DataFrame(differing, columns=["type", *(field.name for field in fields(Difference))]),
        pd.DataFrame(warnings, columns=["type", "reason", "basis"]), CAUTIONS, problems_frame(problems))


class _Search:
    """Gathers candidates for one wanted type; what comes first decides where a type comes from."""

    def __init__(self, wanted: str, register: Register):
        self.wanted, self.register = wanted, register
        self.tube = register.type(wanted)
        self.candidates: list[dict[str, Any]] = []
        self.differences: list[dict[str, Any]] = []
        self.warnings: list[dict[str, Any]] = []
        self._names: dict[str, list[str]] = {}
        for name in register.designations:
            self._names.setdefault(register.type(name).canonical_type, []).append(name)
        self._own = {register.find(str(row.get("designation") or row.get("type") or "")).designation
                     for row in register.own_rows} - {""}
        self._settled = {self.tube.canonical_type}

    def same_type(self) -> None:
        """Other designations pooled under the wanted one's canonical type."""
        for name in self._names[self.tube.canonical_type]:
            if name != self.wanted:
                basis = self.register.value(name, "kind").basis
                self._add(name, "straight", "same type", f"{name} and {self.wanted} are one electrical type", basis, "")

    def listed(self) -> None:
        """The register's substitutions, closed over canonical types; warnings apart."""
        for one in self.register.substitutions(self.tube.canonical_type):
            self._settled.add(one.to_canonical)
            if one.substitution_class == "not a substitute":
                self._warn(one.to_canonical, f"not a substitute: {one.reason}", one.basis)
            else:
                self._add(self._name(one.to_canonical), _KIND_OF[one.substitution_class], "list of substitutions",
                          one.reason, one.basis, one.source)

    def family(self) -> None:
        """Kin that no list names: the same electrical family, and the owner's own types of the same shop family."""
        for canonical, names in self._names.items():
            own = [name for name in names if name in self._own]
            kin = self.register.type(self._name(canonical))
            alike = bool(self.tube.family) and kin.family == self.tube.family
            if canonical in self._settled or not (alike or own and kin.shop_family == self.tube.shop_family):
                continue
            back = next((one for one in self.register.substitutions(canonical)
                         if one.to_canonical == self.tube.canonical_type), None)
            if back is not None:
                if back.substitution_class != "not a substitute":
                    self._warn(canonical, f"listed the other way round only: {self.wanted} in place of {canonical}",
                               back.basis)
                continue
            name = own[0] if own else self._name(canonical)
            via = "your Types sheet" if own else "same electrical family"
            kind, why = self._kind_by_ratings(name)
            self._add(name, kind, via, f"no list names it; {why}", self.register.value(name, "kind").basis, "")

    def _name(self, canonical: str) -> str:
        names = self._names[canonical]
        return canonical if canonical in names else names[0]

    def _warn(self, canonical: str, reason: str, basis: str) -> None:
        self.warnings.append({"type": self._name(canonical), "reason": reason, "basis": basis})

    def _add(self, name: str, kind: str, via: str, reason: str, basis: str, source: str) -> None:
        sections = self.register.sections(self.wanted)
        common = [one for one in sections if one in self.register.sections(name)] or [""]
        met = [one for section in common for one in differences(self.wanted, name, self.register, section)]
        lower = [one.words for one in met if one.comparison == "lower"]
        unknown = [one for one in met
                   if one.comparison == "not known" and one.column in LIMITS and one.candidate is None]
        if kind == "straight":
            pins = self.register.compare_pins(self.wanted, name).verdict
            same_pins = pins == "same" or self.register.type(name).basing == self.tube.basing
            doubts = [words for words, there in (
                ("ratings are lower", lower), ("main limits are not known", any(one.column in MAIN for one in unknown)),
                (f"pins: {pins}", not same_pins)) if there]
            if doubts:
                kind, reason = "with a check", f"{reason}; but {', '.join(doubts)}"
        rest = [one.words for one in met if one.comparison not in ("lower", "not known")]
        canonical = self.register.type(name).canonical_type
        also = [other for other in self._names[canonical] if other not in (name, self.wanted)]
        self.candidates.append({
            "type": name, "also": ", ".join(also) if canonical != self.tube.canonical_type else "", "kind": kind,
            "via": "your Types sheet" if name in self._own else via, "lower": "; ".join(lower),
            "not_known": "; ".join(one.rating for one in unknown), "differs": "; ".join(rest), "reason": reason,
            "basis": basis, "source": source})
        self.differences += [{"type": name, **asdict(one)} for one in met]

    def _kind_by_ratings(self, name: str) -> tuple[str, str]:
        """The kind of a family member, by base, pins, heater and characteristics, and why."""
        old, new = self.tube, self.register.type(name)
        far = [one.words for one in differences(self.wanted, name, self.register)
               if one.column in CHARACTERISTICS and one.column in ("mu", "gm_ma_v", "rp_ohm", "typ_ia_ma")
               and one.change_pct is not None and abs(one.change_pct) > _ALIKE_PCT]
        if far:
            return "circuit change", far[0]
        if old.base and new.base and old.base != new.base:
            return "with a socket adapter", f"{new.base} base instead of {old.base}"
        if self.register.compare_pins(self.wanted, name).verdict == "differ":
            return "circuit change", "other pins"
        if old.heater_v and new.heater_v and old.heater_v != new.heater_v:
            return "with a heater rewire", f"{new.heater_v:g} V heater instead of {old.heater_v:g} V"
        if old.heater_a and new.heater_a and new.heater_a > HEAVIER * old.heater_a:
            return "circuit change", f"heater {new.heater_a:g} A instead of {old.heater_a:g} A"
        return "with a check", "same family, base and heater as far as known"
