"""The judge is judged: stated variances, hand-worked habits, an oracle equal to the dense formula."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from simulator import (
    HABITS,
    RICHNESS,
    last_sale,
    median_with_fallback,
    ols_dummies,
    oracle,
    richness,
    score,
    simulate_shop,
)
from simulator import world as w
from simulator.shop import GROSS_ERRORS

N = 2000


@pytest.fixture(scope="module")
def shop():
    return simulate_shop(N, seed=7)


@pytest.fixture(scope="module")
def worlds():
    return [simulate_shop(0, seed).components for seed in range(12)]


@pytest.mark.parametrize("effect, sd", [
    ("family_effect", 0.45), ("type_effect", np.sqrt(0.85**2 - 0.45**2)), ("maker_effect", 0.32),
    ("maker_era_effect", 0.18), ("type_maker_effect", 0.22), ("cell_effect", 0.14), ("variant_effect", 0.15),
    ("designation_effect", 0.05), ("family_grade_effect", 0.06),
])
def test_effects_have_the_stated_standard_deviations(worlds, effect, sd):
    """Drawn effects spread as notes and docstring say, within four standard errors over a dozen shops."""
    values = np.concatenate([np.asarray(getattr(world, effect)).ravel() for world in worlds])
    if effect == "maker_effect":
        values = np.concatenate([world.maker_effect[:-1] for world in worlds])
    assert np.sqrt(np.mean(values**2)) == pytest.approx(sd, rel=4 * np.sqrt(1 / (2 * len(values))) + 0.01)


def test_types_drift_as_a_random_walk_and_one_in_seventeen_is_hyped(worlds):
    """Six years of drift: sd .06 sqrt(6) for ordinary types, a mean of .15 a year for hyped ones."""
    six_years = np.concatenate([world.drift_path[72] - world.drift_path[0] for world in worlds])
    hyped = np.concatenate([world.hyped for world in worlds])
    assert hyped.mean() == pytest.approx(1 / 17, rel=0.2)
    assert six_years[~hyped].std() == pytest.approx(0.06 * np.sqrt(6), rel=0.05)
    assert abs(six_years[~hyped].mean()) < 0.01
    assert six_years[hyped].mean() == pytest.approx(0.15 * 6, rel=0.05)


def test_cells_are_about_fifteen_thousand_and_popularity_is_skewed(worlds):
    """The hundred most popular of 500 types take most of the sales, and every cell's maker and era exist."""
    for world in worlds:
        assert 13_000 < len(world.cell_weight) < 17_000
        share = np.sort(np.bincount(world.cell_type, world.cell_weight))[::-1]
        assert share.sum() == pytest.approx(1)
        assert len(share) == 500 and share.min() > 0
        assert 0.6 < share[:100].sum() < 0.8


def test_clean_rows_are_truth_plus_t4_noise_of_sd_18_hundredths():
    """log price a tube = truth + noise; the noise passes as t with 4 degrees, standard deviation (not scale)
    .18."""
    shop = simulate_shop(20_000, seed=1)
    clean = (shop.truth["gross_error"] == "").to_numpy()
    sales, truth = shop.sales[clean], shop.truth[clean]
    booked = np.log(sales["price_home"] / (sales["qty"] * sales["set_size"]))
    assert np.abs(booked - truth["log_fair_tube"] - truth["noise"]).median() < 1e-4        # cents
    assert stats.kstest(truth["noise"] / (0.18 / np.sqrt(2)), "t", args=(4,)).pvalue > 0.01
    assert (truth["log_fair_set"] - truth["log_fair_tube"] - np.log(sales["set_size"])).abs().max() < 1e-12


