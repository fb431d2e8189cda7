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
    return db < -winsor_db ? -winsor_db : db > winsor_db ? winsor_db : db;
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

enum { HALVES = HARMONICS / LANES };

/* Sums over the frames on one side of a border between frames. */
typedef struct side {
    lanes sum[HALVES], n[HALVES];
} side;

/* A frame comes in (1) or goes out (-1). */
EACH_PART void count(side *s, const evidence *ev, float (*r)[HARMONICS], size_t i, float sign)
{
    if (ev->edge_s[i] < 0)
        return;
    for (int k = 0; k < HALVES; k++) {
        lanes x = lanes_load(r[i] + k * LANES);
        lane_bits is = x < INFINITY;
        s->sum[k] += sign * lanes_where(is, x);
        s->n[k] += lanes_where(is, sign + (lanes){0});
    }
}

/* Difference of the means of both sides, the mean over the harmonics taken out: the gain is free.
 * NaN where one side has the harmonic in fewer than `least` frames. */
EACH_PART void compare_sides(const side *before, const side *after, float least, float d[HARMONICS])
{
    lanes all[HALVES], x[HALVES], one = 1 + (lanes){0};
    lane_bits both[HALVES];
    for (int k = 0; k < HALVES; k++) {
        both[k] = (before->n[k] >= least) & (after->n[k] >= least);
        all[k] = lanes_where(both[k], one);
        x[k] = lanes_where(both[k], after->sum[k] / after->n[k] - before->sum[k] / before->n[k]);
    }
    lanes mean = lanes_sum(x[0] + x[1]) / lanes_sum(all[0] + all[1]);
    for (int k = 0; k < HALVES; k++)
        lanes_store(d + k * LANES, (lanes)((lane_bits)(x[k] - mean) | ~both[k]));
}

/* Differences across every frame of first..end - 1, one stretch, from the frames NEAR..FAR before
 * it and after it. */
EACH_PROCESSOR static void differences(const evidence *ev, float (*r)[HARMONICS], size_t first,
                                       size_t end, float (*d)[HARMONICS])
{
    size_t near = evidence_frames(ev, near_s), far = evidence_frames(ev, far_s);
    side before = {.n = {{0}}}, after = {.n = {{0}}};
    float least = fmaxf((float)((far - near) / 2), 0.5F);
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
        compare_sides(&before, &after, least, d[i]);
    }
}

/* x beyond what is usual is cut; NaN stays. */
EACH_PART void cut_to_usual(const float d[HARMONICS], float x[HARMONICS])
{
    const lanes most = (float)winsor_db + (lanes){0};
    for (int h = 0; h < HARMONICS; h += LANES) {
        lanes v = lanes_load(d + h);
        v = lanes_choose(v > most, most, v);
        lanes_store(x + h, lanes_choose(v < -most, -most, v));
    }
}

EACH_PROCESSOR static void cut_all(const float d[HARMONICS], float x[HARMONICS])
{
    cut_to_usual(d, x);
}

static void usual_scatter(const evidence *ev, float (*d)[HARMONICS], float c[HARMONICS][HARMONICS])
{
    double usual[HARMONICS][HARMONICS];
    covariance_sums sums = {.whole = 0};
    for (size_t i = 0; i < ev->n; i++) {
        float x[HARMONICS];
        cut_all(d[i], x);
        covariance_add(&sums, x);
    }
    covariance_end(&sums);
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b <= a; b++) {
            double n, sum = covariance_sum(&sums, a, b, &n);
            usual[a][b] = usual[b][a] = sum * (a == b ? 1 : 1 - shrink) / (n + 1);
        }
    covariance_mend(&usual[0][0], floor_db2);
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b < HARMONICS; b++)
            c[a][b] = (float)usual[a][b];
}

/* Puts in the differences of LANES frames from the first on, and the step that a flip makes, less
 * its mean, a frame a lane; n: how many harmonics each has. */
