# lme4's fit of uncorrelated random intercepts and slopes: the reference of test_published_examples.py.
# Run:  Rscript sleepstudy.R > sleepstudy.csv      (Debian: r-base-core, r-cran-lme4)
suppressMessages(library(lme4))
tight <- lmerControl(optimizer = "nloptwrap", calc.derivs = FALSE,
                     optCtrl = list(algorithm = "NLOPT_LN_BOBYQA", xtol_abs = 1e-14, xtol_rel = 1e-14,
                                    ftol_abs = 1e-14, ftol_rel = 1e-16, maxeval = 100000))
fit <- lmer(Reaction ~ Days + (1 | Subject) + (0 + Days | Subject), sleepstudy, control = tight)
row <- function(name, value) cat(sprintf("%s,%.15g\n", name, value), sep = "")
cat("name,value\n")
row("criterion", REMLcrit(fit))
row(c("variance intercept", "variance slope", "variance residual"), as.data.frame(VarCorr(fit))$vcov)
row(paste("fixed", names(fixef(fit))), fixef(fit))
row(c("mode 308 intercept", "mode 308 slope"), unlist(ranef(fit)$Subject["308", c("(Intercept)", "Days")]))
cat(sprintf("# R %s, lme4 %s\n", getRversion(), packageVersion("lme4")))
