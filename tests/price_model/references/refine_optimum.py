"""Carry each REML optimum to machine accuracy from lme4's own estimate, independently of lme4's code.

Run from this folder, in about three minutes:  python refine_optimum.py > refined_fits.csv
The zero of the REML score in the log variances, by Newton steps: expected information from the n by n
covariance for the small sets, Broyden's updates of a differenced Jacobian for InstEval's 4,114 levels.
Printed: criterion, variances, fixed effects, their standard errors, and what is left of the score
(d criterion / d log variance).
"""

import csv
from pathlib import Path

import numpy as np
from data_sets import load
from dense_reml import by_marginal_covariance, by_mixed_model_equations
from scipy.optimize import root

HERE = Path(__file__).parent


def lme4_fits() -> dict[str, list[tuple[str, str, float]]]:
    fits: dict[str, list[tuple[str, str, float]]] = {}
    lines = (line for line in (HERE / "lme4_fits.csv").read_text().splitlines() if not line.startswith("#"))
    for row in csv.DictReader(lines):
        fits.setdefault(row["fit"], []).append((row["quantity"], row["name"], float(row["value"])))
    return fits


def refine(data, start: np.ndarray):
    terms = list(data.terms.values())
    if len(data.y) < 1000:
        log_variances = np.log(start)
        for _ in range(30):
            variances = np.exp(log_variances)
            point = by_marginal_covariance(data.y, data.x, terms, variances, data.weights)
            curvature = point.information * np.outer(variances, variances)
            log_variances = log_variances - np.linalg.solve(curvature, point.score * variances)
        return variances, point

    def scaled_score(log_variances):
        variances = np.exp(log_variances)
        return by_mixed_model_equations(data.y, data.x, terms, variances, data.weights).score * variances

    found = root(scaled_score, np.log(start), method="hybr", options={"eps": 1e-6, "xtol": 1e-13})
    variances = np.exp(found.x)
    return variances, by_mixed_model_equations(data.y, data.x, terms, variances, data.weights)


if __name__ == "__main__":
    print("fit,quantity,name,value")
    for fit, rows in lme4_fits().items():
        data = load(fit)
        lme4 = {name: value for quantity, name, value in rows if quantity == "variance"}
        names = [*data.terms, "residual"]
        variances, point = refine(data, np.array([lme4[name] for name in names]))
        print(f"{fit},criterion,,{point.criterion:.15g}")
        for name, variance in zip(names, variances, strict=True):
            print(f"{fit},variance,{name},{variance:.15g}")
        errors = np.sqrt(np.diag(point.fixed_covariance))
        for name, effect, error in zip(data.fixed_names, point.fixed_effects, errors, strict=True):
            print(f"{fit},fixed_effect,{name},{effect:.15g}")
            print(f"{fit},fixed_se,{name},{error:.15g}")
        print(f"{fit},largest_scaled_score,,{abs(point.score * variances).max():.2g}", flush=True)
