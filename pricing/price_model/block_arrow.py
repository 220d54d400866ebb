"""Factorisation of the block-arrow system of a mixed model, block by block.

Each block (all coefficients of one type, say) is eliminated by a small dense Cholesky factor; what is left of the
border (its Schur complement, with X and y as last columns) gets one dense factor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack

from pricing.price_model.cross_products import CrossProducts
from pricing.price_model.layout import Layout
from pricing.price_model.observations import in_threads

# A pivot this small relative to the largest means a column that the data and the priors leave undetermined.
SMALL_PIVOT = 1e-13
# Parts of the blocks worked on side by side: fixed, so that sums are the same on any machine.
PARTS = 2


@dataclass(frozen=True)
class Factor:
    """Solution and factors of the joint system at one theta, in spherical coordinates (u = b / theta).

    `blocks[j]` is (inverse Cholesky factor of block j, that times its cross-products, border columns touched);
    `border_inverse` is the inverse of the border's Schur complement, random columns then fixed effects.
    """

    layout: Layout
    log_determinant: float
    penalised_rss: float
    random: np.ndarray
    fixed: np.ndarray
    inverse_trace: np.ndarray
    sum_of_squares: np.ndarray
    border_inverse: np.ndarray
    border_solution: np.ndarray
    blocks: list[tuple[np.ndarray, np.ndarray, np.ndarray]]

    @property
    def fixed_inverse(self) -> np.ndarray:
        """Fixed effects' part of the joint inverse: their covariance in units of s2."""
        n_border = self.layout.n_border
        return self.border_inverse[n_border:, n_border:]


def factorise(products: CrossProducts, theta: np.ndarray) -> Factor:
    """Factor the joint system at `theta` (a value a term)."""
    layout = products.layout
    n_border, n_fixed = layout.n_border, layout.n_fixed
    scale_border = np.concatenate([theta[layout.border_term] if n_border else np.zeros(0), np.ones(n_fixed + 1)])
    scale_block = theta[layout.block_term] if layout.n_block_columns else np.zeros(0)
    parts = _parts(products)

    def eliminate(part: list[Block]) -> tuple[np.ndarray, float, list]:
        """What a part of the blocks takes from the border, its log determinant, its factors."""
        taken, log_determinant, factors = np.zeros_like(products.border), 0.0, []
        for low, high, gram, cross, touched in part:
            scale = scale_block[low:high]
            a = gram * scale[:, None] * scale
            a.ravel()[:: len(a) + 1] += 1.0
            lower, info = lapack.dpotrf(a, lower=1, clean=1)
            if info:
                raise np.linalg.LinAlgError(f"block of columns {low} to {high} is not positive definite")
            inverse_lower, _ = lapack.dtrtri(lower, lower=1)
            reduced = inverse_lower @ (cross * scale[:, None] * scale_border[touched])
            taken[np.ix_(touched, touched)] += reduced.T @ reduced
            log_determinant += 2.0 * np.log(lower.ravel()[:: len(a) + 1]).sum()
            factors.append((inverse_lower, reduced, touched))
        return taken, log_determinant, factors

    eliminated = in_threads(eliminate, parts)
    schur = products.border * scale_border[:, None] * scale_border
    at = np.arange(n_border)
    schur[at, at] += 1.0
    for taken, _, _ in eliminated:
        schur -= taken
    right = schur[:-1, -1]
    lower, log_determinant = _cholesky(schur[:-1, :-1])
    log_determinant += sum(one for _, one, _ in eliminated)
    half = lapack.dtrtrs(lower, right, lower=1)[0]
    penalised_rss = max(float(schur[-1, -1] - half @ half), 0.0)
    solution = lapack.dtrtrs(lower, half, lower=1, trans=1)[0]
    border_inverse = _inverse(lower)

    def solve(factors: list) -> tuple[np.ndarray, np.ndarray]:
        """Solution and diagonal of the inverse of a part of the blocks."""
        solved, diagonal = [], []
        for inverse_lower, reduced, touched in factors:
            near = touched[:-1]
            solved.append(inverse_lower.T @ (reduced[:, -1] - reduced[:, :-1] @ solution[near]))
            gain = inverse_lower.T @ reduced[:, :-1]
            through = (gain @ border_inverse[np.ix_(near, near)]) * gain
            diagonal.append((inverse_lower**2).sum(0) + through.sum(1))
        return np.concatenate([np.zeros(0), *solved]), np.concatenate([np.zeros(0), *diagonal])

    by_part = in_threads(solve, [factors for _, _, factors in eliminated])
    random = np.concatenate([*(solved for solved, _ in by_part), solution[:n_border]])
    diagonal = np.concatenate([*(one for _, one in by_part), np.diag(border_inverse)[:n_border]])
    term = np.concatenate([layout.block_term, layout.border_term]) if layout.n_terms else np.zeros(0, int)
    return Factor(
        layout, log_determinant, penalised_rss, random, solution[n_border:],
        np.bincount(term, diagonal, minlength=layout.n_terms),
        np.bincount(term, random**2, minlength=layout.n_terms),
        border_inverse, solution, [block for _, _, factors in eliminated for block in factors],
    )


