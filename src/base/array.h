/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_ARRAY_H
#define BASE_ARRAY_H

/* Memory that is there or the program ends: exhausted memory prints one sentence and exits 1.
 * Sizes are checked for overflow. Free with free(). n = 0 gives a pointer that may be freed. */

#include <stddef.h>
#include <stdio.h>

void *xmalloc(size_t n, size_t size);           /* n * size bytes, not cleared */
void *xcalloc(size_t n, size_t size);           /* n * size bytes, all zero */
void *xrealloc(void *p, size_t n, size_t size); /* p may be NULL */
char *xstrdup(const char *text);                /* NULL gives NULL */
char *xformat(const char *format, ...) __attribute__((format(printf, 1, 2)));
/* A stream into *text, which is whole and free()'s when it is closed. */
FILE *xmemstream(char **text, size_t *size);
double *array_filled(size_t n, double value); /* n doubles, each set to value */
double array_median(double *x, size_t n);     /* of x[n], whose order changes; NaN of none */

/* Grows *p so that it holds at least `want` elements: doubling, so that appending is cheap.
 * *room is the number of elements there is room for. */
void array_reserve(void **p, size_t *room, size_t want, size_t size);

/* Mean of elements i - half..i + half, as far as there are any, of n > i; sum[k] is the sum of the
 * first k, k = 0..n. */
static inline double array_mean_about(const double *sum, size_t n, size_t i, size_t half)
{
    size_t lo = i > half ? i - half : 0, end = i + half + 1 < n ? i + half + 1 : n;
    return (sum[end] - sum[lo]) / (double)(end - lo);
}

#endif
