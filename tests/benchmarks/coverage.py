"""How often the 80 and 95 % ranges hold later sales of simulated shops, and how wide they are, by how new a piece is.

Run: PYTHONPATH=tests python tests/benchmarks/coverage.py [sales ...] [--shops N] [--types N] [--csv FILE]

A row a kind of piece: all, and each of simulator.RICHNESS. "clean" are the sales as they were, "booked" the same with
2 % gross errors in them, as an owner's file has them. Shares are over all sales of all shops; their standard error is
the larger of that between shops and the binomial one. `off` says by how many points a clean share misses its promise:
more than 3 is "missed", or "unclear" where two standard errors would explain it. `width` is the median of high / low,
`below` the share under the range, `fair` the share of true fair prices inside the range of the fair price.
"""

import argparse
import time

import numpy as np
import pandas as pd
from simulator import RICHNESS, richness, simulate_shop

import pricing

FIRST_SEED = 101  # never looked at while the model's priors were chosen
SHOPS = {500: 30, 3_000: 6, 20_000: 3}
LATER_SALES = 3_000
COVERAGES = (0.80, 0.95)
BAR_POINTS = 3.0


def measure(n_sales: int, seed: int, n_types: int) -> pd.DataFrame:
    """Later sales of one shop: kind of piece, and for each coverage whether the range held it, and its width."""
    shop = simulate_shop(n_sales, seed, n_future=LATER_SALES, n_types=n_types)
    items = shop.future_items
    model = pricing.fit_price_model(shop.sales)
    out = pd.DataFrame({"seed": seed, "kind": richness(shop.sales, items)})
    for coverage in COVERAGES:
        quote = model.estimate(items, on=items["sold_on"], coverage=coverage)
        out[f"clean {coverage:.2f}"] = items["price_clean"].between(quote["low"], quote["high"])
        out[f"booked {coverage:.2f}"] = items["price_booked"].between(quote["low"], quote["high"])
        out[f"below {coverage:.2f}"] = items["price_clean"] < quote["low"]
        out[f"width {coverage:.2f}"] = quote["high"] / quote["low"]
        fair = np.exp(items["log_fair_set"])
        out[f"fair {coverage:.2f}"] = fair.between(quote["fair_low"], quote["fair_high"])
    return out


def table_of(sales: pd.DataFrame) -> pd.DataFrame:
    """Coverage and width by kind of piece and promised coverage."""
    rows = []
    for kind in ("all", *RICHNESS):
        chosen = sales if kind == "all" else sales[sales["kind"] == kind]
        for coverage in COVERAGES if len(chosen) else ():
            held = chosen[f"clean {coverage:.2f}"]
            by_shop = held.groupby(chosen["seed"]).agg(["mean", "size"])
            share, weight = held.mean(), by_shop["size"] / by_shop["size"].sum()
            between = np.sqrt((weight**2 * (by_shop["mean"] - share) ** 2).sum())
            error = max(between, np.sqrt(coverage * (1 - coverage) / len(chosen)))
            off = 100 * (share - coverage)
            verdict = "" if abs(off) <= BAR_POINTS else "missed" if abs(off) > 200 * error else "unclear"
            rows.append({
                "kind": kind, "range": f"{coverage:.0%}", "n": len(chosen), "clean": share, "error": error,
                "off": off, "verdict": verdict,
                "booked": chosen[f"booked {coverage:.2f}"].mean(), "below": chosen[f"below {coverage:.2f}"].mean(),
                "width": chosen[f"width {coverage:.2f}"].median(), "fair": chosen[f"fair {coverage:.2f}"].mean(),
            })
    return pd.DataFrame(rows)


if __name__ == "__main__":
    options = argparse.ArgumentParser()
    options.add_argument("sales", type=int, nargs="*", default=[*SHOPS])
    options.add_argument("--shops", type=int)
    options.add_argument("--types", type=int, default=500, help="with thousands, a long history meets new types too")
    options.add_argument("--csv", help="where every size's table goes")
    options = options.parse_args()
    tables = []
    for n_sales in options.sales:
        started, shops = time.perf_counter(), options.shops or SHOPS[n_sales]
        seeds = range(FIRST_SEED, FIRST_SEED + shops)
        found = pd.concat([measure(n_sales, seed, options.types) for seed in seeds])
        table = table_of(found)
        print(f"{n_sales:,} sales, {shops} shops, {time.perf_counter() - started:.0f} s")
        print(table.to_string(index=False, formatters={
            name: form.format for name, form in
            {"clean": "{:.3f}", "error": "{:.3f}", "off": "{:+.1f}", "booked": "{:.3f}", "below": "{:.3f}",
             "width": "{:.2f}", "fair": "{:.3f}"}.items()}), "\n", flush=True)
        tables.append(table.assign(sales=n_sales))
        if options.csv:
            pd.concat(tables).to_csv(options.csv, index=False)
