"""Price against quality: what nothing else beats on both, how sure that is, and what a point of quality costs."""

from __future__ import annotations

import numpy as np


def undominated(price: np.ndarray, quality: np.ndarray) -> np.ndarray:
    """Whether no other costs as little and is as good, one of the two strictly; along the last axis.

    Two alike in both do not rule each other out.
    """
    price, quality = np.broadcast_arrays(np.asarray(price, float), np.asarray(quality, float))
    if not price.shape[-1]:
        return np.zeros(price.shape, bool)
    order = np.lexsort((-quality, price))
    p, q = np.take_along_axis(price, order, -1), np.take_along_axis(quality, order, -1)
    best_before = np.maximum.accumulate(q, -1)
    front = np.concatenate([np.ones_like(q[..., :1], bool), q[..., 1:] > best_before[..., :-1]], -1)
    alike = np.zeros_like(front)
    alike[..., 1:] = (p[..., 1:] == p[..., :-1]) & (q[..., 1:] == q[..., :-1])
    first = np.maximum.accumulate(np.where(alike, 0, np.arange(p.shape[-1])), -1)
    out = np.empty_like(front)
    np.put_along_axis(out, order, np.take_along_axis(front, first, -1), -1)
    return out


def cost_per_point(price: np.ndarray, quality: np.ndarray, base: float) -> np.ndarray:
    """Price over quality above the base; infinite at or below it."""
    above = quality - base
    return np.where(above > 0, price / np.where(above > 0, above, 1.0), np.inf)


def by_family(families: np.ndarray, function, *arrays: np.ndarray) -> np.ndarray:
    """function of the arrays' columns of each family, put back in place (last axis)."""
    out = np.zeros(arrays[0].shape, bool)
    for family in np.unique(families):
        at = families == family
        out[..., at] = function(*(array[..., at] for array in arrays))
    return out


def lowest(cost: np.ndarray) -> np.ndarray:
    """Whether each is the lowest along the last axis, and finite."""
    return (cost == cost.min(-1, keepdims=True)) & np.isfinite(cost)


def draw_normal(mean: np.ndarray, covariance: np.ndarray, n: int, rng: np.random.Generator) -> np.ndarray:
    """n joint draws (n by items); a covariance short of full rank is no hindrance."""
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    return mean + rng.standard_normal((n, len(mean))) @ root.T
