/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/cancel.h"

#include <math.h>
#include <soxr.h>

enum {
    BAND_RATE_HZ = 4400,
    SHORTEST = 14,
    LONGEST = 252,
    SINGLES = 5,
    COARSE = 4,
    MOVES = 4,
    FAR = 176
};
static const double move_st = 4;     /* a second, from one try to the next */
static const double stretch = 0.003; /* of a period, likewise */
static const double related_slack = 0.04, multiple_slack = 0.03;
static const double least_left = 0.02, most_share = 0.3, least_taken = 0.75, most_far = 0.4;

/* A period in samples in the middle of a window, its change a sample, and the share of power that
 * is left without what repeats so. */
typedef struct single {
    double period, change, left;
} single;

size_t cancel_sound(const float *x, size_t n, int rate_hz, float *out)
{
    float band[BAND_RATE_HZ];
    size_t got = 0;
    soxr_error_t bad = soxr_oneshot(rate_hz, BAND_RATE_HZ, 1, x, n, NULL, band, BAND_RATE_HZ, &got,
                                    NULL, NULL, NULL);
    if (!bad && got)
        bad = soxr_oneshot(BAND_RATE_HZ, CANCEL_RATE_HZ, 1, band, got, NULL, out, CANCEL_RATE_HZ,
                           &got, NULL, NULL, NULL);
    return bad ? 0 : got;
}

bool cancel_related(double hz, double other_hz, double slack)
{
    for (int up = 1; up <= 8; up++)
        for (int down = 1; down <= 4; down++)
            if ((up <= 2 || down <= 2) && fabs(other_hz / hz * down / up - 1) < slack)
                return true;
    return false;
}

static double power_of(const float *x, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += (double)(x[i] * x[i]);
    return sum;
}

/* The share of power that is left in x(t) - x(t - T) for each whole T, of windows as above. */
static void differences(const float *x, double d[LONGEST + 2])
{
    double here = power_of(x, CANCEL_WIDTH);
    for (int lag = SHORTEST - 1; lag <= LONGEST + 1; lag++) {
        float left = 0, there = 0;
        for (int i = 0; i < CANCEL_WIDTH; i++) {
            float off = x[i] - x[i - lag];
            left += off * off;
            there += x[i - lag] * x[i - lag];
        }
        d[lag] = (double)left / (here + (double)there + 1e-30);
    }
}

static bool dips(const double *d, int lag)
{
    return d[lag] <= d[lag - 1] && d[lag] < d[lag + 1];
}

/* The bottom of the parabola through three points, as a lag; *value there. */
static double bottom(const double *d, int lag, double *value)
{
    double a = d[lag - 1], b = d[lag], c = d[lag + 1], bend = a - 2 * b + c;
    double off = bend > 0 ? 0.5 * (a - c) / bend : 0;
    *value = fmax(b - 0.25 * (a - c) * off, 0);
    return lag + off;
}

/* x at a time between samples, by a cubic through four (Catmull and Rom). */
static double between(const float *x, double t)
{
    double whole = floor(t), u = t - whole;
    const float *p = x + (long)whole;
    double a = (double)p[-1], b = (double)p[0], c = (double)p[1], d = (double)p[2];
    return b + 0.5 * u * (c - a + u * (2 * a - 5 * b + 4 * c - d + u * (3 * (b - c) + d - a)));
}

static double without(const float *x, const single *s, int i)
{
    double period = s->period * (1 + s->change * (i - CANCEL_WIDTH / 2));
    return (double)x[i] - between(x, i - period);
}

static double left_by(const float *x, const single *s, int step)
{
    double left = 0;
    for (int i = 0; i < CANCEL_WIDTH; i += step) {
        double off = without(x, s, i);
        left += off * off * step;
    }
    return left;
}

/* The steady period nearby and the change of it that leave least. */
static void follow(const float *x, double power, single *s)
{
    single best = *s;
    double least = INFINITY;
    for (int move = -MOVES; move <= MOVES; move++)
        for (int longer = -1; longer <= 1; longer++) {
            single tried = {s->period * (1 + longer * stretch),
                            move * move_st * M_LN2 / 12 / CANCEL_RATE_HZ, 0};
            double left = left_by(x, &tried, COARSE);
            if (left < least) {
                least = left;
                best = tried;
            }
        }
    best.left = left_by(x, &best, 1) / (2 * power);
    *s = best;
}

/* The deepest dips of d. */
static size_t deepest(const double *d, single found[SINGLES])
{
    bool used[LONGEST + 2] = {false};
    size_t n = 0;
    for (; n < SINGLES; n++) {
        int best = 0;
        for (int lag = SHORTEST; lag <= LONGEST; lag++)
            if (dips(d, lag) && !used[lag] && (!best || d[lag] < d[best]))
                best = lag;
        if (!best)
            break;
        used[best] = true;
        found[n].period = bottom(d, best, &found[n].left);
    }
    return n;
}

/* Does it repeat still after 10 ms? Breath in a resonance does not. */
static bool repeats_far(const double *d, double period)
{
    double times = fmax(1, round(FAR / period)), least = INFINITY;
    int from = (int)((1 - multiple_slack) * times * period);
    for (int lag = from; lag <= (1 + multiple_slack) * times * period + 1 && lag <= LONGEST; lag++)
        least = fmin(least, d[lag]);
    return least <= most_far;
}

/* The period that goes best with a first one: its lag, 0 for none; *left, of what was left. */
static double second_period(const float *x, const single *first, double *left)
{
    float rest[LONGEST + 2 + CANCEL_WIDTH];
    double d[LONGEST + 2], best = 0;
    for (int i = 0; i < LONGEST + 2 + CANCEL_WIDTH; i++)
        rest[i] = (float)without(x, first, i - LONGEST - 2);
    differences(rest + LONGEST + 2, d);
    *left = INFINITY;
    for (int lag = SHORTEST; lag <= LONGEST; lag++) {
        double here, period;
        if (!dips(d, lag))
            continue;
        period = bottom(d, lag, &here);
        if (here < *left && !cancel_related(period, first->period, related_slack) &&
            repeats_far(d, period)) {
            *left = here;
            best = period;
        }
    }
    return best;
}

static bool multiple_of(double period, double of)
{
    double times = period / of;
    return times > 1.5 && fabs(times - round(times)) < multiple_slack * times;
}

bool cancel_two(const float *x)
{
    double d[LONGEST + 2], power = power_of(x, CANCEL_WIDTH), pair[2] = {0, 0};
    double least = INFINITY, taken = 0, alone = INFINITY;
    single found[SINGLES];
    differences(x, d);
    size_t n = deepest(d, found);
    if (!(power > 0))
        return false;
    for (size_t k = 0; k < n; k++) {
        double left;
        follow(x, power, &found[k]);
        double second = second_period(x, &found[k], &left);
        if (second > 0 && found[k].left * left < least) {
            least = found[k].left * left;
            taken = 1 - left;
            pair[0] = found[k].period;
            pair[1] = second;
        }
    }
    for (size_t k = 0; k < n; k++)
        if (!multiple_of(found[k].period, pair[0]) || !multiple_of(found[k].period, pair[1]))
            alone = fmin(alone, found[k].left);
    return alone >= least_left && least <= most_share * alone && taken >= least_taken;
}
