/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/chain_grid.h"

#include <math.h>

static const double widest_sd = 3; /* the grid reaches this many standard deviations */

static void put_bin(states *s, int k, double value)
{
    s->of[k % EACH][k / EACH] = s->of[k % EACH][k / EACH + HALF] = (float)value;
}

grid grid_new(double drift_sd, double drift_s, double hop_s)
{
    grid g = {.widest = widest_sd * drift_sd};
    double width = 2 * g.widest / (BINS - 1), sum = 0, stationary[BINS];
    double keep = exp(-hop_s / drift_s);
    double variance = drift_sd * drift_sd * (1 - keep * keep);
    for (int k = 0; k < BINS; k++) {
        double d = (k - BINS / 2) * width, pull = -(1 - keep) * d;
        double both = (variance + pull * pull) / (width * width);
        double more = k + 1 < BINS ? fmax(0, (both + pull / width) / 2) : 0;
        double less = k > 0 ? fmax(0, (both - pull / width) / 2) : 0;
        put_bin(&g.more, k, more);
        put_bin(&g.less, k, less);
        put_bin(&g.stay, k, 1 - less - more);
        stationary[k] = exp(-0.5 * d * d / (drift_sd * drift_sd));
        sum += stationary[k];
        g.c[k % EACH][k / EACH] = (float)(d - 0.5);
        g.c[k % EACH][k / EACH + HALF] = (float)(d + 0.5);
    }
    for (int k = 0; k < BINS; k++)
        put_bin(&g.stationary, k, stationary[k] / sum);
    for (int j = 0; j < LANES; j++)
        g.sign[j] = j < HALF ? -1 : 1;
    return g;
}
