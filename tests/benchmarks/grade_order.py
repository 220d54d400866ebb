"""What holding the known order of grades and readings costs, or gains, in accuracy on simulated shops.

Run: PYTHONPATH=tests python tests/benchmarks/grade_order.py [sales ...] [--shops N]

Median absolute log error of the fair price of the next three months' items, with the order held and without; the mean
difference by shop and its standard error; the share of pairs of neighbouring grades that stand the wrong way round
without it (by more than a thousandth, over all items).
"""

import argparse

import numpy as np
import pandas as pd
from simulator import score, simulate_shop

import pricing
from pricing.shop_tables import GRADE_ORDER

FIRST_SEED = 101
SHOPS = {200: 20, 500: 12, 3_000: 6}


def measure(n_sales: int, seed: int) -> dict[str, float]:
    """Errors of one shop with and without the order, and how often it is broken without."""
    shop = simulate_shop(n_sales, seed)
    items, out = shop.future_items, {}
    for name, ordered in (("held", True), ("free", False)):
        model = pricing.fit_price_model(shop.sales, calibrated=False, ordered=ordered)
        fair = np.log(model.estimate(items, on=items["sold_on"])["fair_price"].to_numpy())
        found = score(fair, items["log_fair_set"]).loc["all"]
        out |= {name: found["median_abs"], f"{name}, 90th": found["p90_abs"]}
    fair = np.log([model.estimate(items.assign(grade=grade))["fair_price"].to_numpy() for grade in GRADE_ORDER])
    return out | {"inverted when free": (np.diff(fair, axis=0) > 1e-3).mean()}


if __name__ == "__main__":
    options = argparse.ArgumentParser()
    options.add_argument("sales", type=int, nargs="*", default=[*SHOPS])
    options.add_argument("--shops", type=int)
    options = options.parse_args()
    for size in options.sales:
        count = options.shops or SHOPS[size]
        shops = pd.DataFrame([measure(size, seed) for seed in range(FIRST_SEED, FIRST_SEED + count)])
        change = shops["held"] - shops["free"]
        print(f"{size:,} sales, means over {count} shops")
        print(shops.mean().round(4).to_string())
        print(f"held less free: {change.mean():+.4f}, standard error {change.std() / np.sqrt(count):.4f}\n", flush=True)
