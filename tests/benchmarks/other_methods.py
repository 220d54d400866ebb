"""The price model beside what else one might use, on the same simulated shops with known truth.

Run: PYTHONPATH=tests python tests/benchmarks/other_methods.py [sales ...] [--shops N]      (needs lightgbm)

Absolute log error of the fair price of the next three months' items (median and 90th percentile), seconds to fit and
predict: elapsed, and of the processor (this model eliminates types in two threads, the others have one). Beside the
habits of tests/simulator:
- boosting: LightGBM on absolute error of the log price per tube; every category and the pairs and triples that price
  models use as out-of-fold means (five folds, each level drawn to the mean of all by five sales' weight), their counts,
  date, reading, set size; learning rate .03, trees stopped early on the last tenth by date and fitted again on all;
- nested mixed model: statsmodels MixedLM, type as group with a slope in time, maker, and maker and era within a type
  as variance components, everything else fixed; where it fails, so it says;
- the best linear predictions: every variance and the wrongly booked rows known (tests/simulator/oracle.py).
"""

import argparse
import time
import warnings

import numpy as np
import pandas as pd
import statsmodels.formula.api as smf
from simulator import HABITS, oracle, score, simulate_shop

import pricing
from pricing.shop_tables import GRADE_ORDER

FIRST_SEED = 101
SHOPS = {500: 8, 3_000: 4, 20_000: 2}
CATEGORIES = ("canonical_type", "family", "maker", "era", "grade", "channel", "brand", "variant", "designation")
ENCODED = (*((name,) for name in CATEGORIES), ("maker", "era"), ("canonical_type", "maker"),
           ("canonical_type", "grade"), ("family", "grade"), ("canonical_type", "maker", "era"),
           ("canonical_type", "maker", "variant"), ("canonical_type", "maker", "era", "grade"))
SMOOTHING_SALES = 5.0
FOLDS = 5
TREES = dict(objective="l1", learning_rate=0.03, num_leaves=31, min_child_samples=10, feature_fraction=0.7,
             bagging_fraction=0.8, bagging_freq=1, lambda_l2=1.0, verbose=-1, num_threads=1, seed=1)
MOST_TREES = 3_000


def log_tube_price(sales: pd.DataFrame) -> np.ndarray:
    """Log price of one tube."""
    return np.log(sales["price_home"] / (sales["qty"] * sales["set_size"])).to_numpy()


def set_log(items: pd.DataFrame, log_tube: np.ndarray) -> np.ndarray:
    """Log price of a set of each item."""
    return np.asarray(log_tube) + np.log(items["set_size"].to_numpy(float))


# --- boosting ---


def encode(sales: pd.DataFrame, y: np.ndarray, items: pd.DataFrame, own: np.ndarray | None) -> np.ndarray:
    """Means and counts of the items' levels among the sales; with `own` (fold of each), other folds' means only."""
    columns = []
    for by in ENCODED:
        level = pd.MultiIndex.from_frame(sales[[*by]])
        codes, met = pd.factorize(level)
        at = pd.Index(met).get_indexer(pd.MultiIndex.from_frame(items[[*by]]))
        if own is None:
            total, count = np.bincount(codes, y - y.mean(), len(met)), np.bincount(codes, minlength=len(met))
            total, count = (np.where(at >= 0, v[at], 0.0) for v in (total, count))
        else:
            total, count = np.zeros(len(items)), np.zeros(len(items))
            for fold in range(FOLDS):
                rest, held = own != fold, own == fold
                sums = np.bincount(codes[rest], y[rest] - y.mean(), len(met))
                total[held], count[held] = sums[codes[held]], np.bincount(codes[rest], minlength=len(met))[codes[held]]
        columns += [total / (count + SMOOTHING_SALES), np.log1p(count)]
    return np.column_stack(columns)


def plain_columns(frame: pd.DataFrame, start: pd.Timestamp) -> np.ndarray:
    """Date, season, reading, set, quantity, place of the grade: what needs no encoding."""
    grades = {grade: place for place, grade in enumerate(GRADE_ORDER)}
    days = (frame["sold_on"] - start).dt.days.to_numpy(float)
    return np.column_stack([days, frame["sold_on"].dt.month, frame["reading_pct"], np.log(frame["set_size"]),
                            np.log(frame["qty"]), frame["matched"], frame["grade"].map(grades)]).astype(float)


def boosting(shop) -> np.ndarray:
    """LightGBM with out-of-fold target encoding."""
    import lightgbm

    sales, items, start = shop.sales, shop.future_items, shop.sales["sold_on"].min()
    y = log_tube_price(sales)
    fold = np.random.default_rng(1).permutation(len(sales)) % FOLDS
    past = np.column_stack([encode(sales, y, sales, fold), plain_columns(sales, start)])
    future = np.column_stack([encode(sales, y, items, None), plain_columns(items, start)])
    late = np.arange(len(sales)) >= 0.9 * len(sales)          # sales stand by date
    trial = lightgbm.train(
        TREES, lightgbm.Dataset(past[~late], y[~late]), MOST_TREES,
        valid_sets=[lightgbm.Dataset(past[late], y[late])], callbacks=[lightgbm.early_stopping(100, verbose=False)],
    )
    rounds = max(int(1.1 * trial.best_iteration), 50)
    model = lightgbm.train(TREES, lightgbm.Dataset(past, y), rounds)
    return set_log(items, model.predict(future))


