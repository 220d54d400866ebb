"""How sure a fair price is, near enough, from sums of looked-up numbers (variances in units of the noise's).

Every type met has a profile: the average of its own sales. A cell (type and maker; with era) carries the exact
variance of such a piece with everything else at the type's average, where the sales are and the price is known best.
What a grade, a reading, a set, a channel or a construction adds is the exact change of the profile's own variance as
it alone leaves the average; changes are added up and their covariances with one another left out. Types never met have
the profile of their family, or of the whole shop, without the effects of a type.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse
from threadpoolctl import threadpool_limits

from pricing.price_model.design import SEPARATOR, TERMS, UNKNOWN
from pricing.price_model.fixed_effects import FIXED_NAMES, READING_KNOTS, SET_SIZES, fixed_columns
from pricing.price_model.model import PriceModel
from pricing.price_model.observations import Rows
from pricing.shop_tables import GRADES

MAKER = ("maker", "era", "maker and era")
CELL = ("type and maker", "type, maker and era")
CORE = ("family", "type", *MAKER, *CELL)
# Pieces as sold, without and with the grade, and how many of these are kept, the most sold first.
SOLD = "type, maker, era and variant"
GRADED = "type, maker, era, variant and grade"
MOST_SOLD = 20_000
READINGS = tuple(range(int(READING_KNOTS[0]), int(READING_KNOTS[-1]) + 1, 5))  # a spread is curved between the knots
# Parts of a description: terms and fixed effects (by the start of their names).
PARTS = {
    "grade": ("grade in family", "grade in type", "grade"),
    "set": ("set in family", "set", "matched"),
    "channel": ("channel",),
    "reading": ("reading",),
    "variant": ("variant", "variant of maker"),
    "brand": ("printed brand",),
    "designation": ("printed designation",),
}
NONE = "none"  # of a part: not stated, or never met


@dataclass(frozen=True)
class Spreads:
    """`profiles`: kind (type, family, shop), word, "core", and a column a part and word of it ("grade: for parts") with
    what it adds. `cells`: of SOLD, GRADED and the CELL terms the variance of such a piece, of others what they
    add, by factor and parts; a maker without parts is one never met.
    `unmet`: variance of a level never met, by term."""

    profiles: pd.DataFrame
    cells: pd.DataFrame
    unmet: dict[str, float]

    @classmethod
    def of(cls, model: PriceModel) -> Spreads:
        """Spreads of `model` at its date."""
        with threadpool_limits(1):
            making = _Making(model)
            return cls(making.profiles(), making.cells(), making.unmet)


class _Making:
    """Rows of the design as one sparse matrix, whose columns are known by `label`: a term's name or the start of a
    fixed effect's."""

    def __init__(self, model: PriceModel) -> None:
        self.model, self.levels = model, model.history.design.levels
        layout = model.fit.posterior.layout
        names = np.array(layout.names, object)
        self.n_block = layout.n_block_columns
        heads = np.array([name.split(":")[0].split(" (")[0] for name in FIXED_NAMES], object)
        self.label = np.concatenate([names[layout.block_term], names[layout.border_term], heads])
        self.unmet = {term.name: float(theta**2) for term, theta in zip(TERMS, model.fit.posterior.theta)
                      if not term.step_months}
        self.base = {
            "canonical_type": "", "family": "", "maker": "", "brand": UNKNOWN, "era": "", "variant": UNKNOWN,
            "grade": UNKNOWN, "reading_pct": np.nan, "set_size": 1, "matched": False, "qty": 1, "channel": "",
            "sold_on": model.as_of,
        }
        self._profiles()

    def _profiles(self) -> None:
        """Average rows: of every type's sales, every family's, and all."""
        sales, (types, families) = self.model.history.sales, (self.levels["type"], self.levels["family"])
        now = sparse.csr_array(fixed_columns(pd.DataFrame([self.base])))
        everything = self.model.history.observations.take(np.arange(len(sales))).rows()
        wanted = ~np.isin(self.label, [term.name for term in TERMS if term.step_months] + ["season", "quantity"])
        season = sparse.hstack([sparse.csr_array((1, len(self.label) - now.shape[1])), now]).tocsr()
        season = season @ sparse.diags_array((self.label == "season").astype(float))
        means = []
        for codes, n in ((types.get_indexer(sales["canonical_type"]), len(types)),
                         (families.get_indexer(sales["family"]), len(families)), (np.zeros(len(sales), int), 1)):
            average = sparse.csr_array((1 / np.bincount(codes)[codes], (codes, np.arange(len(sales)))), (n, len(sales)))
            means.append(average @ _joined(everything))
        kept = np.arange(len(self.label)) >= self.n_block  # a type's own effects say nothing of other types
        means[1:] = [mean @ sparse.diags_array(kept.astype(float)) for mean in means[1:]]
        rows = sparse.vstack(means).tocsr() @ sparse.diags_array(wanted.astype(float))
        self.rows = (rows + sparse.vstack([season] * rows.shape[0])).tocsr()
        self.kinds = [*(("type", word) for word in types), *(("family", word) for word in families), ("shop", "")]
        self.codes = np.concatenate([np.arange(len(types)), np.full(len(families) + 1, -1)])
        self.of_type = self.model.type_families
        self.own = self.variance(self.rows, self.codes)

    def profiles(self) -> pd.DataFrame:
        """See Spreads."""
        out = {"kind": [kind for kind, _ in self.kinds], "word": [word for _, word in self.kinds]}
        at = np.arange(len(self.kinds))
        out["core"] = self.variance(self.changed(at, CELL), self.codes)
        here = pd.DataFrame([self.base] * len(at)).assign(
            canonical_type=[word if kind == "type" else "" for kind, word in self.kinds],
            family=[self.of_type.get(word, "") if kind == "type" else word for kind, word in self.kinds],
        )
        for name, word, columns in self._words():
            out[f"{name}: {word}"] = self.added(at, PARTS[name], here.assign(**columns), unmet=word != NONE)
        return pd.DataFrame(out)

    def _words(self) -> list[tuple[str, str, dict[str, object]]]:
        """(part, word, what it is in columns of a description) of everything that is looked up by profile."""
        return [
            *(("grade", grade, {"grade": grade}) for grade in GRADES),
            *(("set", f"{kind}, {matched}", {"set_size": size, "matched": matched == "yes"})
              for kind, size in SET_SIZES.items() for matched in ("yes", "no")),
            *(("channel", word, {"channel": word}) for word in self.levels["channel"]),
            *(("reading", str(step), {"reading_pct": float(step)}) for step in READINGS),
            *((name, NONE, {}) for name in PARTS if name not in ("grade", "set")),
        ]

    def cells(self) -> pd.DataFrame:
        """See Spreads."""
        shop, out = len(self.kinds) - 1, []
        others = ("variant", "variant of maker", "printed brand", "printed designation")
        for name in (GRADED, SOLD, *CELL, *MAKER, *others):
            columns, parts = self._levels(name)
            if not parts:
                continue
            frame = pd.DataFrame([self.base] * len(parts))
            for column, words in zip(columns, zip(*parts)):
                frame["designation" if column == "other_designation" else column] = words
            at = np.full(len(parts), shop)
            if columns[0] == "canonical_type":
                at = self.levels["type"].get_indexer(frame["canonical_type"])
                frame["family"] = frame["canonical_type"].map(self.of_type)
            if name in (SOLD, GRADED):
                new = CORE + PARTS["variant"] + (PARTS["grade"] if name == GRADED else ())
                values = self.variance(self.changed(at, new, frame, new), self.codes[at])
            elif name == "type, maker and era":
                values = self.variance(self.changed(at, CORE, frame, CORE), self.codes[at])
            elif name == "type and maker":
                values = self.variance(self.of_maker(at, frame), self.codes[at])
            elif name == "variant of maker":
                start = self.of_maker(at, frame)
                new = self.exchanged(start, PARTS["variant"], frame, PARTS["variant"])
                values = self.variance(new, self.codes[at]) - self.variance(start, self.codes[at])
            elif name in MAKER:
                out_of = {"maker": ("maker", "maker and era"), "era": ("era",), "maker and era": MAKER}[name]
                values = self.variance(self.changed(at, out_of, frame, out_of if name == "maker and era" else (name,)),
                                       self.codes[at]) - self.own[at]
            else:
                part = next(part for part, terms in PARTS.items() if name in terms)
                values = self.added(at, PARTS[part], frame, into=(name,))
            out.append(pd.DataFrame({"factor": name, "parts": parts, "variance": values}))
        unknown = self.changed(np.array([shop]), ("maker", "maker and era"))
        values = self.variance(unknown, self.codes[[shop]]) - self.own[shop]
        return pd.concat([*out, pd.DataFrame({"factor": "maker", "parts": [()], "variance": values})],
                         ignore_index=True)

    def _levels(self, name: str) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
        """(columns, combinations of their words met) of a term, or of pieces as sold."""
        if name in (SOLD, GRADED):
            columns = ("canonical_type", "maker", "era", "variant", "grade")[: 5 if name == GRADED else 4]
            return columns, self.model.history.sales[list(columns)].value_counts().index[:MOST_SOLD].tolist()
        columns = next(term.columns for term in TERMS if term.name == name)
        return columns, [tuple(key.split(SEPARATOR)) for key in self.levels[name]]

    def of_maker(self, at: np.ndarray, frame: pd.DataFrame) -> sparse.csr_array:
        """Profiles whose pieces are all of one maker, met in the type."""
        out = tuple(name for name in CORE if name != "era")
        return self.changed(at, out, frame, ("family", "type", "maker", "type and maker"))

    def added(self, at: np.ndarray, out: tuple[str, ...], frame: pd.DataFrame, into: tuple[str, ...] | None = None,
              unmet: bool = False) -> np.ndarray:
        """What the profiles' variance gains as the pieces of `frame` take the place of their average in these parts."""
        values = self.variance(self.changed(at, out, frame, out if into is None else into), self.codes[at])
        values = values - self.own[at]
        if unmet:
            clean = frame.assign(designation=frame["canonical_type"])
            missing = self.model.history.design.missing(clean, self.model.history.design.terms(clean))
            for place, term in enumerate(TERMS):
                if term.name in out:
                    values = values + missing[:, place] * self.unmet[term.name]
        return values

    def changed(self, at: np.ndarray, out: tuple[str, ...], frame: pd.DataFrame | None = None,
                into: tuple[str, ...] = ()) -> sparse.csr_array:
        """Profiles without the columns `out`, with those of `into` from the pieces of `frame`."""
        return self.exchanged(self.rows[at], out, frame, into)

    def exchanged(self, rows: sparse.csr_array, out: tuple[str, ...], frame: pd.DataFrame | None,
                  into: tuple[str, ...]) -> sparse.csr_array:
        """The same of any rows."""
        rows = rows @ sparse.diags_array((~np.isin(self.label, out)).astype(float))
        if frame is not None:
            if "designation" not in frame:
                frame = frame.assign(designation=frame["canonical_type"])
            new = _joined(self.model.rows(frame)[0])
            rows = rows + new @ sparse.diags_array(np.isin(self.label, into).astype(float))
        return rows.tocsr()

    def variance(self, rows: sparse.csr_array, codes: np.ndarray) -> np.ndarray:
        """Relative variance of joined rows."""
        n_fixed = len(FIXED_NAMES)
        return self.model.fit.relative_variance(Rows(
            rows[:, :self.n_block].tocsr(), rows[:, self.n_block:-n_fixed].tocsr(), rows[:, -n_fixed:].toarray(), codes,
        ))


def _joined(rows: Rows) -> sparse.csr_array:
    return sparse.hstack([rows.block, rows.border, sparse.csr_array(rows.fixed)]).tocsr()
