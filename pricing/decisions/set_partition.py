"""Which tubes to sell together: the partition into sets that earns most, every set within the tolerance.

A set packing problem (Garfinkel & Nemhauser, Integer Programming, 1972, ch. 8). Its linear relaxation prices every
tube; with these prices `set_search` goes through the packings. Where all sets within the tolerance can be listed, its
result is exact; where they are too many, sets come from column generation (Gilmore & Gomory, Operations Research 9,
1961), and an upper bound on every partition (Farley, Operations Research 38, 1990) stands beside the result.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import comb, gcd, inf

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csc_array, csr_array
from scipy.sparse.csgraph import connected_components

from pricing.decisions.set_search import Packing, SetSearch

# Sets listed in full up to so many; a pool of 36 tubes has 58,905 fours.
MOST_LISTED = 60_000
# A spread is within the tolerance when it is no more than rounding above it.
ROUNDING = 1e-9
_ROUNDS, _COLUMNS_A_ROUND = 400, 400
_FIRST_WIDTH, _WIDER = 200, 8
_PART = 16  # tubes of a part solved anew


@dataclass(frozen=True)
class Partition:
    """`sets`: positions of the tubes sold together, singles too, every tube in one of them; `value` what they earn, and
    `bound` what no partition can exceed, in cents. `proven`: none earns more. `tightest`: none that earns as much has
    larger sets of less spread in all, nor as tight ones with tighter smaller sets.
    """

    sets: tuple[tuple[int, ...], ...]
    value: int
    bound: int
    proven: bool
    tightest: bool


def spread_pct(values: np.ndarray) -> np.ndarray:
    """Largest less smallest, in percent of the mean, along the last axis."""
    values = np.asarray(values, float)
    return 100 * (values.max(axis=-1) - values.min(axis=-1)) / values.mean(axis=-1)


def use_of_tolerance(measures: np.ndarray, tolerances_pct: Sequence[float], sets: np.ndarray) -> np.ndarray:
    """Spread of every set over its tolerance, the worst measure counting; up to 1 is within. `measures` (tubes by
    measures), `sets` (sets by size, positions)."""
    uses = [_ratio(spread_pct(measures[sets, at]), tolerance) for at, tolerance in enumerate(tolerances_pct)]
    return np.max(uses, axis=0) if uses else np.zeros(len(sets))


def best_partition(
    measures: np.ndarray,
    tolerances_pct: Sequence[float],
    prices: Mapping[int, int],
    *,
    seconds: float = 8.0,
    most_listed: int = MOST_LISTED,
) -> Partition:
    """The partition of tubes into sets that earns most, the tightest among equals.

    `measures` (tubes by measures, all above zero), the widest spread of each measure within a set in percent of the
    set's mean, and the price in cents of a set of each size (1: a single; 0 where it is missing). A set that brings no
    more than its tubes alone is not made. `seconds` is about what the search may take in all.
    """
    measures = np.asarray(measures, float).reshape(len(measures), len(tolerances_pct))
    single = prices.get(1, 0)
    gains = {size: price - size * single for size, price in sorted(prices.items(), reverse=True)
             if size > 1 and price > size * single}
    pools = _pools(measures, tolerances_pct, max(gains, default=1))
    end = time.monotonic() + seconds
    sets: list[tuple[int, ...]] = []
    gain, bound, tightest = 0, 0, True
    for done, pool in enumerate(pools):
        share = max(end - time.monotonic(), 0.0) * len(pool) / sum(len(one) for one in pools[done:])
        found, best, upper, tight = _pack(measures[pool], tolerances_pct, gains, share, most_listed)
        sets += [tuple(int(pool[at]) for at in one) for one in found]
        gain, bound, tightest = gain + best, bound + upper, tightest and tight
    grouped = {at for one in sets for at in one}
    sets += [(at,) for at in range(len(measures)) if at not in grouped]
    alone = single * len(measures)
    ordered = tuple(sorted(sets, key=lambda one: (-len(one), one)))
    return Partition(ordered, alone + gain, alone + bound, gain == bound, tightest)


def _ratio(spread: np.ndarray, tolerance: float) -> np.ndarray:
    if tolerance > 0:
        return spread / tolerance
    return np.where(spread > ROUNDING, inf, 0.0)


def _widest(size: int, tolerance_pct: float, *, surely: bool) -> float:
    """Largest over smallest that a set of `size` can have within the tolerance or, `surely`, has if every set has it.

    From (b - a) <= t * mean, the mean between (a (size - 1) + b) / size and (a + b (size - 1)) / size.
    """
    t = tolerance_pct / 100
    high, low = (1 / size, (size - 1) / size) if surely else ((size - 1) / size, 1 / size)
    return inf if t * high >= 1 else (1 + t * low) / (1 - t * high)


def _pools(measures: np.ndarray, tolerances_pct: Sequence[float], size: int) -> list[np.ndarray]:
    """Tubes that may share sets, largest pool last: connected pieces of the graph of tubes near enough to each
    other."""
    if not len(measures):
        return []
    near = np.ones((len(measures), len(measures)), bool)
    for at, tolerance in enumerate(tolerances_pct):
        values = measures[:, at]
        near &= values[None, :] <= values[:, None] * (_widest(size, tolerance, surely=False) + ROUNDING)
    near &= near.T
    _, labels = connected_components(csr_array(near), directed=False)
    return sorted((np.flatnonzero(labels == label) for label in np.unique(labels)), key=len)


def _pack(measures, tolerances, gains, seconds, most_listed, mend=True):
    """(sets that gain, their gain, an upper bound of it, whether proven tightest) within one pool."""
    n = len(measures)
    gains = {size: gain for size, gain in gains.items() if size <= n}
    if n < 2 or not gains:
        return [], 0, 0, True
    end = time.monotonic() + seconds
    listed = sum(_most_sets(measures, tolerances, size) for size in gains) <= most_listed
    if listed:
        columns = [one for size in gains for one in _all_sets(measures, tolerances, size)]
        y = _dual_prices(n, columns, gains)
    else:
        columns, y = _generated(measures, tolerances, gains, time.monotonic() + 0.5 * seconds)
    if not columns:
        return [], 0, 0, True
    search = SetSearch.of(measures, tolerances, gains, columns, y)
    upper, step = _reachable(y.sum(), gains, n), gcd(*gains.values())
    best = search.run(_FIRST_WIDTH, 0)
    if not listed:
        if mend:
            best = _mended(measures, tolerances, gains, best, upper, end)
        return best.sets, best.gain, upper, False
    best, upper = _more(search, best, upper, step, gains, min(end, time.monotonic() + 0.5 * seconds))
    if best.gain < upper and mend:
        best = _mended(measures, tolerances, gains, best, upper, time.monotonic() + 0.2 * seconds)
        best, upper = _more(search, best, upper, step, gains, end)
    best, whole = _tightest(search, best, end)
    return best.sets, best.gain, upper, whole and best.gain == upper


def _more(search, best, upper, step, gains, end):
    """(the packing of most gain met, an upper bound), looking with more and more room for at least `step` more than the
    best so far: what cannot gain it is dropped early, so that none being left is soon proven."""
    width = _FIRST_WIDTH
    while best.gain < upper:
        begun = time.monotonic()
        found = search.run(width, best.gain + step)
        best = found if found.gain > best.gain else best
        if found.whole:
            return best, best.gain
        # a packing that was dropped for want of room gains no more than the prices less its slack
        upper = min(upper, max(best.gain, _reachable(search.y.sum() - found.missed, gains, len(search.y))))
        width *= _WIDER
        if time.monotonic() + (time.monotonic() - begun) * _WIDER > end:
            break
    return best, upper


def _tightest(search, best, end):
    """(the tightest packing met that gains as much, whether none is tighter)."""
    width = _FIRST_WIDTH
    while True:
        begun = time.monotonic()
        found = search.run(width, best.gain)
        best = min(best, found, key=lambda one: one.key)
        if found.whole:
            return best, True
        width *= _WIDER
        if time.monotonic() + (time.monotonic() - begun) * _WIDER > end:
            return best, False


def _dual_prices(n, columns, gains) -> np.ndarray:
    """A price of every tube such that no set gains more than its tubes' prices together, at the least sum."""
    if not columns:
        return np.zeros(n)
    gain = np.array([gains[len(one)] for one in columns], float)
    incidence = _incidence(n, columns)
    solved = linprog(-gain, A_ub=incidence, b_ub=np.ones(n), bounds=(0, None), method="highs")
    y = np.maximum(-solved.ineqlin.marginals, 0)
    return y / min(1.0, float(((incidence.T @ y) / gain).min()))


