/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_NORMAL_FOURS_H
#define FIT_NORMAL_FOURS_H

/* The standard normal distribution at four places at once, not in logs, for sums in which the far
 * tails do not count: density, tail and mean density are right to 1e-15, 1e-15 and 1e-11, which is
 * not much of a tail. For functions of EACH_PROCESSOR (base/lanes.h); the C library's exp and erfc
 * take one place at a time, and half of a fit was waiting for them. */

#include "base/lanes.h"

#include <stddef.h>

EACH_PART fours fours_of(double x)
{
    return (fours){x, x, x, x};
}

/* Each of a where the mask is all ones, else of b. */
EACH_PART fours fours_choose(four_longs mask, fours a, fours b)
{
    return (fours)(((four_longs)a & mask) | ((four_longs)b & ~mask));
}

/* exp(x), x at most 700 and taken for -700 below that. x = n log 2 + rest, |rest| <= 0.35, whose
 * Taylor series is right to 2e-16 with twelve terms and 1, even and odd ones apart, so that one
 * need not wait for the other; 2^n is added to the exponent's bits. */
EACH_PART fours fours_exp(fours x)
{
    static const double terms[] = {1.0 / 479001600, 1.0 / 39916800, 1.0 / 3628800, 1.0 / 362880,
                                   1.0 / 40320,     1.0 / 5040,     1.0 / 720,     1.0 / 120,
                                   1.0 / 24,        1.0 / 6,        0.5,           1};
    const double shifter = 0x1.8p52, log_2e = 0x1.71547652b82fep0; /* rounds; 1 / log 2 */
    const double ln2 = 0x1.62e42fefa38p-1, ln2_rest = 0x1.ef35793c7673p-45;
    x = fours_choose(x > -700, x, fours_of(-700));
    fours shifted = x * log_2e + shifter, n = shifted - shifter;
    fours rest = (x - n * ln2) - n * ln2_rest, q = rest * rest;
    fours even = fours_of(terms[0]), odd = fours_of(terms[1]);
    for (size_t i = 2; i + 1 < sizeof terms / sizeof *terms; i += 2) {
        even = even * q + terms[i];
        odd = odd * q + terms[i + 1];
    }
    fours sum = (even * q + 1) + odd * rest;
    return (fours)((four_longs)sum + ((four_longs)shifted << 52));
}

EACH_PART fours normal_density(fours x)
{
    return 0.39894228040143267794 * fours_exp(-0.5 * x * x);
}

/* P(eps > x). Q over the density, Mills' ratio, is smooth in t = (x - 4.5) / (x + 4.5): of its
 * Chebyshev series from x = 0 to 38, taken to 40 digits, the first twenty terms, summed by
 * Clenshaw's recurrence: T_2k(y) = T_k(z) and T_2k+1(y) = y V_k(z) with z = T_2(y), even and odd
 * ones apart. */
EACH_PART fours normal_tail(fours x, fours density_at_x)
{
    static const double terms[] = {
        -3.0074073118184025734e-15, 1.5860572106210739708e-14,  1.1973837654818257889e-13,
        -3.9041447652380101649e-13, -4.4723043595994996972e-12, 1.2041616039253181966e-11,
        1.6906234471187369858e-10,  -5.5922085024159020698e-10, -6.4652106997270417419e-9,
        3.6614770141466078884e-8,   2.0837628359576988899e-7,   -2.6840528241435656585e-6,
        2.4599671721462380434e-6,   1.5062772155096374801e-4,   -1.6784345634167547196e-3,
        0.010925424402771375637,    -0.051778939479259549485,   0.19095382530942149941,
        -0.56005355517089920967};
    const double first = 0.43777864069674120560, reach = 38, middle = 4.5;
    const double end = (reach - middle) / (reach + middle);
    four_longs above = x > 0;
    fours far = fours_choose(above, x, -x), even = {0}, even_before = {0};
    fours odd = fours_of(terms[0]), odd_before = {0};
    far = fours_choose(far < reach, far, fours_of(reach));
    fours t = (far - middle) / (far + middle), y = (2 * t + (1 - end)) / (1 + end);
    fours z = 2 * y * y - 1, twice = 2 * z;
    for (size_t i = 1; i < sizeof terms / sizeof *terms; i += 2) {
        fours next = (terms[i] - even_before) + twice * even;
        even_before = even;
        even = next;
        next = (terms[i + 1] - odd_before) + twice * odd;
        odd_before = odd;
        odd = next;
    }
    fours sum = (first - even_before) + z * even + y * (odd - odd_before);
    fours tail = density_at_x * sum;
    return fours_choose(above, tail, 1 - tail);
}

/* The mean density on [a, a + w], w >= 0, and its derivatives in both ends. A narrow one is
 * Taylor's series about the middle m, in Hermite's polynomials: the error is below w^8 / 2e6. */
EACH_PART fours normal_mean_density(const fours *at, double w, fours *da, fours *db)
{
    fours a = *at;
    if (w < 0.25) {
        fours m = a + 0.5 * w, q = m * m, density = normal_density(m);
        double u = w * w, c2 = u / 24, c4 = u * u / 1920, c6 = u * u * u / 322560;
        fours h2 = q - 1, h4 = (q - 6) * q + 3, h6 = ((q - 15) * q + 45) * q - 15;
        fours h3 = m * (q - 3), h5 = m * ((q - 10) * q + 15);
        fours h7 = m * (((q - 21) * q + 105) * q - 105);
        fours by_m = -0.5 * density * (m + c2 * h3 + c4 * h5 + c6 * h7);
        fours by_w = density * (w / 12 * h2 + w * u / 480 * h4 + w * u * u / 53760 * h6);
        *da = by_m - by_w;
        *db = by_m + by_w;
        return density * (1 + c2 * h2 + c4 * h4 + c6 * h6);
    }
    fours b = a + w, at_a = normal_density(a), at_b = normal_density(b);
    fours inside = (normal_tail(a, at_a) - normal_tail(b, at_b)) / w;
    *da = (inside - at_a) / w;
    *db = (at_b - inside) / w;
    return inside;
}

#endif
