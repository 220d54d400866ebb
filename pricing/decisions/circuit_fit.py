"""May this type go into that position? One finding a rating, each with its limit, its system and how it is known."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import TYPE_CHECKING, Any

from pricing.decisions.circuit_row import CircuitRow, place_of, read_circuit_row
from pricing.decisions.electrode_findings import electrode_findings
from pricing.decisions.rating_rules import Finding, worst
from pricing.decisions.rectifier_findings import SUPPLY, is_rectifier, rectifier_findings, rise_words, supply_rise_v
from pricing.decisions.socket_and_heater import fitted_in, heater_findings, socket_findings
from pricing.problems import Problem, problem, problems_frame
from pricing.register import Register, TubeType, load_register

if TYPE_CHECKING:
    import pandas as pd

FINDING_COLUMNS = tuple(field.name for field in fields(Finding))
CAUTIONS = (
    "Lethal voltages remain in tube equipment after it is switched off. Work inside belongs to a qualified technician "
    "who follows the equipment maker's instructions and local rules.",
    "The equipment maker's word comes first, then the tube's own data sheet with its rating system. A missing value "
    "cannot be checked, and several limits do not hold all at once.",
    "Not checked, ever: heating of the transformer and its windings, voltage ratings of the capacitors, bias, "
    "matching, peaks with signal, oscillation, clearance and heat, and the state of the piece itself.",
)


@dataclass(frozen=True)
class CircuitFit:
    """What was found of one type in one position.

    `findings` has a row a rating: rating, limit, unit, rating_system, basis, value (the circuit's figure, at the worst
    mains the circuit states where the limit's system asks for it), headroom_pct (left to the limit, in percent of it;
    for a heater's volts what is left of +/-10 %), verdict and reason. `verdict` is the worst of them, `summary` counts
    them all and names what could not be checked, `problems` tells of bad cells of the circuit.
    """

    type: str
    circuit: str
    position: str
    fitted_type: str
    findings: pd.DataFrame
    cautions: tuple[str, ...]
    problems: pd.DataFrame

    @property
    def verdict(self) -> str:
        return worst(self.findings["verdict"].tolist())

    @property
    def summary(self) -> str:
        return summary_of(self.findings)

    def finding(self, rating: str) -> pd.Series:
        """The finding of one rating. KeyError when the circuit does not use it."""
        met = self.findings[self.findings["rating"] == rating]
        if met.empty:
            raise KeyError(f"no finding '{rating}'; there are {', '.join(self.findings['rating'])}")
        return met.iloc[0]


def check_circuit_fit(type_name: str, circuit: Mapping[str, Any] | pd.Series,
                      register: Register | None = None) -> CircuitFit:
    """Every rating the position uses, held against the limits of a type: a CircuitFit, which never raises on content.

    `circuit` holds columns of the Circuits table (a mapping, or a row of `shop.circuits`); what is missing there, or
    in the register, is "cannot check". Verdicts, worst first: exceeds, cannot check, at the edge (less than 5 % of the
    limit left), within. A type the register does not know gives one finding that says so. Sources: IEC 60134 and EIA
    RS-239-A for the rating systems; the modules of each group of ratings name theirs.
    """
    register = register or load_register()
    row, problems = read_circuit_row(circuit, register)
    match = register.find(type_name)
    if match.status != "found":
        near = ", ".join(match.candidates) or "nothing near it is known"
        problems.append(problem("circuit_without_type", column="fitted_type", value=type_name, near=near,
                                **place_of(circuit)))
        unknown = Finding("type", None, "", "", "not known", match.text, None, "cannot check",
                          f"'{match.text}' is not one type of the register ({near}): nothing can be checked.")
        return _fit(match.text, row, [unknown], (), problems)
    tube = register.type(match.designation)
    findings = socket_findings(tube, row, register) + heater_findings(tube, row, register)
    part = rectifier_findings if is_rectifier(tube) else electrode_findings
    findings += part(tube, row, register)
    return _fit(tube.designation, row, findings, own_cautions(tube, row, register, match.note), problems)


def _fit(name: str, row: CircuitRow, findings: list[Finding], cautions: tuple[str, ...],
         problems: list[Problem]) -> CircuitFit:
    import pandas as pd

    frame = pd.DataFrame([asdict(one) for one in findings], columns=list(FINDING_COLUMNS))
    return CircuitFit(name, row.circuit, row.position, row.fitted_type, frame, CAUTIONS + cautions,
                      problems_frame(problems))


def own_cautions(tube: TubeType, row: CircuitRow, register: Register, note: str) -> tuple[str, ...]:
    """What the register says of this very type and pair: notes, and a warning that it is no substitute."""
    said = [f"'{tube.designation}' is what was read: {note}."] if note else []
    fitted = fitted_in(row, register)
    if fitted:
        said += [f"The register's list says of {tube.designation} in place of {fitted}: {one.substitution_class} "
                 f"({one.reason}; {one.basis})."
                 for one in register.substitutions(fitted) if one.to_canonical == tube.canonical_type]
    elif row.fitted_type:
        said.append(f"The fitted type '{row.fitted_type}' is not known, so pins and currents cannot be compared.")
    if tube.note:
        said.append(f"Note on {tube.designation}: {tube.note}")
    return tuple(said)


def summary_of(findings: pd.DataFrame) -> str:
    """Counts of all verdicts: "within on 6, exceeds 1 (plate volts), cannot check 2: grid resistor, pins"."""
    counts = Counter(findings["verdict"])
    names = {verdict: ", ".join(group["rating"]) for verdict, group in findings.groupby("verdict")}
    parts = [f"within on {counts['within']}"]
    if counts["at the edge"]:
        parts.append(f"at the edge {counts['at the edge']} ({names['at the edge']})")
    parts.append(f"exceeds {counts['exceeds']}" + (f" ({names['exceeds']})" if counts["exceeds"] else ""))
    parts.append(f"cannot check {counts['cannot check']}"
                 + (f": {names['cannot check']}" if counts["cannot check"] else ""))
    return ", ".join(parts)


@dataclass(frozen=True)
class RectifierChange:
    """Another rectifier in a position, and what its drop does to the other tubes of the circuit.

    `rise_v` is the estimated rise of the supply (below nought: a fall; None: cannot be estimated). `others` has a row
    a finding that the change moves: position, type, rating, unit, limit, value_before, value_after, verdict_before,
    verdict_after, reason. `fit` is the rectifier's own CircuitFit, its last finding the change of supply volts with
    the worst verdict the change brings about.
    """

    fit: CircuitFit
    rise_v: float | None
    others: pd.DataFrame

    @property
    def verdict(self) -> str:
        return self.fit.verdict

    @property
    def summary(self) -> str:
        return self.fit.summary

    @property
    def cautions(self) -> tuple[str, ...]:
        return self.fit.cautions


_OTHERS = ("position", "type", "rating", "unit", "limit", "value_before", "value_after", "verdict_before",
           "verdict_after", "reason")


def check_change_of_rectifier(type_name: str, circuit: Mapping[str, Any] | pd.Series, circuits: pd.DataFrame,
                              register: Register | None = None) -> RectifierChange:
    """A rectifier put into `circuit` (its row of Circuits), with the other positions of the same circuit in `circuits`.

    First the rectifier's own ratings; then the rise of the supply, the difference of the drops at the circuit's own
    current by the three-halves law (an estimate); then every other fitted tube with its plate and screen volts raised
    in proportion, the highest plate by the whole rise, its current by the three-halves law (upper estimates).
    """
    import pandas as pd

    register = register or load_register()
    fit = check_circuit_fit(type_name, circuit, register)
    row, _ = read_circuit_row(circuit, register)
    rows = [read_circuit_row(other, register)[0] for other in circuits.to_dict("records")]
    rows = [other for other in rows if other.circuit == row.circuit and other.position != row.position]
    known = register.find(type_name).status == "found"
    rise = supply_rise_v(fit.type, row, register) if known and is_rectifier(register.type(fit.type)) else None
    if rise is None or rise == 0:
        return RectifierChange(fit, rise, pd.DataFrame(columns=list(_OTHERS)))
    moved = [one for other in rows for one in _moved(other, rise, max(o.plate_v or 0 for o in rows), register)]
    others = pd.DataFrame(moved, columns=list(_OTHERS))
    changed = _supply_finding(fit, others, rise, row, fitted_in(row, register))
    findings = [asdict(changed) if one["rating"] == SUPPLY else one for one in fit.findings.to_dict("records")]
    frame = pd.DataFrame(findings, columns=list(FINDING_COLUMNS))
    return RectifierChange(replace(fit, findings=frame), rise, others)


def _moved(other: CircuitRow, rise: float, highest_v: float, register: Register) -> list[dict[str, Any]]:
    """The findings of one other tube that the change moves, before and after."""
    match = register.find(other.fitted_type)
    if match.status != "found" or is_rectifier(register.type(match.designation)) or not highest_v:
        return []
    tube = register.type(match.designation)
    after_row = other.raised(max(1 + rise / highest_v, 0.05))
    pairs = zip(electrode_findings(tube, other, register), electrode_findings(tube, after_row, register), strict=True)
    return [dict(position=other.position, type=tube.designation, rating=a.rating, unit=a.unit, limit=a.limit,
                 value_before=b.value, value_after=a.value, verdict_before=b.verdict, verdict_after=a.verdict,
                 reason=a.reason) for b, a in pairs if a.value != b.value]


def _supply_finding(fit: CircuitFit, others: pd.DataFrame, rise: float, row: CircuitRow, fitted: str) -> Finding:
    """The change of supply volts with the verdict it deserves: the worst that it brings about elsewhere."""
    before = fit.finding(SUPPLY)
    words = rise_words(rise, fit.type, fitted, row)
    if others.empty:
        verdict, tail = "cannot check", "The plate volts of the other tubes of this circuit are not given."
    else:
        verdict = worst(others["verdict_after"].tolist())
        over = [f"{one.position} {one.type}: {one.rating} {one.value_after:.4g} {one.unit} of {one.limit:.4g}"
                for one in others.itertuples() if one.verdict_after == "exceeds"]
        unknown = [f"{one.position} {one.rating}" for one in others.itertuples() if one.verdict_after == "cannot check"]
        tail = "; ".join(filter(None, (
            f"then over the limit: {', '.join(over)}" if over else "no other tube's known limit is passed by that",
            f"cannot check: {', '.join(unknown)}" if unknown else ""))) + "."
        tail = tail[0].upper() + tail[1:]
    return Finding(SUPPLY, None, "V", "", before["basis"], rise, None, verdict, f"{words} {tail}")


def check_all_circuits(circuits: pd.DataFrame, register: Register | None = None) -> list[CircuitFit]:
    """Every row of a Circuits table against the type fitted in it, in order."""
    register = register or load_register()
    return [check_circuit_fit(row.get("designation") or row.get("fitted_type"), row, register)
            for row in circuits.to_dict("records")]
