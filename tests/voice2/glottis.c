/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/glottis.h"

#include <math.h>

double glottis_flow(const glottis *g, double t)
{
    double peak = g->skew * g->open;
    if (t < 0 || t >= g->open)
        return 0;
    return t < peak ? 0.5 - 0.5 * cos(M_PI * t / peak)
                    : cos(M_PI / 2 * (t - peak) / (g->open - peak));
}

/* Integral of exp(i a t) from lo to hi. */
static double complex turning(double a, double lo, double hi)
{
    if (fabs(a) < 1e-9)
        return hi - lo;
    return (cexp(I * a * hi) - cexp(I * a * lo)) / (I * a);
}

double complex glottis_coefficient(const glottis *g, int h)
{
    double w = 2 * M_PI * h, peak = g->skew * g->open, open = g->open;
    double rise = M_PI / peak, fall = M_PI / 2 / (open - peak);
    double complex opening = 0.5 * turning(-w, 0, peak) -
                             0.25 * (turning(rise - w, 0, peak) + turning(-rise - w, 0, peak));
    double complex closing = 0.5 * (cexp(-I * fall * peak) * turning(fall - w, peak, open) +
                                    cexp(I * fall * peak) * turning(-fall - w, peak, open));
    return opening + closing;
}

double glottis_harmonic(const glottis *g, double tilt_hz, double f0_hz, int h)
{
    double f = h * f0_hz;
    return 2 * 2 * M_PI * f * cabs(glottis_coefficient(g, h)) / hypot(1, f / tilt_hz);
}

double glottis_h1h2_db(const glottis *g, double tilt_hz, double f0_hz)
{
    return 20 *
           log10(glottis_harmonic(g, tilt_hz, f0_hz, 1) / glottis_harmonic(g, tilt_hz, f0_hz, 2));
}

double glottis_open_for(double h1h2_db, double skew, double tilt_hz, double f0_hz)
{
    double lo = GLOTTIS_LEAST, hi = GLOTTIS_MOST;
    for (int i = 0; i < 40; i++) {
        glottis g = {(lo + hi) / 2, skew};
        if (glottis_h1h2_db(&g, tilt_hz, f0_hz) < h1h2_db)
            lo = g.open;
        else
            hi = g.open;
    }
    return (lo + hi) / 2;
}