def _mended(measures, tolerances, gains, packing, upper, end):
    """The packing after solving parts of it anew until it gains `upper` or time is up: a tube in a small set, or alone,
    with the sets around it, all their sets listed (large neighbourhood search, Shaw, CP-98, 1998)."""
    sets, n, rng = set(packing.sets), len(measures), np.random.default_rng(1)
    near, gain, largest = np.log(measures) / _scale(tolerances), packing.gain, max(gains)
    while gain < upper and time.monotonic() < end:
        of_tube = {at: one for one in sets for at in one}
        poor = [at for at in range(n) if len(of_tube.get(at, (at,))) < largest]
        if not poor:
            break
        centre = rng.choice(poor)
        distance = np.abs(near - near[centre]).max(axis=1) * rng.uniform(0.5, 1.5, n)
        distance[poor] *= 0.3
        part: set[int] = set()
        for at in np.argsort(distance):
            if len(part) >= _PART:
                break
            part |= set(of_tube.get(int(at), (int(at),)))
        tubes = np.array(sorted(part))
        old = {one for one in sets if one[0] in part}
        found, _, _, _ = _pack(measures[tubes], tolerances, gains, 0.3, MOST_LISTED, mend=False)
        new = {tuple(tubes[list(one)].tolist()) for one in found}
        more = sum(gains[len(one)] for one in new) - sum(gains[len(one)] for one in old)
        if more >= 0:
            sets, gain = (sets - old) | new, gain + more
    return _packing(sorted(sets), measures, tolerances, gains)


