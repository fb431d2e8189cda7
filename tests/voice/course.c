/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/course.h"

#include <math.h>

double course_smooth(double x)
{
    return x <= 0 ? 0 : x >= 1 ? 1 : 0.5 - 0.5 * cos(M_PI * x);
}

double course_within(double t, double from_s, double to_s, double edge_s)
{
    return course_smooth((t - from_s) / edge_s) * course_smooth((to_s - t) / edge_s);
}

/* Share of the change that is done; a raised cosine has 59 % of its length between 10 and 90 %. */
static double done(const sung_flip *f, double t)
{
    double length = f->span_ms / 1000 / (1 - 2 * acos(0.8) / M_PI);
    return course_smooth(0.5 + (t - f->time_s) / length);
}

double course_weight(int first, const sung_flip *list, size_t n, double t)
{
    double w = first;
    for (size_t i = 0; i < n; i++)
        w += (list[i].direction == FLIP_UP ? 1 : -1) * done(&list[i], t);
    return fmin(fmax(w, 0), 1);
}

double course_displaced_st(const sung_flip *list, size_t n, double t)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        const sung_flip *f = &list[i];
        double since = t - f->time_s - f->settle_after_s;
        double back = f->settle_s > 0 ? course_smooth(since / f->settle_s) : 0;
        sum += f->leap_st * done(f, t) * (1 - back);
    }
    return sum;
}

double course_dip_db(const sung_flip *list, size_t n, double t)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        double width = fmax(list[i].span_ms / 1000 / 2, 0.012); /* sd of the dip */
        double x = (t - list[i].time_s) / width;
        sum += list[i].dip_db * exp(-x * x / 2);
    }
    return sum;
}

double course_rough(const sung_flip *list, size_t n, double rough, double t)
{
    for (size_t i = 0; i < n; i++)
        if (t > list[i].time_s && t < list[i].time_s + 0.08)
            return rough;
    return 1;
}
