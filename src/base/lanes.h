/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_LANES_H
#define BASE_LANES_H

#include <stddef.h>
#include <string.h>

/* Numbers that are worked on together. They are loaded and stored by memcpy, from any number's
 * address. A function that works on them is compiled twice with EACH_PROCESSOR, with 256-bit
 * arithmetic and without, and the program takes what its processor can do. Both give the same, bit
 * for bit: neither fuses a multiplication with an addition. Such a function has to be static. */

enum { LANES = 8 };
typedef float lanes __attribute__((vector_size(32)));
typedef int lane_bits __attribute__((vector_size(32)));
typedef unsigned short lane_shorts __attribute__((vector_size(16)));

/* Four of each, for what needs a double; as they lie in arrays from malloc. */
typedef double fours __attribute__((vector_size(32)));
typedef double fours_stored __attribute__((vector_size(32), aligned(16)));
typedef float four_floats __attribute__((vector_size(16)));
typedef int four_ints __attribute__((vector_size(16)));
typedef long long four_longs __attribute__((vector_size(32)));

/* For static functions, which need names of their own in all of src: clang lets others see how one
 * of the two is chosen. */
#if defined(__x86_64__) && defined(__linux__)
#define EACH_PROCESSOR __attribute__((target_clones("avx2", "default")))
#else
#define EACH_PROCESSOR
#endif

/* What such functions are made of, and what takes or gives fours: it becomes part of its caller, so
 * that it is compiled for the same processor and how fours would be handed on is no matter. */
#define EACH_PART static inline __attribute__((always_inline))

EACH_PART lanes lanes_load(const float *x)
{
    lanes v;
    memcpy(&v, x, sizeof v);
    return v;
}

EACH_PART void lanes_store(float *x, lanes v)
{
    memcpy(x, &v, sizeof v);
}

/* x, or 0 where it is not so. */
EACH_PART lanes lanes_where(lane_bits is, lanes x)
{
    return (lanes)((lane_bits)x & is);
}

/* x where it is so, else y. */
EACH_PART lanes lanes_choose(lane_bits is, lanes x, lanes y)
{
    return (lanes)(((lane_bits)x & is) | ((lane_bits)y & ~is));
}

/* In every lane the sum of all. */
EACH_PART lanes lanes_sum(lanes v)
{
    v += __builtin_shufflevector(v, v, 4, 5, 6, 7, 0, 1, 2, 3);
    v += __builtin_shufflevector(v, v, 2, 3, 0, 1, 6, 7, 4, 5);
    return v + __builtin_shufflevector(v, v, 1, 0, 3, 2, 5, 4, 7, 6);
}

/* Lane j of x[k] and lane k of x[j] change places. */
EACH_PART void lanes_transpose(lanes x[LANES])
{
    lanes y[LANES];
    for (int k = 0; k < LANES; k += 2) {
        y[k] = __builtin_shufflevector(x[k], x[k + 1], 0, 8, 2, 10, 4, 12, 6, 14);
        y[k + 1] = __builtin_shufflevector(x[k], x[k + 1], 1, 9, 3, 11, 5, 13, 7, 15);
    }
    for (int k = 0; k < LANES; k += 4)
        for (int j = k; j < k + 2; j++) {
            x[j] = __builtin_shufflevector(y[j], y[j + 2], 0, 1, 8, 9, 4, 5, 12, 13);
            x[j + 2] = __builtin_shufflevector(y[j], y[j + 2], 2, 3, 10, 11, 6, 7, 14, 15);
        }
    for (int j = 0; j < LANES / 2; j++) {
        y[j] = __builtin_shufflevector(x[j], x[j + 4], 0, 1, 2, 3, 8, 9, 10, 11);
        y[j + 4] = __builtin_shufflevector(x[j], x[j + 4], 4, 5, 6, 7, 12, 13, 14, 15);
    }
    memcpy(x, y, sizeof y);
}

/* In the first four lanes of x[0..3], and so in the last, lane j of x[k] and lane k of x[j] change
 * places. */
EACH_PART void lanes_transpose_halves(lanes x[4])
{
    lanes a = __builtin_shufflevector(x[0], x[1], 0, 8, 1, 9, 4, 12, 5, 13);
    lanes b = __builtin_shufflevector(x[2], x[3], 0, 8, 1, 9, 4, 12, 5, 13);
    lanes c = __builtin_shufflevector(x[0], x[1], 2, 10, 3, 11, 6, 14, 7, 15);
    lanes d = __builtin_shufflevector(x[2], x[3], 2, 10, 3, 11, 6, 14, 7, 15);
    x[0] = __builtin_shufflevector(a, b, 0, 1, 8, 9, 4, 5, 12, 13);
    x[1] = __builtin_shufflevector(a, b, 2, 3, 10, 11, 6, 7, 14, 15);
    x[2] = __builtin_shufflevector(c, d, 0, 1, 8, 9, 4, 5, 12, 13);
    x[3] = __builtin_shufflevector(c, d, 2, 3, 10, 11, 6, 7, 14, 15);
}

/* to[0..3] += v */
EACH_PART void floats_add_four(float *to, four_floats v)
{
    four_floats sum;
    memcpy(&sum, to, sizeof sum);
    sum += v;
    memcpy(to, &sum, sizeof sum);
}

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
 * 2^k m, m within a factor of sqrt(2) of 1, it is k and the series of the inverse hyperbolic tangent
 * of (m - 1) / (m + 1). */
EACH_PART lanes lanes_log2_of(lanes x)
{
    const float root = 0x1.6a09e6p-1f, per_log = 0x1.715476p+1f;
    lane_bits least = (lane_bits)(root + (lanes){0});
    lane_bits off = (lane_bits)x - least, k = off >> 23;
    lanes m = (lanes)((off & 0x7fffff) + least), t = (m - 1) / (m + 1), tt = t * t;
    lanes series = 1 + tt * (1.0f / 3 + tt * (1.0f / 5 + tt * (1.0f / 7)));
    return __builtin_convertvector(k, lanes) + per_log * t * series;
}

/* The sum of the products x[i] y[i]; 0 for n = 0. */
float lanes_dot(const float *x, const float *y, size_t n);
/* The same of x[i] and y[i + k], for k from 0 to LANES - 1: y has n + LANES - 1 numbers. */
void lanes_correlate(const float *x, const float *y, size_t n, float dot[LANES]);
/* Each x[i] becomes lanes_exp_of() it. */
void lanes_exp(float *x, size_t n);
/* The median of x[n], none of which is NaN; NaN of none. x is overwritten, and so are the LANES - 1
 * numbers after it. */
float lanes_median(float *x, size_t n);

#endif
