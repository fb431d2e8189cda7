/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/hazard.h"

#include <math.h>

hazard_settings hazard_defaults(void)
{
    return (hazard_settings){.rate = 0.2,
                             .leap_gain = 2.5,
                             .leap_free_st = 0.5,
                             .leap_most = 5,
                             .against = 0.3,
                             .dip_gain = 0.4,
                             .dip_most = 2};
}

static double logistic(double x)
{
    return 1 / (1 + exp(-x));
}

static double leap_odds(const hazard_settings *s, double leap_st)
{
    return fmin(s->leap_most, s->leap_gain * fmax(0, leap_st - s->leap_free_st));
}

void hazard_measure(const evidence *ev, const hazard_settings *s, double *up, double *down)
{
    for (size_t i = 0; i < ev->n; i++) {
        double frames = isinf(ev->gap_s[i]) ? 1 : fmax(1, ev->gap_s[i] / 0.005);
        double base = log(s->rate * 0.005 * frames);
        double rising = leap_odds(s, ev->leap_st[i]), falling = leap_odds(s, -ev->leap_st[i]);
        double dip = fmin(s->dip_most, s->dip_gain * fmax(0, ev->dip_db[i] - 1));
        up[i] = logistic(base + dip + rising + s->against * falling);
        down[i] = logistic(base + dip + falling + s->against * rising);
    }
}

/* Newton's method, three unknowns; a prior keeps the odds from a cliff: slope on pitch about
 * 0.3 +- 0.3 per semitone, on level 0 +- 0.1 per dB, a frame counting as a hundredth. */
place place_fit(const evidence *ev, const double *p2)
{
    place p = {.pitch = 0.3};
    double sum = 0;
    for (size_t i = 0; i < ev->n; i++)
        sum += ev->pitch_st[i];
    p.mid = ev->n ? sum / (double)ev->n : 0;
    for (int round = 0; round < 12; round++) {
        double g[3] = {-p.at / 9, -(p.pitch - 0.3) / 0.09, -p.level / 0.01};
        double h[3][3] = {{1 / 9.0, 0, 0}, {0, 1 / 0.09, 0}, {0, 0, 1 / 0.01}};
        for (size_t i = 0; i < ev->n; i += 4) {
            double x[3] = {1, ev->pitch_st[i] - p.mid, -ev->level_db[i]};
            double q = logistic(p.at + p.pitch * x[1] + p.level * x[2]);
            for (int a = 0; a < 3; a++) {
                g[a] += 0.04 * (p2[i] - q) * x[a];
                for (int b = 0; b < 3; b++)
                    h[a][b] += 0.04 * q * (1 - q) * x[a] * x[b];
            }
        }
        for (int a = 0; a < 3; a++)
            for (int b = a + 1; b < 3; b++) {
                double f = h[b][a] / h[a][a];
                for (int c = a; c < 3; c++)
                    h[b][c] -= f * h[a][c];
                g[b] -= f * g[a];
            }
        double d2 = g[2] / h[2][2], d1 = (g[1] - h[1][2] * d2) / h[1][1];
        p.at += (g[0] - h[0][1] * d1 - h[0][2] * d2) / h[0][0];
        p.pitch = fmax(0, p.pitch + d1);
        p.level += d2;
    }
    return p;
}

void place_measure(const evidence *ev, const place *p, double *log_odds)
{
    for (size_t i = 0; i < ev->n; i++) {
        double odds = p->at + p->pitch * (ev->pitch_st[i] - p->mid) - p->level * ev->level_db[i];
        log_odds[i] = fmin(fmax(odds, -6), 6);
    }
}
