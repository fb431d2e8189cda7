/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/hazard.h"

#include <math.h>

static const double nearest_s = 0.03;
static const double counted_st = 1, expected = 2; /* leaps; flips and others before any is seen */
static const double about_s = 0.08;
static const double stated = 0.5; /* where a flip is known to be about here */

hazard_settings hazard_defaults(void)
{
    return (hazard_settings){.rate = 0.1,
                             .leap_gain = 3,
                             .leap_free_st = 0.5,
                             .leap_most = 20,
                             .leap_even = 9,
                             .leap_alike = 3,
                             .trip_gain = 6,
                             .trip_most = 20,
                             .slide_full = 2,
                             .sudden_lo = 0.5,
                             .sudden_hi = 0.85,
                             .slow_share = 0.15,
                             .against = 0.3,
                             .before = 0.5,
                             .step_gain = 1,
                             .step_most = 6};
}

/* How far the register goes the way of the leap at frame i within 80 ms of it, 0..1. */
static double follows(const evidence *ev, const double *p2, size_t i)
{
    size_t near = evidence_frames(ev, about_s), from = i > near ? i - near : 0;
    size_t to = i + near < ev->n ? i + near : ev->n - 1;
    double way = ev->leap_st[i] > 0 ? 1 : -1, least = (double)INFINITY, most = 0;
    for (size_t k = from; k <= to; k++) {
        least = fmin(least, way * p2[k]);
        most = fmax(most, way * p2[k] - least);
    }
    return most;
}

double hazard_leap_most(const evidence *ev, const double *p2, const hazard_settings *s)
{
    double flips = expected, others = expected;
    for (size_t i = 0; i < ev->n; i++)
        if (fabs(ev->leap_st[i]) >= counted_st) {
            double flip = follows(ev, p2, i);
            flips += flip;
            others += 1 - flip;
        }
    return fmax(0, fmin(s->leap_most, s->leap_even + s->leap_alike * log(flips / others)));
}

static double gain_of(double gain, double beyond, double most)
{
    return fmin(most, gain * fmax(0, beyond));
}

/* A leap that takes long is likelier a portamento than a flip, but not where the pitch slides on as
 * it did before. */
static double share_of(double sudden, double slide, const hazard_settings *s)
{
    double x = fmax((sudden - s->sudden_lo) / (s->sudden_hi - s->sudden_lo), slide / s->slide_full);
    return s->slow_share + (1 - s->slow_share) * fmax(0, fmin(x, 1));
}

/* Of a leap up (way 1) or down at frame i; one of a short trip counts whatever the others are. */
static double gain_of_leap(const evidence *ev, size_t i, double share, int way,
                           const hazard_settings *s)
{
    double beyond = way * ev->leap_st[i] - s->leap_free_st;
    return fmax(share * gain_of(s->leap_gain, beyond, s->leap_most),
                ev->trip[i] * gain_of(s->trip_gain, beyond, s->trip_most));
}

static double logistic(double x)
{
    return 1 / (1 + exp(-x));
}

/* How much likelier a leap is that may be a flip than one that may not: log odds x of a flip. */
static double nats_of(double x)
{
    return log1p(exp(x));
}

void hazard_measure(const evidence *ev, const double *up_step, const double *down_step,
                    const hazard_settings *s, double *up, double *down, double *opt_told)
{
    double usual = log(s->rate * ev->hop_s), seldom = logistic(usual);
    for (size_t i = 0; i < ev->n; i++) {
        unsigned said = ev->stated[i];
        up[i] = down[i] = said & STATED_FLIP ? stated : 0;
        if (opt_told)
            opt_told[i] = 0;
        if (ev->edge_s[i] < nearest_s || said & (STATED_FLIP | STATED_SAME))
            continue;
        double frames = isinf(ev->gap_s[i]) ? 1 : ev->gap_s[i] / ev->hop_s;
        bool goes_on = frames < 1 + 1e-6;
        if (goes_on && ev->leap_st[i] == 0 && up_step[i] <= 0 && down_step[i] <= 0) {
            up[i] = down[i] = seldom;
            continue;
        }
        double base = goes_on ? usual : usual + log(frames);
        double share = share_of(ev->sudden[i], ev->slide[i], s);
        double rise = gain_of_leap(ev, i, share, 1, s), fall = gain_of_leap(ev, i, share, -1, s);
        double goes_up = base + rise + s->against * fall;
        double goes_down = base + fall + s->against * rise;
        up[i] = logistic(goes_up + gain_of(s->step_gain, up_step[i], s->step_most));
        down[i] = logistic(goes_down + gain_of(s->step_gain, down_step[i], s->step_most));
        if (opt_told && ev->leap_st[i] != 0)
            opt_told[i] = s->before * (nats_of(goes_up) - nats_of(goes_down));
    }
}
