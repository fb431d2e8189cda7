/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/octave.h"

#include "base/array.h"
#include "base/note.h"
#include "voice/heterodyne.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum { QUARTER = 0, HALF = 1, THREE_QUARTERS = 2, LINES = 3 };
static const heterodyne_window window = {0.030, 4};
static const double high_hz = 700, stands_out = 10, leap_st = 6;

static bool has_lower(heterodyne *h, size_t i)
{
    float complex line[LINES];
    heterodyne_lines(h, i, window, LINES, line);
    float beside = (line_power(line[QUARTER]) + line_power(line[THREE_QUARTERS])) / 2;
    return line_power(line[HALF]) > (float)stands_out * beside;
}

/* Whether the path goes on from frame `from` to the next without a leap. */
static bool goes_on(const double *st, size_t n, size_t from)
{
    return from + 1 < n && fabs(st[from + 1] - st[from]) < leap_st;
}

/* The end of the stretch of high notes without a leap that begins at `from`. */
static size_t stretch_end(const double *half_hz, const double *st, size_t n, size_t from)
{
    size_t end = from + 1;
    while (goes_on(st, n, end - 1) && !isnan(half_hz[end]))
        end++;
    return end;
}

void octave_mend(const signal *x, double hop_s, size_t n, double *st)
{
    double *half_hz = xmalloc(n, sizeof *half_hz);
    for (size_t i = 0; i < n; i++) {
        double hz = isnan(st[i]) ? 0 : note_to_hz(st[i]);
        half_hz[i] = hz > high_hz ? hz / 2 : (double)NAN;
    }
    heterodyne *h = heterodyne_new(x, hop_s, n, LINES);
    bool any = heterodyne_follow(h, half_hz);
    for (size_t i = 0, end; any && i < n; i = end) {
        end = i + 1;
        if (isnan(half_hz[i]))
            continue;
        end = stretch_end(half_hz, st, n, i);
        if (i > 0 && goes_on(st, n, i - 1) && goes_on(st, n, end - 1))
            continue;
        size_t lower = 0;
        for (size_t k = i; k < end; k++)
            lower += has_lower(h, k);
        for (size_t k = i; k < end && 2 * lower > end - i; k++)
            st[k] -= 12;
    }
    heterodyne_free(h);
    free(half_hz);
}
