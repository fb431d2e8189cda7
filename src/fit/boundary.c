/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/boundary.h"

#include "base/array.h"
#include "base/note.h"
#include "fit/attempts.h"
#include "fit/estimate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>

/* Below this range of level a slope would be read off the scatter. */
static const double SLOPE_RANGE_DB = 4.0;
/* A figure is told when the data leave less than this share of the prior's standard deviation. */
static const double TOLD_SLOPE = 0.5, TOLD_SPREAD = 0.75;
static const double DEFINITE = 0.5; /* weight from which a flip counts as one */

struct boundary {
    double at_db;
    attempts attempts;
    estimate *estimate;
    boundary_flip *flips;
    size_t n_flips;
    figure figures[BOUNDARY_ROWS];
    char *reasons[BOUNDARY_ROWS];
    double lo_ratio[2],
        hi_ratio[2]; /* half-widths at at_db over the standard error, by direction */
    double level_lo_db[2], level_hi_db[2];
};

static const char *const row_names[BOUNDARY_ROWS] = {"up.pitch",   "up.slope",   "up.spread",
                                                     "down.pitch", "down.slope", "down.spread",
                                                     "hysteresis", "up.leap",    "down.leap"};

boundary_settings boundary_defaults(void)
{
    return (boundary_settings){.at_db = (double)NAN};
}

void boundary_free(boundary *b)
{
    if (!b)
        return;
    for (int row = 0; row < BOUNDARY_ROWS; row++)
        free(b->reasons[row]);
    attempts_clear(&b->attempts);
    estimate_free(b->estimate);
    free(b->flips);
    free(b);
}

static void tell(boundary *b, boundary_row row, double middle, double lo, double hi)
{
    b->figures[row] = (figure){middle, lo, hi};
}

static void refuse(boundary *b, boundary_row row, char *reason)
{
    double nan = (double)NAN;
    free(b->reasons[row]);
    b->reasons[row] = reason;
    b->figures[row] = (figure){nan, nan, nan};
}

static const char *way(flip_direction d)
{
    return d == FLIP_UP ? "up" : "down";
}

static const char *old_register(flip_direction d)
{
    return d == FLIP_UP ? "M1" : "M2";
}

static boundary_row row_of(flip_direction d, boundary_row up_row)
{
    return d == FLIP_UP ? up_row : (boundary_row)(up_row + BOUNDARY_DOWN_PITCH);
}

static double median(double *values, size_t n)
{
    gsl_sort(values, 1, n);
    return n ? gsl_stats_median_from_sorted_data(values, 1, n) : (double)NAN;
}

/* Medians of level and pitch over all voiced frames that are no silence. */
static level_pitch voiced_median(const path *paths, size_t n)
{
    size_t all = 0, m = 0;
    for (size_t k = 0; k < n; k++)
        all += paths[k].n;
    double *level = xmalloc(all, sizeof *level), *pitch = xmalloc(all, sizeof *pitch);
    for (size_t k = 0; k < n; k++)
        for (size_t i = 0; i < paths[k].n; i++)
            if (isfinite(paths[k].pitch_st[i]) && isfinite(paths[k].level_db[i])) {
                level[m] = paths[k].level_db[i];
                pitch[m++] = paths[k].pitch_st[i];
            }
    level_pitch out = {median(level, m), median(pitch, m)};
    free(level);
    free(pitch);
    return out;
}

static bool any_label(const path *paths, size_t n)
{
    for (size_t k = 0; k < n; k++)
        for (size_t i = 0; i < paths[k].n; i++)
            if (paths[k].reg[i] == 1 || paths[k].reg[i] == 2)
                return true;
    return false;
}

static void list_flips(boundary *b, const path *paths)
{
    b->flips = xmalloc(b->attempts.n, sizeof *b->flips);
    for (size_t i = 0; i < b->attempts.n; i++) {
        const attempt *t = &b->attempts.items[i];
        if (t->flipped)
            b->flips[b->n_flips++] = (boundary_flip){
                paths[t->path].take, t->direction,      t->time_s, t->before.pitch_st,
                t->before.level_db,  t->pitch_after_st, t->weight};
    }
}

/* The level at which an attempt came nearest to a boundary of this slope. */
static double nearest_level(const boundary *b, const attempt *t, double slope)
{
    double best = -INFINITY, level = t->start.level_db;
    double sign = t->direction == FLIP_UP ? 1 : -1;
    if (t->flipped)
        return t->before.level_db;
    for (size_t i = t->first; i < t->first + t->n_hull; i++) {
        const level_pitch *p = &b->attempts.hull[i];
        double z = sign * (p->pitch_st - slope * p->level_db);
        if (z > best) {
            best = z;
            level = p->level_db;
        }
    }
    return level;
}

static double slope_of(const estimate *e, flip_direction d)
{
    return e->fitted[d] ? e->fit.top.theta[likelihood_b(&e->likelihood, e->group[d], 0)]
                        : prior_defaults().slope;
}

