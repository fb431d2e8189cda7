/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice3/tubes.h"

#include <math.h>

#define SOUND_M_S 350.0
#define DENSITY 1.14 /* kg/m3, warm and moist */
#define WINDPIPE_M2 2.5e-4
#define LUNGS (-0.7) /* reflection */
#define LIPS (-0.96) /* at the lowest frequencies; less further up */
#define LIP_POLE 0.3 /* one-pole low-pass of that reflection */
#define LOSS 0.9986  /* of a wave in a tube: some 50 Hz of bandwidth */

tubes tubes_rest(double length_m, double windpipe_m, const double *area_cm2, size_t n,
                 double coupled)
{
    tubes t = {.coupled = coupled};
    t.n_tract = (size_t)lround(length_m * TUBES_RATE_HZ / SOUND_M_S);
    t.n_windpipe = (size_t)lround(windpipe_m * TUBES_RATE_HZ / SOUND_M_S);
    for (size_t i = 0; i < t.n_tract; i++) {
        double at = (double)i / (double)(t.n_tract - 1) * (double)(n - 1);
        size_t k = at < (double)(n - 1) ? (size_t)at : n - 2;
        double share = at - (double)k;
        t.area_m2[i] = 1e-4 * pow(area_cm2[k], 1 - share) * pow(area_cm2[k + 1], share);
    }
    return t;
}

/* The flow from what drives it and from the inertia of the waves, Bernoulli at the jet. */
static double flow_through(double jet_m2, double drive_pa, double resistance)
{
    if (jet_m2 <= 0 || drive_pa <= 0)
        return 0;
    double a = DENSITY / 2 / (jet_m2 * jet_m2);
    return 2 * drive_pa / (resistance + sqrt(resistance * resistance + 4 * a * drive_pa));
}

static double lips(tubes *t)
{
    size_t last = t->n_tract - 1;
    double in = LOSS * t->up[last];
    t->lip = LIP_POLE * t->lip + (1 - LIP_POLE) * LIPS * in;
    double flow = (in - t->lip) * t->area_m2[last] / (DENSITY * SOUND_M_S);
    double heard = (flow - t->lip_flow) * TUBES_RATE_HZ;
    t->lip_flow = flow;
    return heard;
}

static void tract_move(tubes *t, double from_folds)
{
    double up = from_folds, back = t->lip;
    for (size_t i = 0; i + 1 < t->n_tract; i++) { /* what arrives at the upper end of tube i */
        double k = (t->area_m2[i] - t->area_m2[i + 1]) / (t->area_m2[i] + t->area_m2[i + 1]);
        double in = LOSS * t->up[i], against = LOSS * t->down[i + 1];
        double w = k * (in - against);
        t->up[i] = up;
        t->down[i] = against + w;
        up = in + w;
    }
    t->up[t->n_tract - 1] = up;
    t->down[t->n_tract - 1] = back;
}

static void windpipe_move(tubes *t, double from_folds)
{
    size_t last = t->n_windpipe - 1;
    double from_lungs = LUNGS * LOSS * t->fall[last];
    for (size_t i = last; i > 0; i--)
        t->fall[i] = LOSS * t->fall[i - 1];
    t->fall[0] = from_folds;
    for (size_t i = 0; i < last; i++)
        t->rise[i] = LOSS * t->rise[i + 1];
    t->rise[last] = from_lungs;
}

tubes_air tubes_step(tubes *t, double jet_m2, double lungs_pa, double hiss_pa)
{
    double above = DENSITY * SOUND_M_S / t->area_m2[0];
    double below = DENSITY * SOUND_M_S / WINDPIPE_M2;
    double down = LOSS * t->down[0], rise = LOSS * t->rise[0], c = t->coupled;
    tubes_air a;
    a.flow_m3_s = flow_through(jet_m2, lungs_pa + 2 * c * (rise - down), c * (above + below));
    a.above_pa = c * (2 * down + above * a.flow_m3_s);
    a.below_pa = lungs_pa + c * (2 * rise - below * a.flow_m3_s);
    a.heard = lips(t);
    tract_move(t, down + above * a.flow_m3_s + hiss_pa);
    windpipe_move(t, rise - below * a.flow_m3_s);
    return a;
}
