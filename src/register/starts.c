/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/starts.h"

#include "base/array.h"
#include "register/regress.h"
#include "register/steps.h"

#include <gsl/gsl_statistics.h>
#include <math.h>
#include <stdlib.h>

static const double slope = 0.15; /* semitones a dB: louder, the flip comes higher */
static const double gap_st = 2;   /* between the lines going up and coming down */

void start_by_pitch(const evidence *ev, double share, double *p2)
{
    double *height = xmalloc(ev->n, sizeof *height), *sorted = xmalloc(ev->n, sizeof *sorted);
    for (size_t i = 0; i < ev->n; i++)
        sorted[i] = height[i] = ev->pitch_st[i] - slope * ev->level_db[i];
    double line = gsl_stats_select(sorted, 1, ev->n, (size_t)(share * (double)(ev->n - 1)));
    bool m2 = false;
    for (size_t i = 0; i < ev->n; i++) {
        double at = isinf(ev->gap_s[i]) ? 0 : (m2 ? -gap_st : gap_st) / 2;
        m2 = height[i] > line + at;
        double sure = fmin(1, fabs(height[i] - line) / 3);
        p2[i] = m2 ? 0.7 + 0.25 * sure : 0.3 - 0.25 * sure;
    }
    free(height);
    free(sorted);
}

/* The chain by what the frames say, and by steps up and down. */
static void run(const evidence *ev, const place *where, const saying *says, const double *up_step,
                const double *down_step, const chain_settings *c, const hazard_settings *h,
                double *p2)
{
    double *odds = xmalloc(ev->n, sizeof *odds);
    double *up = xmalloc(ev->n, sizeof *up), *down = xmalloc(ev->n, sizeof *down);
    double *told = xmalloc(ev->n, sizeof *told);
    place_measure(ev, where, odds);
    hazard_measure(ev, up_step, down_step, h, up, down, told);
    chain_inputs in = {says, up, down, odds, told};
    chain_run(ev, &in, c, p2, NULL);
    free(told);
    free(down);
    free(up);
    free(odds);
}

void start_by_leaps(const evidence *ev, double share, const chain_settings *c,
                    const hazard_settings *h, double *p2)
{
    saying *nothing = xcalloc(ev->n, sizeof *nothing);
    double *no_step = array_filled(ev->n, 0);
    start_by_pitch(ev, share, p2);
    place where = place_fit(ev, p2, NULL);
    run(ev, &where, nothing, no_step, no_step, c, h, p2);
    free(no_step);
    free(nothing);
}

void start_by_known(const evidence *ev, const known *k, const chain_settings *c,
                    const hazard_settings *h, double *p2)
{
    saying *says = xmalloc(ev->n, sizeof *says);
    double *up_step = xmalloc(ev->n, sizeof *up_step);
    double *down_step = xmalloc(ev->n, sizeof *down_step), *open = array_filled(ev->n, 0.5);
    float(*r)[HARMONICS] = xmalloc(ev->n, sizeof *r);
    harmonic_step *steps = xmalloc(ev->n, sizeof *steps);
    regress_apply(ev, &k->m, NULL, r);
    model_emissions(&k->m, ev, r, says);
    steps_of_harmonics(&k->m, ev, r, steps);
    steps_measure(ev, steps, open, up_step, down_step);
    run(ev, &k->where, says, up_step, down_step, c, h, p2);
    free(steps);
    free(r);
    free(open);
    free(down_step);
    free(up_step);
    free(says);
}

evidence evidence_part(const evidence *ev, size_t lo, size_t hi)
{
    evidence part = {.n = hi - lo,
                     .hop_s = ev->hop_s,
                     .take = ev->take + lo,
                     .frame = ev->frame + lo,
                     .gap_s = ev->gap_s + lo,
                     .before = xmalloc(hi - lo, sizeof *part.before),
                     .edge_s = ev->edge_s + lo,
                     .pitch_st = ev->pitch_st + lo,
                     .hz = ev->hz + lo,
                     .level_db = ev->level_db + lo,
                     .y_db = ev->y_db + lo,
                     .var = ev->var + lo,
                     .warp = ev->warp + lo,
                     .leap_st = ev->leap_st + lo,
                     .sudden = ev->sudden + lo,
                     .kink = ev->kink + lo,
                     .trip = ev->trip + lo,
                     .slide = ev->slide + lo,
                     .dip_db = ev->dip_db + lo,
                     .step_db = ev->step_db + lo,
                     .pitch_break = ev->pitch_break + lo,
                     .level_break = ev->level_break + lo,
                     .declared = ev->declared + lo,
                     .stated = ev->stated + lo};
    for (size_t i = lo; i < hi; i++)
        part.before[i - lo] = ev->before[i] == EVIDENCE_NONE ? EVIDENCE_NONE : ev->before[i] - lo;
    return part;
}
