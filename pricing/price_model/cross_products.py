"""Cross-products of a mixed model's design, gathered in one pass over the observations.

Every random term is a set of indicator columns, times a small basis where a term has one (a random walk over months,
say): the indicators are gathered and the basis applied afterwards. Gathered chunks add up, so a history may be read
in pieces.

Columns are laid out as a block arrow: levels nested in one level of the blocking term stand together as one block;
what blocks share (crossed terms, then the fixed effects, then y) is the border.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse


@dataclass(frozen=True)
class RandomTerm:
    """One random term: `codes[i]` is the level of observation i (0 .. n_levels-1; -1: none).

    With a `basis` (n_points by K) each level has K coefficients and observation i uses row `points[i]` of the basis.
    `nested_in[level]`, where given, is the level of the blocking term that holds this level.
    """

    name: str
    codes: np.ndarray
    n_levels: int | None = None
    points: np.ndarray | None = None
    basis: np.ndarray | None = None

    @property
    def levels(self) -> int:
        """Number of levels."""
        return int(self.codes.max(initial=-1)) + 1 if self.n_levels is None else self.n_levels

    @property
    def width(self) -> int:
        """Coefficients a level."""
        return 1 if self.basis is None else self.basis.shape[1]


@dataclass(frozen=True)
class TermPlace:
    """Where a term's coefficients stand: `columns[level, k]` counts within the blocks or within the border."""

    name: str
    in_block: bool
    columns: np.ndarray
    basis: np.ndarray | None


