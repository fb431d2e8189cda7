/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/trill.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double slowest_hz = 18, fastest_hz = 32, window_s = 0.3;
static const double least_db = 1.5, most_db = 3, least_alike = 0.7, least_again = 0.4,
                    most_gain = 10, muffled_hz = 500;
static const double faintest = 1e-10; /* mean square; keeps silence finite */
enum { FIND_CELLS = 10, FLATTEN_CELLS = 5, LONG_CELLS = 50 };

/* Means of so many cells about each, twice over: a window of twice as many that falls to its ends.
 */
static void smooth(const double *x, size_t n, size_t cells, double *out, double *sums)
{
    for (int pass = 0; pass < 2; pass++) {
        const double *from = pass ? out : x;
        sums[0] = 0;
        for (size_t i = 0; i < n; i++)
            sums[i + 1] = sums[i] + from[i];
        for (size_t i = 0; i < n; i++) { /* the second time the other way round */
            size_t before = cells / 2 - (pass ? 1 : 0), after = cells - before;
            size_t first = i > before ? i - before : 0, end = i + after < n ? i + after : n;
            out[i] = (sums[end] - sums[first]) / (double)(end - first);
        }
    }
}

/* The power of twice so many cells over that of 100 ms in each of n. */
static double *swing_of(const double *power, size_t n, size_t cells)
{
    double *sums = xmalloc(n + 1, sizeof *sums);
    double *brief = xmalloc(n, sizeof *brief), *mean = xmalloc(n, sizeof *mean);
    smooth(power, n, cells, brief, sums);
    smooth(power, n, LONG_CELLS, mean, sums);
    for (size_t i = 0; i < n; i++)
        brief[i] /= mean[i];
    free(mean);
    free(sums);
    return brief;
}

/* Of n values, how much they are like those `lag` later. */
static double alike(const double *x, size_t n, size_t lag)
{
    double both = 0, one = 0, other = 0;
    for (size_t i = 0; i + lag < n; i++) {
        both += x[i] * x[i + lag];
        one += x[i] * x[i];
        other += x[i + lag] * x[i + lag];
    }
    return one > 0 && other > 0 ? both / sqrt(one * other) : 0;
}

/* Running sums of values and of their squares, so that any stretch's spread is two differences. */
typedef struct spreads {
    double *sum, *squares; /* [n + 1] */
} spreads;

static spreads spreads_of(const double *x, size_t n)
{
    spreads s = {xmalloc(n + 1, sizeof *s.sum), xmalloc(n + 1, sizeof *s.squares)};
    s.sum[0] = s.squares[0] = 0;
    for (size_t i = 0; i < n; i++) {
        s.sum[i + 1] = s.sum[i] + x[i];
        s.squares[i + 1] = s.squares[i] + x[i] * x[i];
    }
    return s;
}

/* The standard deviation of n values from the first on. */
static double spread(const spreads *s, size_t first, size_t n)
{
    double mean = (s->sum[first + n] - s->sum[first]) / (double)n;
    double square = (s->squares[first + n] - s->squares[first]) / (double)n;
    return sqrt(fmax(0, square - mean * mean));
}

static bool repeats(const double *swing, size_t n, double hop_s)
{
    size_t first = (size_t)lround(1 / fastest_hz / hop_s), best = first;
    size_t last = (size_t)lround(1 / slowest_hz / hop_s);
    double most = -1;
    for (size_t lag = first; lag <= last; lag++) {
        double r = alike(swing, n, lag);
        if (r > most) {
            most = r;
            best = lag;
        }
    }
    return most >= least_alike && alike(swing, n, 2 * best) >= least_again &&
           alike(swing, n, best / 2) < 0 && alike(swing, n, best - 1) <= most &&
           alike(swing, n, best + 1) <= most;
}

bool trill_find(const signal *x, double hop_s, size_t n, unsigned char *trilled)
{
    size_t window = (size_t)lround(window_s / hop_s), beside = window / 2, any = 0;
    double *power = xmalloc(x->n_cells, sizeof *power), *swing = xcalloc(n, sizeof *swing);
    for (size_t i = 0; i < x->n_cells; i++)
        power[i] = (double)x->power[i] + faintest;
    double *cells = swing_of(power, x->n_cells, FIND_CELLS);
    for (size_t i = 0; i < n; i++) {
        size_t at = (size_t)lround((double)i * hop_s / x->cell_s);
        double db = at < x->n_cells ? 10 * log10(cells[at]) : 0;
        swing[i] = fmax(-most_db, fmin(db, most_db));
    }
    memset(trilled, 0, n);
    spreads s = spreads_of(swing, n);
    for (size_t i = 0; i + window <= n; i++)
        if (spread(&s, i, window) >= least_db && repeats(swing + i, window, hop_s)) {
            size_t first = i > beside ? i - beside : 0, end = i + window + beside;
            memset(trilled + first, 1, (end < n ? end : n) - first);
            any++;
        }
    free(s.sum);
    free(s.squares);
    free(swing);
    free(cells);
    free(power);
    return any > 0;
}

/* What goes through shut lips as well: two poles at hz. */
static double *muffle(const signal *x, double hz)
{
    double *out = xmalloc(x->n, sizeof *out), once = 0, twice = 0;
    double share = -expm1(-2 * M_PI * hz / x->rate_hz);
    for (size_t i = 0; i < x->n; i++) {
        once += share * ((double)x->x[i] - once);
        out[i] = twice += share * (once - twice);
    }
    return out;
}

static double *powers(const double *x, size_t n, size_t a_cell, size_t n_cells)
{
    double *power = array_filled(n_cells, faintest);
    for (size_t i = 0; i < n && i / a_cell < n_cells; i++)
        power[i / a_cell] += x[i] * x[i] / (double)a_cell;
    return power;
}

signal trill_flatten(const signal *x, double hop_s, size_t n, const unsigned char *trilled)
{
    size_t a_cell = (size_t)lround(x->rate_hz * x->cell_s), n_cells = x->n / a_cell + 1;
    double *low = muffle(x, muffled_hz), *power = powers(low, x->n, a_cell, n_cells);
    double *swing = swing_of(power, n_cells, FLATTEN_CELLS);
    signal flat = {.rate_hz = x->rate_hz, .n = x->n, .x = xmalloc(x->n, sizeof *flat.x)};
    for (size_t i = 0; i < x->n; i++) {
        double at = (double)i / (double)a_cell, share = at - floor(at);
        size_t frame = (size_t)lround((double)i / x->rate_hz / hop_s), cell = i / a_cell;
        flat.x[i] = x->x[i];
        if (frame < n && trilled[frame] && cell + 1 < n_cells) {
            double gain = 1 / sqrt((1 - share) * swing[cell] + share * swing[cell + 1]);
            flat.x[i] = (float)(low[i] * fmin(gain, most_gain));
        }
    }
    free(swing);
    free(power);
    free(low);
    return flat;
}
