"""The search for the best packing: tube by tube, states that used the same tubes merged, hopeless ones dropped."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np


@dataclass(frozen=True)
class Packing:
    """`sets` chosen, what they gain, how much of the tolerance they use by size (largest first), and `missed`: the
    least slack of a state that was dropped for want of room, infinite where none was."""

    sets: list[tuple[int, ...]]
    gain: int
    use: tuple[float, ...]
    missed: float

    @property
    def whole(self) -> bool:
        """No state was dropped that could have led to as much."""
        return self.missed == inf

    @property
    def key(self) -> tuple:
        """Smaller is better: more gain, then tighter large sets, then tighter small ones."""
        return (-self.gain, *(round(use, 9) for use in self.use))


@dataclass(frozen=True)
class SetSearch:
    """Sets to choose from, by the first tube of each in `order`.

    Dynamic programming over the tubes in order of their first measure: a state is which later tubes are taken. `y`
    prices the tubes so that no set gains more than its tubes cost; what a choice falls short of that is its slack, and
    a state whose slack exceeds sum(y) less a gain already found cannot lead to as much.
    """

    sets: np.ndarray  # sets by words: the tubes of each as bits, in order
    tubes: list[tuple[int, ...]]  # the same as positions
    first: list[np.ndarray]  # by place in order: the sets that begin there, least slack first
    gain: np.ndarray
    slack: np.ndarray
    use: np.ndarray  # sets by sizes, largest size first: tolerance used, in the column of the set's size
    y: np.ndarray  # in order

    @classmethod
    def of(cls, measures, tolerances, gains: Mapping[int, int], columns: Sequence[tuple[int, ...]], y) -> SetSearch:
        """The search among `columns`, gains by size, prices `y` by tube."""
        from pricing.decisions.set_partition import use_of_tolerance

        n = len(measures)
        order = np.lexsort(measures.T[::-1])
        place = np.empty(n, int)
        place[order] = np.arange(n)
        sizes = sorted(gains, reverse=True)
        tubes = sorted(columns, key=len, reverse=True)
        use = np.zeros((len(tubes), len(sizes)))
        bits = np.zeros((len(tubes), -(-n // 64)), np.uint64)
        lowest = np.empty(len(tubes), int)
        slack, gain = np.empty(len(tubes)), np.array([gains[len(one)] for one in tubes])
        start = 0
        for at, size in enumerate(sizes):
            block = np.array([one for one in tubes[start:] if len(one) == size], int).reshape(-1, size)
            rows = slice(start, start + len(block))
            use[rows, at] = use_of_tolerance(measures, tolerances, block) if len(block) else 0
            places = place[block]
            for column in places.T:
                one = np.uint64(1) << (column % 64).astype(np.uint64)
                bits[np.arange(start, start + len(block)), column // 64] |= one
            lowest[rows] = places.min(axis=1)
            slack[rows] = y[block].sum(axis=1) - gain[rows]
            start += len(block)
        by_slack = np.lexsort((use.sum(axis=1), slack))
        first = [by_slack[lowest[by_slack] == at] for at in range(n)]
        return cls(bits, tubes, first, gain, np.maximum(slack, 0), use, y[order])

    def run(self, width: int, at_least: int) -> Packing:
        """The best packing met with at most `width` states a tube; those that cannot gain `at_least` are dropped."""
        n, words = len(self.y), self.sets.shape[1]
        budget = self.y.sum() - at_least + 1e-6
        used = np.zeros((1, words), np.uint64)
        slack, gain, use = np.zeros(1), np.zeros(1, np.int64), np.zeros((1, self.use.shape[1]))
        missed, history = inf, []
        for at in range(n):
            word, bit = at // 64, np.uint64(1) << np.uint64(at % 64)
            taken = (used[:, word] & bit) != 0
            alone = slack + np.where(taken, 0.0, self.y[at])
            kept = np.flatnonzero(alone <= budget)
            parents, chosen = [kept], [np.full(len(kept), -1)]
            slacks = [alone[kept]]
            free = np.flatnonzero(~taken)
            options = self.first[at]
            if len(free) and len(options):
                options = options[self.slack[options] + slack[free].min() <= budget]
                for part in range(0, len(options), 256):
                    some = options[part:part + 256]
                    fits = self.slack[some][None, :] + slack[free][:, None] <= budget
                    for one in range(words):
                        fits &= (used[free, one][:, None] & self.sets[some, one][None, :]) == 0
                    rows, columns = np.nonzero(fits)
                    parents.append(free[rows])
                    chosen.append(some[columns])
                    slacks.append(slack[free[rows]] + self.slack[some[columns]])
            parent, pick = np.concatenate(parents), np.concatenate(chosen)
            slack = np.concatenate(slacks)
            if len(parent) > 40 * width:  # far more than can stay: the least slack goes on to be compared
                near = np.argpartition(slack, 40 * width)
                missed = min(missed, slack[near[40 * width:]].min())
                near = near[:40 * width]
                parent, pick, slack = parent[near], pick[near], slack[near]
            made = pick >= 0
            used, gain, use = used[parent], gain[parent], use[parent]
            used[made] |= self.sets[pick[made]]
            gain[made] += self.gain[pick[made]]
            use[made] += self.use[pick[made]]
            best = _best_of_equals(_later(used, at + 1), gain, use)
            if len(best) > width:
                ranked = best[np.lexsort((*use[best].T[::-1], slack[best]))]
                best, missed = ranked[:width], min(missed, slack[ranked[width:]].min())
            used, slack, gain, use = used[best], slack[best], gain[best], use[best]
            history.append((parent[best], pick[best]))
        return self._traced(history, gain, use, missed)

    def _traced(self, history, gain, use, missed) -> Packing:
        """The packing behind the best last state; without one (all dropped) an empty packing."""
        if not len(gain):
            return Packing([], 0, tuple(np.zeros(self.use.shape[1])), missed)
        state = int(np.lexsort((*np.round(use, 9).T[::-1], -gain))[0])
        best_gain, best_use = int(gain[state]), tuple(use[state])
        sets = []
        for parent, pick in reversed(history):
            if pick[state] >= 0:
                sets.append(self.tubes[pick[state]])
            state = int(parent[state])
        return Packing(sets, best_gain, best_use, missed)


def _later(used: np.ndarray, at: int) -> np.ndarray:
    """Bits of the tubes from place `at` on."""
    later = used.copy()
    later[:, :at // 64] = 0
    if at // 64 < used.shape[1] and at % 64:
        later[:, at // 64] &= ~((np.uint64(1) << np.uint64(at % 64)) - np.uint64(1))
    return later


def _best_of_equals(later: np.ndarray, gain: np.ndarray, use: np.ndarray) -> np.ndarray:
    """Of the states that have used the same later tubes the one that gains most, the tightest of equals."""
    order = np.lexsort((*np.round(use, 9).T[::-1], -gain, *later.T))
    ranked = later[order]
    new = np.ones(len(order), bool)
    new[1:] = (ranked[1:] != ranked[:-1]).any(axis=1)
    return order[new]
