"""Cross-products of a mixed model's design, gathered in one pass over the observations.

What a fit evaluates afterwards costs the same for any number of observations. Indicators are gathered and bases
applied afterwards; what pieces give adds up, so a history is gathered piece by piece.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from pricing.price_model.layout import Layout
from pricing.price_model.observations import Observations, indicators

# Small enough that a piece's temporaries are small beside a large history.
PIECE = 25_000
# Each piece's sums are added to the whole, which costs more than a piece's own once there are many.
MOST_PIECES = 12


@dataclass(frozen=True)
class FixedPrior:
    """Normal prior on fixed effects, relative to the residual sd: mean m, precision (1 / sd^2; 0 is flat)."""

    mean: np.ndarray
    precision: np.ndarray


@dataclass(frozen=True)
class CrossProducts:
    """Weighted cross-products, X and y as last columns of the border.

    `blocks`: (gram n_b by n_b, cross n_b by m_b, border columns m_b) by block that has columns.
    """

    layout: Layout
    blocks: list[tuple[np.ndarray, np.ndarray, np.ndarray]]
    border: np.ndarray
    n: int
    n_flat: int
    sum_log_weight: float

    @classmethod
    def of(
        cls, observations: Observations, y: np.ndarray, weights: np.ndarray, fixed_prior: FixedPrior | None = None
    ) -> CrossProducts:
        """Cross-products of the observations with y and weights (n vectors, weights positive)."""
        total = None
        for at in observations.pieces(max(PIECE, len(y) // MOST_PIECES)):
            one = _raw_products(observations.take(at), y[at], weights[at])
            total = one if total is None else [a + b for a, b in zip(total, one)]
        block_gram, cross_random, cross_dense, border_gram, border_dense, dense_gram = total
        del total
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
        blocks = list(_blocks(
            layout, (inner.T @ block_gram @ inner).tocsr(), (inner.T @ cross_random @ outer).tocsr(),
            inner.T @ cross_dense,
        ))
        border = np.block([[border_gram, border_dense], [border_dense.T, dense_gram]])
        return cls(layout, blocks, border, len(y), n_flat, float(np.log(weights).sum()))


def _blocks(layout: Layout, gram: sparse.csr_array, cross: sparse.csr_array, cross_dense: np.ndarray):
    """Dense blocks of the sparse products, as CrossProducts holds them."""
    dense_columns = np.arange(layout.n_border, layout.n_border + layout.n_fixed + 1)
    for low, high in zip(layout.block_starts[:-1], layout.block_starts[1:]):
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
        c[:, len(touched):] = cross_dense[low:high]
        yield a, c, np.concatenate([touched, dense_columns])


def _raw_products(piece: Observations, y: np.ndarray, weights: np.ndarray) -> list:
    """Of one piece, before bases: block by block, border and dense; border by border and dense; dense by dense."""
    n_block, n_border = piece.layout.block_basis.shape[0], piece.layout.border_basis.shape[0]
    dense = np.column_stack([piece.x, y])
    border = indicators(piece.border, n_border)
    weighted = indicators(piece.border, n_border, weights).T.tocsr()
    of_border = [weighted @ border, weighted @ dense, (dense * weights[:, None]).T @ dense]
    weighted = indicators(piece.block, n_block, weights).T.tocsr()
    return [weighted @ indicators(piece.block, n_block), weighted @ border, weighted @ dense, *of_border]
