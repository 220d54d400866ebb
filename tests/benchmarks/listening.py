"""Quality from listening notes on simulated listeners of different strictness, beside plain averages.

Run: PYTHONPATH=tests python tests/benchmarks/listening.py [shops]

Columns: correlation with the true quality over the items heard, and share of the true five best among the five ranked
first, of plain averages and of the model; share of true qualities inside the 80 % range (against the average item);
of the chances to be on the efficient front, their mean, the share that came true, and the mean squared error beside
that of the chance's own claim.
"""

import sys

import numpy as np
import pandas as pd
from simulator.listening import ASPECTS, PRICE_KNOWN_WITHIN, simulate_listening

import pricing
from pricing.decisions.efficient_front import undominated
from pricing.shop_tables import Settings

FIRST_SEED = 301
CASES = {
    "150 notes": dict(n_notes=150), "400 notes": dict(n_notes=400), "1,500 notes": dict(n_notes=1500),
    "40 notes": dict(n_notes=40), "400, no maker effect": dict(n_notes=400, sd={"maker": 0.0}),
    "400, listeners alike": dict(n_notes=400, sd={"listener": 0.0, "listener x system": 0.0}),
    "400, two listeners": dict(n_notes=400, n_listeners=2),
}


class KnownPrices:
    """A price model that tells simulated prices within PRICE_KNOWN_WITHIN."""

    settings, register = Settings.from_rows([(f"quality weight: {name}", w) for name, w in ASPECTS.items()]), None

    def __init__(self, items: pd.DataFrame) -> None:
        self._told = items.set_index(["canonical_type", "maker", "era"])["log_told"]
        self.history = type("History", (), {"sales": pd.DataFrame({"grade": ["used, strong"]})})

    def estimate(self, items: pd.DataFrame, coverage: float) -> pd.DataFrame:
        """The told prices, their ranges as wide as they err."""
        told = self._told.loc[list(zip(items["canonical_type"], items["maker"], items["era"]))].to_numpy()
        half = 1.2815515655 * PRICE_KNOWN_WITHIN  # 90th percentile of the normal
        return pd.DataFrame({"fair_price": np.exp(told), "fair_low": np.exp(told - half),
                             "fair_high": np.exp(told + half), "n_sales": 5.0}, index=items.index)


def ranked(n_notes: int, seed: int, **case) -> pd.DataFrame:
    """A row an item heard: the ranking's columns beside `true_quality`, `true_front`."""
    heard = simulate_listening(n_notes, seed, **case)
    items = pricing.rank_quality(heard.notes, KnownPrices(heard.items)).items
    truth = heard.items.rename(columns={"quality": "true_quality"})
    out = items.merge(truth, on=["canonical_type", "maker", "era"])
    out = out[out["group"] == 0]
    return out.assign(true_front=undominated(out["log_price"].to_numpy(), out["true_quality"].to_numpy()))


def measure(items: pd.DataFrame) -> dict[str, float]:
    """The columns above, of one shop."""
    truth = items["true_quality"]
    five = set(truth.nlargest(5).index)
    deviation = truth - truth.mean() + items["quality"].mean()
    chance, came = items["front_chance"], items["true_front"].astype(float)
    return {
        "r plain": items["raw_mean"].corr(truth), "r model": items["quality"].corr(truth),
        "top 5 plain": len(five & set(items["raw_mean"].nlargest(5).index)) / 5,
        "top 5 model": len(five & set(items["quality"].nlargest(5).index)) / 5,
        "in 80 %": deviation.between(items["low"], items["high"]).mean(),
        "front said": chance.mean(), "front true": came.mean(),
        "squared error": ((chance - came) ** 2).mean(), "claimed": (chance * (1 - chance)).mean(),
    }


def main(shops: int) -> None:
    """Print a line a case."""
    rows = {}
    for name, case in CASES.items():
        rows[name] = pd.DataFrame([measure(ranked(seed=FIRST_SEED + one, **case)) for one in range(shops)]).mean()
        print(pd.DataFrame(rows).T.tail(1).round(2).to_string(), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
