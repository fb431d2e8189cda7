/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/lanes.h"

#include <string.h>

EACH_PROCESSOR static float dot_of(const float *x, const float *y, size_t n)
{
    lanes sum = {0}, other = {0}, a, b;
    size_t i = 0;
    for (; i + 2 * LANES <= n; i += 2 * LANES) {
        memcpy(&a, x + i, sizeof a);
        memcpy(&b, y + i, sizeof b);
        sum += a * b;
        memcpy(&a, x + i + LANES, sizeof a);
        memcpy(&b, y + i + LANES, sizeof b);
        other += a * b;
    }
    sum += other;
    float total = ((sum[0] + sum[4]) + (sum[1] + sum[5])) + ((sum[2] + sum[6]) + (sum[3] + sum[7]));
    for (; i < n; i++)
        total += x[i] * y[i];
    return total;
}

EACH_PROCESSOR static void correlate(const float *x, const float *y, size_t n, float dot[LANES])
{
    lanes sum0 = {0}, sum1 = {0}, sum2 = {0}, sum3 = {0}, y0, y1, y2, y3;
    size_t i = 0;
    for (; i + 4 <= n; i += 4) {
        memcpy(&y0, y + i, sizeof y0);
        memcpy(&y1, y + i + 1, sizeof y1);
        memcpy(&y2, y + i + 2, sizeof y2);
        memcpy(&y3, y + i + 3, sizeof y3);
        sum0 += x[i] * y0;
        sum1 += x[i + 1] * y1;
        sum2 += x[i + 2] * y2;
        sum3 += x[i + 3] * y3;
    }
    for (; i < n; i++) {
        memcpy(&y0, y + i, sizeof y0);
        sum0 += x[i] * y0;
    }
    sum0 = (sum0 + sum1) + (sum2 + sum3);
    memcpy(dot, &sum0, sizeof sum0);
}

/* 2^k e^r, |r| <= ln(2) / 2: k is rounded by a sum whose lowest bits it then fills, and e^r is the
 * beginning of its series. */
static inline void exponential(float x[LANES])
{
    static const float lowest = -87, per_log2 = 0x1.715476p0f, round_up = 0x1.8p23f;
    static const float log2_high = 0x1.62e4p-1f, log2_low = 0x1.7f7d1cp-20f;
    static const float series[] = {1.0f / 720, 1.0f / 120, 1.0f / 24, 1.0f / 6, 0.5f, 1, 1};
    lanes v;
    memcpy(&v, x, sizeof v);
    lane_bits within = v > lowest, least = (lane_bits)(lowest + (lanes){0});
    v = (lanes)(((lane_bits)v & within) | (least & ~within));
    lanes sum = v * per_log2 + round_up, k = sum - round_up;
    lanes r = v - k * log2_high - k * log2_low, e = 1.0f / 5040 + (lanes){0};
    for (size_t j = 0; j < sizeof series / sizeof *series; j++)
        e = e * r + series[j];
    e = (lanes)((lane_bits)e + ((lane_bits)sum << 23));
    memcpy(x, &e, sizeof e);
}

EACH_PROCESSOR static void exponentials(float *x, size_t n)
{
    size_t i = 0;
    for (; i + LANES <= n; i += LANES)
        exponential(x + i);
    if (i == n)
        return;
    float rest[LANES] = {0};
    memcpy(rest, x + i, (n - i) * sizeof *x);
    exponential(rest);
    memcpy(x + i, rest, (n - i) * sizeof *x);
}

float lanes_dot(const float *x, const float *y, size_t n)
{
    return dot_of(x, y, n);
}

void lanes_correlate(const float *x, const float *y, size_t n, float dot[LANES])
{
    correlate(x, y, n, dot);
}

void lanes_exp(float *x, size_t n)
{
    exponentials(x, n);
}
