# Makes reference.csv: distributions and models of R, one "what,arguments...,value" a line.
# R 4.2.2, nlme 3.1-162. Run in this directory: Rscript reference.R
suppressMessages(library(nlme))
out <- character(0)
put <- function(what, args, value) out <<- c(out, paste(c(what, formatC(args, digits = 17, format = "g"), formatC(value, digits = 17, format = "g")), collapse = ","))
for (df in c(1, 2.5, 8, 38, 400)) for (ncp in c(-3, -0.4, 0.7, 2.5, 8, 20)) for (t in c(-4, -1, 0, 0.5, 2, 6, 15))
  put("pt_ncp", c(t, df, ncp), pt(t, df, ncp))
for (df in c(1, 2.5, 8, 38, 400)) for (p in c(0.5001, 0.6, 0.95, 0.975, 0.9999, 0.01))
  put("qt", c(p, df), qt(p, df))
for (df in c(1, 2, 5, 40)) for (p in c(1e-6, 0.001, 0.05, 0.5, 0.975, 0.9999))
  put("qchisq", c(p, df), qchisq(p, df))
for (d1 in c(1, 3, 10)) for (d2 in c(2, 15, 200)) for (p in c(0.01, 0.5, 0.975))
  put("qf", c(p, d1, d2), qf(p, d1, d2))
for (d1 in c(2, 5)) for (ncp in c(0.5, 4, 30)) for (f in c(0.3, 1, 3.1, 8))
  put("pf_ncp", c(f, d1, 20, ncp), pf(f, d1, 20, ncp, lower.tail = FALSE))
for (p in c(1e-12, 1e-5, 0.02, 0.3)) put("qnorm", p, qnorm(p))
# Pairs of which some lost a member: a random intercept for the pair. Numbers by a
# fixed rule, no data of anyone.
i <- 1:37
y <- round(10 + 3 * sin(i * 1.7) + 2 * cos(i * 0.9) + (i %% 5), 2)
x <- round(5 + 2 * cos(i * 2.3), 2)
w <- i %% 2
g <- (i - 1) %/% 2
keep <- !(i %in% c(4, 9, 22))
d <- data.frame(y, x, w, g)[keep, ]
m <- lme(y ~ x + w, random = ~ 1 | g, data = d, method = "REML", control = lmeControl(opt = "optim", reltol = 1e-14))
put("lme_coef", numeric(0), unname(fixef(m)))
put("lme_se", numeric(0), unname(sqrt(diag(vcov(m)))))
put("lme_sd", numeric(0), c(as.numeric(VarCorr(m)[, 2]), as.numeric(logLik(m))))
# HC3 by its definition, with strata as dummies.
s <- i %/% 13
f <- lm(y ~ x + w + factor(s))
X <- model.matrix(f); e <- resid(f); h <- hatvalues(f); B <- solve(crossprod(X))
put("lm_coef", numeric(0), unname(coef(f)[2:3]))
put("lm_se", numeric(0), unname(sqrt(diag(vcov(f)))[2:3]))
put("lm_hc3", numeric(0), unname(sqrt(diag(B %*% t(X) %*% diag((e / (1 - h))^2) %*% X %*% B))[2:3]))
put("rank", numeric(0), wilcox.test(y[1:20] - 10.3137 + (1:20) / 1e4, exact = TRUE)$p.value)
put("fisher", c(7, 2, 3, 9), fisher.test(matrix(c(7, 3, 2, 9), 2))$p.value)
writeLines(gsub(" ", "", out), "reference.csv")
