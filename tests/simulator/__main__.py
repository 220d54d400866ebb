"""Prints what habits and oracle reach: `PYTHONPATH=tests python -m simulator` (about ten seconds)."""

import numpy as np
import pandas as pd

from simulator import HABITS, oracle, richness, score, simulate_shop


def measure(n_sales: int, seeds: range) -> pd.DataFrame:
    """Mean over seeds of the absolute log error of the fair price, a row a method, also by richness."""
    rows = {}
    for seed in seeds:
        shop = simulate_shop(n_sales, seed)
        items, by = shop.future_items, richness(shop.sales, shop.future_items)
        predicted = {name: np.log(habit(shop.sales, items)) for name, habit in HABITS.items()}
        predicted["oracle"] = oracle(shop)
        predicted["oracle, drift up to today"] = oracle(shop, future_drift_known=False)
        for name, log_price in predicted.items():
            table = score(log_price, items["log_fair_set"], by)
            rows.setdefault(name, []).append(pd.concat([table.loc["all", ["median_abs", "p90_abs"]],
                                                        table["median_abs"].drop("all")]))
    return pd.DataFrame({name: pd.DataFrame(found).mean() for name, found in rows.items()}).T


if __name__ == "__main__":
    for n_sales, seeds in ((500, range(12)), (3000, range(8)), (20_000, range(6))):
        print(f"\n{n_sales:,} sales, mean of {len(seeds)} shops")
        print(measure(n_sales, seeds).round(3).to_string())
