"""What each pin of a socket is wired to, and whether one type's pins go into another's socket."""

from __future__ import annotations

from dataclasses import dataclass

_UNUSED = ("none", "internal", "shell or none")
# In a full-wave rectifier the filament, or the heater joined to the cathode, is the same two pins of the set.
_LIKE = {"filament": "heater", "heater and cathode": "heater"}


@dataclass(frozen=True)
class PinComparison:
    """`verdict`: "same", "extra connections" (the new type uses pins that the old one leaves free: check the
    socket), "differ" or "cannot check"; `pins` the pins concerned, each as (pin, old element, new
    element)."""

    verdict: str
    pins: tuple[tuple[str, str, str], ...] = ()


def compare_pins(old: dict[str, str] | None, new: dict[str, str] | None) -> PinComparison:
    """Whether the new type's pins find, in a socket wired for the old one, what they need.

    `old` and `new` map pin to element, None where the table is not known. Basing codes are names: two codes
    may hold one pin order (7AC and 7S; 5T, 5L and 5DA), so the tables are compared, not the codes.
    """
    if not old or not new:
        return PinComparison("cannot check")
    pins = sorted(set(old) | set(new), key=lambda pin: (len(pin), pin))
    wrong, extra = [], []
    for pin in pins:
        a, b = old.get(pin, "none"), new.get(pin, "none")
        if a == b or _LIKE.get(a, a) == _LIKE.get(b, b) or (a in _UNUSED and b in _UNUSED):
            continue
        if a in _UNUSED:
            extra.append((pin, a, b))
        elif b in ("none", "shell or none") and a in ("shield", "grid 2nd pin", "suppressor"):
            continue  # a shield or suppressor that is missing leaves its pin free
        else:
            wrong.append((pin, a, b))
    if wrong:
        return PinComparison("differ", tuple(wrong + extra))
    return PinComparison("extra connections", tuple(extra)) if extra else PinComparison("same")
