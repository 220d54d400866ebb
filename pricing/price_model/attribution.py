"""Who made a piece that bears only a brand: a probability by maker, learnt from rows that carry both.

P(maker | brand, type, era, construction) is proportional to

    [ P(maker | brand) [ P(type | maker) P(era | maker, type) P(variant | maker, type) ] ^ power ] ^ whole,

each a Dirichlet-multinomial share smoothed to the next wider one: a brand's makers in a family of types to the
brand's, these to the shop's maker shares (with Ewens' share for a maker not met yet: Theoretical Population Biology 3,
1972, from memory); an era or a construction of a maker's type to the maker's own, and that to the shop's. How strongly,
and the powers that pay for clues that repeat one another, is what best foretells the makers of the shop's own rows when
each is left out.

Rows that state a maker are never attributed, nor are rows without a brand, nor those of a brand of which neither
the shop's rows nor the owner's Settings tell anything: construction alone does not name a maker here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.optimize import minimize

from pricing.shop_tables.vocabularies import plain

UNKNOWN = "unknown"
NOT_MET = "a maker not met in this shop"
TOO_LITTLE = 0.35
# What an owner's "brand: ..." row counts for, in sold pieces of that brand.
OWNER_PIECES = 10.0
# Cells (rows by makers) looked at while the strengths of smoothing are chosen: the newest rows that fit.
MOST_CELLS = 60_000
# Centres and spread (of the logarithm) of the prior on the strengths: choices, made with some simulated shops in view
# (the figures of tests/benchmarks/attribution.py are of others). In pieces; the powers are without a unit.
STRENGTHS = {
    "brand": 1.5, "brand in family": 10.0, "not met": 1.0, "type": 40.0, "era, maker": 5.0, "era, type": 4.0,
    "variant, maker": 20.0, "variant, type": 2.0, "power": 0.85, "whole": 0.85,
}
STRENGTH_SPREAD = {name: 2.0 if name == "not met" else 0.5 for name in STRENGTHS}
_CLUES = {"era": ("era",), "variant": ("variant",)}
_SEPARATOR = "\x1f"


@dataclass(frozen=True)
class _Counts:
    """Sold rows by level and maker: `table[i, m]`, its last row zero for a level never met."""

    levels: pd.Index
    table: np.ndarray

    @classmethod
    def of(cls, levels: np.ndarray, makers: np.ndarray, n_makers: int, pieces: np.ndarray | float = 1.0) -> _Counts:
        """Counts of rows, one each or `pieces`."""
        codes, met = pd.factorize(levels)
        table = np.zeros((len(met) + 1, n_makers))
        np.add.at(table, (codes, makers), pieces)
        return cls(pd.Index(met), table)

    def at(self, levels: np.ndarray) -> np.ndarray:
        """Rows of the table, by item."""
        return self.table[self.levels.get_indexer(levels)]

    def share(self, levels: np.ndarray) -> np.ndarray:
        """Share of all rows, by item, half a row added to every level."""
        total = self.table.sum(axis=1)
        return ((total + 0.5) / (total + 0.5).sum())[self.levels.get_indexer(levels)]


@dataclass(frozen=True)
class _Gathered:
    """Everything counted that bears on some items: items by makers, the last maker the one not met."""

    brand: np.ndarray
    brand_in_family: np.ndarray
    own_name: np.ndarray
    makers: np.ndarray
    type: np.ndarray
    type_share: np.ndarray
    clues: tuple[tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray], ...]


@dataclass(frozen=True)
class Attribution:
    """Makers of brands as a shop's rows tell them.

    `makers` are the makers met, NOT_MET last; `strengths` as in STRENGTHS; `names_itself` is the share of pieces made
    by the maker whose name they bear as a brand.
    """

    makers: pd.Index
    counts: dict[str, _Counts]
    strengths: dict[str, float]
    names_itself: float
    left_out: pd.DataFrame

    def makers_of(self, items: pd.DataFrame) -> pd.DataFrame:
        """item (index label), maker, probability: a row for every possible maker, likeliest first, summing to 1.

        `items` are clean rows (maker, brand, canonical_type, family, era, variant). Items that are not attributed have
        no row. The maker may be NOT_MET.
        """
        at, probability = self.probabilities(items)
        item, maker = np.nonzero(probability)
        out = pd.DataFrame({
            "item": items.index[at][item], "maker": self.makers[maker], "probability": probability[item, maker],
            "order": item,
        })
        out = out.sort_values(["order", "probability"], ascending=[True, False], kind="stable", ignore_index=True)
        return out.drop(columns="order")

    def probabilities(self, items: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
        """(places of the items that are attributed, these by makers: probabilities)."""
        at = np.flatnonzero(self.attributed(items))
        if not len(at):
            return at, np.zeros((0, len(self.makers)))
        return at, _posterior(self._gather(items.iloc[at]), self.strengths, self.names_itself)

    def attributed(self, items: pd.DataFrame) -> np.ndarray:
        """Whether each item has a brand that tells of its maker, and no maker."""
        told = items["brand"].isin(self.brands) & (items["brand"] != UNKNOWN)
        return ((items["maker"] == UNKNOWN) & told).to_numpy()

    @cached_property
    def brands(self) -> pd.Index:
        """Brands of which something is known: from sales that state the maker, from Settings, or a maker's own name."""
        return self.counts["brand"].levels.union(self.counts["owner"].levels).union(self.makers[:-1])

    def reliability(self, edges: tuple[float, ...] = (0, .5, .65, .75, .85, .95, 1)) -> pd.DataFrame:
        """How often the likeliest maker was right on the shop's own rows, each left out: from, to, n, stated, right."""
        return reliability(self.left_out["probability"], self.left_out["right"], edges)

    def _gather(self, items: pd.DataFrame, own: np.ndarray | None = None) -> _Gathered:
        """What is counted for items; with `own` makers, without the items' own rows."""
        keys, n = _keys(items), len(self.makers)
        less = np.zeros((len(items), n))
        if own is not None:
            less[np.arange(len(items)), own] = 1.0

        def at(name: str, level: str, there: np.ndarray | None = None) -> np.ndarray:
            return self.counts[name].at(keys[level]) - (less if there is None else less * there[:, None])

        def sums(name: str, there: np.ndarray | None = None) -> np.ndarray:
            return self.counts[name].table.sum(axis=0) - (less if there is None else less * there[:, None])

        clues = []
        for clue in _CLUES:
            known = keys[clue] != UNKNOWN
            share = np.where(known, self.counts[clue].share(keys[clue]), 1.0)
            parts = (at(f"type, {clue}", f"type, {clue}", known), at(f"type of known {clue}", "type", known),
                     at(clue, clue, known), sums(clue, known))
            clues.append((*(np.where(known[:, None], part, 0.0) for part in parts), share))
        named = np.zeros((len(items), n))
        own_maker = self.makers.get_indexer(keys["brand"])
        named[own_maker >= 0, own_maker[own_maker >= 0]] = 1.0
        branded = keys["brand"] != UNKNOWN
        brand, in_family = at("brand", "brand", branded), at("brand in family", "brand in family", branded)
        owner = self.counts["owner"].at(keys["brand"])  # spread over families as the brand's sales are
        family_share = in_family.sum(axis=1) / np.maximum(brand.sum(axis=1), 1.0)
        return _Gathered(brand + owner, in_family + owner * family_share[:, None], named, sums("type"),
                         at("type", "type"), self.counts["type"].share(keys["type"]), tuple(clues))


