"""How large a pool of tubes is sorted into sets that are proven best, and in how long.

Pools of invented tubes: plate current scatters by `scatter` in log, gm follows it and scatters by .05; tolerances 5 and
10 %, a single 32, a pair 80, a quad 175. Columns: tubes, scatter, pools, pools whose sum is proven the most, pools
whose sets are also proven the tightest, worst distance from the bound in percent, slowest pool in seconds.
"""

import time

import numpy as np

from pricing.decisions.set_partition import best_partition

PRICES = {1: 3200, 2: 8000, 4: 17500}


def pool(seed, tubes, scatter):
    """Plate currents and gm as a tester rounds them."""
    rng = np.random.default_rng(seed)
    current = 48 * np.exp(rng.normal(0, scatter, tubes))
    gm = 11.3 * np.exp(0.6 * np.log(current / 48) + rng.normal(0, 0.05, tubes))
    return np.column_stack([current.round(1), gm.round(2)])


if __name__ == "__main__":
    for tubes, scatter, pools in ((12, 0.06, 12), (20, 0.06, 12), (30, 0.06, 12), (40, 0.06, 12), (60, 0.06, 12),
                                  (300, 0.03, 6), (300, 0.06, 6), (300, 0.12, 6)):
        proven = tightest = 0
        worst = slowest = 0.0
        for seed in range(pools):
            begun = time.perf_counter()
            found = best_partition(pool(seed, tubes, scatter), [5, 10], PRICES)
            slowest = max(slowest, time.perf_counter() - begun)
            proven, tightest = proven + found.proven, tightest + found.tightest
            worst = max(worst, 100 * (1 - found.value / found.bound))
        print(f"{tubes:4d} {scatter:.2f} {pools:3d} {proven:3d} {tightest:3d} {worst:6.2f} {slowest:5.1f}", flush=True)
