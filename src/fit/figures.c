/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/figures.h"

#include "base/array.h"
#include "base/note.h"
#include "fit/average.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_statistics_double.h>

/* Below this range of level a slope would be read off the scatter. */
static const double SLOPE_RANGE_DB = 4.0;
/* A slope is told when less than this share is left of what any voice's slope may be by the prior.
 * Told only where a session adds to what all sessions tell, those would be told whose spread comes
 * out small by chance, and hold in 88 %. */
static const double TOLD_SLOPE = 0.6;
/* One flip has no spread. */
static const double FEWEST_FLIPS = 2;
/* Weight from which a flip counts as one. */
static const double DEFINITE = 0.5;

void figures_clear(figures *f)
{
    for (int row = 0; row < BOUNDARY_ROWS; row++)
        free(f->reasons[row]);
    *f = (figures){0};
}

boundary_row figures_row(flip_direction d, boundary_row up_row)
{
    return d == FLIP_UP ? up_row : (boundary_row)(up_row + BOUNDARY_DOWN_PITCH);
}

static void tell(figures *f, boundary_row row, double middle, double lo, double hi)
{
    f->rows[row] = (figure){middle, lo, hi};
}

/* Takes the reason over. */
static void refuse(figures *f, boundary_row row, char *reason)
{
    double nan = (double)NAN;
    f->reasons[row] = reason;
    f->rows[row] = (figure){nan, nan, nan};
}

static const char *way(flip_direction d)
{
    return d == FLIP_UP ? "up" : "down";
}

/* Attempts of a direction, how many flipped for sure or not, in how many takes, the farthest pitch
 * they reached, and at which levels they were. */
typedef struct tally {
    size_t attempts, flipped, flipped_takes;
    double farthest_st, lo_db, hi_db;
} tally;

static tally tally_of(const attempts *a, flip_direction d)
{
    tally out = {.farthest_st = (double)NAN, .lo_db = (double)NAN, .hi_db = (double)NAN};
    size_t last = SIZE_MAX;
    for (size_t i = 0; i < a->n; i++) {
        const attempt *t = &a->items[i];
        if (t->direction != d)
            continue;
        out.attempts++;
        out.flipped += t->flipped;
        out.flipped_takes += t->flipped && t->path != last;
        last = t->flipped ? t->path : last;
        for (size_t j = t->first; j < t->first + t->n_hull; j++) {
            out.farthest_st = d == FLIP_UP ? fmax(out.farthest_st, a->hull[j].pitch_st)
                                           : fmin(out.farthest_st, a->hull[j].pitch_st);
            out.lo_db = fmin(out.lo_db, a->hull[j].level_db);
            out.hi_db = fmax(out.hi_db, a->hull[j].level_db);
        }
    }
    return out;
}

static char *why_no_flip(const attempts *a, flip_direction d)
{
    const char *old = d == FLIP_UP ? "M1" : "M2";
    tally t = tally_of(a, d);
    char name[NOTE_NAME_SIZE];
    if (!t.attempts)
        return xformat("%s was never heard for long enough, so no flip %s", old, way(d));
    if (t.flipped)
        return xformat("no flip %s that is more likely than not", way(d));
    note_nearest(t.farthest_st, 440, name);
    return xformat("never flipped %s: %s lasted %s to %s in %zu attempt%s at %.1f to %.1f dB",
                   way(d), old, way(d), name, t.attempts, t.attempts == 1 ? "" : "s", t.lo_db + 0.0,
                   t.hi_db + 0.0);
}

static void add_pitch(figures *f, const estimate *e, flip_direction d)
{
    double c[MAXIMUM_PARAMETERS], lo, hi;
    boundary_row row = figures_row(d, BOUNDARY_UP_PITCH);
    estimate_contrast(e, d, 0, c);
    double middle = e->fit.top.theta[likelihood_b0(&e->likelihood, e->group[d])];
    double error = sqrt(fitted_variance(&e->fit, c));
    if (!interval_profile(&e->fit, c, interval_cuts(interval_freedom(&e->fit, c)), &lo, &hi)) {
        refuse(f, row, xformat("pitch not determined: its interval has no end"));
        return;
    }
    tell(f, row, middle, lo, hi);
    f->own.lo[d] = (middle - lo) / error;
    f->own.hi[d] = (hi - middle) / error;
}

