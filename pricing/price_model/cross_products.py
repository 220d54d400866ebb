"""Cross-products of a mixed model's design, gathered in one pass over the observations.

What a fit evaluates afterwards costs the same for any number of observations. Indicators are gathered and bases
applied afterwards; the cross-products of pieces add up, so a history is gathered piece by piece.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, reduce
from operator import add

import numpy as np
from scipy import sparse

from pricing.price_model.layout import Layout
from pricing.price_model.observations import Observations, in_threads, indicators

# Small enough that the temporaries of two pieces are small beside a large history.
PIECE = 25_000


@dataclass(frozen=True)
class FixedPrior:
    """Normal prior on fixed effects, relative to the residual sd: mean m, precision (1 / sd^2; 0 is flat)."""

    mean: np.ndarray
    precision: np.ndarray


@dataclass(frozen=True)
class CrossProducts:
    """Weighted cross-products: blocks, blocks against the border, and the border with X and y as last columns."""

    layout: Layout
    block_gram: sparse.csr_array
    cross_random: sparse.csr_array
    cross_dense: np.ndarray
    border: np.ndarray
    n: int
    n_flat: int
    sum_log_weight: float

    @classmethod
    def of(
        cls, observations: Observations, y: np.ndarray, weights: np.ndarray, fixed_prior: FixedPrior | None = None
    ) -> CrossProducts:
        """Cross-products of the observations with y and weights (n vectors, weights positive)."""
        parts = in_threads(
            lambda at: _raw_products(observations.take(at), y[at], weights[at]), observations.pieces(PIECE)
        )
        block_gram, cross_random, cross_dense, border_gram, border_dense, dense_gram = (
            reduce(add, of_pieces) for of_pieces in zip(*parts)
        )
        layout, p = observations.layout, observations.x.shape[1]
        inner, outer = layout.block_basis, layout.border_basis
        border_gram, border_dense = (outer.T @ border_gram @ outer).toarray(), outer.T @ border_dense
        n_flat = p
        if fixed_prior is not None:
            n_flat = int(np.sum(fixed_prior.precision == 0))
            shifted = fixed_prior.precision * fixed_prior.mean
            at = np.arange(p)
            dense_gram[at, at] += fixed_prior.precision
            dense_gram[at, -1] += shifted
            dense_gram[-1, at] += shifted
            dense_gram[-1, -1] += fixed_prior.mean @ shifted
        return cls(
            layout, (inner.T @ block_gram @ inner).tocsr(), (inner.T @ cross_random @ outer).tocsr(),
            inner.T @ cross_dense, np.block([[border_gram, border_dense], [border_dense.T, dense_gram]]),
            len(y), n_flat, float(np.log(weights).sum()),
        )

    def __add__(self, other: CrossProducts) -> CrossProducts:
        """Cross-products of both together (a fixed prior belongs in one of them only)."""
        return CrossProducts(
            self.layout, self.block_gram + other.block_gram, self.cross_random + other.cross_random,
            self.cross_dense + other.cross_dense, self.border + other.border, self.n + other.n,
            min(self.n_flat, other.n_flat), self.sum_log_weight + other.sum_log_weight,
        )

    @cached_property
    def blocks(self) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
        """(gram n_b by n_b, cross n_b by m_b, border columns m_b) a block; the last columns are X and y."""
        starts, layout = self.layout.block_starts, self.layout
        dense_columns = np.arange(layout.n_border, layout.n_border + layout.n_fixed + 1)
        gram, cross = self.block_gram, self.cross_random
        out = []
        for low, high in zip(starts[:-1], starts[1:]):
            if high == low:
                continue
            size = high - low
            first, last = gram.indptr[low], gram.indptr[high]
            a = np.zeros((size, size))
            a[np.repeat(np.arange(size), np.diff(gram.indptr[low:high + 1])), gram.indices[first:last] - low] = (
                gram.data[first:last]
            )
            first, last = cross.indptr[low], cross.indptr[high]
            touched, local = np.unique(cross.indices[first:last], return_inverse=True)
            c = np.zeros((size, len(touched) + len(dense_columns)))
            c[np.repeat(np.arange(size), np.diff(cross.indptr[low:high + 1])), local] = cross.data[first:last]
            c[:, len(touched):] = self.cross_dense[low:high]
            out.append((a, c, np.concatenate([touched, dense_columns])))
        return out


def _raw_products(piece: Observations, y: np.ndarray, weights: np.ndarray) -> tuple:
    """Of one piece, before bases: block by block, border and dense; border by border and dense; dense by dense."""
    n_block, n_border = piece.layout.block_basis.shape[0], piece.layout.border_basis.shape[0]
    block, border = indicators(piece.block, n_block), indicators(piece.border, n_border)
    block_weighted = indicators(piece.block, n_block, weights).T.tocsr()
    border_weighted = indicators(piece.border, n_border, weights).T.tocsr()
    dense = np.column_stack([piece.x, y])
    return (
        block_weighted @ block, block_weighted @ border, block_weighted @ dense,
        border_weighted @ border, border_weighted @ dense, (dense * weights[:, None]).T @ dense,
    )