EACH_PART void put_group(covariance_group *f, const float *fixed, const float *per_db,
                         const evidence *ev, size_t first, float (*d)[HARMONICS], float n[LANES])
{
    lanes sum = {0}, mean = {0};
    float level_db[LANES];
    for (size_t k = 0; k < LANES; k++) {
        size_t i = first + k < ev->n ? first + k : ev->n - 1;
        level_db[k] = (float)ev->level_db[i];
        for (size_t h = 0; h < HARMONICS; h += LANES)
            f->v[h + k] = lanes_load(d[i] + h);
    }
    for (int h = 0; h < HARMONICS; h += LANES)
        lanes_transpose(f->v + h);
    for (int h = 0; h < HARMONICS; h++) {
        lane_bits is = f->v[h] < INFINITY;
        f->there[h] = lanes_where(is, 1 + (lanes){0});
        f->v[h] = lanes_where(is, f->v[h]);
        f->w[h] = fixed[h] + per_db[h] * lanes_load(level_db);
        sum += f->there[h];
        mean += f->there[h] * f->w[h];
    }
    mean /= sum;
    lanes_store(n, sum);
    for (int h = 0; h < HARMONICS; h++)
        f->w[h] = lanes_where(f->there[h] > 0, f->w[h] - mean);
}

EACH_PROCESSOR static void put_differences(covariance_group *f, const float *fixed,
                                           const float *per_db, const evidence *ev, size_t first,
                                           float (*d)[HARMONICS], float n[LANES])
{
    put_group(f, fixed, per_db, ev, first, d, n);
}

EACH_PROCESSOR static void fill_usual(covariance_group *f, float c[HARMONICS][HARMONICS])
{
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b <= a; b++)
            f->c[a][b] = f->there[a] * f->there[b] * c[a][b];
}

/* The root where no harmonic is missing. */
static void usual_root(float c[HARMONICS][HARMONICS], covariance_root *r)
{
    covariance_group f;
    for (int h = 0; h < HARMONICS; h++)
        f.there[h] = 1 + (lanes){0};
    fill_usual(&f, c);
    covariance_factor(&f, r);
}

/* Whether each frame has all harmonics or none. */
static bool are_whole(const float n[LANES])
{
    for (int k = 0; k < LANES; k++)
        if (n[k] > 0 && n[k] < HARMONICS)
            return false;
    return true;
}

static harmonic_step step_of(float cross, float square, float whole, float n)
{
    if (n < 3)
        return (harmonic_step){0, 0, 0};
    float along = square > 0 ? cross * cross / square : 0;
    return (harmonic_step){cross, square, fmaxf(0, whole - along) / (n - 2)};
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

void steps_of_harmonics(const model *m, const evidence *ev, float (*r)[HARMONICS],
                        harmonic_step *out)
{
    float(*d)[HARMONICS] = xmalloc(ev->n, sizeof *d), scatter[HARMONICS][HARMONICS];
    float fixed[HARMONICS], per_db[HARMONICS];
    covariance_group f;
    covariance_root whole, own;
    covariance_products p;
    model_step_floats(m, fixed, per_db);
    for (size_t i = 0, first = 0; i < ev->n; i++)
        if (i + 1 == ev->n || isinf(ev->gap_s[i + 1])) {
            differences(ev, r, first, i + 1, d);
            first = i + 1;
        }
    usual_scatter(ev, d, scatter);
    usual_root(scatter, &whole);
    for (size_t i = 0; i < ev->n; i += LANES) {
        float n[LANES];
        put_differences(&f, fixed, per_db, ev, i, d, n);
        bool usual = are_whole(n);
        if (!usual) {
            fill_usual(&f, scatter);
            covariance_factor(&f, &own);
        }
        covariance_weigh(&f, usual ? &whole : &own, 0, &p);
        for (size_t k = 0; k < LANES && i + k < ev->n; k++)
            out[i + k] = step_of(p.vw[k], p.ww[k], p.vv[k], n[k]);
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
        double both = dip - 0.5 * (double)s.square, cross = (double)s.cross;
        rise[i] = both + cross + ratio_of_one(&of_step, ev->step_db[i], marks.step_db);
        fall[i] = both - cross + ratio_of_one(&of_step, ev->step_db[i], -marks.step_db);
    }
    keep_peaks(rise, ev->n, evidence_frames(ev, peak_s), up);
    keep_peaks(fall, ev->n, evidence_frames(ev, peak_s), down);
    free(rise);
    free(fall);
}