static const char *one_take(const attempts *a, flip_direction d, bool shared)
{
    tally own = tally_of(a, d), other = tally_of(a, d == FLIP_UP ? FLIP_DOWN : FLIP_UP);
    size_t takes =
        shared && other.flipped_takes > own.flipped_takes ? other.flipped_takes : own.flipped_takes;
    return takes == 1 ? ", one take only" : "";
}

static void add_slope(figures *f, const estimate *e, const attempts *a, flip_direction d)
{
    double c[MAXIMUM_PARAMETERS] = {0}, lo, hi;
    boundary_row row = figures_row(d, BOUNDARY_UP_SLOPE);
    size_t at = likelihood_b(&e->likelihood, e->group[d], 0);
    bool shared = e->likelihood.shared;
    double least = shared ? fmin(e->level_lo_db[0], e->level_lo_db[1]) : e->level_lo_db[d];
    double most = shared ? fmax(e->level_hi_db[0], e->level_hi_db[1]) : e->level_hi_db[d];
    c[at] = 1;
    if (most - least < SLOPE_RANGE_DB)
        refuse(f, row,
               xformat("slope not determined: all flips within %.1f dB%s", most - least,
                       one_take(a, d, shared)));
    else if (sqrt(fitted_variance(&e->fit, c)) > TOLD_SLOPE * prior_defaults().slope_sd ||
             !interval_profile(&e->fit, c, interval_cuts(interval_freedom(&e->fit, c)), &lo, &hi))
        refuse(f, row,
               xformat("slope not determined: too few flips over %.1f dB%s", most - least,
                       one_take(a, d, shared)));
    else
        tell(f, row, e->fit.top.theta[at], lo, hi);
}

/* Told is the median of what its interval says, as often too small as too large: the likeliest is
 * a fifth low with few flips. */
static void add_spread(figures *f, const estimate *e, flip_direction d)
{
    double c[MAXIMUM_PARAMETERS] = {0}, lo, hi;
    boundary_row row = figures_row(d, BOUNDARY_UP_SPREAD);
    size_t at = likelihood_log_s(&e->likelihood, e->group[d]);
    cuts cut = interval_cuts_spread(&e->fit, at);
    c[at] = 1;
    if (e->flips[d] < FEWEST_FLIPS || !interval_profile(&e->fit, c, cut, &lo, &hi))
        refuse(f, row, xformat("spread not determined: too few flips %s", way(d)));
    else
        tell(f, row, exp(interval_median(e->fit.top.theta[at], lo, hi, cut)), exp(lo), exp(hi));
}

static void add_direction(figures *f, const estimate *e, const attempts *a, flip_direction d)
{
    if (e->fitted[d] && e->fit.settled) {
        add_pitch(f, e, d);
        add_slope(f, e, a, d);
        add_spread(f, e, d);
        return;
    }
    for (int row = BOUNDARY_UP_PITCH; row <= BOUNDARY_UP_SPREAD; row++)
        refuse(f, figures_row(d, (boundary_row)row),
               e->fitted[d]
                   ? xformat("the fit did not settle (stop reason %d)", (int)e->fit.top.stop)
                   : why_no_flip(a, d));
}

static void add_hysteresis(figures *f, const estimate *e)
{
    double c[MAXIMUM_PARAMETERS], down[MAXIMUM_PARAMETERS], lo, hi;
    const char *no_up = f->reasons[BOUNDARY_UP_PITCH], *no_down = f->reasons[BOUNDARY_DOWN_PITCH];
    if (no_up || no_down) {
        refuse(f, BOUNDARY_HYSTERESIS, xstrdup(no_up ? no_up : no_down));
        return;
    }
    estimate_contrast(e, FLIP_UP, 0, c);
    estimate_contrast(e, FLIP_DOWN, 0, down);
    for (size_t i = 0; i < e->fit.f.n; i++)
        c[i] -= down[i];
    if (interval_profile(&e->fit, c, interval_cuts(interval_freedom(&e->fit, c)), &lo, &hi))
        tell(f, BOUNDARY_HYSTERESIS,
             f->rows[BOUNDARY_UP_PITCH].estimate - f->rows[BOUNDARY_DOWN_PITCH].estimate, lo, hi);
    else
        refuse(f, BOUNDARY_HYSTERESIS,
               xformat("hysteresis not determined: its interval has no end"));
}

