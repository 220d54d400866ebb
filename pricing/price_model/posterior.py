"""What a fitted mixed model says of one linear combination: its mean, its variance, and the weight of each sale."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse
from scipy.optimize import nnls

from pricing.price_model.block_arrow import Factor
from pricing.price_model.cross_products import Layout, RandomTerm

ORDER_TOLERANCE = 1e-10


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
    def of(cls, layout: Layout, terms: list[RandomTerm], fixed: np.ndarray, block: str) -> Rows:
        """Rows of observations or items described by `terms` and the fixed design."""
        codes = next(term.codes for term in terms if term.name == block)
        return cls(layout.rows(terms, True, len(fixed)), layout.rows(terms, False, len(fixed)), fixed, codes)

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


@dataclass(frozen=True)
class Posterior:
    """Normal posterior of all coefficients at one theta: mean `coefficients` (log units), covariance s2 J^-1.

    Coefficients stand as block columns, border columns, fixed effects.
    """

    layout: Layout
    factor: Factor
    theta: np.ndarray
    noise_variance: float
    coefficients: np.ndarray

    @classmethod
    def of(cls, layout: Layout, factor: Factor, theta: np.ndarray, noise_variance: float) -> Posterior:
        """Posterior at the factor's solution."""
        coefficients = np.concatenate([factor.random * layout.column_theta(theta), factor.fixed])
        return cls(layout, factor, theta, noise_variance, coefficients)

    def mean(self, rows: Rows) -> np.ndarray:
        """Mean of each row's combination."""
        first, second = self.layout.n_block_columns, self.layout.n_block_columns + self.layout.n_border
        value = self.coefficients
        return rows.block @ value[:first] + rows.border @ value[first:second] + rows.fixed @ value[second:]

    def relative_variance(self, rows: Rows) -> np.ndarray:
        """c'J^-1 c of each row: its variance in units of the noise variance. For a sale's own row: its leverage."""
        out = np.zeros(len(rows))
        for at, inverse_lower, reduced, touched, low, high in self._by_block(rows):
            border, columns = self._border_rows(rows, at, touched)
            if inverse_lower is not None:
                scale = self.theta[self.layout.block_term[low:high]]
                part = (rows.block[at][:, low:high].toarray() * scale) @ inverse_lower.T
                out[at] += (part**2).sum(1)
                border[:, np.searchsorted(columns, touched)] -= part @ reduced
            inverse = self.factor.border_inverse[np.ix_(columns, columns)]
            out[at] += ((border @ inverse) * border).sum(1)
        return out

    def solve(self, rows: Rows) -> np.ndarray:
        """coefficients by n: the columns D J^-1 D c of each row (D = theta by column): covariance with it, over s2."""
        layout = self.layout
        blocks = {code: part for code, part in zip(self._block_codes(), self._block_bounds())}
        scale = np.concatenate([layout.column_theta(self.theta), np.ones(layout.n_fixed)])
        out = np.zeros((len(scale), len(rows)))
        first = layout.n_block_columns
        border = np.concatenate([rows.border.toarray(), rows.fixed], axis=1) * scale[first:]
        parts = {}
        for i, code in enumerate(rows.block_codes):
            if code in blocks:
                inverse_lower, reduced, touched, low, high = blocks[code]
                parts[i] = inverse_lower @ (rows.block[[i]][:, low:high].toarray()[0] * scale[low:high])
                border[i, touched[:-1]] -= parts[i] @ reduced[:, :-1]
        solution = border @ self.factor.border_inverse
        out[first:] = solution.T * scale[first:, None]
        for inverse_lower, reduced, touched, low, high in blocks.values():
            out[low:high] = -scale[low:high, None] * (
                inverse_lower.T @ (reduced[:, :-1] @ solution[:, touched[:-1]].T)
            )
        for i, part in parts.items():
            inverse_lower, _, _, low, high = blocks[rows.block_codes[i]]
            out[low:high, i] += scale[low:high] * (inverse_lower.T @ part)
        return out

    def held_in_order(self, rows: Rows) -> Posterior:
        """The posterior mode under `rows` >= 0: the least change, in the posterior's own metric, that respects them.

        Dual of the quadratic programme (Nocedal & Wright, Numerical Optimization, 2nd ed., section 16.5) by
        non-negative least squares over the constraints met so far; more are added while any is violated.
        """
        current, active = self, np.zeros(0, int)
        start = self.mean(rows)
        for _ in range(40):
            broken = np.flatnonzero(current.mean(rows) < -ORDER_TOLERANCE)
            if not len(broken):
                break
            active = np.union1d(active, broken)
            chosen = rows.take(active)
            shift = self.solve(chosen)
            first, second = self.layout.n_block_columns, self.layout.n_block_columns + self.layout.n_border
            gram = chosen.block @ shift[:first] + chosen.border @ shift[first:second] + chosen.fixed @ shift[second:]
            values, vectors = np.linalg.eigh((gram + gram.T) / 2)  # constraints may repeat one another
            kept = values > 1e-10 * values[-1]
            root = np.sqrt(values[kept])[:, None] * vectors[:, kept].T
            target = -(vectors[:, kept].T @ (start[active] - 2 * ORDER_TOLERANCE)) / np.sqrt(values[kept])
            multipliers, _ = nnls(root, target, maxiter=50 * len(active))
            current = replace(self, coefficients=self.coefficients + shift @ multipliers)
        return current

    def _block_codes(self) -> np.ndarray:
        starts = self.layout.block_starts
        return np.flatnonzero(np.diff(starts) > 0)

    def _block_bounds(self):
        starts = self.layout.block_starts
        for code, (inverse_lower, reduced, touched) in zip(self._block_codes(), self.factor.blocks):
            yield inverse_lower, reduced, touched, starts[code], starts[code + 1]

    def _by_block(self, rows: Rows):
        """(places of the rows, the block's factors and bounds): the rows of no block come with None."""
        order = np.argsort(rows.block_codes, kind="stable")
        codes = rows.block_codes[order]
        none = order[: np.searchsorted(codes, 0)]
        if len(none):
            yield none, None, None, np.zeros(0, int), 0, 0
        for code, (inverse_lower, reduced, touched, low, high) in zip(self._block_codes(), self._block_bounds()):
            at = order[np.searchsorted(codes, code):np.searchsorted(codes, code, side="right")]
            if len(at):
                yield at, inverse_lower, reduced[:, :-1], touched[:-1], low, high

    def _border_rows(self, rows: Rows, at: np.ndarray, touched: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(scaled border and fixed rows, the columns they cover): those the block or the rows touch, and X."""
        layout = self.layout
        own = rows.border[at]
        fixed = np.arange(layout.n_border, layout.n_border + layout.n_fixed)
        columns = np.union1d(np.union1d(touched, own.indices), fixed)
        random = columns[: len(columns) - layout.n_fixed]
        scale = self.theta[layout.border_term[random]] if layout.n_border else np.zeros(0)
        return np.concatenate([own[:, random].toarray() * scale, rows.fixed[at]], axis=1), columns
