"""How near two types are electrically: gain, mutual conductance and plate resistance at the typical point.

distance = root mean square of the log ratios of those of `mu`, `gm_ma_v` and `rp_ohm` that the register knows of both
types; for rectifiers the log ratio of the volts dropped at one current, moved there by the three-halves law. What is
not known of both is left out and said; nothing known of both is "cannot compare". The classes are a convention of ours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pricing.register import Register, rectifier_drop_v

COMPARED = {"mu": "gain", "gm_ma_v": "mutual conductance", "rp_ohm": "plate resistance"}
SAME_TYPE, CANNOT = "same type", "cannot compare"
# Largest distance of a class, as a ratio: tubes of one type spread by about a fifth themselves (common practice).
CLASSES = ((1.05, "within 5 %"), (1.2, "within 20 %"), (np.inf, "further away"))
ORDER = (SAME_TYPE, *(name for _, name in CLASSES), CANNOT)


@dataclass(frozen=True)
class Closeness:
    """`distance` in log units (NaN where nothing can be compared), its class, one of ORDER, and both in words."""

    distance: float
    kind: str
    words: str


def closeness(wanted: str, candidate: str, register: Register) -> Closeness:
    """How near `candidate` is to `wanted`. KeyError for a type the register does not know."""
    old, new = register.type(wanted), register.type(candidate)
    if old.canonical_type == new.canonical_type:
        return Closeness(0.0, SAME_TYPE, "one electrical type")
    found, unknown = _ratios(wanted, candidate, register)
    if not found:
        return Closeness(float("nan"), CANNOT, f"not known of both: {', '.join(unknown)}" if unknown else CANNOT)
    distance = float(np.sqrt(np.mean(np.square(np.log(list(found.values()))))))
    kind = next(name for most, name in CLASSES if distance <= np.log(most) + 1e-12)
    words = ", ".join(f"{name} {100 * (ratio - 1):+.0f} %" for name, ratio in found.items())
    return Closeness(distance, kind, words + (f"; not known of both: {', '.join(unknown)}" if unknown else ""))


def _ratios(wanted: str, candidate: str, register: Register) -> tuple[dict[str, float], list[str]]:
    """(candidate over wanted by what is compared, what is not known of both)."""
    old, new = register.type(wanted), register.type(candidate)
    if "rectifier" in old.kind and "rectifier" in new.kind:
        amps = min((one.drop_at_ma for one in (old, new) if one.drop_at_ma), default=None)
        drops = [rectifier_drop_v(one, amps) if amps else None for one in (old, new)]
        name = f"drop at {amps:g} mA" if amps else "drop"
        return ({name: drops[1] / drops[0]}, []) if all(drops) else ({}, [name])
    common = [one for one in register.sections(wanted) if one in register.sections(candidate)] or [""]
    found, unknown = {}, []
    for section in common:
        for column, name in COMPARED.items():
            pair = [register.value(one, column, section).value for one in (wanted, candidate)]
            label = f"{section} {name}".strip()
            if all(pair):
                found[label] = pair[1] / pair[0]
            elif any(pair):
                unknown.append(label)
    return found, unknown
