/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_LANES_MATH_H
#define BASE_LANES_MATH_H

#include "base/lanes.h"

/* The exponential, to 6 digits; that of -87 and below is 1.6e-38, above 88 it is not defined. It is
 * 2^k e^r, |r| <= ln(2) / 2: k is rounded by a sum whose lowest bits it then fills, and e^r is the
 * beginning of its series. */
EACH_PART lanes lanes_exp_of(lanes x)
{
    static const float lowest = -87, per_log2 = 0x1.715476p0f, round_up = 0x1.8p23f;
    static const float log2_high = 0x1.62e4p-1f, log2_low = 0x1.7f7d1cp-20f;
    static const float series[] = {1.0f / 720, 1.0f / 120, 1.0f / 24, 1.0f / 6, 0.5f, 1, 1};
    lanes v = lanes_choose(x > lowest, x, lowest + (lanes){0});
    lanes sum = v * per_log2 + round_up, k = sum - round_up;
    lanes r = v - k * log2_high - k * log2_low, e = 1.0f / 5040 + (lanes){0};
    for (size_t j = 0; j < sizeof series / sizeof *series; j++)
        e = e * r + series[j];
    return (lanes)((lane_bits)e + ((lane_bits)sum << 23));
}

/* The binary logarithm to within 1e-6, of what is above 1e-37; of others it is not defined. Of
 * 2^k m, m within a factor of sqrt(2) of 1, it is k and the series of the inverse hyperbolic
 * tangent of (m - 1) / (m + 1). */
EACH_PART lanes lanes_log2_of(lanes x)
{
    const float root = 0x1.6a09e6p-1f, per_log = 0x1.715476p+1f;
    lane_bits least = (lane_bits)(root + (lanes){0});
    lane_bits off = (lane_bits)x - least, k = off >> 23;
    lanes m = (lanes)((off & 0x7fffff) + least), t = (m - 1) / (m + 1), tt = t * t;
    lanes series = 1 + tt * (1.0f / 3 + tt * (1.0f / 5 + tt * (1.0f / 7)));
    return __builtin_convertvector(k, lanes) + per_log * t * series;
}

#endif
