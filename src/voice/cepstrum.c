/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/cepstrum.h"

#include <gsl/gsl_fit.h>
#include <math.h>

enum { FEWEST_HARMONICS = 3, LONGEST = 4 * SPECTRUM_HARMONICS };
static const double floor_share = 1e-10;

void cepstrum_of(const double *log_amplitude, int last, int n, double *out)
{
    for (int m = 0; m < n; m++) {
        double turn = 2 * cos(M_PI * m / last), before = 1, now = turn / 2;
        double sum = (log_amplitude[0] + log_amplitude[last] * (m % 2 ? -1 : 1)) / 2;
        for (int k = 1; k < last; k++) {
            double next = turn * now - before;
            sum += log_amplitude[k] * now;
            before = now;
            now = next;
        }
        out[m] = sum / last;
    }
}

/* From half of the pitch to half of it past the last harmonic: about both ends the comb of the
 * harmonics is its own mirror image, as the cosine transform takes it to be. */
static void log_amplitudes(const spectrum *s, int last, double *out)
{
    const double *power = s->power + s->periods / 2;
    double most = 0;
    for (int k = 0; k <= last; k++)
        most = fmax(most, power[k]);
    for (int k = 0; k <= last; k++)
        out[k] = log(fmax(power[k], floor_share * most) + 1e-300) / 2;
}

double cepstral_prominence_db(const spectrum *s)
{
    if (s->harmonics < FEWEST_HARMONICS)
        return (double)NAN;
    int last = s->harmonics * s->periods, period = 2 * s->harmonics;
    int from = (period + 3) / 4, to = 2 * period;
    double log_amplitude[SPECTRUM_BINS], c[LONGEST + 2], db[LONGEST + 1], at[LONGEST + 1];
    log_amplitudes(s, last, log_amplitude);
    cepstrum_of(log_amplitude, last, to + 2, c);
    for (int m = from; m <= to; m++) {
        double power = (c[m - 1] * c[m - 1] + c[m] * c[m] + c[m + 1] * c[m + 1]) / 3;
        db[m] = 10 * log10(power + 1e-300);
        at[m] = m;
    }
    double start, slope, ignored[4];
    gsl_fit_linear(at + from, 1, db + from, 1, (size_t)(to - from + 1), &start, &slope, &ignored[0],
                   &ignored[1], &ignored[2], &ignored[3]);
    return db[period] - start - slope * period;
}
