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

/* For static functions, with names of their own in all of src: clang lets others see the choice. */
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

/* The same in the first four lanes of x[0..3], and in the last. */
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

/* The sum of the products x[i] y[i]; 0 for n = 0. */
float lanes_dot(const float *x, const float *y, size_t n);
/* The same of x[i] and y[i + k], for k from 0 to LANES - 1: y has n + LANES - 1 numbers. */
void lanes_correlate(const float *x, const float *y, size_t n, float dot[LANES]);
/* Each x[i] becomes its exponential, as lanes_exp_of() gives it (base/lanes_math.h). */
void lanes_exp(float *x, size_t n);
/* The median of x[n], none of which is NaN; NaN of none. x is overwritten, and so are the LANES - 1
 * numbers after it. */
float lanes_median(float *x, size_t n);

#endif