def test_gross_errors_have_the_stated_share_and_the_three_kinds():
    """Two in a hundred rows, a third of each kind, each doing to the row what its name says."""
    shop = simulate_shop(50_000, seed=2)
    kind = shop.truth["gross_error"]
    assert (kind != "").mean() == pytest.approx(0.02, rel=0.1)
    for name in GROSS_ERRORS:
        assert (kind == name).sum() == pytest.approx(50_000 * 0.02 / 3, rel=0.2)
    as_one = kind == "set booked as one"
    assert (shop.sales.loc[as_one, "set_size"] == 1).all()
    assert shop.truth.loc[as_one, "true_set_size"].isin([2, 4]).all()
    assert ((shop.sales["canonical_type"] != shop.truth["true_type"]) == (kind == "wrong type")).all()
    slips = kind == "decimal slip"
    excess = np.log(shop.sales["price_home"] / (shop.sales["qty"] * shop.sales["set_size"])) \
        - shop.truth["log_fair_tube"] - shop.truth["noise"]
    assert (excess[slips].abs() - np.log(10)).abs().max() < 0.2
    assert (simulate_shop(N, 3, gross_error_share=0.0).truth["gross_error"] == "").all()
    many = simulate_shop(N, 3, gross_error_share=0.06).truth["gross_error"]
    assert (many != "").mean() == pytest.approx(0.06, rel=0.3)


def test_the_same_seed_gives_the_same_shop_and_more_sales_the_same_effects(shop):
    """Repeatable to the last cent; the truth and the future items do not depend on how much was sold."""
    again, longer, other = simulate_shop(N, seed=7), simulate_shop(N + 500, seed=7), simulate_shop(N, seed=8)
    pd.testing.assert_frame_equal(shop.sales, again.sales)
    pd.testing.assert_frame_equal(shop.truth, again.truth)
    pd.testing.assert_frame_equal(shop.future_items, longer.future_items)
    assert (shop.components.cell_effect == longer.components.cell_effect).all()
    assert not shop.sales["price"].equals(other.sales["price"])


def test_sales_are_clean_sales_and_items_lie_in_the_next_three_months(shop):
    """Columns, types and ranges of the clean Sales table; dates up to `as_of`, items after it."""
    sales, items = shop.sales, shop.future_items
    assert {"sold_on", "type", "maker", "brand", "era", "variant", "grade", "reading_pct", "set_size",
            "matched", "qty", "price", "currency", "channel", "designation", "canonical_type", "family",
            "price_home", "sheet", "row"} <= set(sales.columns)
    assert sales["sold_on"].dtype == "datetime64[ns]" and sales["sold_on"].is_monotonic_increasing
    assert sales["sold_on"].max() <= shop.as_of < items["sold_on"].min()
    assert items["sold_on"].max() <= shop.as_of + pd.Timedelta(days=92)
    assert sales["row"].tolist() == list(range(2, N + 2))
    assert sales["price"].gt(0).all() and not sales.drop(columns=["reading_pct"]).filter(
        ["type", "maker", "era", "grade", "channel", "price", "set_size", "qty"]).isna().any().any()
    assert set(sales["grade"]) == set(w.GRADES) and set(sales["era"]) <= set(w.ERAS)
    assert (~sales["matched"] | sales["set_size"].gt(1)).all()
    assert len(items) == 1000 and items["qty"].eq(1).all()
    clean = items["gross_error"] == ""
    assert items.loc[clean, "price_clean"].equals(items.loc[clean, "price_booked"])
    assert (items.loc[~clean, "price_clean"] != items.loc[~clean, "price_booked"]).mean() > 0.9


def test_the_effect_of_a_reading_is_flat_above_nominal_and_falls_below():
    """A sigmoid: 0 at 100 % and above, falling without a kink downwards, -1 at the bottom."""
    shape = w.reading_shape(np.array([130.0, 100.0, 90.0, 66.0, 30.0, 0.0, np.nan]))
    assert shape[0] == shape[1] == 0
    assert (np.diff(shape[1:6]) < 0).all() and shape[5] == pytest.approx(-1, abs=1e-3)
    assert np.isnan(shape[6])


def test_a_shop_that_is_not_hard_is_plainly_linear():
    """hard=False: normal noise, no hype, grade gaps the same at every price level."""
    easy = simulate_shop(20_000, 4, hard=False)
    assert not easy.components.hyped.any() and (easy.components.grade_level_slope == 0).all()
    assert abs(stats.kurtosis(easy.truth["noise"])) < 0.2
    assert simulate_shop(500, 4, designations=False).sales.eval("type == canonical_type").all()