def _packing(sets, measures, tolerances, gains) -> Packing:
    """The packing of these sets."""
    use = [sum(float(use_of_tolerance(measures, tolerances, np.array([one]))[0]) for one in sets if len(one) == size)
           for size in sorted(gains, reverse=True)]
    return Packing(sets, sum(gains[len(one)] for one in sets), tuple(use), inf)


def _scale(tolerances: Sequence[float]) -> np.ndarray:
    return np.maximum(np.asarray(tolerances, float) / 100, 1e-6)


def _reachable(bound: float, gains: Mapping[int, int], n: int) -> int:
    """The most that whole numbers of sets can gain up to `bound`: no packing gains what no counts of sets add up to."""
    best = {0: 0}  # gain: the fewest tubes it takes
    for size, gain in gains.items():
        for total, tubes in list(best.items()):
            for count in range(1, (n - tubes) // size + 1):
                more = total + count * gain
                if more <= bound + 1e-6 and tubes + count * size < best.get(more, n + 1):
                    best[more] = tubes + count * size
    return max(best)


def _incidence(n: int, columns: Sequence[tuple[int, ...]]) -> csc_array:
    """Tubes by sets."""
    starts = np.cumsum([0, *(len(one) for one in columns)])
    rows = np.fromiter(itertools.chain.from_iterable(columns), int, starts[-1])
    return csc_array((np.ones(len(rows)), rows, starts), shape=(n, len(columns)))


def _windows(measures: np.ndarray, tolerances: Sequence[float], size: int, *, surely: bool):
    """For every tube as the lowest of its set in the first measure: the positions that may join it."""
    limits = [_widest(size, tolerance, surely=surely) for tolerance in tolerances]
    order = np.lexsort(measures.T[::-1])
    place = np.empty(len(order), int)
    place[order] = np.arange(len(order))
    for lowest in range(len(measures)):
        first, *others = measures[lowest]
        joins = (place > place[lowest]) & (measures[:, 0] <= first * limits[0] + ROUNDING)
        for at, value in enumerate(others, start=1):
            joins &= (measures[:, at] <= value * limits[at] + ROUNDING) & (
                value <= measures[:, at] * limits[at] + ROUNDING)
        yield lowest, np.flatnonzero(joins)


def _most_sets(measures, tolerances, size) -> int:
    """No more sets of this size than this."""
    return sum(comb(len(joins), size - 1) for _, joins in _windows(measures, tolerances, size, surely=False))


def _all_sets(measures, tolerances, size) -> list[tuple[int, ...]]:
    """Every set of this size within the tolerance."""
    found = []
    for lowest, joins in _windows(measures, tolerances, size, surely=False):
        if len(joins) < size - 1:
            continue
        others = np.array(list(itertools.combinations(joins.tolist(), size - 1)), int)
        sets = np.column_stack([np.full(len(others), lowest), others])
        found.append(sets[use_of_tolerance(measures, tolerances, sets) <= 1 + ROUNDING])
    return [tuple(sorted(one)) for sets in found for one in sets.tolist()]


def _generated(measures, tolerances, gains, end):
    """(sets worth having, prices of tubes as in `_dual_prices` for every set there is), by column generation until
    `end`.

    A round finds, for the dual price y of every tube, the cheapest set of each size in every window of the measures. In
    windows that hold every set within tolerance, the least sum of y over a set's gain, theta, makes y / theta feasible
    for the dual of the whole problem, so that sum(y) / theta is a bound (Farley).
    """
    n = len(measures)
    inside = {size: list(_rectangles(measures, tolerances, size, surely=True)) for size in gains}
    around = {size: list(_rectangles(measures, tolerances, size, surely=False)) for size in gains}
    columns: dict[tuple[int, ...], None] = dict.fromkeys(_neighbours(measures, tolerances, gains))
    prices = np.full(n, max(gain / size for size, gain in gains.items()))
    for _ in range(_ROUNDS):
        known = list(columns)
        gain = np.array([gains[len(one)] for one in known], float)
        y = np.full(n, max(gain / size for size, gain in gains.items()))
        if known:
            solved = linprog(-gain, A_ub=_incidence(n, known), b_ub=np.ones(n), bounds=(0, None), method="highs")
            y = np.maximum(-solved.ineqlin.marginals, 0)
        theta, new = 1.0, []
        for size, each in gains.items():
            cheapest, sets = _cheapest(around[size], y, size)
            theta = min(theta, cheapest / each)
            more = _cheapest(inside[size], y, size)[1]
            sets = np.unique(np.concatenate([sets, more]), axis=0)
            sets = sets[use_of_tolerance(measures, tolerances, sets) <= 1 + ROUNDING]
            missing = each - y[sets].sum(axis=1)
            order = np.argsort(-missing)[:_COLUMNS_A_ROUND]
            new += [tuple(sets[at].tolist()) for at in order if missing[at] > 1e-7 * each]
        if theta > 0 and y.sum() / theta < prices.sum():
            prices = y / theta
        new = [one for one in new if one not in columns]
        columns.update(dict.fromkeys(new))
        if not new or time.monotonic() > end:
            break
    return list(columns), prices


def _rectangles(measures, tolerances, size, *, surely):
    """(lowest tube, the positions that may join it, which of them fall in each window of the other measures)."""
    for lowest, joins in _windows(measures, tolerances, size, surely=surely):
        if len(joins) < size - 1:
            continue
        allowed = np.ones((1, len(joins)), bool)
        for at in range(1, len(tolerances)):
            limit = _widest(size, tolerances[at], surely=surely)
            values, own = measures[joins, at], measures[lowest, at]
            starts = np.unique(np.append(values[values <= own], own))
            starts = starts[own <= starts * limit + ROUNDING]
            window = (values[None, :] >= starts[:, None]) & (values[None, :] <= starts[:, None] * limit + ROUNDING)
            allowed = (allowed[:, None, :] & window[None, :, :]).reshape(-1, len(joins))
        allowed = np.unique(allowed[allowed.sum(axis=1) >= size - 1], axis=0)
        if len(allowed):
            yield lowest, joins, allowed


def _cheapest(rectangles, y, size):
    """(least sum of y over a set in any window, the cheapest set of every window)."""
    least, sets = inf, [np.empty((0, size), int)]
    for lowest, joins, allowed in rectangles:
        order = np.argsort(y[joins], kind="stable")
        ranked = allowed[:, order]
        picked = ranked & (np.cumsum(ranked, axis=1) < size)
        others = joins[order][np.nonzero(picked)[1].reshape(-1, size - 1)]
        least = min(least, float(y[lowest] + y[others].sum(axis=1).min()))
        sets.append(np.sort(np.column_stack([np.full(len(others), lowest), others]), axis=1))
    return least, np.unique(np.concatenate(sets), axis=0)


def _neighbours(measures, tolerances, gains) -> list[tuple[int, ...]]:
    """Runs of neighbours in each measure that are within tolerance: what the search begins with."""
    found = []
    for at in range(measures.shape[1]):
        order = np.argsort(measures[:, at], kind="stable")
        for size in gains:
            runs = np.sort(np.lib.stride_tricks.sliding_window_view(order, size), axis=1)
            found += [tuple(one) for one in runs[use_of_tolerance(measures, tolerances, runs) <= 1 + ROUNDING].tolist()]
    return found
