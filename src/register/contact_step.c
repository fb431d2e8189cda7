/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/contact_level.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

static const double rate_s = 0.3; /* flips a second where nothing speaks for one */
/* Looked at is the amplitude so far before and after a frame: a flip takes 10 to 150 ms, and what
 * the larynx's height and the voice's strength do to the amplitude longer. */
static const double from_s = 0.02, to_s = 0.11, apart_s = 0.08;
static const size_t least_frames = 6;       /* of those on either side */
static const double least_scatter_db = 1.5; /* of such differences within a register */
static const double most_nats = 6;

/* Mean amplitude of the frames that lie 20 to 110 ms before frame i in its stretch, or as long
 * after it; NaN where few are known. */
static double beside(const contact_levels *l, const evidence *ev, size_t i, bool after)
{
    double sum = 0, away_s = 0;
    size_t n = 0, k = i;
    for (;;) {
        if (after ? ++k == l->n : k == 0)
            break;
        away_s += after ? ev->gap_s[k] : ev->gap_s[k--];
        if (away_s > to_s) /* infinite at a stretch's end */
            break;
        if (away_s >= from_s && !isnan(l->x_db[k])) {
            sum += l->x_db[k];
            n++;
        }
    }
    return n >= least_frames ? sum / (double)n : (double)NAN;
}

/* Log-likelihood ratio of a flip into M2 against none where the amplitude steps so. */
static double nats(double step_db, double scatter_db2)
{
    double var = CONTACT_FALL_SD_DB * CONTACT_FALL_SD_DB + scatter_db2,
           off = step_db - CONTACT_FALL_DB;
    double r = step_db * step_db / scatter_db2 - off * off / var - log(var / scatter_db2);
    return step_db < 0 ? fmax(0.5 * r, 0) : 0; /* a rise is unlike either */
}

/* Whether none is larger within 80 ms in the same stretch. */
static bool is_peak(const evidence *ev, const double *x, size_t i)
{
    size_t reach = (size_t)lround(apart_s / ev->hop_s);
    for (size_t k = i; k > 0 && i - k < reach && !isinf(ev->gap_s[k]); k--)
        if (x[k - 1] >= x[i])
            return false;
    for (size_t k = i + 1; k < ev->n && k - i <= reach && !isinf(ev->gap_s[k]); k++)
        if (x[k] > x[i])
            return false;
    return true;
}

/* Multiplies the odds by what the steps say of a flip. */
static void raise(const evidence *ev, const double *gain, double *hazard)
{
    for (size_t i = 0; i < ev->n; i++)
        if (gain[i] > 0 && is_peak(ev, gain, i)) {
            double odds = hazard[i] / (1 - hazard[i]) * exp(fmin(gain[i], most_nats));
            hazard[i] = odds / (1 + odds);
        }
}

void contact_levels_hazard(const contact_levels *l, const evidence *ev, double *up, double *down)
{
    double *step = xmalloc(l->n, sizeof *step), *gain = xmalloc(l->n, sizeof *gain);
    size_t n = 0;
    for (size_t i = 0; i < l->n; i++) {
        double frames = isinf(ev->gap_s[i]) ? 1 : fmax(1, ev->gap_s[i] / ev->hop_s);
        up[i] = down[i] = fmin(0.5, rate_s * ev->hop_s * frames);
        step[i] = beside(l, ev, i, true) - beside(l, ev, i, false);
        if (!isnan(step[i]))
            gain[n++] = fabs(step[i]);
    }
    double scatter = fmax(least_scatter_db, n ? array_median(gain, n) / 0.6745 : 0);
    for (int into_m2 = 1; into_m2 >= 0; into_m2--) {
        for (size_t i = 0; i < l->n; i++)
            gain[i] = isnan(step[i]) ? 0 : nats(into_m2 ? step[i] : -step[i], scatter * scatter);
        raise(ev, gain, into_m2 ? up : down);
    }
    free(step);
    free(gain);
}