@pytest.mark.parametrize("wrong, shown", [
    ({"n_sales": -1}, "n_sales=-1"), ({"gross_error_share": 2}, "between 0 and 1, not 2"),
    ({"sd": {"makers": 0.1}}, r"no such standard deviation: \['makers'\]"),
    ({"sd": {"type": 0.1}}, r"types \(0.1\) holds that of families \(0.45\)"),
])
def test_impossible_shops_are_refused(wrong, shown):
    """A wrong argument is a ValueError that shows the value."""
    with pytest.raises(ValueError, match=shown):
        simulate_shop(**({"n_sales": 10, "seed": 0} | wrong))


def _rows(*rows):
    columns = ["sold_on", "canonical_type", "family", "maker", "era", "grade", "channel", "set_size", "qty",
               "price_home"]
    return pd.DataFrame(rows, columns=columns).assign(sold_on=lambda frame: pd.to_datetime(frame["sold_on"]))


def test_the_habits_on_a_hand_worked_example():
    """Two types in one family, prices chosen so that every step of the fallback has its own answer."""
    past = _rows(
        ("2025-01-01", "A", "f", "x", "1950s", "used, good", "auction", 1, 1, 10),
        ("2025-01-02", "A", "f", "x", "1950s", "used, good", "auction", 2, 1, 40),     # 20 a tube
        ("2025-01-03", "A", "f", "x", "1950s", "used, weak", "auction", 1, 3, 12),     # 4 a tube
        ("2025-01-04", "A", "f", "y", "1950s", "used, weak", "auction", 1, 1, 8),
        ("2025-01-05", "B", "g", "y", "1950s", "used, weak", "auction", 1, 1, 100))
    items = _rows(
        ("2025-02-01", "A", "f", "x", "1950s", "used, good", "auction", 1, 1, 0),      # median of 10, 20
        ("2025-02-01", "A", "f", "x", "1950s", "unknown", "auction", 2, 1, 0),         # of 10, 20, 4, a pair
        ("2025-02-01", "A", "f", "z", "1950s", "used, weak", "auction", 1, 1, 0),      # of 4, 8
        ("2025-02-01", "A", "f", "z", "1950s", "unknown", "auction", 1, 1, 0),         # of 10, 20, 4, 8
        ("2025-02-01", "C", "f", "z", "1950s", "unknown", "auction", 1, 1, 0),         # family: the same
        ("2025-02-01", "D", "h", "z", "1950s", "unknown", "auction", 1, 1, 0))
    items.index = list("abcdef")
    assert median_with_fallback(past, items).to_dict() == {"a": 15, "b": 20, "c": 6, "d": 9, "e": 9, "f": 10}
    assert last_sale(past, items).to_dict() == {"a": 8, "b": 16, "c": 8, "d": 8, "e": 8, "f": 100}


def test_least_squares_recovers_an_exact_additive_table(shop):
    """Where log price is exactly additive in its dummies, the habit's prediction is exact."""
    sales = shop.sales.copy()
    def exact(frame):
        return np.exp(3 + frame["canonical_type"].str[1:].astype(int) / 300
                      - (frame["grade"] == "for parts") + 0.1 * np.log(frame["set_size"]))
    sales["price_home"] = exact(sales) * sales["set_size"] * sales["qty"]
    items = sales.sample(100, random_state=0)
    expected = exact(items) * items["set_size"]
    assert np.abs(np.log(ols_dummies(sales, items) / expected)).max() < 1e-5


