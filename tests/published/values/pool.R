# What R says of the studies in simulated_differences.csv: Rscript pool.R simulated_differences.csv > pool_by_r.csv
# One stage: lme4's fit with Kenward and Roger's error and degrees of freedom by pbkrtest. Two stages: metafor's REML with
# Hartung and Knapp's interval, never narrower than the normal one ("adhoc"), and the prediction interval on sites less 2.
suppressPackageStartupMessages({library(lme4); library(pbkrtest); library(lmerTest); library(metafor)})
all <- read.csv(commandArgs(TRUE)[1], comment.char = "#")
cat("# Made by pool.R with R ", paste(R.version$major, R.version$minor, sep = "."), sep = "")
for (p in c("lme4", "pbkrtest", "lmerTest", "metafor")) cat(",", p, as.character(packageVersion(p)))
cat(".\nstudy,quantity,value\n")
say <- function(study, ...) {
  told <- list(...)
  for (name in names(told)) if (!is.na(told[[name]])) cat(study, ",", name, ",", format(told[[name]], digits = 10), "\n", sep = "")
}
control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10), check.conv.singular = "ignore")
for (study in unique(all$study)) {
  d <- all[all$study == study, ]
  wanted <- "difference ~ 1"
  if (any(d$speed != 0)) wanted <- paste(wanted, "+ speed + order")
  wanted <- paste(wanted, "+ (1 | site)")
  if (anyDuplicated(d$runner)) wanted <- paste(wanted, "+ (1 | runner)")
  fit <- lmerTest::lmer(as.formula(wanted), d, REML = TRUE, control = control)
  own <- coef(summary(fit, ddf = "Kenward-Roger"))
  parts <- as.data.frame(VarCorr(fit))
  sd <- function(name) { found <- parts$sdcor[parts$grp == name]; if (length(found)) found else NA }
  ends <- own[1, 1] + c(-1, 1) * qt(0.975, own[1, 3]) * own[1, 2]
  say(study, estimate = own[1, 1], error = own[1, 2], freedom = own[1, 3], lower = ends[1], upper = ends[2],
      p_value = own[1, 5], satterthwaite = coef(summary(fit))[1, 3],
      site_sd = sd("site"), runner_sd = sd("runner"), rest_sd = sd("Residual"))
  if (any(d$speed != 0)) say(study, per_speed = own[2, 1], per_order = own[3, 1])
  yi <- as.numeric(tapply(d$difference, d$site, mean))
  vi <- as.numeric(tapply(d$difference, d$site, function(x) var(x) / length(x)))
  two <- rma(yi, vi, method = "REML", test = "adhoc", control = list(threshold = 1e-12, maxiter = 1000))
  plain <- rma(yi, vi, method = "REML", control = list(threshold = 1e-12, maxiter = 1000))
  further <- predict(plain, pi.type = "riley")
  say(study, meta_estimate = two$b[1], meta_error = two$se, meta_lower = two$ci.lb, meta_upper = two$ci.ub,
      meta_p_value = two$pval, meta_tau2 = two$tau2, meta_q = two$QE, meta_i2 = two$I2,
      meta_prediction_lower = further$pi.lb, meta_prediction_upper = further$pi.ub)
}