# --- nested mixed model ---


def nested_mixed_model(shop) -> np.ndarray:
    """statsmodels MixedLM by type; an item's known levels carry their predicted effects."""
    sales, items = shop.sales, shop.future_items
    now = shop.as_of

    def table(frame):
        usual = frame["reading_pct"].clip(upper=100).fillna(100)
        return frame.assign(
            years=(frame["sold_on"] - now).dt.days / 365.25,
            low=1 - usual / 100, very_low=(75 - usual).clip(lower=0) / 100,
            unread=frame["reading_pct"].isna().astype(float), log_qty=np.log(frame["qty"]),
            maker_era=frame["maker"] + " " + frame["era"], matched=frame["matched"].astype(float),
        )

    past, future = table(sales).assign(y=log_tube_price(sales)), table(items)
    fixed = "years + low + very_low + unread + log_qty + matched + C(grade) + C(set_size) + C(channel) + C(family)"
    # Makers and eras as fixed effects: within a type, what is left of them is random. Levels sold rarely pool.
    for name in ("maker", "era"):
        common = past[name].value_counts()[lambda counts: counts >= 10].index
        for frame in (past, future):
            frame[f"{name}_fixed"] = frame[name].where(frame[name].isin(common), "other")
        fixed += f" + C({name}_fixed)"
    for name in ("grade", "set_size", "channel", "family"):
        met, usual = set(past[name]), past[name].mode()[0]
        future[name] = future[name].where(future[name].isin(met), usual)
    for name in ("maker", "era"):
        column, met = f"{name}_fixed", set(past[f"{name}_fixed"])
        future[column] = future[column].where(future[column].isin(met), past[column].mode()[0])
    model = smf.mixedlm(f"y ~ {fixed}", past, groups="canonical_type", re_formula="~ years",
                        vc_formula={"maker": "0 + C(maker)", "maker_era": "0 + C(maker_era)"})
    fit = model.fit(reml=True, method="powell", maxiter=20)       # the gradient methods stop short of the optimum
    log_tube = fit.predict(future).to_numpy().copy()
    effects = fit.random_effects
    for at, (kind, maker, maker_era, years) in enumerate(
        zip(future["canonical_type"], future["maker"], future["maker_era"], future["years"])
    ):
        if kind in effects:
            own = effects[kind]
            log_tube[at] += own.iloc[0] + own.get("years", 0.0) * years
            log_tube[at] += own.get(f"maker[C(maker)[{maker}]]", 0.0)
            log_tube[at] += own.get(f"maker_era[C(maker_era)[{maker_era}]]", 0.0)
    return set_log(items, log_tube)


def price_model(shop) -> np.ndarray:
    """The project's model, without calibrated ranges, which no other method here has."""
    model = pricing.fit_price_model(shop.sales, calibrated=False)
    return np.log(model.estimate(shop.future_items, on=shop.future_items["sold_on"])["fair_price"].to_numpy())


METHODS = {
    **{name: lambda shop, habit=habit: np.log(habit(shop.sales, shop.future_items)) for name, habit in HABITS.items()},
    "nested mixed model": nested_mixed_model,
    "boosting": boosting,
    "price model": price_model,
    "best linear, drift predicted": lambda shop: oracle(shop, drift_known=False),
    "best linear, drift known": oracle,
}


def measure(n_sales: int, seed: int, methods: list[str]) -> pd.DataFrame:
    """Errors and seconds of every method on one shop."""
    shop = simulate_shop(n_sales, seed)
    rows = {}
    for name in methods:
        started, busy = time.perf_counter(), time.process_time()
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                predicted = METHODS[name](shop)
            found = score(predicted, shop.future_items["log_fair_set"]).loc["all"]
            rows[name] = {"median": found["median_abs"], "90th": found["p90_abs"]}
        except (np.linalg.LinAlgError, ValueError) as problem:
            rows[name] = {"median": np.nan, "90th": np.nan}
            print(f"{name}, seed {seed}: {problem}", flush=True)
        rows[name] |= {"seconds": time.perf_counter() - started, "cpu_s": time.process_time() - busy}
    return pd.DataFrame(rows).T


if __name__ == "__main__":
    options = argparse.ArgumentParser()
    options.add_argument("sales", type=int, nargs="*", default=[*SHOPS])
    options.add_argument("--shops", type=int)
    options.add_argument("--methods", nargs="*", choices=[*METHODS], default=[*METHODS])
    options = options.parse_args()
    for size in options.sales:
        shops = options.shops or SHOPS[size]
        tables = [measure(size, seed, options.methods) for seed in range(FIRST_SEED, FIRST_SEED + shops)]
        print(f"{size:,} sales, means over {shops} shops")
        print(pd.concat(tables).groupby(level=0, sort=False).mean().round(3).to_string(), "\n", flush=True)
