# The same models in R: one line of JSON a result, read by test_side_by_side_r.py.
# Arguments: the folder of the published tables, the folder of what the test wrote.
# lme4 and nlme are told to go on past their usual stop, so that digits and not stops are compared.
suppressMessages({library(lme4); library(nlme); library(lmerTest); library(multcomp)})
folders <- commandArgs(trailingOnly = TRUE)
published <- function(name) read.csv(file.path(folders[1], paste0(name, ".csv")))
written <- function(name) read.csv(file.path(folders[2], paste0(name, ".csv")))
say <- function(name, ...) {
  values <- sprintf("%.12g", unlist(list(...), use.names = FALSE))
  values[!grepl("^-?[0-9]", values)] <- "null"
  cat(sprintf('{"%s": [%s]}\n', name, paste(values, collapse = ", ")))
}
further4 <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5))
further <- lmeControl(tolerance = 1e-12, msTol = 1e-14, msMaxIter = 500, maxIter = 500)

mixed4 <- function(name, formula, data) {
  fit <- suppressMessages(lmerTest::lmer(formula, data, control = further4))
  fixed <- coef(summary(fit))
  say(paste0(name, ".criterion"), REMLcrit(fit))
  say(paste0(name, ".coef"), fixed[, "Estimate"])
  say(paste0(name, ".se"), fixed[, "Std. Error"])
  say(paste0(name, ".df"), fixed[, "df"])
  say(paste0(name, ".p"), fixed[, "Pr(>|t|)"])
  say(paste0(name, ".parts"), as.data.frame(VarCorr(fit))$vcov)
  fit
}
mixed <- function(name, fixed, random, data, correlation = NULL) {
  call <- list(fixed = fixed, data = data, random = random, control = further)
  if (!is.null(correlation)) call$correlation <- correlation
  fit <- do.call(lme, call)
  say(paste0(name, ".loglik"), as.numeric(logLik(fit)))
  say(paste0(name, ".coef"), fixef(fit))
  say(paste0(name, ".se"), sqrt(diag(vcov(fit))))
  say(paste0(name, ".scale"), fit$sigma^2)
  say(paste0(name, ".heap"), as.numeric(getVarCov(fit)[1, 1]))
  if (!is.null(correlation))
    say(paste0(name, ".correlation"), coef(fit$modelStruct$corStruct, unconstrained = FALSE))
}

sleepstudy <- published("sleepstudy")
oats <- published("oats")
orthodont <- published("orthodont")
orthodont$Sex <- relevel(factor(orthodont$Sex), "Male")
body <- published("bodyweight")
body$Diet <- factor(body$Diet)
invisible(mixed4("sleepstudy.slope", Reaction ~ Days + (Days | Subject), sleepstudy))
invisible(mixed4("sleepstudy.heap", Reaction ~ Days + (1 | Subject), sleepstudy))
invisible(mixed4("dyestuff2", Yield ~ 1 + (1 | Batch), published("dyestuff2")))
invisible(mixed4("oats.nitro", yield ~ nitro + (1 | Block / Variety), oats))
invisible(mixed4("oats.variety", yield ~ Variety + nitro + (1 | Block / Variety), oats))
full <- mixed4("oats.full", yield ~ Variety * factor(nitro) + (1 | Block / Variety), oats)
tests <- anova(full)
say("oats.full.f", tests[["F value"]])
say("oats.full.f_df", tests[["DenDF"]])
mixed("orthodont.sex", distance ~ age * Sex, ~ 1 | Subject, orthodont)
mixed("orthodont.age", distance ~ age, ~ 1 | Subject, orthodont)
mixed("orthodont.wander", distance ~ age, ~ 1 | Subject, orthodont, corAR1(form = ~ 1 | Subject))
mixed("body", weight ~ Time * Diet, ~ 1 | Rat, body, corExp(form = ~ Time | Rat))
mixed("heaps", excess_c ~ age_d * way, ~ 1 | heap, written("heaps"),
      corExp(c(5, 0.3), form = ~ age_d | heap, nugget = TRUE))

sleep_two <- written("sleep")
for (equal in c(TRUE, FALSE)) {
  r <- t.test(value ~ group, sleep_two, var.equal = equal)
  say(if (equal) "pooled" else "welch", -diff(r$estimate), r$stderr, r$parameter, r$conf.int, r$p.value)
}
for (name in c("fabric", "blood", "plants", "recovery")) {
  data <- if (name == "recovery") setNames(published(name), c("group", "value")) else written(name)
  data$group <- factor(data$group, levels = unique(data$group))
  set.seed(1)
  many <- glht(aov(value ~ group, data), linfct = mcp(group = "Dunnett"))
  say(paste0("dunnett.", name, ".t"), summary(many)$test$tstat)
  say(paste0("dunnett.", name, ".p"), summary(many)$test$pvalues)
  ends <- confint(many)$confint
  say(paste0("dunnett.", name, ".low"), ends[, "lwr"])
  say(paste0("dunnett.", name, ".high"), ends[, "upr"])
}
