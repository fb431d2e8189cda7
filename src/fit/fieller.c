/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/fieller.h"

#include <math.h>

bool fieller(double a, double b, double aa, double ab, double bb, double t, double *lo, double *hi)
{
    double square = b * b - t * t * bb, linear = 2 * (a * b - t * t * ab);
    double root = linear * linear - 4 * square * (a * a - t * t * aa);
    if (!(square > 0) || root < 0)
        return false;
    *lo = (-linear - sqrt(root)) / (2 * square);
    *hi = (-linear + sqrt(root)) / (2 * square);
    return true;
}
