/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/turn.h"

#include <math.h>

/* Share of the change that is done: 0.5 at time_s, 0.1 and 0.9 a span apart. */
static double done(const turn *f, double t)
{
    double x = (t - f->time_s) / (f->span_ms / 1000);
    if (f->kind == TURN_RAMP)
        return fmin(fmax(0.5 + 0.8 * x, 0), 1);
    if (f->kind == TURN_APPROACH) /* exponential: log 9 time constants from 10 to 90 % */
        return 1 - fmin(1, 0.5 * exp(-x * log(9)));
    return 1 / (1 + exp(-2 * log(9) * x)); /* logistic */
}

double turn_weight(bool light, const turn *list, size_t n, double t)
{
    double w = light;
    for (size_t i = 0; i < n; i++)
        w += (list[i].up - w) * done(&list[i], t);
    return w < 1e-6 ? 0 : w > 1 - 1e-6 ? 1 : w;
}

double turn_away_st(const turn *list, size_t n, double t)
{
    double away = 0;
    for (size_t i = 0; i < n; i++) {
        const turn *f = &list[i];
        double since = t - f->time_s - f->span_ms / 2000;
        double back = since - f->back_after_s;
        double stays = back > 0 ? 1 - f->back * (1 - exp(-back / f->back_tau_s)) : 1;
        double bump = since > 0 ? since / f->over_s * exp(1 - since / f->over_s) : 0;
        double leap = f->to_st - f->from_st;
        away += (f->to_st * stays - away) * done(f, t) + leap * f->over * bump;
    }
    return away;
}

double turn_dip_db(const turn *list, size_t n, double t)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        double width = fmax(list[i].span_ms / 2000, 0.008);
        sum += list[i].dip_db / (1 + pow((t - list[i].time_s) / width, 4));
    }
    return sum;
}
