/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/change.h"

#include <math.h>

#include <gsl/gsl_fit.h>
#include <gsl/gsl_statistics_double.h>

/* The change shows in the frames next to the flip that have gone this share of a leap, and this
 * far, or whose level steps or dips by so much. A logistic change that is 20 % done at d before its
 * middle is 0.4 % done at 4 d: frames up to there are left out of the line carried across. */
static const double LEAP_SHARE = 0.2, LEAP_ST = 0.5, STEP_DB = 2.0, REACH = 4.0;
/* Stretches, beyond the longest reach, whose lines say what would have been without the change. */
static const double CLEAR_S = 0.15;
/* The line that is carried farther than half of line_s takes in more than a period of vibrato on
 * the old side; on the new one less, since after a leap the pitch bends back. */
static const double FAR_OLD_S = 0.25, FAR_NEW_S = 0.15;
/* Across an unvoiced stretch: the fastest slide and swell that are carried on. */
static const double FASTEST_ST_PER_S = 20.0, FASTEST_DB_PER_S = 60.0;

/* One quantity of one side, as a straight line in the time from the middle. */
typedef struct line {
    size_t n;
    double at, rate;
} line;

enum { LINE_FRAMES = 256 };

static double quantity(const frame *f, bool of_level)
{
    return of_level ? f->level_db : f->pitch_st;
}

/* Least squares through the frames of r whose distance from the middle lies in [near, far], but
 * through four of them at least; the mean of fewer than three. */
static line line_fit(const frames *f, const run *r, bool of_level, double middle_s, double near,
                     double far, size_t least)
{
    double t[LINE_FRAMES], y[LINE_FRAMES], c00, c01, c11, sum;
    line l = {0};
    bool before = f->items[r->first].time_s < middle_s;
    for (size_t i = 0; i < r->n && l.n < LINE_FRAMES; i++) {
        const frame *now = &f->items[before ? r->first + r->n - 1 - i : r->first + i];
        double distance = fabs(now->time_s - middle_s);
        if (distance > far + 1e-9 && l.n >= least)
            break;
        if (distance < near - 1e-9)
            continue;
        t[l.n] = now->time_s - middle_s;
        y[l.n++] = quantity(now, of_level);
    }
    if (l.n >= 3)
        gsl_fit_linear(t, 1, y, 1, l.n, &l.at, &l.rate, &c00, &c01, &c11, &sum);
    else
        l.at = l.n ? gsl_stats_mean(y, 1, l.n) : (double)NAN;
    return l;
}

static bool in_change(double gone, double step, bool of_level)
{
    return of_level ? fabs(gone) > STEP_DB : fabs(gone) > LEAP_ST && gone / step > LEAP_SHARE;
}

/* How far from the middle, in seconds, the change shows on this side; 0 where it does not. */
static double reach_of(const frames *f, const run *r, bool of_level, double middle_s,
                       const line *clear, double step, double most)
{
    double reach = 0;
    bool before = f->items[r->first].time_s < middle_s;
    for (size_t i = 0; i < r->n; i++) {
        const frame *now = &f->items[before ? r->first + r->n - 1 - i : r->first + i];
        double t = now->time_s - middle_s;
        double gone = quantity(now, of_level) - clear->at - clear->rate * t;
        if (fabs(t) > most || !in_change(gone, step, of_level))
            break;
        reach = fmin(REACH * fabs(t), most);
    }
    return reach;
}

/* Raises the sides' reach to where the change shows in one quantity. */
static void raise_reach(const frames *f, const run *runs[2], bool of_level, double middle_s,
                        double most, double reach[2])
{
    line clear[2];
    for (int k = 0; k < 2; k++)
        clear[k] = line_fit(f, runs[k], of_level, middle_s, most, most + CLEAR_S, 0);
    if (clear[0].n < 3 || clear[1].n < 3)
        return;
    double step = clear[1].at - clear[0].at;
    for (int k = 0; k < 2; k++)
        reach[k] = fmax(
            reach[k], reach_of(f, runs[k], of_level, middle_s, &clear[k], k ? -step : step, most));
}

static double within(double x, double most)
{
    return fmax(-most, fmin(most, x));
}

/* Lines from beyond the reach of the change. */
static side side_of(const frames *f, const run *r, double middle_s, double half_gap_s,
                    double reach_s, double far_s, const attempt_settings *s)
{
    double from = fmax(reach_s, half_gap_s);
    double length = from > 0.5 * s->line_s ? far_s : s->line_s;
    line pitch = line_fit(f, r, false, middle_s, reach_s, from + length, 4);
    line level = line_fit(f, r, true, middle_s, reach_s, from + s->level_s, 4);
    return (side){{level.at, pitch.at}, {level.rate, pitch.rate}, reach_s, pitch.n};
}

change change_between(const frames *f, const run *old, const run *new, const attempt_settings *s)
{
    const run *runs[2] = {old, new};
    change c = {.last_s = f->items[old->first + old->n - 1].time_s,
                .first_s = f->items[new->first].time_s};
    double half_gap = 0.5 * (c.first_s - c.last_s), reach[2] = {0};
    c.middle_s = c.last_s + half_gap;
    raise_reach(f, runs, false, c.middle_s, s->leap_s + half_gap, reach);
    raise_reach(f, runs, true, c.middle_s, s->leap_s + half_gap, reach);
    c.old = side_of(f, old, c.middle_s, half_gap, reach[0], FAR_OLD_S, s);
    c.new = side_of(f, new, c.middle_s, half_gap, reach[1], FAR_NEW_S, s);
    if (half_gap > 0.5 * s->line_s + f->step_s) {
        level_pitch last = change_at(&c, &c.old, c.last_s), *rate = &c.old.rate;
        rate->pitch_st = within(rate->pitch_st, FASTEST_ST_PER_S);
        rate->level_db = within(rate->level_db, FASTEST_DB_PER_S);
        c.old.at.pitch_st = last.pitch_st + half_gap * rate->pitch_st;
        c.old.at.level_db = last.level_db + half_gap * rate->level_db;
    }
    return c;
}

level_pitch change_at(const change *c, const side *of, double time_s)
{
    double t = time_s - c->middle_s;
    return (level_pitch){of->at.level_db + t * of->rate.level_db,
                         of->at.pitch_st + t * of->rate.pitch_st};
}
