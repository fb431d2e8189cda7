# SPDX-License-Identifier: GPL-3.0-or-later
# The same censored slides fitted by survreg of R's package survival (Therneau): coefficients,
# their standard errors and the log-likelihood have to agree.
#
#   Rscript compare.R FOLDER     reads attempts.csv and answers.csv
library(survival)
folder <- commandArgs(trailingOnly = TRUE)[1]
attempts <- read.csv(file.path(folder, "attempts.csv"))
answers <- read.csv(file.path(folder, "answers.csv"))
stopifnot(nrow(answers) >= 10)

# Ours are differences of the gradient, theirs the exact second derivatives: 0.5 % of a standard error.
most <- c(b0 = 1e-6, b1 = 1e-6, log_s = 1e-6, value = 1e-6, se = 0.005)
worst <- 0 * most
for (i in seq_len(nrow(answers))) {
    a <- attempts[attempts$fit == answers$fit[i], ]
    lo <- ifelse(is.finite(a$lo), a$lo, NA)
    hi <- ifelse(is.finite(a$hi), a$hi, NA)
    theirs <- survreg(Surv(lo, hi, type = "interval2") ~ a$level, dist = "gaussian",
                      control = survreg.control(rel.tolerance = 1e-12, maxiter = 100))
    ours <- answers[i, ]
    off <- c(abs(ours$b0 - coef(theirs)[1]), abs(ours$b1 - coef(theirs)[2]),
             abs(ours$log_s - log(theirs$scale)), abs(ours$value - theirs$loglik[2]),
             max(abs(c(ours$se_b0, ours$se_b1, ours$se_log_s) / sqrt(diag(theirs$var)) - 1)))
    worst <- pmax(worst, off)
    cat(sprintf("%2d: %2d attempts, %2d flips: %.4f st %.5f st/dB spread %.4f, survreg %.4f %.5f %.4f\n",
                i, nrow(a), sum(is.finite(a$lo) & is.finite(a$hi)), ours$b0, ours$b1,
                exp(ours$log_s), coef(theirs)[1], coef(theirs)[2], theirs$scale))
}
cat("survival", as.character(packageVersion("survival")), "worst difference:\n")
print(rbind(worst, most))
if (any(worst > most)) quit(status = 1)
