"""The estimator against shops with known truth: habits beaten, the best linear prediction approached."""

import numpy as np
import pytest
from scipy import integrate, stats
from simulator import median_with_fallback, oracle, score, simulate_shop

import pricing
from pricing.price_model.robust import DEGREES_OF_FREEDOM, INFORMATION

SEEDS = {3_000: (1, 2, 3), 20_000: (1,)}
TIMES_BETTER = {3_000: 2.5, 20_000: 3.5}


def estimate_log(model, shop):
    """Log fair price of a set of the shop's future items, at their dates."""
    return np.log(model.estimate(shop.future_items, on=shop.future_items["sold_on"])["fair_price"])


@pytest.fixture(scope="module")
def shops():
    """Simulated shops with the model of each, by size and seed."""
    out = {}
    for n_sales, seeds in SEEDS.items():
        for seed in seeds:
            shop = simulate_shop(n_sales, seed)
            out[n_sales, seed] = shop, pricing.fit_price_model(shop.sales)
    return out


@pytest.fixture(scope="module")
def mean_scores(shops):
    """Median absolute log errors (model, habit, best linear prediction) and mean bias, averaged over the seeds."""
    rows = {n_sales: [] for n_sales in SEEDS}
    for (n_sales, _), (shop, model) in shops.items():
        truth = shop.future_items["log_fair_set"]
        ours = score(estimate_log(model, shop), truth).loc["all"]
        habit = score(np.log(median_with_fallback(shop.sales, shop.future_items)), truth).loc["all"]
        best = score(oracle(shop, drift_known=False), truth).loc["all"]
        rows[n_sales].append((ours["median_abs"], habit["median_abs"], best["median_abs"], ours["bias_mean"]))
    return {n_sales: np.mean(values, axis=0) for n_sales, values in rows.items()}


@pytest.mark.parametrize("n_sales", SEEDS)
def test_times_better_than_the_habit(mean_scores, n_sales):
    """The median of type, maker and grade errs so many times more."""
    ours, habit, _, _ = mean_scores[n_sales]
    assert habit / ours > TIMES_BETTER[n_sales]


@pytest.mark.parametrize("n_sales", SEEDS)
def test_within_15_percent_of_the_best_linear_prediction(mean_scores, n_sales):
    """The judge knows all variances and which rows are booked wrongly; the paths of the drift neither knows.

    Against a judge who knows the paths as well, see tests/benchmarks/accuracy.py: the model is not within 15 % of it,
    and neither is this best linear prediction.
    """
    ours, _, best, _ = mean_scores[n_sales]
    assert ours < 1.15 * best


@pytest.mark.parametrize("n_sales", SEEDS)
def test_no_bias(mean_scores, n_sales):
    """Mean log error under .03."""
    assert abs(mean_scores[n_sales][3]) < 0.03


def test_six_percent_gross_errors_cost_little():
    """Three times the usual share of wrongly booked rows costs under a tenth of the accuracy."""
    errors = []
    for share in (0.02, 0.06):
        shop = simulate_shop(20_000, 2, gross_error_share=share)
        model = pricing.fit_price_model(shop.sales, calibrated=False)
        errors.append(score(estimate_log(model, shop), shop.future_items["log_fair_set"]).loc["all", "median_abs"])
    assert errors[1] < 1.10 * errors[0]


@pytest.mark.parametrize("n_sales", SEEDS)
def test_ranges_of_the_fair_price_hold_the_true_one(shops, n_sales):
    """Four in five true fair prices lie in the 80 % range of the fair price."""
    held = []
    for seed in SEEDS[n_sales]:
        shop, model = shops[n_sales, seed]
        quote = model.estimate(shop.future_items, on=shop.future_items["sold_on"])
        held.append(np.exp(shop.future_items["log_fair_set"]).between(quote["fair_low"], quote["fair_high"]).mean())
    assert np.mean(held) == pytest.approx(0.8, abs=0.03)


def test_a_sale_counts_for_the_information_it_holds():
    """Fisher information of the location of Student's t, by numerical integration of the squared score."""
    def squared_score(x):
        return ((DEGREES_OF_FREEDOM + 1) * x / (DEGREES_OF_FREEDOM + x**2)) ** 2 * stats.t.pdf(x, DEGREES_OF_FREEDOM)

    assert INFORMATION == pytest.approx(integrate.quad(squared_score, -np.inf, np.inf)[0], rel=1e-8)


@pytest.mark.parametrize("n_sales", SEEDS)
@pytest.mark.parametrize("coverage", [0.80, 0.95])
def test_ranges_cover_later_sales(shops, n_sales, coverage):
    """So many in a hundred honest later sales fall inside the range, within three points over the seeds."""
    inside = []
    for seed in SEEDS[n_sales]:
        shop, model = shops[n_sales, seed]
        items = shop.future_items
        quote = model.estimate(items, on=items["sold_on"], coverage=coverage)
        inside.append(((quote["low"] <= items["price_clean"]) & (items["price_clean"] <= quote["high"])).mean())
    assert abs(np.mean(inside) - coverage) < 0.03


@pytest.mark.parametrize("n_sales", SEEDS)
def test_booking_errors_are_found(shops, n_sales):
    """Decimal slips are nearly all listed, and most of what is listed was booked wrongly."""
    for seed in SEEDS[n_sales]:
        shop, model = shops[n_sales, seed]
        truth = shop.truth.set_axis(shop.sales["row"])
        listed = model.outliers["row"]
        slips = truth.index[truth["gross_error"] == "decimal slip"]
        assert np.isin(slips, listed).mean() > 0.75
        assert (truth.loc[listed, "gross_error"] != "").mean() > 0.75
