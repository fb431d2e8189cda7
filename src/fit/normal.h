/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_NORMAL_H
#define FIT_NORMAL_H

/* The standard normal distribution in logs, safe in both tails, with derivatives.
 *
 * All arguments are standardised (z divided by the spread) and finite. Beyond |x| = 30, where
 * erfc comes near underflow, GSL's log_erfc and hazard take over. */

/* log Q(x), Q(x) = P(eps > x). *opt_slope: its derivative, minus the hazard. */
double normal_log_tail(double x, double *opt_slope);

/* log of the mean density on [a, b], b >= a: log{[P(eps < b) - P(eps < a)] / (b - a)}; the log
 * density itself when a = b. *opt_da, *opt_db: its derivatives (both given or both NULL). */
double normal_log_mean_density(double a, double b, double *opt_da, double *opt_db);

#endif
