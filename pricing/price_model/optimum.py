"""A minimum found to more digits than the arithmetic of one machine or another decides."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy import optimize

_NEWTON_STEPS = 3
# Steps of the differences: wide enough that rounding of `lost` (some 1e-11) does not reach the sixth digit.
_GRADIENT_STEP, _CURVATURE_STEP = 1e-4, 1e-2


def minimum(lost: Callable[[np.ndarray], float], start: Sequence[float], bounds: Sequence[tuple[float, float]]
            ) -> tuple[np.ndarray, np.ndarray]:
    """(point, curvature there) of the least `lost` from `start` within `bounds`, parameters of about unit size."""
    from statsmodels.tools.numdiff import approx_fprime, approx_hess3

    point = optimize.minimize(lost, start, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-13, "gtol": 1e-7}).x
    low, high = np.array(bounds, float).T
    curvature = approx_hess3(point, lost, epsilon=_CURVATURE_STEP)
    for _ in range(_NEWTON_STEPS):
        free = (point > low) & (point < high)
        gradient = approx_fprime(point, lost, epsilon=_GRADIENT_STEP, centered=True)
        step = np.zeros(len(point))
        step[free] = np.linalg.pinv(curvature[np.ix_(free, free)]) @ gradient[free]
        nearer = np.clip(point - step, low, high)
        if not lost(nearer) <= lost(point) + 1e-9:
            break
        point = nearer
    return point, approx_hess3(point, lost, epsilon=_CURVATURE_STEP)
