"""Sales of a simulated shop: what was sold when, at what price, and which rows were booked wrongly."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from . import world as w
from .world import World, draw_world

GROSS_ERRORS = ("set booked as one", "decimal slip", "wrong type")

_GRADE_SHARE = [0.12, 0.15, 0.22, 0.25, 0.08, 0.10, 0.03, 0.05]
_READING_MEAN_PCT = np.array([101.0, 100.0, 95.0, 80.0, 55.0, np.nan, np.nan, 82.0])
_READING_SD_PCT = np.array([6.0, 6.0, 8.0, 9.0, 11.0, np.nan, np.nan, 18.0])
_CHANNEL_SHARE = [0.55, 0.25, 0.08, 0.05, 0.04, 0.03]


@dataclass(frozen=True)
class SimulatedShop:
    """A simulated history, the truth behind it, and the items sold in the three months after it.

    sales : clean Sales rows, oldest first, index 0..n-1, gross errors included
    truth : same index. `log_fair_tube` and `log_fair_set`: true log median price at the sale's date, of one
        tube and of one set; `log_time`: the part of it that is market, season and type drift; `noise`: what
        the sale added; `gross_error`: "" or one of GROSS_ERRORS; `true_type`, `true_set_size`: what was
        really sold
    future_items : descriptive columns, `sold_on`, `qty` 1; `log_fair_tube`, `log_fair_set`, `log_time` as
        above, `log_time_foreseen`: the same as best foreseen at `as_of`; `price_clean`: the set's sale price;
        `price_booked`: the same with gross errors; `gross_error`
    components : every true effect
    as_of : last day of the history
    """

    sales: pd.DataFrame
    truth: pd.DataFrame
    future_items: pd.DataFrame
    components: World
    as_of: pd.Timestamp


def simulate_shop(n_sales: int, seed: int, *, gross_error_share: float = 0.02, years: float = 6.0,
                  n_types: int = 500, n_makers: int = 40, hard: bool = True, n_future: int = 1000,
                  as_of: str = "2025-06-30", designations: bool = True,
                  sd: dict[str, float] | None = None) -> SimulatedShop:
    """Simulate a shop's sales over `years` up to `as_of`, and `n_future` items of the three months after.

    The effects and the future items depend on `seed` and on the shop's shape only, so that shops of different
    `n_sales` are the same shop with a shorter or longer list. `hard=False` is a shop that obeys a plain
    linear model: normal noise and cells, grade gaps that ignore the price level, no hyped types.
    `designations=False` prints every type in one way only. `sd` overrides entries of
    `world.STANDARD_DEVIATIONS`.

    Raises ValueError for a negative number of sales, a share outside 0..1 or an unknown name in `sd`.
    """
    if n_sales < 0 or n_future < 0:
        raise ValueError(f"numbers of sales cannot be negative: n_sales={n_sales}, n_future={n_future}")
    if not 0 <= gross_error_share <= 1:
        raise ValueError(f"gross_error_share is a share between 0 and 1, not {gross_error_share}")
    for_world, for_sales, for_future = np.random.SeedSequence(seed).spawn(3)
    world = draw_world(for_world, years=years, n_types=n_types, n_makers=n_makers, hard=hard,
                       designations=designations, sd=sd)
    end = pd.Timestamp(as_of)
    sales, truth = _sales(np.random.default_rng(for_sales), world, n_sales, end, gross_error_share)
    items = _future(np.random.default_rng(for_future), world, n_future, end, gross_error_share)
    return SimulatedShop(sales=sales, truth=truth, future_items=items, components=world, as_of=end)


def _draw_pieces(rng, world: World, n: int, wants_set: np.ndarray) -> dict[str, np.ndarray]:
    """What was sold, as positions of levels; rows where `wants_set` are sets in any case."""
    cell = rng.choice(len(world.cell_weight), size=n, p=world.cell_weight)
    type_, maker = world.cell_type[cell], world.cell_maker[cell]
    family = world.type_family[type_]
    grade = rng.choice(len(w.GRADES), size=n, p=_GRADE_SHARE)
    reading = _READING_MEAN_PCT[grade] + _READING_SD_PCT[grade] * rng.standard_normal(n)
    reading = np.round(reading).clip(20, 130)
    reading[rng.random(n) < 0.45] = np.nan
    in_set = (rng.random(n) < world.set_share[family]) | wants_set
    set_code = np.where(in_set, np.where(rng.random(n) < 0.7, 1, 2), 0)
    variants = world.n_variants[type_, maker]
    variant = np.where((variants > 0) & (rng.random(n) < 0.6), (rng.random(n) * variants).astype(int), -1)
    return {
        "cell": cell, "type": type_, "maker": maker, "era": world.cell_era[cell], "family": family,
        "grade": grade, "reading_pct": reading, "set": set_code,
        "matched": (set_code > 0) & (rng.random(n) < 0.7),
        "qty": np.where(rng.random(n) < 0.12, rng.integers(2, 7, n), 1), "variant": variant,
        "designation": (rng.random(n) ** 2 * world.n_designations[type_]).astype(int),
        "brand": np.where(rng.random(n) < 0.2, rng.integers(0, w.N_BRANDS, n), w.N_BRANDS),
        "channel": rng.choice(len(w.CHANNELS), size=n, p=_CHANNEL_SHARE),
    }


def _log_fair_tube(world: World, p: dict[str, np.ndarray], log_time: np.ndarray) -> np.ndarray:
    """True log median price of one tube."""
    level = world.family_effect[p["family"]] + world.type_effect[p["type"]] + world.maker_effect[p["maker"]]
    reading = w.reading_shape(p["reading_pct"])
    return (
        w.BASE_LOG_PRICE + log_time
        + (1 + world.grade_level_slope[p["grade"]]) * level
        + w.GRADE_GAP[p["grade"]] + world.family_grade_effect[p["family"], p["grade"]]
        + w.ERA_EFFECT[p["era"]] + world.maker_era_effect[p["maker"], p["era"]]
        + world.type_maker_effect[p["type"], p["maker"]] + world.cell_effect[p["cell"]]
        + np.where(p["variant"] < 0, 0.0, world.variant_effect[p["type"], p["maker"], p["variant"]])
        + world.designation_effect[p["type"], p["designation"]] + world.brand_effect[p["brand"]]
        + np.where(np.isnan(reading), w.NO_READING_EFFECT, w.READING_DEPTH * reading)
        + w.SET_PREMIUM[p["set"]] + world.family_set_effect[p["family"], p["set"]]
        + w.MATCHED_EFFECT * p["matched"] + w.LOG_QTY_EFFECT * np.log(p["qty"])
        + w.CHANNEL_EFFECT[p["channel"]]
    )


def _describe(world: World, p: dict[str, np.ndarray], sold_on: pd.DatetimeIndex) -> pd.DataFrame:
    """Descriptive columns of clean sales."""
    names = world.type_names[p["type"]]
    designation = names + np.array(w.DESIGNATIONS, dtype=object)[p["designation"]]
    # Which of the trade's words a maker's first, second and third variant bears differs from type to type.
    word = (p["type"] * 7 + p["maker"] * 3 + np.maximum(p["variant"], 0)) % len(w.VARIANTS)
    return pd.DataFrame({
        "sold_on": sold_on.astype("datetime64[ns]"), "type": designation, "designation": designation,
        "canonical_type": names, "family": np.array(w.FAMILIES, dtype=object)[p["family"]],
        "maker": world.maker_names[p["maker"]], "brand": world.brand_names[p["brand"]],
        "era": np.array(w.ERAS, dtype=object)[p["era"]],
        "variant": np.where(p["variant"] < 0, "unknown", np.array(w.VARIANTS, dtype=object)[word]),
        "grade": np.array(w.GRADES, dtype=object)[p["grade"]], "reading_pct": p["reading_pct"],
        "set_size": np.array(w.SET_SIZES)[p["set"]], "matched": p["matched"], "qty": p["qty"],
        "channel": np.array(w.CHANNELS, dtype=object)[p["channel"]],
    })


def _draw_gross_errors(rng: np.random.Generator, n: int, share: float) -> np.ndarray:
    """Kind of gross error of each row, -1 for none."""
    return np.where(rng.random(n) < share, rng.integers(0, len(GROSS_ERRORS), n), -1)


def _gross_error_names(kind: np.ndarray) -> np.ndarray:
    return np.array([*GROSS_ERRORS, ""], dtype=object)[kind]


def _sales(rng, world: World, n: int, end: pd.Timestamp,
           gross_share: float) -> tuple[pd.DataFrame, pd.DataFrame]:
    days = round(world.years * 365.25)
    # A little more is sold every year: the density rises by half from the first day to the last.
    age = np.sort(np.floor(days * (np.sqrt(1 + 1.25 * rng.random(n)) - 1) / 0.5).astype(int))
    sold_on = end - pd.Timedelta(days=days - 1) + pd.to_timedelta(np.minimum(age, days - 1), unit="D")
    kind = _draw_gross_errors(rng, n, gross_share)
    p = _draw_pieces(rng, world, n, kind == 0)
    at = age / 365.25
    log_time = world.market(at) + w.season(sold_on.day_of_year) + world.type_drift(at, p["type"])
    log_fair = _log_fair_tube(world, p, log_time)
    noise = w.heavy_tailed(rng, w.NOISE_DEGREES_OF_FREEDOM, world.sd["noise"], n, world.hard)
    set_size = np.array(w.SET_SIZES)[p["set"]]

    booked = dict(p)
    booked["set"] = np.where(kind == 0, 0, p["set"])
    booked["matched"] = p["matched"] & (kind != 0)
    slip = np.where(kind == 1, np.where(rng.random(n) < 0.5, np.log(10), -np.log(10)), 0.0)
    other = world.cell_type[rng.choice(len(world.cell_weight), size=n, p=world.cell_weight)]
    other = np.where(other == p["type"], (other + 1) % len(world.type_names), other)
    booked["type"] = np.where(kind == 2, other, p["type"])
    booked["family"] = world.type_family[booked["type"]]
    booked["designation"] = np.minimum(p["designation"], world.n_designations[booked["type"]] - 1)

    frame = _describe(world, booked, sold_on)
    price = np.maximum(np.round(np.exp(log_fair + noise + slip) * set_size * p["qty"], 2), 0.01)
    frame = frame.assign(
        price=price, price_home=price, currency="EUR", country="unknown", tester="unknown", cost=np.nan,
        fee=np.nan, postage_charged=np.nan, postage_paid=np.nan, listed_on=pd.NaT, returned_on=pd.NaT, lot="",
        return_reason="", sku="", note="", sheet="Sales", row=np.arange(2, n + 2))
    for column in ("listed_on", "returned_on"):
        frame[column] = frame[column].astype("datetime64[ns]")
    truth = pd.DataFrame({
        "log_fair_tube": log_fair, "log_fair_set": log_fair + np.log(set_size), "log_time": log_time,
        "noise": noise, "gross_error": _gross_error_names(kind), "true_type": world.type_names[p["type"]],
        "true_set_size": set_size})
    return frame, truth


def _future(rng, world: World, n: int, end: pd.Timestamp, gross_share: float) -> pd.DataFrame:
    kind = _draw_gross_errors(rng, n, gross_share)
    p = _draw_pieces(rng, world, n, kind == 0)
    p["qty"] = np.ones(n, int)
    ahead = np.sort(rng.integers(1, 92, n))
    sold_on = end + pd.to_timedelta(ahead, unit="D")
    now = np.full(n, round(world.years * 365.25) / 365.25)
    at = now + ahead / 365.25
    seasonal = w.season(sold_on.day_of_year)
    log_time = world.market(at) + seasonal + world.type_drift(at, p["type"])
    foreseen = world.market(now) + seasonal + world.type_drift(now, p["type"]) \
        + (at - now) * (w.MARKET_TREND_A_YEAR + w.HYPE_A_YEAR * world.hyped[p["type"]])
    log_fair = _log_fair_tube(world, p, log_time)
    noise = w.heavy_tailed(rng, w.NOISE_DEGREES_OF_FREEDOM, world.sd["noise"], n, world.hard)
    frame = _describe(world, p, sold_on)
    log_set = np.log(frame["set_size"].to_numpy())
    clean = log_fair + log_set + noise
    # The item stands as described; a set booked as one reads as that many times the price.
    slip = np.where(rng.random(n) < 0.5, np.log(10), -np.log(10))
    wrong = [clean + log_set, clean + slip, rng.permutation(clean)]
    booked = np.select([kind == 0, kind == 1, kind == 2], wrong, clean)
    return frame.assign(
        log_fair_tube=log_fair, log_fair_set=log_fair + log_set, log_time=log_time,
        log_time_foreseen=foreseen,
        price_clean=np.maximum(np.round(np.exp(clean), 2), 0.01),
        price_booked=np.maximum(np.round(np.exp(booked), 2), 0.01), gross_error=_gross_error_names(kind))
