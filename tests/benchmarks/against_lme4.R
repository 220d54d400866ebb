# REML fit of the table of against_lme4.py by lme4; prints name,value lines (Debian: r-base-core, r-cran-lme4).
# Called as: Rscript against_lme4.R table.csv repeats   Columns: y, fixed effects x0 x1 ..., codes of the grouping factors.
# lme4's own settings, but without its check of derivatives after the fit, which our solver does not make either.
suppressMessages(library(lme4))
options(digits = 15)
data <- read.csv(commandArgs(TRUE)[1])
x <- as.matrix(data[, grep("^x[0-9]+$", names(data))])
groups <- setdiff(names(data), c("y", colnames(x)))
for (name in groups) data[[name]] <- factor(data[[name]])
model <- as.formula(paste("y ~ 0 + x +", paste0("(1 | ", groups, ")", collapse = " + ")))
time <- list(elapsed = Inf)
for (repetition in seq_len(as.integer(commandArgs(TRUE)[2]))) {
  one <- system.time(fit <- lmer(model, data, control = lmerControl(calc.derivs = FALSE)))
  if (one[["elapsed"]] < time[["elapsed"]]) time <- as.list(one)
}
cat(sprintf("seconds,%.15g\ncpu_seconds,%.15g\n", time[["elapsed"]], time[["user.self"]] + time[["sys.self"]]))
cat(sprintf("criterion,%.15g\nevaluations,%d\n", REMLcrit(fit), fit@optinfo$feval))
parts <- as.data.frame(VarCorr(fit))
cat(sprintf("variance:%s,%.15g\n", parts$grp, parts$vcov), sep = "")
cat(sprintf("# R %s, lme4 %s, %s\n", getRversion(), packageVersion("lme4"), basename(extSoftVersion()[["BLAS"]])))
