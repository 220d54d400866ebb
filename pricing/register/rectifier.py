"""The voltage a rectifier loses at the current the circuit really draws."""

from __future__ import annotations

import math

from .tube_type import TubeType


def rectifier_drop_v(tube: TubeType, current_ma: float) -> float | None:
    """Estimated drop in volts of one conducting plate at `current_ma`; None when no drop is known for the
    type.

    Vacuum types follow the three-halves law of a space-charge limited diode, I = k V**1.5, so
    V = V0 (I / I0)**(2/3) from one printed point (Child 1911, Langmuir 1913). Mercury vapour types hold a
    constant drop. An estimate: sheets print one point, tubes spread about it. ValueError for a current that
    is negative or not finite.
    """
    if not math.isfinite(current_ma) or current_ma < 0:
        raise ValueError(f"current_ma must be a finite number, nought or more; got {current_ma!r}")
    if tube.drop_v_at_idc is None:
        return None
    if tube.drop_law == "constant":
        return tube.drop_v_at_idc
    read_at_ma = tube.drop_at_ma or tube.idc_max_ma
    if read_at_ma is None:
        return None
    return tube.drop_v_at_idc * (current_ma / read_at_ma) ** (2 / 3)
