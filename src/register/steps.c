/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/steps.h"

#include "base/array.h"
#include "register/covariance.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { NEAR = 4, FAR = 22, PEAK = 16 }; /* frames of 5 ms */
static const double winsor_db = 6;      /* differences beyond this are cut for the usual scatter */
static const double shrink = 0.3, floor_db2 = 0.05;

/* Mean residual of the frames NEAR..FAR before (way < 0) or after frame i in its stretch; NaN where
 * fewer than half of them have the harmonic. */
static void add_side(const evidence *ev, double (*r)[HARMONICS], long i, int way,
                     double mean[HARMONICS])
{
    int n[HARMONICS] = {0};
    memset(mean, 0, HARMONICS * sizeof *mean);
    for (long k = 1; k <= FAR; k++) {
        long j = way > 0 ? i + k - 1 : i - k;
        if (j < 0 || j >= (long)ev->n || isinf(ev->gap_s[way > 0 ? j : j + 1]))
            break;
        if (k <= NEAR || ev->edge_s[j] < 0)
            continue;
        for (int h = 0; h < HARMONICS; h++)
            if (!isnan(r[j][h])) {
                mean[h] += r[j][h];
                n[h]++;
            }
    }
    for (int h = 0; h < HARMONICS; h++)
        mean[h] = n[h] >= (FAR - NEAR) / 2 ? mean[h] / n[h] : (double)NAN;
}

/* Differences across every frame, their mean over the harmonics taken out: the gain is free. */
static void differences(const evidence *ev, double (*r)[HARMONICS], double (*d)[HARMONICS])
{
    for (size_t i = 0; i < ev->n; i++) {
        double before[HARMONICS], after[HARMONICS], sum = 0, n = 0;
        add_side(ev, r, (long)i, -1, before);
        add_side(ev, r, (long)i, 1, after);
        for (int h = 0; h < HARMONICS; h++) {
            d[i][h] = after[h] - before[h];
            if (!isnan(d[i][h])) {
                sum += d[i][h];
                n++;
            }
        }
        for (int h = 0; h < HARMONICS; h++)
            d[i][h] -= sum / n;
    }
}

static void usual_scatter(const evidence *ev, double (*d)[HARMONICS],
                          double c[HARMONICS][HARMONICS])
{
    double n[HARMONICS][HARMONICS] = {{0}};
    memset(c, 0, HARMONICS * sizeof *c);
    for (size_t i = 0; i < ev->n; i++)
        for (int a = 0; a < HARMONICS; a++)
            for (int b = 0; b < HARMONICS; b++) {
                if (isnan(d[i][a]) || isnan(d[i][b]))
                    continue;
                double x = fmax(-winsor_db, fmin(d[i][a], winsor_db));
                double y = fmax(-winsor_db, fmin(d[i][b], winsor_db));
                c[a][b] += x * y;
                n[a][b]++;
            }
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b < HARMONICS; b++)
            c[a][b] *= (a == b ? 1 : 1 - shrink) / (n[a][b] + 1);
    covariance_mend(&c[0][0], floor_db2);
}

/* Log-likelihood ratio of a step `way` * step against none, given that difference. */
static double ratio_of(const double d[HARMONICS], const double step[HARMONICS],
                       double c[HARMONICS][HARMONICS])
{
    double m[HARMONICS * HARMONICS], v[HARMONICS], w[HARMONICS], mean_v = 0, mean_w = 0;
    int used[HARMONICS], n = 0;
    for (int h = 0; h < HARMONICS; h++)
        if (!isnan(d[h]))
            used[n++] = h;
    if (n < 3)
        return 0;
    for (int a = 0; a < n; a++) {
        mean_v += d[used[a]] / n;
        mean_w += step[used[a]] / n;
    }
    for (int a = 0; a < n; a++) {
        v[a] = d[used[a]] - mean_v;
        w[a] = step[used[a]] - mean_w;
        for (int b = 0; b < n; b++)
            m[a * n + b] = c[used[a]][used[b]];
    }
    if (!covariance_factor(m, n))
        return 0;
    covariance_whiten(m, n, v);
    covariance_whiten(m, n, w);
    double cross = covariance_dot(v, w, n), square = covariance_dot(w, w, n);
    return copysign(fmax(0, fabs(cross) - 0.5 * square), cross);
}

void steps_measure(const model *m, const evidence *ev, double *ratio)
{
    double(*r)[HARMONICS] = xmalloc(ev->n, sizeof *r), (*d)[HARMONICS] = xmalloc(ev->n, sizeof *d);
    double *raw = array_filled(ev->n, 0), scatter[HARMONICS][HARMONICS];
    for (size_t i = 0; i < ev->n; i++)
        model_residual(m, ev, i, 0, r[i]);
    differences(ev, r, d);
    usual_scatter(ev, d, scatter);
    for (size_t i = 0; i < ev->n; i++) {
        double step[HARMONICS];
        for (int h = 0; h < HARMONICS; h++) {
            model_row x = model_row_of(m, ev, i, h);
            step[h] = model_step(m, &x);
        }
        raw[i] = ratio_of(d[i], step, scatter);
    }
    for (size_t i = 0; i < ev->n; i++) {
        bool peak = raw[i] != 0;
        for (size_t j = i > PEAK ? i - PEAK : 0; peak && j < ev->n && j <= i + PEAK; j++)
            peak = fabs(raw[j]) < fabs(raw[i]) || j == i;
        ratio[i] = peak ? raw[i] : 0;
    }
    free(r);
    free(d);
    free(raw);
}
