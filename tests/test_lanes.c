/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sums of products, against the same sums in double precision, at any length and any address. */
#include "base/lanes_math.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

enum { MOST = 70, OFFSETS = 5 };

static double exact(const float *x, const float *y, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += (double)x[i] * (double)y[i];
    return sum;
}

static void test_products(void **state)
{
    (void)state;
    float x[MOST + OFFSETS], y[MOST + OFFSETS + LANES], dots[LANES];
    double worst = 0;
    for (int i = 0; i < MOST + OFFSETS; i++)
        x[i] = (float)sin(i * i);
    for (int i = 0; i < MOST + OFFSETS + LANES; i++)
        y[i] = (float)cos(3 * i * i);
    for (size_t at = 0; at < OFFSETS; at++)
        for (size_t n = 0; n <= MOST; n++) {
            worst =
                fmax(worst, fabs((double)lanes_dot(x + at, y + at, n) - exact(x + at, y + at, n)));
            lanes_correlate(x + at, y + at, n, dots);
            for (size_t k = 0; k < LANES; k++)
                worst = fmax(worst, fabs((double)dots[k] - exact(x + at, y + at + k, n)));
        }
    print_message("products: worst %.1e\n", worst);
    assert_true(lanes_dot(x, y, 0) == 0);
    assert_true(worst < MOST * 1e-7); /* each of them is rounded to a float */
}

static void test_exponentials(void **state)
{
    (void)state;
    double worst = 0;
    float x[MOST], far[] = {-INFINITY, -1e9f, -87.5f};
    for (size_t n = 0; n <= MOST; n++) {
        for (size_t i = 0; i < n; i++)
            x[i] = -86 + 172 * (float)(i * n % 71) / 71;
        lanes_exp(x, n);
        for (size_t i = 0; i < n; i++) {
            float from = -86 + 172 * (float)(i * n % 71) / 71;
            worst = fmax(worst, fabs((double)x[i] / exp((double)from) - 1));
        }
    }
    print_message("exponentials: worst %.1e\n", worst);
    assert_true(worst < 2e-7); /* two roundings of a float */
    lanes_exp(far, 3);
    for (int i = 0; i < 3; i++)
        assert_true(far[i] > 0 && far[i] < 1e-37f);
}

static void test_logarithms(void **state)
{
    (void)state;
    double worst = 0;
    for (float x = 1e-36f; x < 1e36f; x *= 1.0371f) {
        float out[LANES];
        lanes_store(out, lanes_log2_of(x + (lanes){0}));
        double exact = log2((double)x);
        worst = fmax(worst, fabs((double)out[0] - exact) / fmax(1, fabs(exact)));
    }
    print_message("logarithms: worst %.1e\n", worst);
    assert_true(worst < 2e-7); /* two roundings of a float */
}

static int by_size(const void *a, const void *b)
{
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

/* Of any number, some of them the same, against the middle of the sorted ones. */
static void test_medians(void **state)
{
    (void)state;
    float x[MOST + LANES], sorted[MOST];
    for (size_t n = 1; n <= MOST; n++) {
        for (size_t i = 0; i < n; i++)
            sorted[i] = x[i] = (float)(int)(20 * sin((double)(i * n))) / 3;
        qsort(sorted, n, sizeof *sorted, by_size);
        assert_true(lanes_median(x, n) == 0.5F * (sorted[(n - 1) / 2] + sorted[n / 2]));
    }
    assert_true(isnan(lanes_median(x, 0)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_products),
        cmocka_unit_test(test_exponentials),
        cmocka_unit_test(test_logarithms),
        cmocka_unit_test(test_medians),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
