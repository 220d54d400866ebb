"""What is put in place of what, closed over the types whose sales are pooled."""

from __future__ import annotations

from collections import defaultdict, deque
from dataclasses import dataclass
from typing import Callable

from .tube_type import TubeType

# Classes that say two names stand for the same electrodes and limits: such links may be passed through.
SAME = ("same type, other designation", "same limits, other rating system")
CLASSES = SAME + (
    "direct, higher ratings", "direct, lower ratings: check", "direct, limits not known: check",
    "same electrodes, other heater supply: rewire", "same electrodes, other base: socket adapter",
    "similar, circuit change", "not a substitute",
)
COMPARED = (
    "heater_v", "heater_a", "warmup_s", "va_max_v", "pa_max_w_section", "pa_max_w_total", "vg2_max_v",
    "pg2_max_w", "ik_max_ma", "vhk_max_v", "vhk_heater_positive_max_v", "rg1_max_fixed_bias_ohm",
    "rg1_max_cathode_bias_ohm", "mu", "gm_ma_v", "rp_ohm", "piv_max_v", "ia_peak_max_ma", "idc_max_ma",
    "idc_cap_input_max_ma", "winding_max_v", "first_cap_max_uf", "plate_supply_min_ohm",
    "drop_v_at_idc", "drop_at_ma", "base", "basing", "rating_system",
)


@dataclass(frozen=True)
class RatingDifference:
    """One column that differs; None or "" where nobody knows the value."""

    column: str
    from_value: float | str | None
    to_value: float | str | None


@dataclass(frozen=True)
class Substitution:
    """`to_canonical` put into a circuit built for `from_canonical`.

    `substitution_class` is one of CLASSES, a candidate's class and never a promise; `differing` lists the
    ratings of the two canonical types that are not equal. `through` names the types passed through when the
    pair is not listed itself but follows from a same-type link.
    """

    from_canonical: str
    to_canonical: str
    substitution_class: str
    reason: str
    basis: str
    source: str
    differing: tuple[RatingDifference, ...]
    through: tuple[str, ...] = ()


@dataclass(frozen=True)
class Link:
    """One listed row, by canonical types and in one direction."""

    start: str
    end: str
    substitution_class: str
    reason: str
    basis: str
    source: str


def rating_differences(old: TubeType, new: TubeType) -> tuple[RatingDifference, ...]:
    """The compared columns in which two types are not equal, also where only one side is known."""
    return tuple(RatingDifference(column, getattr(old, column), getattr(new, column))
                 for column in COMPARED if getattr(old, column) != getattr(new, column))


def links_of(rows: list[dict[str, str]], canonical: Callable[[str], str]) -> dict[str, list[Link]]:
    """Listed substitutions by canonical start; "both" counts in each direction, "one-way" in its own only.

    Rows inside one canonical type say that two names are one, which the canonical type says already: left
    out.
    """
    links: dict[str, list[Link]] = defaultdict(list)
    for row in rows:
        start, end = canonical(row["from_type"]), canonical(row["to_type"])
        if start == end:
            continue
        rest = row["class"], row["reason"], row["basis"], row["source"]
        pairs = [(start, end)] + ([(end, start)] if row["direction"] == "both" else [])
        for a, b in pairs:
            if all(link.end != b for link in links[a]):
                links[a].append(Link(a, b, *rest))
    return dict(links)


def reached(links: dict[str, list[Link]], start: str) -> list[tuple[Link, tuple[Link, ...]]]:
    """(deciding link, whole path) for every type reachable from `start`, the listed pairs first.

    A path may pass through any number of SAME links and one link of another class, which decides; 7025
    reaches 12AX7 by way of 12AX7A. The shortest path to a type wins.
    """
    best: dict[str, tuple[Link, tuple[Link, ...]]] = {}
    queue: deque[tuple[str, Link | None, tuple[Link, ...]]] = deque([(start, None, ())])
    seen = {(start, False)}
    while queue:
        at, deciding, path = queue.popleft()
        for link in links.get(at, ()):
            same = link.substitution_class in SAME
            if link.end == start or (deciding is not None and not same):
                continue
            now = deciding if same else link
            whole = path + (link,)
            # a chain of SAME links is as strong as its weakest: another rating system stays said
            decides = now or max(whole, key=lambda item: SAME.index(item.substitution_class))
            best.setdefault(link.end, (decides, whole))
            if (link.end, now is not None) not in seen:
                seen.add((link.end, now is not None))
                queue.append((link.end, now, whole))
    return list(best.values())
