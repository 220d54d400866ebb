"""Suspected booking errors on simulated shops whose wrong rows are known: how many are found, and told rightly.

Run: PYTHONPATH=tests python tests/benchmarks/booking_errors.py [sales ...]
"""

import sys
import time

import numpy as np
import pandas as pd
from simulator import simulate_shop

import pricing
from pricing.price_model.booking_errors import DECIMAL, HONEST, SET_AS_ONE, TYPE

FIRST_SEED = 101
SHOPS = {500: 12, 3_000: 6, 20_000: 2}
# What the judge calls them, and the story that tells of it.
STORY_OF = {"set booked as one": SET_AS_ONE, "decimal slip": DECIMAL, "wrong type": TYPE, "": HONEST}


def scores(model, error: pd.Series) -> dict[str, float]:
    """Precision, recall by kind, share of stories right. `error`: kind of wrong row ("" for none) by sheet row."""
    stories = model.booking_errors
    listed = pd.Index(stories["row"].unique())
    kind, meant = error[listed], error[listed].map(STORY_OF)
    best = stories.drop_duplicates("row").set_index("row")["story"]
    two = stories.groupby("row").head(2)
    wrong = kind != ""
    told = (two["story"] == two["row"].map(meant)).groupby(two["row"]).any()
    chance = stories["probability"][stories["story"] == HONEST].to_numpy()
    out = {"listed": len(listed), "precision": wrong.mean()}
    for name in list(STORY_OF)[:3]:
        out[f"found: {name}"] = np.isin(error.index[error == name], listed).mean()
    out |= {"right story": (best == meant)[wrong].mean(), "right story among two": told[kind.index][wrong].mean(),
            "decimal slips told as such": (best == DECIMAL)[kind == "decimal slip"].mean(),
            "chance given to honest rows' share": chance.mean(), "honest rows' share": 1 - wrong.mean()}
    return out


def measure(n_sales: int, seed: int) -> dict[str, float]:
    """Scores of one shop, and the seconds that stories took."""
    shop = simulate_shop(n_sales, seed, n_future=10)
    model = pricing.fit_price_model(shop.sales, calibrated=False)
    started = time.perf_counter()
    out = scores(model, shop.truth["gross_error"].set_axis(shop.sales["row"]))
    return out | {"seconds": time.perf_counter() - started}


if __name__ == "__main__":
    for n_sales in [int(word) for word in sys.argv[1:]] or SHOPS:
        shops = pd.DataFrame([measure(n_sales, FIRST_SEED + place) for place in range(SHOPS[n_sales])])
        print(f"{n_sales:,} sales, {len(shops)} shops")
        print(shops.agg(["mean", "min", "max"]).T.round(3).to_string(), "\n", flush=True)
