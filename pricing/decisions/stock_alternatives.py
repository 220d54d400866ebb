"""Alternatives for the dearest piece of every type on the shelf: the list a shop answers its customers from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from pricing.decisions.alternatives import COLUMNS, SAME, find_alternatives
from pricing.decisions.for_sale import for_sale
from pricing.decisions.quality import rank_quality

MOST_TYPES, OF_THE_TYPE, OF_OTHERS = 40, 2, 2
WANTED = ("wanted", "wanted_code", "wanted_each", "circuit")
STOCK_COLUMNS = (*WANTED, *COLUMNS)


def stock_alternatives(model: Any, shop: Any, ranking: Any = None) -> pd.DataFrame:
    """A row a cheaper candidate (STOCK_COLUMNS): for the types sold most, up to MOST_TYPES, the dearest piece on hand
    with the closest OF_THE_TYPE of its type and OF_OTHERS of others, held against the first position on Circuits that
    has the type fitted. A wanted piece with nothing cheaper has one row, its candidate blank."""
    shelf = for_sale(model, shop)
    own = shelf[shelf["own"].astype(bool) & shelf["type_known"].astype(bool)]
    if own.empty:
        return pd.DataFrame(columns=list(STOCK_COLUMNS))
    if ranking is None and len(shop.listening):
        ranking = rank_quality(shop.listening, model, shop)
    dearest = own.loc[own.groupby("canonical_type")["each"].idxmax()]
    sold = shop.sales["canonical_type"].value_counts()
    order = dearest["canonical_type"].map(sold).fillna(0).sort_values(ascending=False, kind="stable").index
    rows: list[dict[str, Any]] = []
    for wanted in dearest.loc[order].head(MOST_TYPES).to_dict("records"):
        place = _position_of(wanted["canonical_type"], shop)
        item = {**wanted, "sku": wanted["code"], "ask": wanted["price"]}
        found = find_alternatives(model, item, shop, place, shelf=shelf, ranking=ranking)
        head = {"wanted": found.wanted, "wanted_code": wanted["code"], "wanted_each": found.wanted_each,
                "circuit": "" if place is None else f"{place['circuit']} {place['position']}".strip()}
        same = found.candidates["kind"] == SAME
        best = pd.concat([found.candidates[same].head(OF_THE_TYPE), found.candidates[~same].head(OF_OTHERS)])
        rows += [{**head, **one} for one in best.to_dict("records")] or [
            {**head, "answer": "Nothing that could stand in for it is in stock or on offer for less."}]
    return pd.DataFrame(rows, columns=list(STOCK_COLUMNS))


def _position_of(canonical_type: str, shop: Any) -> Mapping[str, Any] | None:
    """The first row of Circuits with the type fitted."""
    circuits = shop.circuits
    if not len(circuits):
        return None
    fitted = [match.canonical_type if (match := shop.register.find(str(one))).status == "found" else ""
              for one in circuits["fitted_type"]]
    met = circuits[[one == canonical_type for one in fitted]]
    return met.iloc[0].to_dict() if len(met) else None
