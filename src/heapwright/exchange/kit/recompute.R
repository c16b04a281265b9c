# Does the sums of a trial again in R, from the readings on, and holds them against what Heapwright
# said. Base R only. Run in this folder:  Rscript recompute.R
#
# heaps.csv     heap, way, block (may be empty)
# readings.csv  heap, spot, age_d (heap age, days), temp_c
# air.csv       heap, age_d (on that heap's age axis), temp_c
# values.csv    outcome, heap, value, exposure: one number a heap, as Heapwright took it
# outcomes.csv  outcome, model, informed, control, from_d, to_d
# settings.csv  name, value: the assumed spread, days the air is averaged back, slack
# said.csv      outcome, way, estimate, low, high: what is to be found again

read <- function(name) read.csv(name, stringsAsFactors = FALSE, na.strings = "",
                                colClasses = c(heap = "character"))
heaps <- read("heaps.csv"); readings <- read("readings.csv"); air <- read("air.csv")
values <- read("values.csv"); outcomes <- read.csv("outcomes.csv", stringsAsFactors = FALSE)
said <- read.csv("said.csv", stringsAsFactors = FALSE)
settings <- read.csv("settings.csv", stringsAsFactors = FALSE)
set <- setNames(settings$value, settings$name)

# --- from readings to one number a heap ----------------------------------------------------------

# Integral of the straight lines through (t, y) from t[1] to x, inside the readings.
area_to <- function(t, y, x) {
  steps <- c(0, cumsum(diff(t) * (head(y, -1) + tail(y, -1)) / 2))
  i <- pmin(pmax(findInterval(x, t), 1), length(t))
  here <- if (length(t) > 1) approx(t, y, x, rule = 2)$y else rep(y, length(x))
  steps[i] + (x - t[i]) * (here + y[i]) / 2
}

# Air averaged back over the days before each age, as far as it was read.
air_back <- function(t, y, at) {
  y <- tapply(y, t, mean); t <- as.numeric(names(y)); y <- as.numeric(y)
  high <- pmin(pmax(at, t[1]), t[length(t)])
  low <- pmin(pmax(at - set[["air_memory_d"]], t[1]), high)
  width <- high - low
  point <- if (length(t) > 1) approx(t, y, high, rule = 2)$y else rep(y, length(at))
  ifelse(width > 1e-9, (area_to(t, y, high) - area_to(t, y, low)) / pmax(width, 1e-9), point)
}

# Rounds of one heap: a new one begins when a spot comes again or half a day has passed.
rounds_of <- function(d) {
  d <- d[order(d$age_d, d$spot), ]
  round <- integer(nrow(d)); seen <- character(); now <- 1; start <- d$age_d[1]
  for (i in seq_len(nrow(d))) {
    if (d$spot[i] %in% seen || d$age_d[i] - start > set[["slack_d"]]) {
      now <- now + 1; start <- d$age_d[i]; seen <- character()
    }
    seen <- c(seen, d$spot[i]); round[i] <- now
  }
  d$round <- round
  d
}

# Mean or peak of the degrees above air of one heap over a window.
heap_value <- function(heap, from, to, peak) {
  d <- rounds_of(readings[readings$heap == heap, ])
  age <- as.numeric(tapply(d$age_d, d$round, mean))
  first <- max(sum(age <= from), 1); last <- min(sum(age < to) + 1, length(age))
  d <- d[d$round >= first & d$round <= last, ]
  age <- age[first:last]
  d$round <- factor(d$round); d$spot <- factor(d$spot)
  # spots on one footing: round + spot, spots adding to zero; with full rounds the plain mean
  table <- table(d$round, d$spot)
  level <- if (all(table == table[1])) {
    as.numeric(tapply(d$temp_c, d$round, mean))
  } else {
    fit <- lm(temp_c ~ 0 + round + spot, d, contrasts = list(spot = "contr.sum"))
    rounds <- coef(fit)[seq_len(nlevels(d$round))]
    as.numeric(rounds)
  }
  a <- air[air$heap == heap, ]
  excess <- level - air_back(a$age_d, a$temp_c, age)
  low <- max(from, age[1]); high <- min(to, age[length(age)])
  if (peak) return(max(excess[age >= low & age <= high]))
  inside <- age > low & age < high
  t <- c(low, age[inside], high); y <- approx(age, excess, t)$y
  sum(diff(t) * (head(y, -1) + tail(y, -1))) / 2 / (high - low)
}

# --- from one number a heap to an interval -------------------------------------------------------

# Chance that all |t| stay within c: correlation of two differences = product of their loadings.
inside <- function(c, loading, df) {
  given <- function(s) sapply(s, function(s) integrate(function(z) {
    p <- dnorm(z)
    for (l in loading) {
      p <- p * (pnorm((c * s + l * z) / sqrt(1 - l^2)) - pnorm((-c * s + l * z) / sqrt(1 - l^2)))
    }
    p
  }, -8.5, 8.5, rel.tol = 1e-10)$value)
  density <- function(s) {
    exp(log(2) + df / 2 * log(df / 2) - lgamma(df / 2) + (df - 1) * log(s) - df * s^2 / 2)
  }
  ends <- sqrt(qchisq(c(1e-13, 1 - 1e-13), df) / df)
  integrate(function(s) density(s) * given(s), ends[1], ends[2], rel.tol = 1e-9)$value
}
critical <- function(loading, df) {
  if (length(loading) == 1) return(qt(0.975, df))
  if (is.null(loading)) return(NA)  # another structure: not done again here
  uniroot(function(c) inside(c, loading, df) - 0.95, c(qt(0.975, df) - 0.01, qt(0.9999, df) + 3),
          tol = 1e-9)$root
}