def learn_attribution(sales: pd.DataFrame, brand_table: pd.DataFrame | None = None) -> Attribution:
    """Learn makers of brands from clean sales (maker, brand, canonical_type, family, era, variant), oldest first.

    `brand_table`: what the owner knows beside, columns brand, maker, share; each brand's shares count for OWNER_PIECES
    sold pieces. A shop that never states a maker and a brand together learns nothing and attributes nothing.
    """
    stated = sales[(sales["maker"] != UNKNOWN).to_numpy()]
    own = _owner_rows(brand_table, sales)
    makers = pd.Index([*sorted({*stated["maker"], *own["maker"]}), NOT_MET], dtype=object)
    codes, keys = makers.get_indexer(stated["maker"]), _keys(stated)
    branded = keys["brand"] != UNKNOWN
    counts = {"brand": _Counts.of(keys["brand"][branded], codes[branded], len(makers)),
              "owner": _Counts.of(own["brand"].to_numpy(object), makers.get_indexer(own["maker"]), len(makers),
                                  own["pieces"].to_numpy(float)),
              "brand in family": _Counts.of(keys["brand in family"][branded], codes[branded], len(makers)),
              "type": _Counts.of(keys["type"], codes, len(makers))}
    for clue in _CLUES:
        known = keys[clue] != UNKNOWN
        counts[clue] = _Counts.of(keys[clue][known], codes[known], len(makers))
        counts[f"type, {clue}"] = _Counts.of(keys[f"type, {clue}"][known], codes[known], len(makers))
        counts[f"type of known {clue}"] = _Counts.of(keys["type"][known], codes[known], len(makers))
    like_a_maker = makers.get_indexer(keys["brand"][branded])
    names_itself = (1 + (like_a_maker == codes[branded]).sum()) / (2 + (like_a_maker >= 0).sum())
    unfitted = Attribution(makers, counts, STRENGTHS, float(names_itself), _left_out())
    return _fitted(unfitted, stated[branded], codes[branded])


