"""Attributed makers on simulated shops: how often they are right, and what they are worth in a price.

Run: PYTHONPATH=tests python tests/benchmarks/attribution.py [sales ...]
"""

import sys

import numpy as np
import pandas as pd
from simulator import simulate_shop
from simulator.brands import with_brands

import pricing
from pricing.price_model.attribution import learn_attribution, reliability

CLASSES = (0, 0.35, 0.5, 0.65, 0.75, 0.85, 0.95, 1)
# Seeds from 801 on were never looked at while the priors of attribution were chosen.
FIRST_SEED = 801
SHAPES = {800: {"n_types": 80, "n_makers": 15}, 3_000: {}, 6_000: {"n_types": 100, "n_makers": 20}, 20_000: {}}
SHOPS = {800: (40, 8), 3_000: (12, 5), 6_000: (12, 4), 20_000: (3, 0)}     # attributed, also priced


def reliability_of(n_sales: int, seeds: range) -> pd.DataFrame:
    """Reliability table of the likeliest maker, pooled over shops."""
    stated, right = [], []
    for seed in seeds:
        found = with_brands(simulate_shop(n_sales, seed, **SHAPES[n_sales]), seed)
        attribution = learn_attribution(found.shop.sales)
        for items, true in ((found.shop.sales, found.sales_maker), (found.shop.future_items, found.items_maker)):
            at, probability = attribution.probabilities(items)
            stated += probability.max(axis=1).tolist()
            right += (attribution.makers[probability.argmax(axis=1)] == true.iloc[at]).tolist()
    return reliability(pd.Series(stated), pd.Series(right), CLASSES)


def errors(n_sales: int, seed: int, buyers_know: bool, taken_from: float | None = None) -> dict[str, float]:
    """Median absolute log errors of one shop's brand-only items (as unknown, attributed, told the maker) and others.

    `taken_from`: sales whose likeliest maker is at least so sure take it in the fit.
    """
    found = with_brands(simulate_shop(n_sales, seed, **SHAPES[n_sales]), seed, buyers_know=buyers_know)
    sales, items = found.shop.sales, found.shop.future_items
    attribution = learn_attribution(sales)
    if taken_from is not None:
        at, probability = attribution.probabilities(sales)
        sure = probability.max(axis=1) >= taken_from
        maker = sales["maker"].to_numpy(object).copy()
        maker[at[sure]] = attribution.makers.to_numpy(object)[probability.argmax(axis=1)[sure]]
        sales = sales.assign(maker=maker)
    model = pricing.fit_price_model(sales)
    there = attribution.attributed(items)

    def error(frame: pd.DataFrame) -> float:
        quote = model.estimate(frame, on=frame["sold_on"])
        return (np.log(quote["fair_price"]) - frame["log_fair_set"]).abs().median()

    own = items[there]
    clean = model.describe(own, own["sold_on"])
    by_mean = model.fit.posterior.mean(model.price_rows(clean)) + np.log(own["set_size"].to_numpy())
    quote = model.estimate(own, on=own["sold_on"])
    out = {"maker unknown": error(own.assign(brand="unknown")), "attributed": error(own),
           "attributed, mean of logs": np.abs(by_mean - own["log_fair_set"]).median(),
           "told the maker": error(own.assign(maker=found.items_maker[there])), "other items": error(items[~there]),
           "share by maker": model.share_by_maker[0], "items": len(own)}
    for coverage in (0.8, 0.95):
        quote = model.estimate(own, on=own["sold_on"], coverage=coverage)
        inside = (quote["low"] <= own["price_clean"]) & (own["price_clean"] <= quote["high"])
        out[f"inside {coverage:.0%}"] = inside.mean()
    return out


if __name__ == "__main__":
    for size in [int(word) for word in sys.argv[1:]] or list(SHOPS):
        attributed, priced = SHOPS[size]
        print(f"{size:,} sales: the likeliest maker, pooled over {attributed} shops")
        table = reliability_of(size, range(FIRST_SEED, FIRST_SEED + attributed))
        print(table.round(3).to_string(index=False), flush=True)
        runs = {"buyers know": (True, None), "buyers know, sales over .9 take their maker": (True, 0.9),
                "buyers do not know": (False, None)}
        for words, (know, taken_from) in runs.items() if priced else ():
            found = [errors(size, seed, know, taken_from) for seed in range(FIRST_SEED, FIRST_SEED + priced)]
            print(f"{words}, mean of {priced} shops:", pd.DataFrame(found).mean().round(3).to_dict(), flush=True)
