"""Seconds, memory and cost of one evaluation of the robust fit, by number of sales.

Run: PYTHONPATH=tests python tests/benchmarks/scale.py [sales ...] [--read]       (--read needs duckdb)

One process draws the sales and writes them, another of its own takes them and fits, so that the peak is the fit's: all
the memory of that process, Python, libraries ("before" is those and the sales) and the kept table of sales included.
The fit is `fit_effects` on clean sales, order of grades held. With --read the clock runs over `fit_price_model` on a
Parquet file read in pieces instead: reading, cleaning and fit, ranges not calibrated. An evaluation is one
factorisation of the cross-products with log determinant and traces.
"""

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pandas as pd

SIZES = (3_000, 20_000, 200_000, 1_000_000)
WANTED = {200_000: (15.0, 700.0), 1_000_000: (45.0, 1_500.0)}  # seconds, MB
OWNERS = ["sold_on", "type", "maker", "brand", "era", "variant", "grade", "reading_pct", "set_size", "matched", "qty",
          "price", "channel", "family"]


def peak_mb() -> float:
    """Most memory this process has held, in MB (Linux counts in KiB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6


def draw(n_sales: int, path: Path) -> None:
    """Sales of a simulated shop: as a history keeps them in a pickle, as an owner would in Parquet."""
    from simulator import simulate_shop

    from pricing.price_model.fit import HISTORY_COLUMNS

    sales = simulate_shop(n_sales, 101).sales
    if path.suffix == ".parquet":
        import duckdb

        # No register knows invented types: a printed designation of one would be read as a type of its own.
        owners = sales.assign(type=sales["canonical_type"])[OWNERS]  # noqa: F841 - DuckDB finds it by name
        duckdb.sql("select * from owners").write_parquet(str(path))
    else:
        sales[[*HISTORY_COLUMNS]].to_pickle(path)


def measure(path: Path) -> dict[str, float]:
    """Seconds and peak of one fit, then the cost of one evaluation."""
    from threadpoolctl import threadpool_limits

    from pricing.price_model.block_arrow import factorise
    from pricing.price_model.cross_products import CrossProducts
    from pricing.price_model.fit import History, fit_effects
    from pricing.price_model.fitting import fit_price_model
    from pricing.price_model.fixed_effects import fixed_prior
    from pricing.shop_tables import sales_in_pieces

    sales = None if path.suffix == ".parquet" else pd.read_pickle(path)
    before, started, busy = peak_mb(), time.perf_counter(), time.process_time()
    if sales is None:
        model = fit_price_model(sales_in_pieces(path), calibrated=False)
        history, fit = model.history, model.fit
    else:
        history = History.of(sales, sales["sold_on"].max())
        fit = fit_effects(history)
    out = {
        "sales": len(history.y), "fit_s": time.perf_counter() - started, "cpu_s": time.process_time() - busy,
        "passes": fit.passes, "before_mb": before, "peak_mb": peak_mb(),
    }
    with threadpool_limits(1):
        products = CrossProducts.of(history.observations, history.y, fit.weights, fixed_prior())
        started = time.perf_counter()
        for _ in range(5):
            factorise(products, fit.posterior.theta)
        out["evaluation_s"] = (time.perf_counter() - started) / 5
    return out | {"coefficients": int(history.layout.level_counts.sum())}


if __name__ == "__main__":
    options = argparse.ArgumentParser()
    options.add_argument("sales", type=int, nargs="*", default=SIZES)
    options.add_argument("--read", action="store_true", help="read a Parquet file in pieces and clean it as well")
    options.add_argument("--draw", help=argparse.SUPPRESS)
    options.add_argument("--fit", help=argparse.SUPPRESS)
    options = options.parse_args()
    if options.draw:
        draw(options.sales[0], Path(options.draw))
        sys.exit()
    if options.fit:
        print(json.dumps(measure(Path(options.fit))))
        sys.exit()
    lines = []
    for size in options.sales:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / ("sales.parquet" if options.read else "sales.pickle")
            subprocess.run([sys.executable, __file__, str(size), "--draw", path], check=True)
            command = [sys.executable, __file__, "--fit", path]
            fitted = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True)
        seconds, megabytes = WANTED.get(size, (None, None))
        lines.append(json.loads(fitted.stdout.splitlines()[-1]) | {"wanted_s": seconds, "wanted_mb": megabytes})
        print(pd.DataFrame(lines).round(3).to_string(index=False), "\n", flush=True)
