"""How many of the offers marked as under-priced do not pay, at limits of 5, 10 and 20 %, and how many finds are marked.

Run: PYTHONPATH=tests python tests/benchmarks/underpriced.py [--sales N] [--offers N] [--shops N]

Simulated shops whose true fair prices are known; sellers of three kinds, some of whom ask far too little (see
simulator/offers.py). A find pays the margin that Settings require (30 % of the net price, after fees) at its true fair
price. `false` is the share of false finds among all that were marked in all shops, `error` its standard error (shops as
drawn), `off` their distance from the limit over it. The habit marks what is asked under 80 % of the median of its type.
"""

import argparse

import numpy as np
import pandas as pd
from simulator import simulate_shop
from simulator.offers import bare_shop, simulate_offers

import pricing
from pricing.decisions.list_price import policy_of
from pricing.decisions.net_proceeds import floor_price
from pricing.decisions.underpriced import find_underpriced
from pricing.shop_tables import Settings

LIMITS = (5, 10, 20)
FIRST_SEED = 301  # not looked at while the tails in seller_asks were chosen


def measure(n_sales: int, n_offers: int, seed: int, n_types: int = 60) -> pd.DataFrame:
    """A row a limit, and one for the habit: marked, false, finds there were."""
    shop = simulate_shop(n_sales, seed, n_types=n_types)
    model = pricing.fit_price_model(shop.sales)
    register, rows = pricing.load_register(), []
    offers = simulate_offers(shop, seed, n_offers)
    for limit in LIMITS:
        settings = Settings.from_rows({"currency": "EUR", "most false finds": limit})
        bare = bare_shop(shop, settings, register)
        found = find_underpriced(model, None, bare, shelf=offers).table.set_index("code")
        truth = offers.set_index("code")["log_fair"].reindex(found.index)
        pays = truth >= np.log(found["needed"])
        rows.append((f"limit {limit} %", seed, int(found["marked"].sum()), int((found["marked"] & ~pays).sum()),
                     int(pays.sum())))
    each = shop.sales["price_home"] / (shop.sales["set_size"] * shop.sales["qty"])
    median = offers["canonical_type"].map(each.groupby(shop.sales["canonical_type"]).median())
    habit = offers["each"] < 0.8 * median
    policy = policy_of(bare)
    needed = [float(floor_price(price, policy.terms, minimum_margin_pct=policy.minimum_margin_pct))
              for price in offers["price"]]
    pays = offers["log_fair"] >= np.log(needed)
    rows.append(("under 80 % of the median", seed, int(habit.sum()), int((habit & ~pays).sum()), int(pays.sum())))
    return pd.DataFrame(rows, columns=["rule", "seed", "marked", "false", "finds"])


def table_of(found: pd.DataFrame) -> pd.DataFrame:
    """By rule: marked, share of them false with its standard error, share of the finds that were marked."""
    rows = []
    for rule, part in found.groupby("rule", sort=False):
        n, share = part["marked"].sum(), part["false"].sum() / max(part["marked"].sum(), 1)
        # ratio estimator over shops
        error = np.sqrt(((part["false"] - share * part["marked"]) ** 2).sum()) / max(n, 1)
        limit = float(rule.split()[1]) / 100 if rule.startswith("limit") else np.nan
        rows.append({"rule": rule, "marked": n, "false": share, "error": error, "off": (share - limit) / error,
                     "true finds": n - part["false"].sum(), "of all finds": 1 - (part["finds"].sum() - n
                     + part["false"].sum()) / part["finds"].sum()})
    return pd.DataFrame(rows)


if __name__ == "__main__":
    options = argparse.ArgumentParser()
    options.add_argument("--sales", type=int, default=3_000)
    options.add_argument("--offers", type=int, default=400)
    options.add_argument("--shops", type=int, default=20)
    options = options.parse_args()
    seeds = range(FIRST_SEED, FIRST_SEED + options.shops)
    found = pd.concat([measure(options.sales, options.offers, seed) for seed in seeds])
    print(table_of(found).round(3).to_string(index=False))
