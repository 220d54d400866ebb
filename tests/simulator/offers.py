"""Offers of other sellers to a simulated shop, each asked at its true fair price times the seller's own error."""

from types import SimpleNamespace

import numpy as np
import pandas as pd

from . import world as w
from .listings import _log_fair_set
from .shop import SimulatedShop, _describe, _draw_pieces

OWN_STREAM = 11
# Sellers of three kinds: share, mean and standard deviation of log(ask / true fair price).
SELLERS = ((0.6, 0.10, 0.20), (0.3, -0.15, 0.30), (0.1, -0.60, 0.50))


def simulate_offers(shop: SimulatedShop, seed: int, n: int, sellers=SELLERS) -> pd.DataFrame:
    """n offers at the shop's date, columns as `for_sale` gives them, and `log_fair`, the truth, of a set in the channel
    the shop uses most."""
    rng = np.random.default_rng(np.random.SeedSequence([seed, OWN_STREAM]))
    world, end = shop.components, shop.as_of
    days = round(world.years * 365.25)
    pieces = _draw_pieces(rng, world, n, np.zeros(n, bool))
    channel = shop.sales["channel"].mode().iloc[0]
    # Offers do not say whether a set is matched.
    pieces |= {"qty": np.ones(n, int), "matched": np.zeros(n, bool), "channel": np.full(n, w.CHANNELS.index(channel))}
    log_fair = _log_fair_set(world, pieces, np.full(n, days - 1), end, days)
    kind = rng.choice(len(sellers), size=n, p=[share for share, _, _ in sellers])
    mean, sd = (np.array([one[at] for one in sellers])[kind] for at in (1, 2))
    ask = np.maximum(np.round(np.exp(log_fair + mean + sd * rng.standard_normal(n)), 2), 0.01)
    described = _describe(world, pieces, pd.DatetimeIndex([end] * n)).drop(columns=["sold_on", "qty", "channel"])
    size = described["set_size"].to_numpy()
    return described.assign(
        own=False, sheet="Offers", row=np.arange(2, n + 2), code=[f"F{number:04d}" for number in range(n)],
        where="offered by one", type_known=True, sets=1, price=ask, each=ask / size, piece="", fair_price=np.nan,
        log_fair=log_fair)


def bare_shop(shop: SimulatedShop, settings, register):
    """The simulated shop as far as decisions about offers ask."""
    none = pd.DataFrame()
    return SimpleNamespace(sales=shop.sales, stock=none, offers=none, settings=settings, register=register)
