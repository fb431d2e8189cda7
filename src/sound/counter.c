/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/counter.h"

#include "base/lanes.h"

#include <math.h>
#include <string.h>

enum { CLIPPED_RUN = 3 /* samples at full scale in a row that are no longer a mere peak */ };

static void count_clipped(counter *c, const float *x, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        double at = (double)x[i];
        int sign = at >= c->full_scale ? 1 : at <= -c->full_scale ? -1 : 0;
        c->run = sign && sign == c->run_sign ? c->run + 1 : sign != 0;
        c->run_sign = sign;
        c->clipped_runs += c->run == CLIPPED_RUN;
    }
}

/* What is not finite is larger than all that is. */
static float larger(float a, float b)
{
    return !isfinite(a) || b <= a ? a : b;
}

/* The samples' sum and largest magnitude, which is not finite where a sample is not: as whole
 * numbers, the bits of magnitudes are in their order, and of what is not finite above them all. */
EACH_PROCESSOR static float survey(const float *x, size_t n, double *sum)
{
    enum { MAGNITUDE = 0x7FFFFFFF };
    lane_bits most = {0}, size;
    fours sums = {0};
    four_floats left, right;
    size_t i = 0;
    for (; i + LANES <= n; i += LANES) {
        memcpy(&size, x + i, sizeof size);
        memcpy(&left, x + i, sizeof left);
        memcpy(&right, x + i + LANES / 2, sizeof right);
        size &= MAGNITUDE;
        most ^= (most ^ size) & (size > most);
        sums += __builtin_convertvector(left, fours) + __builtin_convertvector(right, fours);
    }
    float found[LANES], peak = 0;
    memcpy(found, &most, sizeof found);
    *sum = (sums[0] + sums[1]) + (sums[2] + sums[3]);
    for (int k = 0; k < LANES; k++)
        peak = larger(peak, found[k]);
    for (; i < n; i++) {
        *sum += (double)x[i];
        peak = larger(peak, fabsf(x[i]));
    }
    return peak;
}

void counter_add(counter *c, float *x, size_t n)
{
    double sum;
    float peak = survey(x, n, &sum);
    if (!isfinite(peak)) {
        for (size_t i = 0; i < n; i++)
            x[i] = isfinite(x[i]) ? x[i] : 0;
        peak = survey(x, n, &sum);
    }
    if (c->run || (double)peak >= c->full_scale)
        count_clipped(c, x, n);
    c->samples += n;
    c->sum += sum;
    c->peak = fmax(c->peak, (double)peak);
}
