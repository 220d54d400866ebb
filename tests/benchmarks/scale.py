"""Seconds, memory and cost of one evaluation of the robust fit, by number of sales.

Run: PYTHONPATH=tests python tests/benchmarks/scale.py [sales ...]

Each size has a process of its own, so that the peak is that of the one fit. The shop is drawn before: its memory is
given apart ("before") and counts in the peak. Drawn sales are clean already; reading and cleaning a file are not timed.
An evaluation is one factorisation of the cross-products with log determinant and traces.
"""

import json
import resource
import subprocess
import sys
import time

import pandas as pd

SIZES = (3_000, 20_000, 200_000, 1_000_000)
WANTED = {200_000: (15.0, 700.0), 1_000_000: (45.0, 1_500.0)}  # seconds, MB


def peak_mb() -> float:
    """Most memory this process has held, in MB (Linux counts in KiB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6


def measure(n_sales: int, seed: int = 101) -> dict[str, float]:
    """One robust fit, ordered, as `fit_price_model` makes it before its ranges are set."""
    from simulator import simulate_shop
    from threadpoolctl import threadpool_limits

    from pricing.price_model.block_arrow import factorise
    from pricing.price_model.cross_products import CrossProducts
    from pricing.price_model.fit import History, fit_effects
    from pricing.price_model.fixed_effects import fixed_prior

    sales = simulate_shop(n_sales, seed).sales.drop(columns=["row", "sheet"])
    before = peak_mb()
    started = time.perf_counter()
    history = History.of(sales, sales["sold_on"].max())
    laid_out = time.perf_counter()
    fit = fit_effects(history)
    out = {
        "sales": n_sales, "fit_s": time.perf_counter() - started, "of_it_design_s": laid_out - started,
        "passes": fit.passes, "before_mb": before, "peak_mb": peak_mb(),
    }
    with threadpool_limits(1):
        products = CrossProducts.of(history.observations, history.y, fit.weights, fixed_prior())
        started = time.perf_counter()
        for _ in range(5):
            factorise(products, fit.posterior.theta)
        out["evaluation_s"] = (time.perf_counter() - started) / 5
    out["levels"] = int(history.layout.level_counts.sum())
    return out


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(json.dumps(measure(int(sys.argv[2]))))
        sys.exit()
    lines = []
    for size in [int(word) for word in sys.argv[1:]] or SIZES:
        one = subprocess.run([sys.executable, __file__, "--one", str(size)], capture_output=True, text=True, check=True)
        lines.append(json.loads(one.stdout.splitlines()[-1]))
        seconds, megabytes = WANTED.get(size, (None, None))
        print(pd.DataFrame([lines[-1] | {"wanted_s": seconds, "wanted_mb": megabytes}]).T.to_string(header=False), "\n",
              flush=True)
    print(pd.DataFrame(lines).round(3).to_string(index=False))
