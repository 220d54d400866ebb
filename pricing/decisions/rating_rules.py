"""How a limit is held against a circuit's figure: rating systems, mains, verdicts.

IEC 60134 (and EIA RS-239-A, January 1963) define three systems. A design-centre limit holds for a nominal tube under
normal conditions: the maker has allowed for ordinary mains and parts, so the circuit's nominal value is compared. A
design-maximum limit holds for a nominal tube under the worst probable conditions: the circuit's worst value is
compared. An absolute-maximum limit holds for any tube under the worst conditions: the spread of tubes counts too.
"""

from __future__ import annotations

from dataclasses import dataclass

from pricing.register import RatedValue

VERDICTS = ("exceeds", "cannot check", "at the edge", "within")  # worst first
EDGE_PCT = 5.0
# Taken where a circuit states no mains variation: US practice of about +/-10 % (trade memory, no sheet seen).
USUAL_MAINS_PCT = 10.0
# New tubes spread to about 133 % of the nominal value (Radiotron Designer's Handbook, 4th ed.).
TUBE_SPREAD = 4 / 3
SYSTEMS = ("design-centre", "design-maximum", "absolute-maximum")  # each about ten per cent above the one before
_TINY = 1e-9


@dataclass(frozen=True)
class Finding:
    """One rating held against the circuit. `headroom_pct` is what is left to the limit, in percent of it."""

    rating: str
    limit: float | str | None
    unit: str
    rating_system: str
    basis: str
    value: float | str | None
    headroom_pct: float | None
    verdict: str
    reason: str


def worst(verdicts: list[str]) -> str:
    """The worst of some verdicts; "cannot check" when there are none."""
    return min(verdicts, key=VERDICTS.index, default="cannot check")


def system_used(system: str) -> str:
    """The rating system a limit is held under: an unknown or unstated one counts as absolute-maximum."""
    return system if system in SYSTEMS else "absolute-maximum"


def system_words(system: str) -> str:
    """The rating system in words, with the assumption said where there is one."""
    if system in SYSTEMS:
        return system
    return ("none stated" if system == "none stated" else "not known") + ": treated as absolute-maximum"


def basis_words(rated: RatedValue) -> str:
    """How a value of the register is known: its level, and the source where there is one."""
    if rated.value is None:
        return rated.state
    return f"{rated.basis}: {rated.source}" if rated.source else rated.basis or "not known"


def figure(value: float, unit: str) -> str:
    """A value with its unit, to four digits; ohms in kilohms or megohms."""
    if unit == "ohm" and value >= 1e6:
        return f"{value / 1e6:g} megohm"
    if unit == "ohm" and value >= 1e3:
        return f"{value / 1e3:g} kilohm"
    return f"{value:.4g} {unit}".strip()


def of_limit(value: float, limit: float) -> str:
    """Verdict of a value against an upper limit: at the edge when less than 5 % of the limit is left."""
    if value > limit * (1 + _TINY):
        return "exceeds"
    return "within" if value <= limit * (1 - EDGE_PCT / 100 + _TINY) else "at the edge"


def cannot(rating: str, rated: RatedValue, reason: str, value: float | None = None) -> Finding:
    """A finding that could not be made, with what is known of it."""
    known = rated.value is not None
    return Finding(rating, rated.value, rated.unit, system_words(rated.rating_system) if known else "",
                   basis_words(rated), value, None, "cannot check", reason)


def held(rating: str, rated: RatedValue, nominal: float | None, mains_pct: float | None, *, power: float,
         whose: str, spread: bool = False, missing: str = "") -> Finding:
    """One limit held against the circuit's nominal value, by the limit's own rating system.

    `power` says how the value follows the mains (volts 1, current 1.5, watts 2.5, by the three-halves law; 0 for
    what does not); `mains_pct` is the circuit's own figure, None where it states none: then a verdict that mains
    10 % up would turn is "cannot check". `spread`: the value depends on the tube's own current, so under an
    absolute limit a tube of 133 % must hold too, or nobody can tell. `missing`: words for a value not given.
    """
    limit, unit = rated.value, rated.unit
    if limit is None or nominal is None:
        lacks = [words for absent, words in (
            (limit is None, f"the register has no limit of {whose} for {rating}"),
            (nominal is None, missing or f"the circuit gives no {rating}")) if absent]
        return cannot(rating, rated, _sentence("; ".join(lacks)), nominal)
    system = system_used(rated.rating_system)
    stated = mains_pct is not None
    follows = system != "design-centre" and power > 0
    value = nominal * (1 + mains_pct / 100) ** power if follows and stated else nominal
    said = f"{figure(value, unit)} against a limit of {figure(limit, unit)}"
    if follows and stated and mains_pct:
        said = f"{figure(nominal, unit)} nominal, {figure(value, unit)} with mains {mains_pct:g} % up, against " \
               f"a limit of {figure(limit, unit)}"
    verdict = of_limit(value, limit)
    notes, highest = [], value
    if verdict == "exceeds":
        notes.append(f"{100 * (value / limit - 1):.0f} % over" if value >= 1.005 * limit else "just over")
    if system == "design-centre" and power > 0 and stated and mains_pct > USUAL_MAINS_PCT:
        notes.append(f"mains vary by {mains_pct:g} %, more than the 10 % that design-centre limits commonly allow for")
    if follows and not stated and nominal and verdict != "exceeds":
        highest = nominal * (1 + USUAL_MAINS_PCT / 100) ** power
        verdict, note = _guarded(verdict, highest, limit)
        notes.append("the circuit states no mains variation: with mains 10 % up it would be "
                     f"{figure(highest, unit)}{note}")
    if spread and system == "absolute-maximum" and verdict in ("within", "at the edge"):
        verdict, note = _guarded(verdict, highest * TUBE_SPREAD, limit)
        if note:
            notes.append("an absolute limit holds for every tube, and a new one may draw a third more than the nominal "
                         f"one: {figure(highest * TUBE_SPREAD, unit)}{note}; measure the piece")
    if verdict == "at the edge" and not notes:
        notes.append(f"less than {EDGE_PCT:g} % left")
    reason = _sentence("; ".join([said, *notes]))
    return Finding(rating, limit, unit, system_words(rated.rating_system), basis_words(rated), value,
                   100 * (1 - value / limit), verdict, reason)


def _guarded(verdict: str, possible: float, limit: float) -> tuple[str, str]:
    """The verdict when a value may also be `possible`: what would then exceed, nobody can tell."""
    then = of_limit(possible, limit)
    if then == "exceeds":
        return "cannot check", ", over the limit"
    if then == "at the edge" and verdict == "within":
        return "at the edge", f", less than {EDGE_PCT:g} % from the limit"
    return verdict, ""


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."