@dataclass(frozen=True)
class Layout:
    """Places of all coefficients. Frozen after the first look at the data; later chunks use the same levels."""

    places: tuple[TermPlace, ...]
    block_starts: np.ndarray
    n_border: int
    n_fixed: int

    @classmethod
    def of(
        cls, terms: list[RandomTerm], block: str | None, n_fixed: int, holders: dict[str, np.ndarray] | None = None
    ) -> Layout:
        """Layout for these terms. `holders[name][level]`: the block that holds a level; with it, the terms it does not
        name stay in the border whatever the data show. Without it, terms nested in the block are found by looking."""
        block_term = next((term for term in terms if term.name == block), None)
        owners: dict[str, np.ndarray] = {}
        if block_term is not None:
            for term in terms:
                owners[term.name] = _owners(term, block_term) if holders is None else holders.get(term.name)
            owners = {name: owner for name, owner in owners.items() if owner is not None}
        n_blocks = block_term.levels if block_term is not None else 0

        # A column's place in its block: sorted by block, then by term, then by level.
        names = [term.name for term in terms if term.name in owners]
        by_name = {term.name: term for term in terms}
        column_block = [np.repeat(owners[name], by_name[name].width) for name in names]
        flat_block = np.concatenate(column_block) if column_block else np.zeros(0, int)
        order = np.argsort(flat_block, kind="stable")
        position = np.empty(len(order), int)
        position[order] = np.arange(len(order))
        starts = np.concatenate([[0], np.cumsum(np.bincount(flat_block, minlength=n_blocks))]).astype(int)

        places, taken, border = {}, 0, 0
        for term in terms:
            size = term.levels * term.width
            if term.name in owners:
                columns = position[taken:taken + size]
                taken += size
            else:
                columns = np.arange(border, border + size)
                border += size
            places[term.name] = TermPlace(
                term.name, term.name in owners, columns.reshape(term.levels, term.width), term.basis
            )
        return cls(tuple(places[term.name] for term in terms), starts, border, n_fixed)

    @property
    def names(self) -> list[str]:
        """Names of the terms, in the order of theta."""
        return [place.name for place in self.places]

    @property
    def n_terms(self) -> int:
        """Number of random terms."""
        return len(self.places)

    @property
    def n_block_columns(self) -> int:
        """Number of coefficients inside blocks."""
        return int(self.block_starts[-1])

    @cached_property
    def level_counts(self) -> np.ndarray:
        """Number of coefficients by term."""
        return np.array([place.columns.size for place in self.places], float)

    @cached_property
    def block_term(self) -> np.ndarray:
        """Term index of every block column."""
        return self._term_of(True, self.n_block_columns)

    @cached_property
    def border_term(self) -> np.ndarray:
        """Term index of every random border column."""
        return self._term_of(False, self.n_border)

    def _term_of(self, in_block: bool, size: int) -> np.ndarray:
        index = np.zeros(size, int)
        for number, place in enumerate(self.places):
            if place.in_block == in_block:
                index[place.columns.ravel()] = number
        return index

    def column_theta(self, theta: np.ndarray) -> np.ndarray:
        """theta by random column: block columns, then border columns."""
        if self.n_terms == 0:
            return np.zeros(0)
        return np.concatenate([theta[self.block_term], theta[self.border_term]])

    def by_term(self, values: np.ndarray) -> dict[str, np.ndarray]:
        """Values by random column (block, then border) as {term: levels by width}, one-dimensional at width 1."""
        out = {}
        for place in self.places:
            at = place.columns if place.in_block else place.columns + self.n_block_columns
            out[place.name] = values[at][:, 0] if place.columns.shape[1] == 1 else values[at]
        return out

    def rows(self, terms: list[RandomTerm], in_block: bool, n: int) -> sparse.csr_array:
        """n by (block or border) design with bases applied: for predictions and residuals, not for gathering."""
        parts_row, parts_column, parts_value = [], [], []
        for term, place in zip(terms, self.places):
            if place.in_block != in_block or place.columns.size == 0:
                continue
            seen = np.flatnonzero(term.codes >= 0)
            columns = place.columns[term.codes[seen]]
            values = np.ones_like(columns, float) if place.basis is None else place.basis[term.points[seen]]
            parts_row.append(np.repeat(seen, columns.shape[1]))
            parts_column.append(columns.ravel())
            parts_value.append(values.ravel())
        width = self.n_block_columns if in_block else self.n_border
        if not parts_row:
            return sparse.csr_array((n, width))
        value = np.concatenate(parts_value)
        keep = value != 0
        return sparse.csr_array(
            (value[keep], (np.concatenate(parts_row)[keep], np.concatenate(parts_column)[keep])), shape=(n, width)
        )

    def cross_products(
        self, terms: list[RandomTerm], x: np.ndarray, y: np.ndarray, weights: np.ndarray,
        fixed_prior: FixedPrior | None = None,
    ) -> CrossProducts:
        """Cross-products of one chunk of observations."""
        return Indicators.of(self, terms, x).cross_products(y, weights, fixed_prior)


@dataclass(frozen=True)
class FixedPrior:
    """Normal prior on fixed effects, relative to the residual sd: mean m, precision (1 / sd^2; 0 is flat)."""

    mean: np.ndarray
    precision: np.ndarray