# Loadings whose products are the correlations of the estimates: exact up to three of them.
loadings <- function(r) {
  k <- nrow(r)
  if (k == 1) return(0)
  if (k == 2) return(c(1, sign(r[1, 2])) * sqrt(abs(r[1, 2])))
  l <- sapply(seq_len(k), function(i) {
    j <- setdiff(seq_len(k), i)[1:2]
    sqrt(abs(r[i, j[1]] * r[i, j[2]] / r[j[1], j[2]])) * sign(r[1, i])
  })
  off <- abs(outer(l, l) - r); diag(off) <- 0
  if (max(off) > 1e-9 || any(abs(l) >= 1)) return(NULL)
  l
}

interval <- function(model, informed, y, way, block, exposure, control) {
  way <- relevel(factor(way), control)
  blocked <- all(!is.na(block)) && length(unique(block)) > 1 && model %in% c("difference", "ratio")
  n <- table(way); others <- setdiff(levels(way), control)
  if (model %in% c("share", "rate")) {
    # one rate a way; chance in the counting widened by how far heaps of a way differ (Pearson)
    count <- y * exposure
    hit <- tapply(count, way, sum); out_of <- tapply(exposure, way, sum)
    mean <- (hit / out_of)[way] * exposure
    each <- if (model == "share") mean * (1 - mean / exposure) else mean
    mine <- tapply(each, way, sum)[way] > 0
    df <- length(y) - nlevels(way)
    spread <- max(sum(((count - mean)^2 / each)[mine]) / df, 1)
    none <- if (model == "share") hit == 0 | hit == out_of else hit == 0
    miss <- out_of - hit + 0.5 * none; hit <- hit + 0.5 * none
    level <- if (model == "share") log(hit / miss) else log(hit / out_of)
    noise <- if (model == "share") 1 / hit + 1 / miss else 1 / hit
    estimate <- level[others] - level[control]
    unscaled <- matrix(noise[control], length(others), length(others)) + diag(noise[others], length(others))
  } else {
    z <- if (model == "ratio") log(y) else y
    block <- factor(block)
    fit <- if (blocked) lm(z ~ block + way) else lm(z ~ way)
    rss <- sum(residuals(fit)^2); left <- fit$df.residual
    if (informed) {
      df <- set[["nu0"]] + left
      spread <- (set[["nu0"]] * (set[["s0_c"]]^2 + set[["va"]]) + rss) / df
    } else {
      df <- left; spread <- rss / left
    }
    unscaled <- summary(fit)$cov.unscaled
  }
  if (model %in% c("difference", "ratio")) {
    term <- paste0("way", others)
    estimate <- coef(fit)[term]
    unscaled <- unscaled[term, term, drop = FALSE]
  }
  se <- sqrt(spread * diag(unscaled))
  loading <- if (blocked) loadings(cov2cor(unscaled)) else as.numeric(sqrt(n[others] / (n[others] + n[control])))
  reach <- critical(loading, df) * se
  low <- estimate - reach; high <- estimate + reach
  if (model %in% c("ratio", "rate", "share")) {
    mine <- way == control
    base <- if (model == "ratio") {
      exp(mean(log(y[mine])))
    } else {
      got <- sum(y[mine] * exposure[mine]); all <- sum(exposure[mine])
      if (model == "share" && (got == 0 || got == all)) (got + 0.5) / (all + 1) else max(got, 0.5 * (got == 0)) / all
    }
    back <- if (model == "share") function(x) plogis(qlogis(base) + x) - base else function(x) base * (exp(x) - 1)
    estimate <- back(estimate); low <- back(low); high <- back(high)
  }
  data.frame(way = others, estimate = as.numeric(estimate), low = as.numeric(low), high = as.numeric(high))
}

# --- all of it -----------------------------------------------------------------------------------

worst <- 0; rows <- list()
near <- function(a, b) abs(a - b) / max(1, abs(a), abs(b))
for (k in seq_len(nrow(outcomes))) {
  o <- outcomes[k, ]
  v <- merge(values[values$outcome == o$outcome, ], heaps, by = "heap")
  if (o$outcome %in% c("mean_excess_c", "peak_excess_c")) {
    again <- sapply(v$heap, heap_value, from = o$from_d, to = o$to_d, peak = o$outcome == "peak_excess_c")
    worst <- max(worst, mapply(near, again, v$value))
    v$value <- as.numeric(again)
  }
  told <- said[said$outcome == o$outcome & !is.na(said$low), ]
  if (!nrow(told)) next
  found <- interval(o$model, o$informed == 1, v$value, v$way, v$block, v$exposure, o$control)
  found$outcome <- o$outcome
  both <- merge(told, found, by = c("outcome", "way"), suffixes = c("", "_again"))
  for (part in c("estimate", "low", "high")) {
    again <- both[[paste0(part, "_again")]]
    if (anyNA(again)) cat("not done again:", part, "of", o$outcome, "(correlations of another structure)\n")
    worst <- max(worst, mapply(near, both[[part]], again), na.rm = TRUE)
  }
  rows[[length(rows) + 1]] <- both
}
all <- do.call(rbind, rows)
if (is.null(all)) {
  cat("no range was said, so only heap values were done again\n")
} else {
  write.csv(all, "recomputed.csv", row.names = FALSE)
  print(all, digits = 7)
}
cat(sprintf("largest relative difference: %.1e\n", worst))
if (worst > 1e-6) { cat("NOT the same numbers\n"); quit(status = 1) }
cat("the same numbers\n")
