"""Observations of a mixed model, and linear combinations of its coefficients.

`Observations` keeps what a large history needs (a few integers and the fixed design a row); `Rows` is the same with
bases applied, as any linear combination of coefficients needs it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from scipy import sparse

from pricing.price_model.layout import Layout, RandomTerm

# scipy and LAPACK let go of the interpreter while they compute: two cores serve two pieces of work.
THREADS = 2


@dataclass(frozen=True)
class Rows:
    """Linear combinations of the coefficients, n rows: block columns, border columns, fixed columns.

    `block_codes[i]` is the block that row i touches, -1 for none.
    """

    block: sparse.csr_array
    border: sparse.csr_array
    fixed: np.ndarray
    block_codes: np.ndarray

    @classmethod
    def of(cls, layout: Layout, terms: list[RandomTerm], fixed: np.ndarray) -> Rows:
        """Rows of items described by `terms` and the fixed design."""
        return Observations.of(layout, terms, fixed).rows()

    @classmethod
    def outside_blocks(cls, layout: Layout, n: int, border: sparse.csr_array | None = None,
                       fixed: np.ndarray | None = None) -> Rows:
        """n rows that touch no block; what is not given is zero."""
        return cls(
            sparse.csr_array((n, layout.n_block_columns)),
            sparse.csr_array((n, layout.n_border)) if border is None else border,
            np.zeros((n, layout.n_fixed)) if fixed is None else fixed, np.full(n, -1),
        )

    def __len__(self) -> int:
        return len(self.fixed)

    def __sub__(self, other: Rows) -> Rows:
        """Differences, row by row, of rows that touch the same blocks."""
        return Rows(
            (self.block - other.block).tocsr(), (self.border - other.border).tocsr(), self.fixed - other.fixed,
            self.block_codes,
        )

    def take(self, at: np.ndarray) -> Rows:
        """The rows at these places."""
        return Rows(self.block[at], self.border[at], self.fixed[at], self.block_codes[at])

    def times(self, coefficients: np.ndarray) -> np.ndarray:
        """Each row's combination of coefficients (all of them, or a matrix with one set a column)."""
        first = self.block.shape[1]
        second = first + self.border.shape[1]
        return (self.block @ coefficients[:first] + self.border @ coefficients[first:second]
                + self.fixed @ coefficients[second:])

    @classmethod
    def stack(cls, parts: list[Rows]) -> Rows:
        """Rows one below another."""
        return cls(
            sparse.vstack([part.block for part in parts]).tocsr(),
            sparse.vstack([part.border for part in parts]).tocsr(),
            np.concatenate([part.fixed for part in parts]), np.concatenate([part.block_codes for part in parts]),
        )


@dataclass(frozen=True)
class Observations:
    """The design of n observations: raw columns by term (-1: none), fixed design x (n by p), and block."""

    layout: Layout
    block: np.ndarray
    border: np.ndarray
    x: np.ndarray
    block_codes: np.ndarray

    @classmethod
    def of(cls, layout: Layout, terms: list[RandomTerm], x: np.ndarray) -> Observations:
        """Observations of the terms whose fixed design is x."""
        codes = layout.block_codes(terms) if layout.block is not None else np.full(len(x), -1)
        block, border = (layout.raw_columns(terms, inside) for inside in (True, False))
        return cls(layout, block.reshape(len(x), -1), border.reshape(len(x), -1), x, codes.astype(np.int32))

    def __len__(self) -> int:
        return len(self.x)

    def take(self, at: np.ndarray | slice) -> Observations:
        """The observations at these places."""
        return Observations(self.layout, self.block[at], self.border[at], self.x[at], self.block_codes[at])

    def pieces(self, size: int) -> list[slice]:
        """Slices of at most `size` observations."""
        return [slice(start, start + size) for start in range(0, max(len(self), 1), size)]

    def rows(self) -> Rows:
        """The same with bases applied."""
        layout = self.layout
        return Rows(
            (indicators(self.block, layout.block_basis.shape[0]) @ layout.block_basis).tocsr(),
            (indicators(self.border, layout.border_basis.shape[0]) @ layout.border_basis).tocsr(),
            self.x, self.block_codes,
        )

    def times(self, coefficients: np.ndarray) -> np.ndarray:
        """As `Rows.times`, without making the rows."""
        layout = self.layout
        first = layout.n_block_columns
        second = first + layout.n_border
        return (_sum_of_raw(self.block, layout.block_basis @ coefficients[:first])
                + _sum_of_raw(self.border, layout.border_basis @ coefficients[first:second])
                + self.x @ coefficients[second:])


def indicators(raw: np.ndarray, n_raw: int, weights: np.ndarray | None = None) -> sparse.csr_array:
    """n by n_raw: one (or the row's weight) where a row has a raw column."""
    there = raw >= 0
    counts = there.sum(1)
    starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.int32)
    data = np.ones(starts[-1]) if weights is None else np.repeat(weights, counts)
    return sparse.csr_array((data, raw[there], starts), shape=(len(raw), n_raw))


def in_threads(function: Callable[[Any], Any], parts: Iterable[Any]) -> list[Any]:
    """function of each part, in order; the parts, not the number of cores, decide the arithmetic."""
    parts = list(parts)
    if len(parts) == 1:
        return [function(parts[0])]
    return list(_pool().map(function, parts))


@cache
def _pool() -> ThreadPoolExecutor:
    """The same threads throughout: new ones each time would scatter memory."""
    return ThreadPoolExecutor(THREADS)


def _sum_of_raw(raw: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Sum of the values at each row's raw columns; `values` by raw column, or a column a set of coefficients."""
    padded = np.concatenate([values, np.zeros((1, *values.shape[1:]))])  # -1 takes the last: nothing
    out = np.zeros((len(raw), *values.shape[1:]))
    for column in raw.T:
        out += padded[column]
    return out
