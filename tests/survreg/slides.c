/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The boundary's likelihood where it is censored normal regression: slides at constant level, one
 * attempt a take, truncation, contamination, offset and prior off. Writes the attempts as
 * intervals for another program to fit, with this one's own answer.
 *
 *   slides FOLDER     writes FOLDER/attempts.csv and FOLDER/answers.csv */
#include "base/array.h"
#include "fit/attempts.h"
#include "fit/interval.h"
#include "voice/simpath.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include <gsl/gsl_randist.h>

enum { SEED = 30, FITS = 12, MOST_TAKES = 48 };

/* Takes of one direction and the observations they make. */
typedef struct sample {
    likelihood l;
    threshold_obs obs[MOST_TAKES];
    attempts attempts;
} sample;

static simsinger draw_singer(gsl_rng *r)
{
    double slope = gsl_ran_flat(r, -0.1, 0.4), up = gsl_ran_flat(r, 58, 70);
    return (simsinger){.at_db = 70,
                       .up_st = up,
                       .down_st = up - gsl_ran_flat(r, 0.5, 4),
                       .up_slope = slope,
                       .down_slope = slope,
                       .up_spread = gsl_ran_flat(r, 0.3, 1.2),
                       .down_spread = gsl_ran_flat(r, 0.3, 1.2)};
}

/* A slide one way at one level; a third of them stop short of the boundary or just beyond it. */
static simtake draw_slide(const simsinger *s, flip_direction d, gsl_rng *r)
{
    double level = gsl_ran_flat(r, 58, 82), sign = d == FLIP_UP ? 1 : -1;
    double at = (d == FLIP_UP ? s->up_st : s->down_st) + s->up_slope * (level - s->at_db);
    double past = gsl_rng_uniform(r) < 1.0 / 3 ? gsl_ran_flat(r, -1, 1) : 8;
    return (simtake){.kind = SIM_SLIDE,
                     .from_st = at - sign * 12,
                     .to_st = at + sign * past,
                     .from_db = level,
                     .to_db = level,
                     .seconds = 4,
                     .step_s = 0.005,
                     .one_way = true};
}

/* The first attempt of each take in this direction; points are the hull's. */
static void observe(sample *s, flip_direction d, double at_db)
{
    const attempts *a = &s->attempts;
    threshold_point *points = xmalloc(a->n_hull, sizeof *points);
    for (size_t i = 0; i < a->n_hull; i++)
        points[i] = (threshold_point){a->hull[i].pitch_st, {a->hull[i].level_db - at_db, 0}};
    s->l = (likelihood){.obs = s->obs, .points = points, .groups = 1, .n_x = 1, .shared = true};
    for (size_t i = 0, last = (size_t)-1; i < a->n; i++) {
        const attempt *t = &a->items[i];
        if (t->direction != d || t->path == last)
            continue;
        last = t->path;
        double width = fabs(t->crossing.pitch_st - a->hull[t->first].pitch_st);
        s->obs[s->l.n++] =
            (threshold_obs){.cluster = t->path,
                            .sign = d == FLIP_UP ? 1 : -1,
                            .ended = t->flipped,
                            .weight = 1,
                            .log_scale = t->flipped ? log(width) : 0,
                            .first = t->first,
                            .n_points = t->n_hull,
                            .end = {t->crossing.pitch_st, {t->crossing.level_db - at_db, 0}}};
    }
}

static double value(const void *data, const double *theta, double *opt_gradient)
{
    return likelihood_value(data, theta, opt_gradient);
}

static void write_attempts(FILE *out, int fit, const sample *s)
{
    for (size_t i = 0; i < s->l.n; i++) {
        const threshold_obs *o = &s->obs[i];
        double from = s->l.points[o->first].y;
        double to = o->ended ? o->end.y : o->sign * (double)INFINITY;
        fprintf(out, "%d,%.12g,%.12g,%.12g\n", fit, s->l.points[o->first].x[0], fmin(from, to),
                fmax(from, to));
    }
}

static bool write_answer(FILE *out, int fit, const sample *s, double start_st)
{
    fitted f = {.f = {3, value, &s->l, {0.2, 0.03, 0.2}}, .n_means = 2};
    square directions = {{{0.2}, {0, 0.03}, {0, 0, 0.2}}};
    double b0[MAXIMUM_PARAMETERS] = {1}, b1[MAXIMUM_PARAMETERS] = {0, 1};
    double log_s[MAXIMUM_PARAMETERS] = {0, 0, 1};
    f.top = maximum_find(&f.f, (double[]){start_st, 0.2, log(0.6)}, 3, &directions, 1e-7);
    fitted_settle(&f);
    fprintf(out, "%d,%.12g,%.12g,%.12g,%.12g,%.12g,%.12g,%.12g\n", fit, f.top.theta[0],
            f.top.theta[1], f.top.theta[2], sqrt(fitted_variance(&f, b0)),
            sqrt(fitted_variance(&f, b1)), sqrt(fitted_variance(&f, log_s)), f.top.value);
    return f.top.stop == MAXIMUM_FOUND;
}

static bool run_fit(int fit, gsl_rng *r, FILE *attempts_out, FILE *answers)
{
    flip_direction d = fit % 2 ? FLIP_DOWN : FLIP_UP;
    simsinger singer = draw_singer(r);
    sample s = {.l = {0}};
    attempt_settings how = attempt_defaults();
    size_t takes = 12 + 4 * ((size_t)fit % 10);
    for (size_t k = 0; k < takes; k++) {
        simtake t = draw_slide(&singer, d, r);
        path p = simpath_new(&singer, &t, "take", r);
        attempts_append(&s.attempts, &p, k, &how);
        simpath_free(&p);
    }
    observe(&s, d, singer.at_db);
    write_attempts(attempts_out, fit, &s);
    bool found = write_answer(answers, fit, &s, d == FLIP_UP ? singer.up_st : singer.down_st);
    free(s.l.points);
    attempts_clear(&s.attempts);
    return found;
}

static FILE *create(const char *folder, const char *name, const char *header)
{
    char *file = xformat("%s/%s", folder, name);
    FILE *f = fopen(file, "w");
    if (f)
        fprintf(f, "%s\n", header);
    else
        fprintf(stderr, "slides: %s cannot be written\n", file);
    free(file);
    return f;
}

int main(int argc, char **argv)
{
    if (argc != 2) {
        fputs("slides FOLDER: where the attempts and the answers go\n", stderr);
        return 2;
    }
    FILE *taken = create(argv[1], "attempts.csv", "fit,level,lo,hi");
    FILE *answers = create(argv[1], "answers.csv", "fit,b0,b1,log_s,se_b0,se_b1,se_log_s,value");
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(r, SEED);
    bool fine = taken && answers;
    for (int fit = 0; fine && fit < FITS; fit++)
        fine = run_fit(fit, r, taken, answers);
    gsl_rng_free(r);
    fine = (!taken || fclose(taken) == 0) && (!answers || fclose(answers) == 0) && fine;
    return fine ? 0 : 1;
}
