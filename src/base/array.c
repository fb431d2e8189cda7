/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/array.h"

#include <gsl/gsl_statistics.h>
#include <math.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void *alive(void *p)
{
    if (!p) {
        fputs("seamline: There is no memory left: give fewer recordings at once.\n", stderr);
        exit(1);
    }
    return p;
}

static size_t bytes(size_t n, size_t size)
{
    if (size && n > SIZE_MAX / size)
        alive(NULL);
    size_t total = n * size;
    return total ? total : 1;
}

void *xmalloc(size_t n, size_t size)
{
    return alive(malloc(bytes(n, size)));
}

void *xcalloc(size_t n, size_t size)
{
    return alive(calloc(1, bytes(n, size)));
}

void *xrealloc(void *p, size_t n, size_t size)
{
    return alive(realloc(p, bytes(n, size)));
}

char *xstrdup(const char *text)
{
    return text ? alive(strdup(text)) : NULL;
}

char *xformat(const char *format, ...)
{
    va_list args, again;
    va_start(args, format);
    va_copy(again, args);
    int length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    char *text = xmalloc(length < 0 ? 1 : (size_t)length + 1, 1);
    text[0] = '\0';
    if (length > 0)
        vsnprintf(text, (size_t)length + 1, format, again);
    va_end(again);
    return text;
}

FILE *xmemstream(char **text, size_t *size)
{
    return alive(open_memstream(text, size));
}

double *array_filled(size_t n, double value)
{
    double *p = xmalloc(n, sizeof *p);
    for (size_t i = 0; i < n; i++)
        p[i] = value;
    return p;
}

double array_median(double *x, size_t n)
{
    return n ? gsl_stats_median(x, 1, n) : (double)NAN;
}

void array_reserve(void **p, size_t *room, size_t want, size_t size)
{
    if (want <= *room)
        return;
    size_t larger = *room ? *room : 16;
    while (larger < want)
        larger = larger > SIZE_MAX / 2 ? want : larger * 2;
    *p = xrealloc(*p, larger, size);
    *room = larger;
}
