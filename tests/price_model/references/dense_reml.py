"""Slow, dense REML by two textbook routes, to hold the fast solver against. numpy only.

Model: y = X b + sum_k Z_k u_k + e, u_k ~ N(0, s_k I), e ~ N(0, s_0 W^-1). Minus twice the log of the
restricted likelihood is

    (n - p) log 2 pi + log|V| + log|X' V^-1 X| + y' P y,    V = sum_k s_k Z_k Z_k' + s_0 W^-1,
    P = V^-1 - V^-1 X (X' V^-1 X)^-1 X' V^-1

without the constant log|X'X|, as lme4 prints it. Sources: Harville, "Maximum likelihood approaches to
variance component estimation and to related problems", JASA 72 (1977) 320-338; Searle, Casella & McCulloch,
"Variance Components" (Wiley 1992), chapter 6 (REML, its score and information) and chapter 7 (mixed model
equations). Chapters are from memory; the checks in test_reml_references.py do not rest on them.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class DenseReml:
    """Minus twice the log restricted likelihood at given variances (terms in order, residual last)."""

    criterion: float
    score: np.ndarray  # d criterion / d variance, (terms + 1)
    information: np.ndarray | None  # expected second derivative of the criterion, (terms + 1) square
    fixed_effects: np.ndarray  # (p)
    fixed_covariance: np.ndarray  # (p by p)
    random_effects: list[np.ndarray]  # one vector by level for each term


def by_marginal_covariance(y, x, terms, variances, weights=None) -> DenseReml:
    """The criterion from the n by n covariance V; `terms` are code vectors, the last variance the residual's."""
    y, x = np.asarray(y, float), np.asarray(x, float)
    n, p = x.shape
    indicators = [np.eye(codes.max() + 1)[codes] for codes in terms]
    weights = np.ones(n) if weights is None else np.asarray(weights, float)
    parts = [z @ z.T for z in indicators] + [np.diag(1 / weights)]
    v = sum(s * part for s, part in zip(variances, parts, strict=True))
    v_inverse = np.linalg.inv(v)
    fixed_covariance = np.linalg.inv(x.T @ v_inverse @ x)
    b = fixed_covariance @ x.T @ v_inverse @ y
    projection = v_inverse - v_inverse @ x @ fixed_covariance @ x.T @ v_inverse
    py = projection @ y
    products = [projection @ part for part in parts]
    log_determinants = np.linalg.slogdet(v)[1] - np.linalg.slogdet(fixed_covariance)[1]
    return DenseReml(
        criterion=(n - p) * np.log(2 * np.pi) + log_determinants + y @ py,
        score=np.array([np.trace(product) - py @ part @ py for product, part in zip(products, parts)]),
        information=np.array([[np.sum(a * c.T) for c in products] for a in products]),
        fixed_effects=b,
        fixed_covariance=fixed_covariance,
        random_effects=[s * z.T @ py for s, z in zip(variances, indicators)],
    )


def by_mixed_model_equations(y, x, terms, variances, weights=None) -> DenseReml:
    """The same criterion from the mixed model equations, p + levels square: any n, some thousand levels."""
    y, x = np.asarray(y, float), np.asarray(x, float)
    n, p = x.shape
    weights = np.ones(n) if weights is None else np.asarray(weights, float)
    *between, within = variances
    sizes = [codes.max() + 1 for codes in terms]
    starts = p + np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(int)
    levels = p + sum(sizes)
    system = np.zeros((levels, levels))
    system[:p, :p] = x.T @ (weights[:, None] * x)
    right = np.zeros(levels)
    right[:p] = x.T @ (weights * y)
    for codes, start, size in zip(terms, starts, sizes):
        np.add.at(right, start + codes, weights * y)
        for j in range(p):
            cross = np.bincount(codes, weights * x[:, j], size)
            system[start : start + size, j] = system[j, start : start + size] = cross
        for other, other_start in zip(terms, starts):
            np.add.at(system, (start + codes, other_start + other), weights)
    for s, start, size in zip(between, starts, sizes):
        system[np.arange(start, start + size), np.arange(start, start + size)] += within / s
    chol = np.linalg.cholesky(system)
    inverse = np.linalg.inv(system)
    solution = inverse @ right
    residual_quadratic = float(y @ (weights * y) - solution @ right) / within  # y' P y
    effects = [solution[start : start + size] for start, size in zip(starts, sizes)]
    traces = [within * np.trace(inverse[a : a + size, a : a + size]) for a, size in zip(starts, sizes)]
    score = [size / s - (u @ u + trace) / s**2 for size, s, u, trace in zip(sizes, between, effects, traces)]
    # Scaling all variances by c gives the criterion (n - p) log c + y'Py / c + constants, hence the last one.
    score.append((n - p - residual_quadratic - np.dot(score, between)) / within)
    log_determinants = (
        (n - levels) * np.log(within) + sum(size * np.log(s) for s, size in zip(between, sizes))
        + 2 * np.log(np.diag(chol)).sum() - np.log(weights).sum()
    )
    return DenseReml(
        criterion=(n - p) * np.log(2 * np.pi) + log_determinants + residual_quadratic,
        score=np.array(score),
        information=None,
        fixed_effects=solution[:p],
        fixed_covariance=within * inverse[:p, :p],
        random_effects=effects,
    )
