"""The solver beside R's lme4 on the same simulated shops: equal criterion, and how long each takes.

Run: PYTHONPATH=tests python tests/benchmarks/against_lme4.py [--csv FILE] [sales ...]     (needs Rscript with lme4)

Eight random intercepts (family, type, maker, maker and era, type and maker, the three together, variant of maker, grade
in family), a matrix of fixed effects, normal noise, no priors, no order of grades. Times are of the one call that fits,
in the same run: elapsed, and of the processor (lme4 has one thread; ours eliminates types in two), the best of three
where they are short. The last run is in against_lme4.csv, with the command that made it.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
from simulator import simulate_shop
from threadpoolctl import threadpool_limits

from pricing.price_model.layout import RandomTerm
from pricing.price_model.mixed_model import MixedFit, fit_mixed_model

SCRIPT = Path(__file__).with_suffix(".R")
SIZES = (3_000, 20_000, 200_000)
TIMES_FASTER = {3_000: 3, 20_000: 10, 200_000: 50}
CRITERION_RELATIVE = 1e-6
GROUPS = {
    "family": ["family"],
    "type": ["canonical_type"],
    "maker": ["maker"],
    "maker_era": ["maker", "era"],
    "type_maker": ["canonical_type", "maker"],
    "cell": ["canonical_type", "maker", "era"],
    "variant": ["canonical_type", "maker", "variant"],
    "family_grade": ["family", "grade"],
}


def table_of(n_sales: int, seed: int = 101) -> pd.DataFrame:
    """One simulated shop without booking errors as numbers: y, x0 x1 ..., a code for every random intercept."""
    sales = simulate_shop(n_sales, seed, gross_error_share=0.0).sales
    reading = sales["reading_pct"].clip(upper=100).fillna(100).to_numpy()
    years = (sales["sold_on"] - sales["sold_on"].min()).dt.days.to_numpy() / 365.25
    columns = [np.ones(n_sales), 1 - reading / 100, np.maximum(75 - reading, 0) / 100, sales["reading_pct"].isna(),
               sales["matched"], np.log(sales["qty"]), years]
    for name in ("grade", "set_size", "channel", "era"):
        columns += [sales[name] == level for level in sorted(sales[name].unique())[1:]]
    x = np.column_stack([np.asarray(column, float) for column in columns])
    table = pd.DataFrame(x, columns=[f"x{number}" for number in range(x.shape[1])])
    table.insert(0, "y", np.log(sales["price_home"] / (sales["qty"] * sales["set_size"])))
    return table.assign(**{name: sales.groupby(by).ngroup() for name, by in GROUPS.items()})


def ours(table: pd.DataFrame) -> tuple[MixedFit, float, float]:
    """(fit, seconds, seconds of the processor) of the project's solver."""
    x = table.filter(regex=r"^x\d+$").to_numpy()
    terms = [RandomTerm(name, table[name].to_numpy()) for name in GROUPS]
    times = []
    with threadpool_limits(1):
        for _ in range(repeats(table)):
            started, busy = time.perf_counter(), time.process_time()
            fit = fit_mixed_model(table["y"].to_numpy(), x, terms, block="type")
            times.append((time.perf_counter() - started, time.process_time() - busy))
    return fit, *min(times)


def repeats(table: pd.DataFrame) -> int:
    """How often a fit is timed."""
    return 3 if len(table) < 50_000 else 1


def lme4(table: pd.DataFrame) -> tuple[dict[str, float], str]:
    """(numbers, versions) that the R script prints."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "table.csv"
        table.to_csv(path, index=False, float_format="%.17g")
        command = ["Rscript", SCRIPT, path, str(repeats(table))]
        printed = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    lines = printed.splitlines()
    found = dict(line.rsplit(",", 1) for line in lines if not line.startswith("#"))
    return {name: float(value) for name, value in found.items()}, lines[-1].lstrip("# ")


def compare(n_sales: int) -> tuple[dict[str, float], str]:
    """One line of the table, and R's versions."""
    table = table_of(n_sales)
    fit, seconds, busy = ours(table)
    theirs, versions = lme4(table)
    sds = [abs(np.sqrt(fit.variances[name]) - np.sqrt(theirs[f"variance:{name}"])) for name in GROUPS]
    return {
        "sales": n_sales, "levels": int(table[[*GROUPS]].nunique().sum()),
        "ours_s": seconds, "lme4_s": theirs["seconds"], "times_faster": theirs["seconds"] / seconds,
        "wanted": TIMES_FASTER.get(n_sales, np.nan), "ours_cpu_s": busy, "lme4_cpu_s": theirs["cpu_seconds"],
        "times_less_cpu": theirs["cpu_seconds"] / busy,
        "ours_evaluations": fit.evaluations,
        "lme4_evaluations": theirs["evaluations"], "ours_criterion": fit.criterion,
        # Below zero: ours is the better optimum.
        "criterion_off": (fit.criterion - theirs["criterion"]) / abs(theirs["criterion"]), "largest_sd_off": max(sds),
    }, versions


if __name__ == "__main__":
    options = argparse.ArgumentParser()
    options.add_argument("sales", type=int, nargs="*", default=SIZES)
    options.add_argument("--csv", type=Path, help="where the table goes")
    options = options.parse_args()
    lines = []
    for size in options.sales:
        line, versions = compare(size)
        lines.append(line)
        print(pd.DataFrame(lines[-1:]).T.to_string(header=False), "\n", flush=True)
    table = pd.DataFrame(lines)
    if options.csv:
        command = "PYTHONPATH=tests python tests/benchmarks/" + " ".join([Path(sys.argv[0]).name, *sys.argv[1:]])
        options.csv.write_text(f"# {command}\n# {versions}\n{table.to_csv(index=False)}")
    slow = table[table["times_faster"] < table["wanted"]]
    wrong = table[~(table["criterion_off"].abs() <= CRITERION_RELATIVE)]
    for text, lines in (("not so many times faster as wanted", slow), ("criterion further off than wanted", wrong)):
        if len(lines):
            print(f"{text}: {', '.join(f'{size:,}' for size in lines['sales'])} sales")
    sys.exit(bool(len(wrong)))
