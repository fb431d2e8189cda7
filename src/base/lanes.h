/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_LANES_H
#define BASE_LANES_H

#include <stddef.h>

/* Numbers that are worked on together. They are loaded and stored by memcpy, from any number's
 * address. A function that works on them is compiled twice with EACH_PROCESSOR, with 256-bit
 * arithmetic and without, and the program takes what its processor can do. Both give the same, bit
 * for bit: neither fuses a multiplication with an addition. Such a function has to be static. */

enum { LANES = 8 };
typedef float lanes __attribute__((vector_size(32)));
typedef int lane_bits __attribute__((vector_size(32)));

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

/* The sum of the products x[i] y[i]; 0 for n = 0. */
float lanes_dot(const float *x, const float *y, size_t n);
/* The same of x[i] and y[i + k], for k from 0 to LANES - 1: y has n + LANES - 1 numbers. */
void lanes_correlate(const float *x, const float *y, size_t n, float dot[LANES]);
/* Each x[i] becomes its exponential, to 6 digits; that of -87 and below is 1.6e-38, above 88 it is
 * not defined. */
void lanes_exp(float *x, size_t n);

#endif
