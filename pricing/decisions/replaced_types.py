"""Which types a piece may stand in for without a change to the circuit, by the list of substitutions."""

from __future__ import annotations

from collections.abc import Iterable

from pricing.decisions.equivalents import find_equivalents
from pricing.register import Register, load_register

_LISTED = ("same limits, other rating system", "direct, higher ratings")


def replaced_types(
    types: Iterable[str], sold: set[str], register: Register | None = None
) -> dict[str, tuple[str, ...]]:
    """For each canonical type, the types of `sold` in whose place it is listed and comes out as "straight" (no limit
    lower, main limits known, same pins: `find_equivalents`). One-way stays one-way."""
    register = register or load_register()
    asked, out = set(types), {}
    for wanted in sorted(sold & set(register.designations)):
        listed = {one.to_canonical for one in register.substitutions(wanted) if one.substitution_class in _LISTED}
        if not listed & asked:
            continue
        straight = find_equivalents(wanted, register).candidates
        straight = {register.type(name).canonical_type for name in straight.loc[straight["kind"] == "straight", "type"]}
        for name in listed & asked & straight:
            out[name] = (*out.get(name, ()), wanted)
    return out
