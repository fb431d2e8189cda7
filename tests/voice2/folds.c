/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/folds.h"

#include <math.h>
#include <string.h>

enum { PLACES = 8, N = FOLDS_PHASES };

static double contact_at(const folds *f, double t)
{
    double sum = 0;
    for (int a = 0; a < PLACES; a++) {
        double y = (a + 0.5) / PLACES, wide = sin(M_PI * y);
        for (int b = 0; b < PLACES; b++) {
            double z = (b + 0.5) / PLACES - 0.5;
            double off = f->gap - f->converge * z + wide * sin(2 * M_PI * t - f->delay * z);
            sum += 1 / (1 + exp(off / f->soft));
        }
    }
    return sum / (PLACES * PLACES);
}

static double slope(const double *x, int i)
{
    return x[(i + 1) % N] - x[(i + N - 1) % N];
}

static int steepest(const double *x, double sign)
{
    int best = 0;
    for (int i = 1; i < N; i++)
        if (sign * slope(x, i) > sign * slope(x, best))
            best = i;
    return best;
}

/* Where a parabola through the slopes about i has its peak, in phases. */
static double between(const double *x, int i)
{
    double a = slope(x, (i + N - 1) % N), b = slope(x, i), c = slope(x, (i + 1) % N);
    double bend = a - 2 * b + c;
    return i + (bend != 0 ? 0.5 * (a - c) / bend : 0);
}

static double falls_below(const folds_cycle *c, double threshold)
{
    int i = 0;
    while (i < N && c->contact[i] < c->most)
        i++;
    while (i + 1 < N && c->contact[i + 1] >= threshold)
        i++;
    double next = c->contact[(i + 1) % N];
    return i + (c->contact[i] - threshold) / (c->contact[i] - next);
}

void folds_move(const folds *f, folds_cycle *out)
{
    double raw[N];
    int first = 0;
    for (int i = 0; i < N; i++) {
        raw[i] = contact_at(f, (double)i / N);
        first = raw[i] < raw[first] ? i : first;
    }
    memcpy(out->contact, raw + first, (size_t)(N - first) * sizeof *raw);
    memcpy(out->contact + N - first, raw, (size_t)first * sizeof *raw);
    out->least = out->most = out->contact[0];
    for (int i = 0; i < N; i++)
        out->most = fmax(out->most, out->contact[i]);
    double up = between(out->contact, steepest(out->contact, 1));
    double down = between(out->contact, steepest(out->contact, -1));
    double share = out->least + (out->most - out->least) * 3 / 7;
    out->closing = up / N;
    out->peaks_share = (down - up) / N;
    out->contact_share = (falls_below(out, share) - up) / N;
}

double folds_contact(const folds_cycle *c, double phase)
{
    double at = (phase - floor(phase)) * N;
    int i = (int)at;
    double x = at - i, p[4];
    for (int k = 0; k < 4; k++)
        p[k] = c->contact[(i + k + N - 1) % N];
    /* Catmull-Rom */
    return p[1] + 0.5 * x *
                      (p[2] - p[0] +
                       x * (2 * p[0] - 5 * p[1] + 4 * p[2] - p[3] +
                            x * (3 * (p[1] - p[2]) + p[3] - p[0])));
}
