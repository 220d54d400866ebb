"""What a fitted mixed model says of one linear combination: its mean, its variance, and the weight of each sale."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.optimize import nnls

from pricing.price_model.block_arrow import Factor
from pricing.price_model.layout import Layout
from pricing.price_model.observations import Observations, Rows, in_threads

ORDER_TOLERANCE = 1e-10
# Observations whose dense border rows are held at once, by each thread.
PIECE = 500


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

    def mean(self, rows: Rows | Observations) -> np.ndarray:
        """Mean of each row's combination."""
        return rows.times(self.coefficients)

    def relative_variance(self, rows: Rows) -> np.ndarray:
        """c'J^-1 c of each row: its variance in units of the noise variance."""
        out = np.zeros(len(rows))
        layout, inverse = self.layout, self.factor.border_inverse
        scale_border = np.concatenate([self.theta[layout.border_term], np.ones(layout.n_fixed)])
        for code in np.unique(rows.block_codes):
            at = np.flatnonzero(rows.block_codes == code)
            border = np.concatenate([rows.border[at].toarray(), rows.fixed[at]], axis=1) * scale_border
            if code in self._blocks:
                inverse_lower, reduced, touched, low, high = self._blocks[code]
                scale = self.theta[layout.block_term[low:high]]
                part = (rows.block[at][:, low:high].toarray() * scale) @ inverse_lower.T
                out[at] += (part**2).sum(1)
                border[:, touched[:-1]] -= part @ reduced[:, :-1]
            used = np.flatnonzero(border.any(axis=0))
            border = border[:, used]
            out[at] += ((border @ inverse[np.ix_(used, used)]) * border).sum(1)
        return out

    def leverage(self, observations: Observations) -> np.ndarray:
        """Relative variance of each observation's own mean: how far its fitted value rests on it, over its weight."""
        order = np.argsort(observations.block_codes, kind="stable")
        parts = in_threads(
            lambda at: self.relative_variance(observations.take(order[at]).rows()), observations.pieces(PIECE)
        )
        out = np.empty(len(observations))
        out[order] = np.concatenate(parts)
        return out

    def solve(self, rows: Rows) -> np.ndarray:
        """coefficients by n: the columns D J^-1 D c of each row (D = theta by column): covariance with it, over s2."""
        layout, blocks = self.layout, self._blocks
        scale = np.concatenate([layout.column_theta(self.theta), np.ones(layout.n_fixed)])
        out = np.zeros((len(scale), len(rows)))
        first = layout.n_block_columns
        border = np.concatenate([rows.border.toarray(), rows.fixed], axis=1) * scale[first:]
        parts = {}
        for code in np.unique(rows.block_codes):
            if code in blocks:
                at = np.flatnonzero(rows.block_codes == code)
                inverse_lower, reduced, touched, low, high = blocks[code]
                parts[code] = at, (rows.block[at][:, low:high].toarray() * scale[low:high]) @ inverse_lower.T
                border[np.ix_(at, touched[:-1])] -= parts[code][1] @ reduced[:, :-1]
        solution = border @ self.factor.border_inverse
        out[first:] = solution.T * scale[first:, None]
        for inverse_lower, reduced, touched, low, high in blocks.values():
            out[low:high] = -scale[low:high, None] * (
                inverse_lower.T @ (reduced[:, :-1] @ solution[:, touched[:-1]].T)
            )
        for code, (at, part) in parts.items():
            inverse_lower, _, _, low, high = blocks[code]
            out[low:high, at] += scale[low:high, None] * (part @ inverse_lower).T
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
            gram = chosen.times(shift)
            values, vectors = np.linalg.eigh((gram + gram.T) / 2)  # constraints may repeat one another
            kept = values > 1e-10 * values[-1]
            root = np.sqrt(values[kept])[:, None] * vectors[:, kept].T
            target = -(vectors[:, kept].T @ (start[active] - 2 * ORDER_TOLERANCE)) / np.sqrt(values[kept])
            multipliers, _ = nnls(root, target, maxiter=50 * len(active))
            current = replace(self, coefficients=self.coefficients + shift @ multipliers)
        return current

    @cached_property
    def _blocks(self) -> dict[int, tuple[np.ndarray, np.ndarray, np.ndarray, int, int]]:
        """(inverse factor, reduced border, border columns touched, first and past-last column) by block."""
        starts = self.layout.block_starts
        codes = np.flatnonzero(np.diff(starts) > 0)
        return {int(code): (*factors, starts[code], starts[code + 1])
                for code, factors in zip(codes, self.factor.blocks)}