static void find_levels(boundary *b)
{
    for (int d = 0; d < 2; d++)
        b->level_lo_db[d] = b->level_hi_db[d] = (double)NAN;
    for (size_t i = 0; i < b->attempts.n; i++) {
        const attempt *t = &b->attempts.items[i];
        double level = nearest_level(b, t, slope_of(b->estimate, t->direction));
        b->level_lo_db[t->direction] = fmin(b->level_lo_db[t->direction], level);
        b->level_hi_db[t->direction] = fmax(b->level_hi_db[t->direction], level);
    }
}

static char *why_no_flip(const boundary *b, flip_direction d)
{
    size_t n, censored;
    double far = (double)NAN, sign = d == FLIP_UP ? 1 : -1;
    char name[NOTE_NAME_SIZE];
    boundary_attempts(b, d, &n, &censored);
    for (size_t i = 0; i < b->attempts.n; i++) {
        const attempt *t = &b->attempts.items[i];
        for (size_t j = t->first; t->direction == d && j < t->first + t->n_hull; j++)
            far = sign * fmax(sign * far, sign * b->attempts.hull[j].pitch_st);
    }
    if (!n)
        return xformat("%s was never heard, so no flip %s", old_register(d), way(d));
    note_nearest(far, 440, name);
    return n > censored ? xformat("no flip %s that is more likely than not", way(d))
                        : xformat("never flipped %s: %s lasted %s to %s in %zu attempt%s", way(d),
                                  old_register(d), way(d), name, n, n == 1 ? "" : "s");
}

static void add_pitch(boundary *b, flip_direction d)
{
    const estimate *e = b->estimate;
    double c[MAXIMUM_PARAMETERS], lo, hi;
    boundary_row row = row_of(d, BOUNDARY_UP_PITCH);
    size_t at = likelihood_b0(&e->likelihood, e->group[d]);
    estimate_contrast(e, d, 0, c);
    double nu = interval_freedom(&e->fit, c, likelihood_log_s(&e->likelihood, 0));
    double middle = e->fit.top.theta[at], error = sqrt(fitted_variance(&e->fit, c));
    if (!interval_profile(&e->fit, c, interval_cut(nu), &lo, &hi)) {
        refuse(b, row, xformat("pitch not determined: its interval has no end"));
        return;
    }
    tell(b, row, middle, lo, hi);
    b->lo_ratio[d] = (middle - lo) / error;
    b->hi_ratio[d] = (hi - middle) / error;
}

static void add_slope(boundary *b, flip_direction d)
{
    const estimate *e = b->estimate;
    double c[MAXIMUM_PARAMETERS] = {0}, lo, hi;
    boundary_row row = row_of(d, BOUNDARY_UP_SLOPE);
    size_t at = likelihood_b(&e->likelihood, e->group[d], 0);
    bool shared = e->likelihood.shared;
    double least = shared ? fmin(e->level_lo_db[0], e->level_lo_db[1]) : e->level_lo_db[d];
    double most = shared ? fmax(e->level_hi_db[0], e->level_hi_db[1]) : e->level_hi_db[d];
    c[at] = 1;
    if (most - least < SLOPE_RANGE_DB) {
        refuse(b, row, xformat("slope not determined: all flips within %.1f dB", most - least));
        return;
    }
    double nu = interval_freedom(&e->fit, c, likelihood_log_s(&e->likelihood, 0));
    if (sqrt(fitted_variance(&e->fit, c)) > TOLD_SLOPE * e->prior.slope_sd ||
        !interval_profile(&e->fit, c, interval_cut(nu), &lo, &hi))
        refuse(b, row, xformat("slope not determined: too few flips over %.1f dB", most - least));
    else
        tell(b, row, e->fit.top.theta[at], lo, hi);
}

static void add_spread(boundary *b, flip_direction d)
{
    const estimate *e = b->estimate;
    double c[MAXIMUM_PARAMETERS] = {0}, lo, hi;
    boundary_row row = row_of(d, BOUNDARY_UP_SPREAD);
    size_t at = likelihood_log_s(&e->likelihood, e->group[d]);
    c[at] = 1;
    double variance = fitted_variance(&e->fit, c);
    if (sqrt(variance) > TOLD_SPREAD * e->prior.spread_sd ||
        !interval_profile(&e->fit, c, interval_cut_spread(0.5 / variance), &lo, &hi))
        refuse(b, row, xformat("spread not determined: too few flips %s", way(d)));
    else
        tell(b, row, exp(e->fit.top.theta[at]), exp(lo), exp(hi));
}

static void add_direction(boundary *b, flip_direction d)
{
    const estimate *e = b->estimate;
    if (e->fitted[d] && e->fit.settled) {
        add_pitch(b, d);
        add_slope(b, d);
        add_spread(b, d);
        return;
    }
    for (int row = BOUNDARY_UP_PITCH; row <= BOUNDARY_UP_SPREAD; row++)
        refuse(b, row_of(d, (boundary_row)row),
               e->fitted[d] ? xformat("the fit did not settle (stop reason %d)", e->fit.top.stop)
                            : why_no_flip(b, d));
}