def reliability(stated: pd.Series, right: pd.Series, edges: tuple[float, ...]) -> pd.DataFrame:
    """By class of stated probability: from, to, n, stated (mean), right (share)."""
    place = np.clip(np.digitize(stated, edges) - 1, 0, len(edges) - 2)
    by = pd.DataFrame({"stated": np.asarray(stated, float), "right": np.asarray(right, float)}).groupby(place)
    out = by.agg(n=("right", "size"), stated=("stated", "mean"), right=("right", "mean")).reindex(range(len(edges) - 1))
    out.insert(0, "from", edges[:-1])
    out.insert(1, "to", edges[1:])
    return out.assign(n=out["n"].fillna(0).astype(int))


def attribution_in_words(makers: pd.Series, probabilities: pd.Series) -> str:
    """"attributed to X, 80 % sure"; the two likeliest where none is likelier than not; open where none stands out."""
    order = np.argsort(-np.asarray(probabilities, float), kind="stable")
    maker, probability = np.asarray(makers)[order], np.asarray(probabilities, float)[order]
    if probability[0] < TOO_LITTLE:
        return f"open (likeliest {maker[0]}, {_sure(probability[0])})"
    words = f"attributed to {maker[0]}, {_sure(probability[0])} sure"
    if probability[0] < 0.5 and len(maker) > 1:
        words += f"; to {maker[1]}, {_sure(probability[1])}"
    return words


def _sure(probability: float) -> str:
    return "over 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"


def _posterior(seen: _Gathered, strengths: dict[str, float], names_itself: float) -> np.ndarray:
    """Items by makers: probabilities."""
    everything = seen.makers.copy()
    everything[:, -1] = strengths["not met"]
    shop = everything / everything.sum(axis=1, keepdims=True)
    bears_name = seen.own_name.any(axis=1, keepdims=True) * names_itself
    wide = bears_name * seen.own_name + (1 - bears_name) * shop
    wide = _smoothed(seen.brand, seen.brand.sum(axis=1, keepdims=True), wide, strengths["brand"])
    log = np.log(np.maximum(seen.brand_in_family + strengths["brand in family"] * wide, 1e-12))
    share = seen.type_share[:, None]
    clue = np.log(_smoothed(seen.type, seen.makers, share, strengths["type"]) / share)
    for name, (of_type, in_type, of_maker, in_maker, share) in zip(_CLUES, seen.clues):
        share = share[:, None]
        wide = _smoothed(of_maker, in_maker, share, strengths[f"{name}, maker"])
        clue += np.log(_smoothed(of_type, in_type, wide, strengths[f"{name}, type"]) / share)
    log = strengths["whole"] * (log + strengths["power"] * clue)
    likely = np.exp(log - log.max(axis=1, keepdims=True))
    return likely / likely.sum(axis=1, keepdims=True)