def test_the_oracle_is_the_dense_textbook_prediction():
    """Sparse mixed model equations give E(u | y) by the dense covariance (Goldberger, JASA 57, 1962,
    369-375)."""
    from simulator.oracle import NESTED, SHARED, _fixed_effects
    shop = simulate_shop(300, 11, n_types=30, n_makers=6, n_future=60, gross_error_share=0.1)
    clean = (shop.truth["gross_error"] == "").to_numpy()
    past, items, sd = shop.sales[clean], shop.future_items, shop.components.sd
    both = pd.concat([past, items], ignore_index=True)
    n = len(past)
    stretch = 1 + both["grade"].map(dict(zip(w.GRADES, w.GRADE_LEVEL_SLOPE, strict=True))).to_numpy()
    covariance = np.zeros((len(both), len(both)))
    for name, columns in {**NESTED, **SHARED}.items():
        label = both.groupby(list(columns)).ngroup().to_numpy()
        variance = sd[name] ** 2 - (sd["family"] ** 2 if name == "type" else 0)
        weight = stretch if name in ("family", "type", "maker") else np.ones(len(both))
        if name in ("brand", "variant"):
            weight = (both[name] != "unknown").to_numpy(float)
        if name == "family_set":
            weight = (both["set_size"] > 1).to_numpy(float)
        covariance += variance * np.equal.outer(label, label) * np.outer(weight, weight)
    v = covariance[:n, :n] + sd["noise"] ** 2 * np.eye(n)
    x = _fixed_effects(both).toarray()
    y = np.log(past["price_home"] / past["qty"] / past["set_size"]).to_numpy() \
        - shop.truth.loc[clean, "log_time"].to_numpy()
    v_x, v_y = np.linalg.solve(v, x[:n]), np.linalg.solve(v, y)
    beta = np.linalg.pinv(x[:n].T @ v_x) @ (x[:n].T @ v_y)
    expected = x[n:] @ beta + covariance[n:, :n] @ np.linalg.solve(v, y - x[:n] @ beta) \
        + items["log_time"].to_numpy() + np.log(items["set_size"].to_numpy())
    np.testing.assert_allclose(oracle(shop), expected, atol=1e-6)


def test_the_oracle_beats_every_habit(shop):
    """By a wide margin on a shop of 2,000 sales, also where it must foresee the drift; and with hardly any
    bias."""
    truth = shop.future_items["log_fair_set"]
    best = score(oracle(shop), truth).loc["all"]
    foreseen = score(oracle(shop, future_drift_known=False), truth).loc["all"]
    assert abs(best["bias_mean"]) < 0.05
    for habit in HABITS.values():
        of_habit = score(np.log(habit(shop.sales, shop.future_items)), truth).loc["all"]
        for of_oracle in (best, foreseen):
            assert of_oracle["median_abs"] < 0.7 * of_habit["median_abs"]
            assert of_oracle["p90_abs"] < 0.9 * of_habit["p90_abs"]


def test_the_oracle_improves_with_sales_and_with_richness():
    """More sales, less error; richer cells, less error (3,000 sales)."""
    few, many = simulate_shop(500, 5), simulate_shop(3000, 5)
    truth = many.future_items["log_fair_set"]
    by = richness(many.sales, many.future_items)
    table = score(oracle(many), truth, by)
    assert score(oracle(few), truth).loc["all", "median_abs"] > 1.5 * table.loc["all", "median_abs"]
    assert tuple(table.index[1:]) == RICHNESS
    assert table["median_abs"].iloc[1:].is_monotonic_increasing
    assert table["n"].iloc[1:].sum() == table.loc["all", "n"] == 1000


def test_score_on_a_hand_worked_example():
    """Errors 0, -1, 1, 3: median size 1, 90th percentile 2.4, mean .75, median .5; lengths and NaN are
    errors."""
    table = score([0, 0, 2, 3], [0, 1, 1, 0], pd.Series(["new cell", "new cell", "new type", "new type"]))
    assert table.loc["all"].tolist() == pytest.approx([4, 1, 2.4, 0.75, 0.5])
    assert table.loc["new type", "median_abs"] == 2
    with pytest.raises(ValueError, match="1 of 2 predictions"):
        score([0, np.nan], [0, 0])
    with pytest.raises(ValueError, match=r"\(1,\) predictions against \(2,\) truths"):
        score([0], [0, 0])
