"""A fixed-price shop: pieces listed at the owner's own ask, sold the sooner the lower it is, or still unsold.

The world is that of `simulate_shop` for the same seed and shape; the listings draw from a random stream of their own.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from . import world as w
from .shop import _describe, _draw_pieces, _log_fair_tube
from .world import World, draw_world

STEP_DAYS = 15
OWN_STREAM = 7
AUCTION_NOISE_SD = 0.18
_OWN_SITE, _AUCTION = w.CHANNELS.index("own site"), w.CHANNELS.index("auction")


@dataclass(frozen=True)
class ListedShop:
    """A shop's listings up to `as_of` and the truth behind them.

    Truth: the fair price is the ask at which a set sells after `days_at_fair` days on average, a hazard of
    1 / days_at_fair a day; the hazard at any other ask is (ask / fair)^-eta times that.

    sales : clean Sales rows, oldest first: sold listings at their ask, then auction sales at the market's price
    stock : a row a listing, sold ones too (they are the shop's history), quantity 1
    asks : a row a listing: sku, ask, from_date, until_date (NaT while it stands), outcome
    truth : index of `stock`: `log_fair` of the set through the own site at `as_of`; `log_fair_then`: on the day it was
        listed; `error`: log ask less that; `sold`
    """

    sales: pd.DataFrame
    stock: pd.DataFrame
    asks: pd.DataFrame
    truth: pd.DataFrame
    components: World
    as_of: pd.Timestamp


def simulate_listings(n_listings: int, seed: int, *, ask_sd: float = 0.25, type_share: float = 0.5,
                      ask_mean: float = 0.0, eta: float = 6.0, days_at_fair: float = 120.0, n_auctions: int = 0,
                      years: float = 6.0, n_types: int = 60, n_makers: int = 12, hard: bool = True,
                      as_of: str = "2025-06-30", sd: dict[str, float] | None = None) -> ListedShop:
    """Simulate `n_listings` single listings begun evenly over `years`, each at fair * exp(error).

    The error is normal with mean `ask_mean` and standard deviation `ask_sd`; `type_share` of its variance is the
    owner's view of the type, the same for all its listings, the rest is of the listing alone. Auction sales are booked
    at the auction's own fair price times a noise. Raises ValueError for a share outside 0..1 or a rate not above zero.
    """
    if not 0 <= type_share <= 1:
        raise ValueError(f"type_share is a share between 0 and 1, not {type_share}")
    if days_at_fair <= 0:
        raise ValueError(f"days_at_fair must be above zero, not {days_at_fair}")
    world = draw_world(np.random.SeedSequence(seed).spawn(1)[0], years=years, n_types=n_types, n_makers=n_makers,
                       hard=hard, designations=False, sd=sd)
    end, days = pd.Timestamp(as_of), round(years * 365.25)
    listed_seed, auction_seed = np.random.SeedSequence([seed, OWN_STREAM]).spawn(2)

    rng = np.random.default_rng(listed_seed)
    pieces = _single(_draw_pieces(rng, world, n_listings, np.zeros(n_listings, bool)), _OWN_SITE)
    start = np.sort(rng.integers(0, days, n_listings))
    of_type = ask_sd * np.sqrt(type_share) * rng.standard_normal(n_types)
    own = ask_sd * np.sqrt(1 - type_share) * rng.standard_normal(n_listings)
    then = _log_fair_set(world, pieces, start, end, days)
    error = ask_mean + of_type[pieces["type"]] + own
    ask = np.maximum(np.round(np.exp(then + error), 2), 0.01)
    waited = _waits(rng, world, pieces, start, np.log(ask), eta, days_at_fair, end, days)
    sold = np.isfinite(waited)
    sold_day = np.where(sold, start + np.floor(np.where(sold, waited, 0)), days - 1).astype(int)

    listed_on, sold_on = _date(start, end, days), _date(sold_day, end, days)
    sku = np.array([f"L{number:05d}" for number in range(1, n_listings + 1)], dtype=object)
    described = _describe(world, pieces, listed_on).drop(columns="sold_on")
    stock = described.assign(sku=sku, cost=np.nan, lot="", acquired_on=pd.NaT, listed_on=listed_on, ask=ask, note="",
                             type_known=True, sheet="Stock", row=np.arange(2, n_listings + 2))
    asks = pd.DataFrame({"sku": sku, "ask": ask, "from_date": listed_on,
                         "until_date": pd.Series(sold_on).where(sold), "outcome": np.where(sold, "sold", ""),
                         "sheet": "Asks", "row": np.arange(2, n_listings + 2)})
    truth = pd.DataFrame({"log_fair": _log_fair_set(world, pieces, np.full(n_listings, days - 1), end, days),
                          "log_fair_then": then, "error": np.log(ask) - then, "sold": sold})
    sales = described[sold].assign(sold_on=sold_on[sold], listed_on=listed_on[sold], price=ask[sold], sku=sku[sold])
    auctions = _auctions(np.random.default_rng(auction_seed), world, n_auctions, end, days)
    sales = pd.concat([sales, auctions], ignore_index=True).sort_values("sold_on", kind="stable", ignore_index=True)
    sales = sales.assign(price_home=sales["price"], currency="EUR", returned_on=pd.NaT, sheet="Sales", note="",
                         row=np.arange(2, len(sales) + 2))
    for frame, columns in ((sales, ("sold_on", "listed_on", "returned_on")), (stock, ("listed_on", "acquired_on")),
                           (asks, ("from_date", "until_date"))):
        for column in columns:
            frame[column] = frame[column].astype("datetime64[ns]")
    return ListedShop(sales, stock, asks, truth, world, end)


def _single(pieces: dict[str, np.ndarray], channel: int) -> dict[str, np.ndarray]:
    """One set a line, through one channel."""
    return pieces | {"qty": np.ones_like(pieces["qty"]), "channel": np.full_like(pieces["channel"], channel)}


def _date(day: np.ndarray, end: pd.Timestamp, days: int) -> pd.DatetimeIndex:
    return end - pd.Timedelta(days=days - 1) + pd.to_timedelta(day, unit="D")


def _log_fair_set(world: World, pieces, day: np.ndarray, end: pd.Timestamp, days: int) -> np.ndarray:
    """True log fair price of each set on a day counted from the first of the history."""
    at = day / 365.25
    time = world.market(at) + w.season(_date(day, end, days).day_of_year) + world.type_drift(at, pieces["type"])
    return _log_fair_tube(world, pieces, time) + np.log(np.array(w.SET_SIZES)[pieces["set"]])


def _waits(rng, world, pieces, start, log_ask, eta, days_at_fair, end, days) -> np.ndarray:
    """Days from listing to sale, infinite where unsold at the end: the ask stands, the fair price moves on."""
    standing = _log_fair_set(world, pieces, start, end, days)
    at = start / 365.25
    standing -= world.market(at) + world.type_drift(at, pieces["type"]) \
        + w.season(_date(start, end, days).day_of_year)
    needed = rng.exponential(size=len(start))          # cumulative hazard at which each sells
    met, waited = np.zeros(len(start)), np.full(len(start), np.inf)
    for step in range(0, days, STEP_DAYS):
        day = start + step
        open_ = np.isinf(waited) & (day < days)
        if not open_.any():
            break
        middle = np.minimum(day + STEP_DAYS // 2, days - 1)
        at = middle / 365.25
        fair = standing + world.market(at) + world.type_drift(at, pieces["type"]) \
            + w.season(_date(middle, end, days).day_of_year)
        hazard = np.exp(-eta * (log_ask - fair)) / days_at_fair
        length = np.minimum(STEP_DAYS, days - day)
        sells = open_ & (met + hazard * length >= needed)
        waited[sells] = step + (needed[sells] - met[sells]) / hazard[sells]
        met += np.where(open_, hazard * length, 0.0)
    return waited


def _auctions(rng, world: World, n: int, end: pd.Timestamp, days: int) -> pd.DataFrame:
    pieces = _single(_draw_pieces(rng, world, n, np.zeros(n, bool)), _AUCTION)
    day = np.sort(rng.integers(0, days, n))
    noise = w.heavy_tailed(rng, w.NOISE_DEGREES_OF_FREEDOM, AUCTION_NOISE_SD, n, world.hard)
    price = np.exp(_log_fair_set(world, pieces, day, end, days) + noise)
    return _describe(world, pieces, _date(day, end, days)).assign(
        listed_on=pd.NaT, price=np.maximum(np.round(price, 2), 0.01), sku="")
