/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/steps.h"

#include "base/array.h"
#include "register/covariance.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double near_s = 0.020, far_s = 0.110, peak_s = 0.080;
static const double winsor_db = 6; /* differences beyond this are cut for the usual scatter */
static const double shrink = 0.3, floor_db2 = 0.05;
/* At a flip into M2 the level falls by 1.5 dB and dips by 1 dB, until four flips say otherwise. */
static const double usual_step_db = -1.5, usual_dip_db = 1, usual_counts = 4;
static const double flips_sd_db = 1.5; /* by which the level differs from flip to flip */
static const double begin_frames = 20; /* the level scatters by 1 dB, until data say otherwise */

/* What the level does at a flip up into M2: how much it steps and dips, and how these scatter where
 * there is none. */
typedef struct level_marks {
    double step_db, dip_db, step_var, dip_var;
} level_marks;

static double cut(double db)
{
    return fmax(-winsor_db, fmin(db, winsor_db));
}

static level_marks learn_levels(const evidence *ev, const double *p2)
{
    double step = usual_counts * usual_step_db, dip = usual_counts * usual_dip_db;
    double flips = usual_counts, n = begin_frames;
    level_marks marks = {.step_var = begin_frames, .dip_var = begin_frames};
    for (size_t i = 0; i < ev->n; i++) {
        double step_db = cut(ev->step_db[i]), dip_db = cut(ev->dip_db[i]);
        if (isnan(ev->step_db[i]) || isnan(ev->dip_db[i]))
            continue;
        marks.step_var += step_db * step_db;
        marks.dip_var += dip_db * dip_db;
        n++;
        if (isinf(ev->gap_s[i]))
            continue;
        double rise = p2[i] - p2[i - 1];
        step += rise * step_db;
        dip += fabs(rise) * dip_db;
        flips += fabs(rise);
    }
    marks.step_db = step / flips;
    marks.dip_db = dip / flips;
    marks.step_var /= n;
    marks.dip_var /= n;
    return marks;
}

/* Log-likelihood ratio of x about a mark, give or take what flips differ by, against x about 0. */
typedef struct ratio {
    double of_usual, of_wide, fixed;
} ratio;

static ratio ratio_of(double variance)
{
    double wide = variance + flips_sd_db * flips_sd_db;
    return (ratio){0.5 / variance, 0.5 / wide, -0.5 * log(wide / variance)};
}

static double ratio_of_one(const ratio *r, double x, double want)
{
    double y = cut(x);
    return isnan(x) ? 0 : y * y * r->of_usual - (y - want) * (y - want) * r->of_wide + r->fixed;
}

/* Sums over the frames on one side of a border between frames. */
typedef struct side {
    double sum[HARMONICS], n[HARMONICS];
} side;

/* A frame comes in (1) or goes out (-1). */
static inline void count(side *s, const evidence *ev, double (*r)[HARMONICS], size_t i, double sign)
{
    if (ev->edge_s[i] < 0)
        return;
    for (int h = 0; h < HARMONICS; h++) {
        s->sum[h] += isnan(r[i][h]) ? 0 : sign * r[i][h];
        s->n[h] += isnan(r[i][h]) ? 0 : sign;
    }
}

/* Difference of the means of both sides, the mean over the harmonics taken out: the gain is free.
 * NaN where one side has the harmonic in fewer than `least` frames. */
static inline void compare_sides(const side *before, const side *after, double least,
                                 double d[HARMONICS])
{
    double sum = 0, n = 0;
    for (int h = 0; h < HARMONICS; h++) {
        bool both = before->n[h] >= least && after->n[h] >= least;
        d[h] = both ? after->sum[h] / after->n[h] - before->sum[h] / before->n[h] : (double)NAN;
        sum += both ? d[h] : 0;
        n += both;
    }
    for (int h = 0; h < HARMONICS; h++)
        d[h] -= sum / n;
}

/* Differences across every frame of first..end - 1, one stretch, from the frames NEAR..FAR before
 * it and after it. */
EACH_PROCESSOR static void differences(const evidence *ev, double (*r)[HARMONICS], size_t first,
                                       size_t end, double (*d)[HARMONICS])
{
    size_t near = evidence_frames(ev, near_s), far = evidence_frames(ev, far_s);
    side before = {.n = {0}}, after = {.n = {0}};
    double least = (double)((far - near) / 2);
    for (size_t i = first + near; i < end && i + 1 < first + far; i++)
        count(&after, ev, r, i, 1);
    for (size_t i = first; i < end; i++) {
        if (i >= first + near + 1)
            count(&before, ev, r, i - near - 1, 1);
        if (i >= first + far + 1)
            count(&before, ev, r, i - far - 1, -1);
        if (i + far - 1 < end)
            count(&after, ev, r, i + far - 1, 1);
        if (i > first && i + near - 1 < end)
            count(&after, ev, r, i + near - 1, -1);
        compare_sides(&before, &after, fmax(least, 0.5), d[i]);
    }
}

