"""Where the names of a chart's points stand, so that they cover neither each other nor the points."""

from __future__ import annotations

from collections.abc import Sequence

_LETTER_CM, _LINE_CM, _GAP_CM = 0.15, 0.36, 0.12  # letters of 8 points; from a point to its name


def label_places(
    named: Sequence[tuple[float, float]], names: Sequence[str], dots: Sequence[tuple[float, float]],
    width_cm: float, height_cm: float,
) -> list[str]:
    """For every named point the side its name stands on: "t", "r", "l" or "b" (above, right, left, below).

    Points are (x, y) in cm from the lower left corner of a plot of this size, `dots` those without a name; a line joins
    the named ones. Each name in turn takes the side where it covers least: names set before it and the plot's edge
    count most.
    """
    line = [(x + (next_x - x) * part / 10, y + (next_y - y) * part / 10)
            for (x, y), (next_x, next_y) in zip(named, named[1:]) for part in range(11)]
    set_before: list[tuple[float, float, float, float]] = []
    sides = []
    for (x, y), name in zip(named, names, strict=True):
        wide = _LETTER_CM * len(name)
        boxes = {
            "t": (x - wide / 2, y + _GAP_CM, x + wide / 2, y + _GAP_CM + _LINE_CM),
            "r": (x + _GAP_CM, y - _LINE_CM / 2, x + _GAP_CM + wide, y + _LINE_CM / 2),
            "l": (x - _GAP_CM - wide, y - _LINE_CM / 2, x - _GAP_CM, y + _LINE_CM / 2),
            "b": (x - wide / 2, y - _GAP_CM - _LINE_CM, x + wide / 2, y - _GAP_CM),
        }

        def covered(side: str) -> int:
            left, low, right, high = boxes[side]
            outside = left < 0 or low < 0 or right > width_cm or high > height_cm
            names_met = sum(left < other[2] and other[0] < right and low < other[3] and other[1] < high
                            for other in set_before)
            points_met = sum(left - _GAP_CM < px < right + _GAP_CM and low - _GAP_CM < py < high + _GAP_CM
                             for px, py in dots) + 2 * sum(left < px < right and low < py < high for px, py in line)
            return 100 * (names_met + outside) + points_met

        side = min(boxes, key=covered)  # the first of equals
        sides.append(side)
        set_before.append(boxes[side])
    return sides
