/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_PRIOR_H
#define FIT_PRIOR_H

/* What is taken for granted before the first flip: wide enough not to pull where there are data.
 *
 * Added to the log-likelihood: normal log-densities of pitch, slope, log spread and take offset,
 * and, as restricted maximum likelihood does (Patterson & Thompson 1971), p log s for the p
 * coefficients spent on each boundary, without which few flips give too small a spread. A fifth
 * more is spent because spreads come out small all the same (2/3 would make chi-squared's median
 * that of the estimate, and the intervals of four takes too wide). Where sessions scatter, one
 * coefficient, the pitch that all share, is spent on the scatter instead. */

#include "fit/likelihood.h"

typedef struct prior {
    double pitch_st, pitch_sd_st; /* median sung pitch; 12: somewhere in the voice */
    double slope, slope_sd;       /* 0.2, 0.4 st/dB: facts of the trade give 0 to 1 at the most */
    double slope_less;  /* 0: what group 1's slope is expected to be less than group 0's */
    double slope_apart; /* 0.1 st/dB, Cauchy: of the difference between up and down */
    double spread_st[LIKELIHOOD_GROUPS], spread_sd; /* 0.6 st, 0.8 in log: 0.12 to 3 st */
    bool slopes_known;             /* false; true: the data spend nothing on slopes */
    double offset_sd_st;           /* 0.7 st, half-normal */
    double curve, curve_sd;        /* 0, 0.01 st/dB^2: 1 st over 10 dB is a bend, 2 a strong one */
    double scatter_st, scatter_sd; /* of sessions: 0.5 st, 0.8 in log: 0.1 to 2.4 st */
    double spent_more;             /* 0.2: added to p */
    double spent[LIKELIHOOD_GROUPS];    /* p of each group, coefficients; 0: plain likelihood */
    double per_take[LIKELIHOOD_GROUPS]; /* ends a take */
    double per_session;                 /* ends a session, of all groups */
} prior;
/* pitch_st is the caller's to set, spent and per_take are 0 until prior_count. */
prior prior_defaults(void);
void prior_count(prior *p, const likelihood *l);

/* Log-likelihood plus prior, an objective for maximum.h. */
typedef struct penalised {
    const likelihood *likelihood;
    const prior *prior;
} penalised;
double penalised_value(const void *a_penalised, const double *theta, double *opt_gradient);

#endif
