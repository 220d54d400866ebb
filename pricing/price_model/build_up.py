"""How a price is made: the additive terms of the log price, gathered into the factors an owner thinks in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse

from pricing.price_model.fixed_effects import FIXED_NAMES
from pricing.price_model.layout import Layout
from pricing.price_model.observations import Rows
from pricing.price_model.robust import RobustFit


@dataclass(frozen=True)
class Group:
    """One factor of the build-up: random terms and fixed effects (by the start of their names) that make it."""

    factor: str
    terms: tuple[str, ...]
    fixed: tuple[str, ...] = ()


WALKS = ("market", "market of family", "market of type")
GROUPS = (
    Group("shop", (), ("level",)),
    Group("family", ("family",)),
    Group("type", ("type", "printed designation")),
    Group("maker", ("maker", "type and maker", "printed brand")),
    Group("era", ("era", "maker and era", "type, maker and era")),
    Group("variant", ("variant", "variant of maker")),
    Group("grade", ("grade in family", "grade in type"), ("grade",)),
    Group("reading", (), ("reading",)),
    Group("set", ("set in family",), ("set", "matched", "quantity")),
    Group("channel", ("channel",)),
    Group("season", (), ("season",)),
    Group("market today", WALKS),
)


def only(layout: Layout, rows: Rows, terms: tuple[str, ...], fixed: tuple[str, ...] = ()) -> Rows:
    """The rows with every other column set to zero."""
    numbers = [layout.names.index(name) for name in terms]
    block = sparse.diags_array(np.isin(layout.block_term, numbers).astype(float))
    border = sparse.diags_array(np.isin(layout.border_term, numbers).astype(float))
    wanted = np.array([name.split(":")[0].split(" (")[0] in fixed for name in FIXED_NAMES])
    return Rows(
        (rows.block @ block).tocsr(), (rows.border @ border).tocsr(), rows.fixed * wanted, rows.block_codes
    )


def contribution(fit: RobustFit, rows: Rows, group: Group) -> tuple[np.ndarray, np.ndarray]:
    """(log multiplier, its standard deviation) of one group, by row."""
    posterior = fit.posterior
    part = only(posterior.layout, rows, group.terms, group.fixed)
    return posterior.mean(part), np.sqrt(posterior.noise_variance * fit.relative_variance(part))


def group_level(factor: str, item: pd.Series, as_of: pd.Timestamp, currency: str) -> str:
    """What the item is in this factor, in words."""
    reading = item["reading_pct"]
    set_words = {1: "single", 2: "pair", 4: "quad"}.get(item["set_size"], f"set of {item['set_size']}")
    return {
        "shop": f"an ordinary piece, {currency}",
        "family": item["family"],
        "type": item["designation"] if item["designation"] == item["canonical_type"]
        else f"{item['designation']} (sold as {item['canonical_type']})",
        "maker": item["maker"] if item["brand"] in ("unknown", item["maker"])
        else f"{item['maker']}, printed {item['brand']}",
        "era": item["era"],
        "variant": item["variant"],
        "grade": item["grade"],
        "reading": "not stated" if not np.isfinite(reading) else f"{reading:.0f} % of nominal",
        "set": set_words + (", matched" if item["matched"] and item["set_size"] > 1 else ""),
        "channel": item["channel"],
        "season": f"{item['sold_on']:%B}",
        "market today": f"{item['sold_on']:%Y-%m}, against the history's average",
    }[factor]
