/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/lanes_math.h"

#include <limits.h>
#include <math.h>
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

EACH_PART void exp_all(float *x, size_t n)
{
    size_t i = 0;
    for (; i + LANES <= n; i += LANES)
        lanes_store(x + i, lanes_exp_of(lanes_load(x + i)));
    if (i == n)
        return;
    float rest[LANES] = {0};
    memcpy(rest, x + i, (n - i) * sizeof *x);
    lanes_store(rest, lanes_exp_of(lanes_load(rest)));
    memcpy(x + i, rest, (n - i) * sizeof *x);
}

EACH_PROCESSOR static void exponentials(float *x, size_t n)
{
    exp_all(x, n);
}

/* A float's bits so that they are ordered as it is, and back. */
EACH_PART lane_bits in_order(lane_bits x)
{
    return x ^ ((x < 0) & INT_MAX);
}

EACH_PART int count_below(const float *keys, size_t n, int most)
{
    lane_bits below = {0}, key;
    for (size_t i = 0; i < n; i += LANES) {
        memcpy(&key, keys + i, sizeof key);
        below += key < most;
    }
    return -(((below[0] + below[4]) + (below[1] + below[5])) +
             ((below[2] + below[6]) + (below[3] + below[7])));
}

/* The least key from `from` on. */
EACH_PART int least_from(const float *keys, size_t n, int from)
{
    lane_bits least = INT_MAX + (lane_bits){0}, key;
    for (size_t i = 0; i < n; i += LANES) {
        memcpy(&key, keys + i, sizeof key);
        lane_bits less = (key >= from) & (key < least);
        least = (key & less) | (least & ~less);
    }
    int one = least[0];
    for (int k = 1; k < LANES; k++)
        one = least[k] < one ? least[k] : one;
    return one;
}

/* The k-th key, 0 the least: bit by bit the largest that no more than k are below, until one key is
 * left. */
EACH_PART int select_key(const float *keys, size_t n, int k)
{
    unsigned key = (unsigned)INT_MIN;
    int below = 0, end = (int)n;
    for (int bit = 31; bit >= 0 && end - below > 1; bit--) {
        int some = count_below(keys, n, (int)(key + (1U << bit)));
        if (some <= k) {
            key += 1U << bit;
            below = some;
        } else {
            end = some;
        }
    }
    return least_from(keys, n, (int)key);
}

/* The k-th where the one before it is `key`. */
EACH_PART int next_key(const float *keys, size_t n, int k, int key)
{
    return count_below(keys, n, key + 1) > k ? key : least_from(keys, n, key + 1);
}

EACH_PART float find_middle(float *x, size_t n)
{
    size_t all = n;
    lane_bits keys, middle = {0};
    lanes two;
    for (; all % LANES; all++)
        x[all] = INFINITY;
    for (size_t i = 0; i < all; i += LANES) {
        memcpy(&keys, x + i, sizeof keys);
        keys = in_order(keys);
        memcpy(x + i, &keys, sizeof keys);
    }
    middle[0] = select_key(x, all, (int)(n - 1) / 2);
    middle[1] = n % 2 ? middle[0] : next_key(x, all, (int)n / 2, middle[0]);
    two = (lanes)in_order(middle);
    return 0.5F * (two[0] + two[1]);
}

EACH_PROCESSOR static float middle_of(float *x, size_t n)
{
    return find_middle(x, n);
}

float lanes_median(float *x, size_t n)
{
    return n ? middle_of(x, n) : NAN;
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