@dataclass(frozen=True)
class Indicators:
    """The design of one chunk before bases are applied; weights may change without building it again."""

    layout: Layout
    block: sparse.csr_array
    block_basis: sparse.csr_array
    border: sparse.csr_array
    border_basis: sparse.csr_array
    x: np.ndarray

    @classmethod
    def of(cls, layout: Layout, terms: list[RandomTerm], x: np.ndarray) -> Indicators:
        """Indicator columns of the terms for the observations whose fixed design is x."""
        block, block_basis = _indicators(layout, terms, True, len(x))
        border, border_basis = _indicators(layout, terms, False, len(x))
        return cls(layout, block, block_basis, border, border_basis, x)

    def cross_products(
        self, y: np.ndarray, weights: np.ndarray, fixed_prior: FixedPrior | None = None
    ) -> CrossProducts:
        """Weighted cross-products with y (n vector) and weights (n vector, positive)."""
        weight = sparse.diags_array(weights)
        weighted = (weight @ self.block).T.tocsr()
        dense = np.column_stack([self.x, y])
        block_gram = self.block_basis.T @ (weighted @ self.block) @ self.block_basis
        cross_random = self.block_basis.T @ (weighted @ self.border) @ self.border_basis
        cross_dense = self.block_basis.T @ (weighted @ dense)
        border_weighted = (weight @ self.border).T.tocsr()
        border_gram = (self.border_basis.T @ (border_weighted @ self.border) @ self.border_basis).toarray()
        border_dense = self.border_basis.T @ (border_weighted @ dense)
        dense_gram = (dense * weights[:, None]).T @ dense
        n_flat = self.x.shape[1]
        if fixed_prior is not None:
            n_flat = int(np.sum(fixed_prior.precision == 0))
            shifted = fixed_prior.precision * fixed_prior.mean
            at = np.arange(self.x.shape[1])
            dense_gram[at, at] += fixed_prior.precision
            dense_gram[at, -1] += shifted
            dense_gram[-1, at] += shifted
            dense_gram[-1, -1] += fixed_prior.mean @ shifted
        border = np.block([[border_gram, border_dense], [border_dense.T, dense_gram]])
        return CrossProducts(
            self.layout, block_gram.tocsr(), cross_random.tocsr(), cross_dense, border,
            len(y), n_flat, float(np.log(weights).sum()),
        )


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

    def __add__(self, other: CrossProducts) -> CrossProducts:
        """Cross-products of both chunks together (a fixed prior belongs in one chunk only)."""
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


def _owners(term: RandomTerm, block: RandomTerm) -> np.ndarray | None:
    """Block of every level of `term`, or None when a level is met in two blocks."""
    seen = (term.codes >= 0) & (block.codes >= 0)
    if np.any((term.codes >= 0) & (block.codes < 0)):
        return None
    low = np.full(term.levels, np.iinfo(int).max)
    high = np.full(term.levels, -1)
    np.minimum.at(low, term.codes[seen], block.codes[seen])
    np.maximum.at(high, term.codes[seen], block.codes[seen])
    met = high >= 0
    if np.any(low[met] != high[met]):
        return None
    return np.where(met, high, 0)


def _indicators(
    layout: Layout, terms: list[RandomTerm], in_block: bool, n: int
) -> tuple[sparse.csr_array, sparse.csr_array]:
    """(n by raw indicators, raw by coefficients): an indicator a level, or a level and point where there is a basis."""
    rows, columns, basis_row, basis_column, basis_value = [], [], [], [], []
    offset = 0
    for term, place in zip(terms, layout.places):
        if place.in_block != in_block or place.columns.size == 0:
            continue
        seen = np.flatnonzero(term.codes >= 0)
        if place.basis is None:
            raw = term.codes[seen]
            levels = np.arange(len(place.columns))
            basis_row.append(offset + levels)
            basis_column.append(place.columns[:, 0])
            basis_value.append(np.ones(len(levels)))
            size = len(levels)
        else:
            n_points = len(place.basis)
            pair = term.codes[seen].astype(np.int64) * n_points + term.points[seen]
            used, raw = np.unique(pair, return_inverse=True)
            basis_row.append(np.repeat(offset + np.arange(len(used)), place.columns.shape[1]))
            basis_column.append(place.columns[used // n_points].ravel())
            basis_value.append(place.basis[used % n_points].ravel())
            size = len(used)
        rows.append(seen)
        columns.append(offset + raw)
        offset += size
    width = layout.n_block_columns if in_block else layout.n_border
    if not rows:
        return sparse.csr_array((n, 0)), sparse.csr_array((0, width))
    row, column = np.concatenate(rows), np.concatenate(columns)
    indicators = sparse.csr_array((np.ones(len(row)), (row, column)), shape=(n, offset))
    value = np.concatenate(basis_value)
    keep = value != 0
    basis = sparse.csr_array(
        (value[keep], (np.concatenate(basis_row)[keep], np.concatenate(basis_column)[keep])), shape=(offset, width)
    )
    return indicators, basis
