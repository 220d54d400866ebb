"""Brands that buy from a few makers, and rows that have lost their maker: `simulate_shop` with a printed brand on more
of its rows, by a random stream of its own, so that the shop itself stays what its seed made it."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from . import world as w
from .shop import SimulatedShop
from .world import World

OWN_STREAM = 11
FAMILY_TILT_SD = 0.7      # a brand buys its rectifiers elsewhere than its triodes: no naive independence


@dataclass(frozen=True)
class BrandedShop:
    """A simulated shop whose pieces bear brands; `sales_maker` and `items_maker` are the true makers by row.

    `shop` is as `simulate_shop` gives it, with prices moved by what the new brand (and, where buyers pay only for what
    can be named, the lost maker) does to them.
    """

    shop: SimulatedShop
    sales_maker: pd.Series
    items_maker: pd.Series


def with_brands(shop: SimulatedShop, seed: int, *, brand_share: float = 0.3, lost_share: float = 0.5,
                lost_without_brand: float = 0.05, buyers_know: bool = True) -> BrandedShop:
    """Brands on about `brand_share` of rows; of these `lost_share` lose their maker, of the others a few.

    Each brand buys from two to five makers, in shares of its own that differ by family. Rows of unknown maker stay
    without brand. `buyers_know=False`: a piece whose maker was lost sells like any piece of unknown maker. Raises
    ValueError for a share outside 0..1.
    """
    for share in (brand_share, lost_share, lost_without_brand):
        if not 0 <= share <= 1:
            raise ValueError(f"a share lies between 0 and 1, not {share}")
    for_brands, for_sales, for_items = np.random.SeedSequence([seed, OWN_STREAM]).spawn(3)
    made_by = shop.sales["maker"].value_counts(normalize=True)
    chance = _chances(np.random.default_rng(for_brands), shop.components, made_by, brand_share)
    lost = (lost_share, lost_without_brand, buyers_know)
    (sales, change, sales_maker), (items, ahead, items_maker) = (
        _branded(np.random.default_rng(stream), shop.components, frame, chance, *lost)
        for stream, frame in ((for_sales, shop.sales), (for_items, shop.future_items)))
    for name in ("price", "price_home"):
        sales[name] = np.maximum(np.round(sales[name] * np.exp(change), 2), 0.01)
    for name in ("price_clean", "price_booked"):
        items[name] = np.maximum(np.round(items[name] * np.exp(ahead), 2), 0.01)
    truth = shop.truth.copy()
    for frame, moved in ((truth, change), (items, ahead)):
        for name in ("log_fair_tube", "log_fair_set"):
            frame[name] += moved
    moved_shop = SimulatedShop(sales, truth, items, shop.components, shop.as_of)
    return BrandedShop(moved_shop, sales_maker, items_maker)


def _chances(rng: np.random.Generator, world: World, made_by: pd.Series, brand_share: float) -> np.ndarray:
    """Families by makers by brands: chance that a piece of a maker bears a brand (at most .9 in all)."""
    makers = world.maker_names[:-1]
    weight = made_by.reindex(makers).fillna(0).to_numpy() + 1e-4
    weight /= weight.sum()
    bought = np.zeros((len(w.FAMILIES), len(makers), w.N_BRANDS))
    popularity = rng.dirichlet(np.full(w.N_BRANDS, 2.0))
    for brand in range(w.N_BRANDS):
        few = rng.choice(len(makers), size=min(rng.integers(2, 6), len(makers)), replace=False, p=weight)
        share = rng.dirichlet(np.full(len(few), 0.8))
        tilted = share * np.exp(FAMILY_TILT_SD * rng.standard_normal((len(w.FAMILIES), len(few))))
        bought[:, few, brand] = popularity[brand] * tilted / tilted.sum(axis=1, keepdims=True)
    chance = brand_share * bought / weight[:, None]
    total = chance.sum(axis=2, keepdims=True)
    return chance * np.minimum(1.0, 0.9 / np.maximum(total, 1e-12))


def _branded(rng, world: World, frame: pd.DataFrame, chance: np.ndarray, lost_share: float, lost_without_brand: float,
             buyers_know: bool) -> tuple[pd.DataFrame, np.ndarray, pd.Series]:
    """(rows with brands and lost makers, what that adds to the log price, true makers)."""
    n, unknown = len(frame), len(world.maker_names) - 1
    maker = pd.Index(world.maker_names).get_indexer(frame["maker"])
    family = pd.Index(w.FAMILIES).get_indexer(frame["family"])
    own = np.where((maker < unknown)[:, None], chance[family, np.minimum(maker, unknown - 1)], 0.0)
    brand = (rng.random(n)[:, None] > np.cumsum(own, axis=1)).sum(axis=1)        # N_BRANDS: none
    lost = rng.random(n) < np.where(brand < w.N_BRANDS, lost_share, lost_without_brand)
    before = pd.Index(world.brand_names).get_indexer(frame["brand"])
    change = world.brand_effect[brand] - world.brand_effect[before]
    if not buyers_know:
        change += np.where(lost, _maker_part(world, frame, np.full(n, unknown)) - _maker_part(world, frame, maker), 0.0)
    out = frame.assign(brand=world.brand_names[brand], maker=np.where(lost, "unknown", frame["maker"]))
    return out, change, frame["maker"]


def _maker_part(world: World, frame: pd.DataFrame, maker: np.ndarray) -> np.ndarray:
    """What the maker does to each log price: its own effect, with the era and with the type, and its cell's."""
    kind = pd.Index(world.type_names).get_indexer(frame["canonical_type"])
    era, grade = pd.Index(w.ERAS).get_indexer(frame["era"]), pd.Index(w.GRADES).get_indexer(frame["grade"])
    cells = pd.MultiIndex.from_arrays([world.cell_type, world.cell_maker, world.cell_era])
    cell = cells.get_indexer(pd.MultiIndex.from_arrays([kind, maker, era]))
    return ((1 + world.grade_level_slope[grade]) * world.maker_effect[maker] + world.maker_era_effect[maker, era]
            + world.type_maker_effect[kind, maker] + np.where(cell < 0, 0.0, world.cell_effect[cell]))
