/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/boundary.h"

#include "base/array.h"
#include "fit/attempts.h"
#include "fit/burst.h"
#include "fit/estimate.h"
#include "fit/figures.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_statistics_double.h>

struct boundary {
    double at_db;
    attempts attempts;
    estimate *estimate;
    boundary_flip *flips;
    size_t n_flips;
    figures *figures; /* made when first asked for: much work, which a course's whole is spared */
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
    figures_clear(b->figures);
    free(b->figures);
    attempts_clear(&b->attempts);
    estimate_free(b->estimate);
    free(b->flips);
    free(b);
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
    level_pitch out = {array_median(level, m), array_median(pitch, m)};
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
                t->before.level_db,  t->pitch_after_st, t->weight, t->level_after_db};
    }
}

/* The level at which an attempt came nearest to the boundary of its direction. */
static double nearest_level(const boundary *b, const attempt *t)
{
    double best = -INFINITY, level = t->start.level_db;
    double sign = t->direction == FLIP_UP ? 1 : -1;
    if (t->flipped)
        return t->before.level_db;
    for (size_t i = t->first; i < t->first + t->n_hull; i++) {
        const level_pitch *p = &b->attempts.hull[i];
        double x = p->level_db - b->at_db, line = prior_defaults().slope * x;
        if (b->estimate->fitted[t->direction])
            line = estimate_pitch(b->estimate, t->direction, x);
        double z = sign * (p->pitch_st - line);
        if (z > best) {
            best = z;
            level = p->level_db;
        }
    }
    return level;
}

static void find_levels(boundary *b)
{
    for (int d = 0; d < 2; d++)
        b->level_lo_db[d] = b->level_hi_db[d] = (double)NAN;
    for (size_t i = 0; i < b->attempts.n; i++) {
        const attempt *t = &b->attempts.items[i];
        double level = nearest_level(b, t);
        b->level_lo_db[t->direction] = fmin(b->level_lo_db[t->direction], level);
        b->level_hi_db[t->direction] = fmax(b->level_hi_db[t->direction], level);
    }
}

bool boundary_fit(const path *paths, size_t n, const boundary_settings *s, boundary **out, err *e)
{
    if (n == 0)
        return err_set(e,
                       "No take counts for the boundary: those in which a register was named or to "
                       "be held are left out. Record slides in which the voice may flip.");
    if (!any_label(paths, n))
        return err_set(e, "No frame of %zu take%s says which register it is in: nothing to fit.", n,
                       n == 1 ? "" : "s");
    boundary *b = xcalloc(1, sizeof *b);
    b->figures = xcalloc(1, sizeof *b->figures);
    attempt_settings how = attempt_defaults();
    estimate_settings fit = estimate_defaults();
    fit.opt_session = s->opt_session;
    level_pitch middle = voiced_median(paths, n);
    b->at_db = isnan(s->at_db) ? middle.level_db : s->at_db;
    for (size_t k = 0; k < n; k++)
        attempts_append(&b->attempts, &paths[k], k, &how);
    list_flips(b, paths);
    const estimate *like = s->like ? s->like->estimate : NULL;
    b->estimate = estimate_new(&b->attempts, b->at_db, middle.pitch_st, like, &fit);
    if (burst_join(&b->attempts, b->estimate->real)) {
        estimate_free(b->estimate);
        b->estimate = estimate_new(&b->attempts, b->at_db, middle.pitch_st, like, &fit);
    }
    find_levels(b);
    *out = b;
    return true;
}

static const figures *told(const boundary *b)
{
    if (!b->figures->done)
        *b->figures = figures_of(b->estimate, &b->attempts);
    return b->figures;
}

double boundary_at_db(const boundary *b)
{
    return b->at_db;
}

figure boundary_figure(const boundary *b, boundary_row row)
{
    return told(b)->rows[row];
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
    return told(b)->reasons[row];
}

figure boundary_pitch_at(const boundary *b, flip_direction direction, double level_db)
{
    return figures_pitch(told(b), b->estimate, direction, level_db - b->at_db);
}

figure boundary_curve(const boundary *b, double *probability_or_null)
{
    if (probability_or_null)
        *probability_or_null = b->estimate->curved;
    return told(b)->curve;
}

double boundary_scatter(const boundary *b)
{
    const estimate *e = b->estimate;
    return e->likelihood.scatter ? exp(e->fit.top.theta[likelihood_scatter(&e->likelihood)])
                                 : (double)NAN;
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

double boundary_lasted(const boundary *b, flip_direction direction)
{
    double farthest = (double)NAN;
    for (size_t i = 0; i < b->attempts.n; i++) {
        const attempt *t = &b->attempts.items[i];
        if (t->direction != direction)
            continue;
        if (t->flipped)
            return (double)NAN;
        for (size_t k = t->first; k < t->first + t->n_hull; k++) {
            double st = b->attempts.hull[k].pitch_st;
            farthest = direction == FLIP_UP ? fmax(farthest, st) : fmin(farthest, st);
        }
    }
    return farthest;
}

const struct estimate *boundary_estimate(const boundary *b)
{
    return b->estimate;
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
