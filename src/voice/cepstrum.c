/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/cepstrum.h"

#include <gsl/gsl_fit.h>
#include <math.h>

enum { AT_ONCE = 4, FEWEST_HARMONICS = 3, LONGEST = 4 * SPECTRUM_HARMONICS };
static const double floor_share = 1e-10;

/* Times m..m + AT_ONCE - 1: each cosine comes from the two before it, and the processor works on
 * all of these times at once. */
static void transform(const double *log_amplitude, int last, int m, double *out)
{
    double turn[AT_ONCE], before[AT_ONCE], now[AT_ONCE];
    for (int i = 0; i < AT_ONCE; i++) {
        turn[i] = 2 * cos(M_PI * (m + i) / last);
        before[i] = 1;
        now[i] = turn[i] / 2;
        out[i] = (log_amplitude[0] + log_amplitude[last] * ((m + i) % 2 ? -1 : 1)) / 2;
    }
    for (int k = 1; k < last; k++)
        for (int i = 0; i < AT_ONCE; i++) {
            double next = turn[i] * now[i] - before[i];
            out[i] += log_amplitude[k] * now[i];
            before[i] = now[i];
            now[i] = next;
        }
}

void cepstrum_of(const double *log_amplitude, int last, int n, double *out)
{
    double some[AT_ONCE];
    for (int m = 0; m < n; m += AT_ONCE) {
        transform(log_amplitude, last, m, some);
        for (int i = 0; i < AT_ONCE && m + i < n; i++)
            out[m + i] = some[i] / last;
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
