# Analyses the data of the invented trials again, from data.csv alone, in R (written with
# R 4.2.2, no packages): Rscript reanalysis.R > reanalysis.csv, in this folder.
cat("case,outcome,arm,difference,se,low,high,p\n")
tell <- function(case, outcome, arm, fit, term) {
  s <- summary(fit)$coefficients[term, ]
  i <- confint(fit, term)
  cat(case, outcome, arm, paste(format(c(s[1], s[2], i[1], i[2], s[4]), digits = 10, trim = TRUE), collapse = ","), sep = ",")
  cat("\n")
}
for (case in c("effect", "none")) {
  d <- read.csv(file.path(case, "data.csv"))
  d$arm <- factor(d$arm, c("size", "strength-first"))
  for (o in c("thickness", "squat")) {
    d$start <- d[[paste0(o, "_baseline")]]
    d$end <- d[[paste0(o, "_end")]]
    tell(case, o, "strength-first", lm(end ~ start + factor(pair) + arm, d), "armstrength-first")
  }
}
d <- read.csv("small/data.csv")
tell("small", "squat", "B", lm(squat_end ~ squat_baseline + stratum + arm, d), "armB")
d <- read.csv("coaches/data.csv")
u <- aggregate(cbind(thickness_baseline, thickness_end) ~ unit + arm, d, mean)
for (a in c("rir2", "rir4")) {
  v <- u[u$arm %in% c("rir1", a), ]
  tell("coaches", "thickness", a, lm(thickness_end ~ thickness_baseline + arm, v), paste0("arm", a))
}
