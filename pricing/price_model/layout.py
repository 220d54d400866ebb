"""Where every coefficient of a mixed model stands.

Every random term is a set of indicator columns ("raw" columns: one a level, or one a level and point where a term has
a basis), times a small basis (a random walk over months, say). Coefficients are laid out as a block arrow: levels
nested in one level of the blocking term stand together as one block; what blocks share (crossed terms, then the fixed
effects, then y) is the border.
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

    def raw(self) -> np.ndarray:
        """Raw column of each observation within the term, -1 for none."""
        if self.basis is None:
            return self.codes
        return np.where(self.codes < 0, -1, self.codes * len(self.basis) + self.points)


@dataclass(frozen=True)
class TermPlace:
    """Where a term's coefficients stand: `columns[level, k]` counts within the blocks or within the border."""

    name: str
    in_block: bool
    columns: np.ndarray
    basis: np.ndarray | None

    @property
    def n_raw(self) -> int:
        """Raw columns of the term."""
        return len(self.columns) * (1 if self.basis is None else len(self.basis))


@dataclass(frozen=True)
class Layout:
    """Places of all coefficients. Frozen after the first look at the data; other observations use the same levels."""

    places: tuple[TermPlace, ...]
    block: str | None
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
        return cls(tuple(places[term.name] for term in terms), block, starts, border, n_fixed)

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

    @cached_property
    def block_basis(self) -> sparse.csr_array:
        """Raw block columns by block coefficients."""
        return self._basis(True, self.n_block_columns)

    @cached_property
    def border_basis(self) -> sparse.csr_array:
        """Raw border columns by random border coefficients."""
        return self._basis(False, self.n_border)

    def raw_columns(self, terms: list[RandomTerm], in_block: bool) -> np.ndarray:
        """n by terms: raw column of each observation in each term of the blocks (or of the border), -1 for none."""
        columns, start = [], 0
        for term, place in zip(terms, self.places):
            if place.in_block == in_block:
                raw = term.raw()
                columns.append(np.where(raw < 0, -1, raw + start).astype(np.int32))
                start += place.n_raw
        return np.column_stack(columns) if columns else np.zeros((len(terms[0].codes) if terms else 0, 0), np.int32)

    def block_codes(self, terms: list[RandomTerm]) -> np.ndarray:
        """Block of each observation, -1 for none."""
        return next(term.codes for term in terms if term.name == self.block)

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

    def _term_of(self, in_block: bool, size: int) -> np.ndarray:
        index = np.zeros(size, int)
        for number, place in enumerate(self.places):
            if place.in_block == in_block:
                index[place.columns.ravel()] = number
        return index

    def _basis(self, in_block: bool, width: int) -> sparse.csr_array:
        parts = []
        for place in self.places:
            if place.in_block != in_block:
                continue
            n_points = 1 if place.basis is None else len(place.basis)
            value = np.ones((1, 1)) if place.basis is None else place.basis
            row = np.repeat(np.arange(place.n_raw, dtype=np.int32), value.shape[1])
            column = np.repeat(place.columns, n_points, axis=0).ravel().astype(np.int32)
            part = sparse.coo_array((np.tile(value, (len(place.columns), 1)).ravel(), (row, column)),
                                    shape=(place.n_raw, width))
            parts.append(part)
        if not parts:
            return sparse.csr_array((0, width))
        out = sparse.vstack(parts).tocsr()
        out.eliminate_zeros()
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