/* Mean step of the flips that count, with Student's t. */
static void add_leap(figures *f, const estimate *e, const attempts *a, flip_direction d)
{
    double *leap = xmalloc(a->n, sizeof *leap);
    boundary_row row = d == FLIP_UP ? BOUNDARY_UP_LEAP : BOUNDARY_DOWN_LEAP;
    size_t n = 0;
    for (size_t i = 0; i < a->n; i++) {
        const attempt *t = &a->items[i];
        bool counts = t->flipped && t->weight >= DEFINITE && e->real[i] >= DEFINITE;
        if (counts && t->direction == d && isfinite(t->pitch_after_st))
            leap[n++] = t->pitch_after_st - t->before.pitch_st;
    }
    if (n < 2) {
        refuse(f, row,
               xformat("leap not determined: %s flip %s with both registers heard long enough",
                       n ? "one" : "no", way(d)));
    } else {
        double mean = gsl_stats_mean(leap, 1, n);
        double half =
            gsl_cdf_tdist_Pinv(0.975, (double)n - 1) * gsl_stats_sd(leap, 1, n) / sqrt((double)n);
        tell(f, row, mean, mean - half, mean + half);
    }
    free(leap);
}

static figure curve_of(const estimate *e)
{
    double c[MAXIMUM_PARAMETERS] = {0};
    figure f = {(double)NAN, (double)NAN, (double)NAN};
    if (e->likelihood.n_x < 2 || !e->fit.settled)
        return f;
    size_t at = likelihood_b(&e->likelihood, 0, 1);
    c[at] = 1;
    f.estimate = e->fit.top.theta[at];
    if (!interval_profile(&e->fit, c, interval_cuts(interval_freedom(&e->fit, c)), &f.lo95,
                          &f.hi95))
        f.lo95 = f.hi95 = (double)NAN;
    return f;
}

static figures told_by(const estimate *e, const attempts *a)
{
    const double nan = (double)NAN;
    figures f = {.done = true, .curve = curve_of(e), .own = {{nan, nan}, {nan, nan}}};
    add_direction(&f, e, a, FLIP_UP);
    add_direction(&f, e, a, FLIP_DOWN);
    add_hysteresis(&f, e);
    return f;
}

/* How probable the estimate itself is, as straight or curved as it is. */
static double weight_of(const estimate *e)
{
    return fmax(e->curved, 1 - e->curved);
}

figures figures_of(const estimate *e, const attempts *a)
{
    figures f = told_by(e, a);
    if (e->other) {
        figures other = told_by(e->other, a);
        for (int row = 0; row <= BOUNDARY_HYSTERESIS; row++)
            if (!f.reasons[row])
                f.rows[row] = figure_average(weight_of(e), f.rows[row], other.rows[row]);
        f.other = other.own;
        figures_clear(&other);
    }
    add_leap(&f, e, a, FLIP_UP);
    add_leap(&f, e, a, FLIP_DOWN);
    return f;
}

static figure pitch_by(const estimate *e, const ratios *r, flip_direction d, double x)
{
    double c[MAXIMUM_PARAMETERS], pitch = estimate_pitch(e, d, x);
    estimate_contrast(e, d, x, c);
    double error = sqrt(fitted_variance(&e->fit, c));
    if (isnan(r->lo[d]))
        pitch = (double)NAN;
    return (figure){pitch, pitch - r->lo[d] * error, pitch + r->hi[d] * error};
}

figure figures_pitch(const figures *f, const estimate *e, flip_direction d, double level_less_at_db)
{
    const figure *told = &f->rows[figures_row(d, BOUNDARY_UP_PITCH)];
    if (isnan(told->estimate))
        return *told;
    figure own = pitch_by(e, &f->own, d, level_less_at_db);
    if (!e->other)
        return own;
    return figure_average(weight_of(e), own, pitch_by(e->other, &f->other, d, level_less_at_db));
}