static void usual_scatter(const evidence *ev, double (*d)[HARMONICS],
                          double c[HARMONICS][HARMONICS])
{
    covariance_sums sums = {.whole = 0};
    for (size_t i = 0; i < ev->n; i++) {
        double x[HARMONICS];
        for (int h = 0; h < HARMONICS; h++)
            x[h] = d[i][h] < -winsor_db ? -winsor_db : d[i][h] > winsor_db ? winsor_db : d[i][h];
        covariance_add(&sums, x);
    }
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b <= a; b++)
            c[a][b] = c[b][a] =
                sums.of[a][b] * (a == b ? 1 : 1 - shrink) / (sums.whole + sums.n[a][b] + 1);
    covariance_mend(&c[0][0], floor_db2);
}

/* Puts frame i's difference and the step that a flip makes, less its mean, into a lane; returns how
 * many harmonics there are. */
static double put_in(covariance_group *f, size_t lane, const model *m, double level_db,
                     const double d[HARMONICS])
{
    double n = 0, mean = 0, step[HARMONICS];
    for (int h = 0; h < HARMONICS; h++) {
        bool there = !isnan(d[h]);
        step[h] = model_step(m, h, level_db);
        n += there;
        mean += there ? step[h] : 0;
        f->there[h][lane] = there;
        f->v[h][lane] = there ? (float)d[h] : 0;
    }
    for (int h = 0; h < HARMONICS; h++)
        f->w[h][lane] = isnan(d[h]) ? 0 : (float)(step[h] - mean / n);
    return n;
}

EACH_PROCESSOR static void fill_usual(covariance_group *f, double c[HARMONICS][HARMONICS])
{
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b <= a; b++)
            f->c[a][b] = f->there[a] * f->there[b] * (float)c[a][b];
}

static harmonic_step step_of(double cross, double square, double whole, double n)
{
    if (n < 3)
        return (harmonic_step){0, 0, 0};
    double along = square > 0 ? cross * cross / square : 0;
    return (harmonic_step){cross, square, fmax(0, whole - along) / (n - 2)};
}

/* Only the peaks within `reach` frames are kept. */
static void keep_peaks(const double *raw, size_t n, size_t reach, double *out)
{
    for (size_t i = 0; i < n; i++) {
        bool peak = raw[i] > 0;
        for (size_t j = i > reach ? i - reach : 0; peak && j < n && j <= i + reach; j++)
            peak = raw[j] < raw[i] || j == i;
        out[i] = peak ? raw[i] : 0;
    }
}

void steps_of_harmonics(const model *m, const evidence *ev, double (*r)[HARMONICS],
                        harmonic_step *out)
{
    double(*d)[HARMONICS] = xmalloc(ev->n, sizeof *d), scatter[HARMONICS][HARMONICS];
    covariance_group f;
    covariance_products p;
    for (size_t i = 0, first = 0; i < ev->n; i++)
        if (i + 1 == ev->n || isinf(ev->gap_s[i + 1])) {
            differences(ev, r, first, i + 1, d);
            first = i + 1;
        }
    usual_scatter(ev, d, scatter);
    for (size_t i = 0; i < ev->n; i += LANES) {
        double n[LANES];
        for (size_t k = 0; k < LANES; k++) {
            size_t j = i + k < ev->n ? i + k : i;
            n[k] = put_in(&f, k, m, ev->level_db[j], d[j]);
        }
        fill_usual(&f, scatter);
        covariance_weigh(&f, 0, &p);
        for (size_t k = 0; k < LANES && i + k < ev->n; k++)
            out[i + k] = step_of((double)p.vw[k], (double)p.ww[k], (double)p.vv[k], n[k]);
    }
    free(d);
}

void steps_measure(const evidence *ev, const harmonic_step *steps, const double *p2, double *up,
                   double *down)
{
    double *rise = xcalloc(ev->n, sizeof *rise), *fall = xcalloc(ev->n, sizeof *fall);
    level_marks marks = learn_levels(ev, p2);
    ratio of_dip = ratio_of(marks.dip_var), of_step = ratio_of(marks.step_var);
    for (size_t i = 0; i < ev->n; i++) {
        harmonic_step s = steps[i];
        if (s.square <= 0)
            continue;
        double dip = ratio_of_one(&of_dip, ev->dip_db[i], marks.dip_db);
        rise[i] =
            s.cross - 0.5 * s.square + dip + ratio_of_one(&of_step, ev->step_db[i], marks.step_db);
        fall[i] = -s.cross - 0.5 * s.square + dip +
                  ratio_of_one(&of_step, ev->step_db[i], -marks.step_db);
    }
    keep_peaks(rise, ev->n, evidence_frames(ev, peak_s), up);
    keep_peaks(fall, ev->n, evidence_frames(ev, peak_s), down);
    free(rise);
    free(fall);
}