def _smoothed(count: np.ndarray, total: np.ndarray, wide: np.ndarray, strength: float) -> np.ndarray:
    """A share of counts leaning on a wider share as if that had been seen `strength` times."""
    return (count + strength * wide) / (total + strength)


def _fitted(start: Attribution, rows: pd.DataFrame, codes: np.ndarray) -> Attribution:
    """The attribution at the strengths that best foretell the makers of `rows`, each row left out."""
    newest = slice(max(len(rows) - MOST_CELLS // len(start.makers), 0), None)
    rows, codes = rows.iloc[newest], codes[newest]
    if not len(rows):
        return start
    seen = start._gather(rows, codes)
    # A maker whose only row is left out has not been met.
    target = np.where(seen.makers[np.arange(len(rows)), codes] > 0, codes, len(start.makers) - 1)
    centre, every = np.log(list(STRENGTHS.values())), np.arange(len(rows))
    spread = np.array(list(STRENGTH_SPREAD.values()))

    def loss(log_strengths: np.ndarray) -> float:
        strengths = dict(zip(STRENGTHS, np.exp(log_strengths)))
        found = _posterior(seen, strengths, start.names_itself)[every, target]
        return -np.log(np.maximum(found, 1e-12)).sum() + 0.5 * (((log_strengths - centre) / spread) ** 2).sum()

    # Powers only ever pay for clues that repeat one another: none is above 1.
    highest = [0.0 if name in ("power", "whole") else value + 4 for name, value in zip(STRENGTHS, centre)]
    best = minimize(loss, centre, method="L-BFGS-B", bounds=list(zip(centre - 4, highest)), options={"maxiter": 40})
    strengths = dict(zip(STRENGTHS, np.exp(best.x).tolist()))
    found = _posterior(seen, strengths, start.names_itself)
    return Attribution(start.makers, start.counts, strengths, start.names_itself,
                       _left_out(found.max(axis=1), found.argmax(axis=1) == target))


def _left_out(probability: np.ndarray = np.zeros(0), right: np.ndarray = np.zeros(0, bool)) -> pd.DataFrame:
    """Of every row that was left out: probability of its likeliest maker, and whether that was right."""
    return pd.DataFrame({"probability": probability, "right": right})


def _keys(rows: pd.DataFrame) -> dict[str, np.ndarray]:
    """Texts that name the levels of rows."""
    keys = {"brand": rows["brand"], "type": rows["canonical_type"], "era": rows["era"], "variant": rows["variant"]}
    keys = {name: values.astype(str).to_numpy(object) for name, values in keys.items()}
    keys["brand in family"] = keys["brand"] + _SEPARATOR + rows["family"].astype(str).to_numpy(object)
    for clue in _CLUES:
        keys[f"type, {clue}"] = keys["type"] + _SEPARATOR + keys[clue]
    return keys


def _owner_rows(brand_table: pd.DataFrame | None, sales: pd.DataFrame) -> pd.DataFrame:
    """The owner's brands and makers as the sales spell them, shares as pieces."""
    if brand_table is None or not len(brand_table):
        return pd.DataFrame({"brand": pd.Series(dtype=object), "maker": pd.Series(dtype=object), "pieces": []})
    out = brand_table.astype({"share": float})
    for name in ("brand", "maker"):
        spelt = {plain(str(text)): text for text in sales[name].unique()}
        out[name] = [spelt.get(plain(str(text)), text) for text in out[name]]
    return out.assign(pieces=OWNER_PIECES * out["share"] / out.groupby("brand")["share"].transform("sum"))