Block = tuple[int, int, np.ndarray, np.ndarray, np.ndarray]


def _parts(products: CrossProducts) -> list[list[Block]]:
    """Blocks in PARTS runs of about equal work: (first column, past-last column, gram, cross, border columns)."""
    blocks, low = [], 0
    for gram, cross, touched in products.blocks:
        blocks.append((low, low + len(gram), gram, cross, touched))
        low += len(gram)
    work = np.cumsum([cross.size * (cross.shape[1] + 200) for _, _, _, cross, _ in blocks])
    cuts = np.searchsorted(work, work[-1] * np.arange(1, PARTS) / PARTS) if blocks else []
    return [blocks[start:stop] for start, stop in zip([0, *cuts], [*cuts, len(blocks)])]


def average_information(products: CrossProducts, factor: Factor, theta: np.ndarray, s2: float) -> np.ndarray:
    """Average information of log theta for the criterion, s2 profiled out: terms by terms, positive semi-definite.

    4 b_k' Z_k' P Z_l b_l, the mean of observed and expected information (Gilmour, Thompson & Cullis, "Average
    Information REML", Biometrics 51, 1995), less what the profiled s2 takes.
    """
    layout = products.layout
    n_border, n_fixed, n_terms = layout.n_border, layout.n_fixed, layout.n_terms
    scale_border = np.concatenate([theta[layout.border_term], np.ones(n_fixed)])
    scale_block = theta[layout.block_term]
    first = layout.n_block_columns
    near = np.zeros((n_border + n_fixed, n_terms))
    near[np.arange(n_border), layout.border_term] = factor.random[first:]
    plain = (products.border[:-1, :-1] * scale_border[:, None] * scale_border) @ near
    taken = np.zeros_like(plain)
    own, projected, start = np.zeros((n_terms, n_terms)), np.zeros((n_terms, n_terms)), 0
    for (gram, cross, touched), (inverse_lower, reduced, _) in zip(products.blocks, factor.blocks):
        stop = start + len(gram)
        scale, columns = scale_block[start:stop, None], touched[:-1]
        mine = np.zeros((len(gram), n_terms))
        mine[np.arange(len(gram)), layout.block_term[start:stop]] = factor.random[start:stop]
        joined = cross[:, :-1] * scale * scale_border[columns]
        product = scale * (gram @ (scale * mine)) + joined @ near[columns]
        own += mine.T @ product
        half = inverse_lower @ product
        projected += half.T @ half
        plain[columns] += joined.T @ mine
        taken[columns] += reduced[:, :-1].T @ half
        start = stop
    own += near.T @ plain
    far = plain - taken
    projected += far.T @ (factor.border_inverse @ far)
    squares = factor.sum_of_squares
    degrees = max(products.n - products.n_flat, 1)
    return 4.0 * ((own - projected) / s2 - np.outer(squares, squares) / (s2 * s2 * degrees))


def _cholesky(matrix: np.ndarray) -> tuple[np.ndarray, float]:
    """(lower factor, log determinant) of a positive definite matrix."""
    if len(matrix) == 0:
        return np.zeros((0, 0)), 0.0
    lower, info = lapack.dpotrf(matrix, lower=1, clean=1)
    diagonal = np.diag(lower)
    if info or diagonal.min() < SMALL_PIVOT * diagonal.max():
        raise np.linalg.LinAlgError("the border system is not positive definite: a fixed column is redundant")
    return lower, float(2.0 * np.log(diagonal).sum())


def _inverse(lower: np.ndarray) -> np.ndarray:
    """Inverse of L L' from its lower factor, both triangles filled."""
    if len(lower) == 0:
        return np.zeros((0, 0))
    inverse, _ = lapack.dpotri(lower, lower=1)
    return np.tril(inverse) + np.tril(inverse, -1).T
