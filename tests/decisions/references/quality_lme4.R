# The whole listening model fitted by lme4: the independent reference of test_quality.py.
# Run:  Rscript quality_lme4.R > quality_lme4.csv      (Debian: r-base-core, r-cran-lme4)
# Data: InstEval of lme4 (ratings of lectures, 1 to 5), the students 1 to 200. A student is the listener, a lecture
# (lecturer, department, age of the lecture) the item, its department the type, its age the maker, service the system.
suppressMessages(library(lme4))
options(digits = 15)
notes <- subset(InstEval, as.integer(as.character(s)) <= 200)
notes$item <- interaction(notes$dept, notes$lectage, notes$d, drop = TRUE, sep = "/")
fit <- lmer(y ~ 1 + (1 | item) + (1 | dept) + (1 | lectage) + (1 | s) + (1 | service) + (1 | s:service), notes,
            control = lmerControl(optimizer = "nloptwrap", calc.derivs = FALSE,
                                  optCtrl = list(algorithm = "NLOPT_LN_BOBYQA", xtol_abs = 1e-14, xtol_rel = 1e-14,
                                                 ftol_abs = 1e-14, ftol_rel = 1e-16, maxeval = 100000)))
cat("quantity,name,value\n")
cat(sprintf("criterion,,%.15g\n", REMLcrit(fit)))
parts <- as.data.frame(VarCorr(fit))
cat(sprintf("variance,%s,%.15g\n", parts$grp, parts$vcov), sep = "")
met <- sort(unique(as.character(notes$item)))[seq(1, 400, by = 20)]
keys <- notes[match(met, as.character(notes$item)), ]
quality <- predict(fit, keys, re.form = ~ (1 | item) + (1 | dept) + (1 | lectage))
cat(sprintf("quality,%s,%.15g\n", met, quality), sep = "")
cat(sprintf("# %d notes, %d items. R %s, lme4 %s\n", nrow(notes), nlevels(notes$item), getRversion(),
            packageVersion("lme4")))