static void add_hysteresis(boundary *b)
{
    const estimate *e = b->estimate;
    double c[MAXIMUM_PARAMETERS], down[MAXIMUM_PARAMETERS], lo, hi;
    for (int d = 0; d < 2; d++) {
        const char *reason = b->reasons[row_of((flip_direction)d, BOUNDARY_UP_PITCH)];
        if (reason) {
            refuse(b, BOUNDARY_HYSTERESIS, xstrdup(reason));
            return;
        }
    }
    estimate_contrast(e, FLIP_UP, 0, c);
    estimate_contrast(e, FLIP_DOWN, 0, down);
    for (size_t i = 0; i < e->fit.f.n; i++)
        c[i] -= down[i];
    double nu = interval_freedom(&e->fit, c, likelihood_log_s(&e->likelihood, 0));
    double middle =
        b->figures[BOUNDARY_UP_PITCH].estimate - b->figures[BOUNDARY_DOWN_PITCH].estimate;
    if (interval_profile(&e->fit, c, interval_cut(nu), &lo, &hi))
        tell(b, BOUNDARY_HYSTERESIS, middle, lo, hi);
    else
        refuse(b, BOUNDARY_HYSTERESIS,
               xformat("hysteresis not determined: its interval has no end"));
}

/* Mean step with Student's t. */
static void add_leap(boundary *b, flip_direction d)
{
    double *leap = xmalloc(b->n_flips, sizeof *leap);
    boundary_row row = d == FLIP_UP ? BOUNDARY_UP_LEAP : BOUNDARY_DOWN_LEAP;
    size_t n = 0;
    for (size_t i = 0; i < b->n_flips; i++) {
        const boundary_flip *f = &b->flips[i];
        if (f->direction == d && f->weight >= DEFINITE && isfinite(f->pitch_after_st))
            leap[n++] = f->pitch_after_st - f->pitch_st;
    }
    if (n < 2) {
        refuse(b, row,
               xformat("leap not determined: %s flip %s with both registers heard",
                       n ? "one" : "no", way(d)));
    } else {
        double mean = gsl_stats_mean(leap, 1, n);
        double half =
            gsl_cdf_tdist_Pinv(0.975, (double)n - 1) * gsl_stats_sd(leap, 1, n) / sqrt((double)n);
        tell(b, row, mean, mean - half, mean + half);
    }
    free(leap);
}

bool boundary_fit(const path *paths, size_t n, const boundary_settings *s, boundary **out, err *e)
{
    if (!any_label(paths, n))
        return err_set(e, "No frame of %zu take%s says which register it is in: nothing to fit.", n,
                       n == 1 ? "" : "s");
    boundary *b = xcalloc(1, sizeof *b);
    attempt_settings how = attempt_defaults();
    estimate_settings fit = estimate_defaults();
    level_pitch middle = voiced_median(paths, n);
    b->at_db = isnan(s->at_db) ? middle.level_db : s->at_db;
    for (size_t k = 0; k < n; k++)
        attempts_append(&b->attempts, &paths[k], k, &how);
    list_flips(b, paths);
    b->estimate = estimate_new(&b->attempts, b->at_db, middle.pitch_st, &fit);
    find_levels(b);
    add_direction(b, FLIP_UP);
    add_direction(b, FLIP_DOWN);
    add_hysteresis(b);
    add_leap(b, FLIP_UP);
    add_leap(b, FLIP_DOWN);
    *out = b;
    return true;
}

double boundary_at_db(const boundary *b)
{
    return b->at_db;
}

figure boundary_figure(const boundary *b, boundary_row row)
{
    return b->figures[row];
}

const char *boundary_row_name(boundary_row row)
{
    return row_names[row];
}

const char *boundary_row_unit(boundary_row row)
{
    return row == BOUNDARY_UP_SLOPE || row == BOUNDARY_DOWN_SLOPE ? "st/dB" : "st";
}

const char *boundary_reason(const boundary *b, boundary_row row)
{
    return b->reasons[row];
}

figure boundary_pitch_at(const boundary *b, flip_direction direction, double level_db)
{
    const figure *told = &b->figures[row_of(direction, BOUNDARY_UP_PITCH)];
    if (isnan(told->estimate))
        return *told;
    double c[MAXIMUM_PARAMETERS], x = level_db - b->at_db;
    estimate_contrast(b->estimate, direction, x, c);
    double error = sqrt(fitted_variance(&b->estimate->fit, c));
    double pitch = told->estimate + slope_of(b->estimate, direction) * x;
    return (figure){pitch, pitch - b->lo_ratio[direction] * error,
                    pitch + b->hi_ratio[direction] * error};
}

bool boundary_levels(const boundary *b, flip_direction direction, double *lo_db, double *hi_db)
{
    *lo_db = b->level_lo_db[direction];
    *hi_db = b->level_hi_db[direction];
    return isfinite(*lo_db);
}

size_t boundary_flips(const boundary *b, const boundary_flip **items)
{
    *items = b->flips;
    return b->n_flips;
}

void boundary_attempts(const boundary *b, flip_direction direction, size_t *n, size_t *censored)
{
    *n = *censored = 0;
    for (size_t i = 0; i < b->attempts.n; i++)
        if (b->attempts.items[i].direction == direction) {
            ++*n;
            *censored += !b->attempts.items[i].flipped;
        }
}
