/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_LF_H
#define VOICE_LF_H

/* The LF pulse: one period of the glottal flow's derivative (Fant, Liljencrants & Lin 1985), with
 * its shape from Rd (Fant 1995; above Rd 2.7 Huber & Roebel 2014).
 *
 * Time runs 0..1 in periods, the derivative's negative peak Ee is 1. A real pulse of period T0 and
 * peak Ee has derivative Ee e(t/T0) and flow Ee T0 u(t/T0). */

#include <complex.h>

typedef struct lf_pulse {
    double ra, rk, rg;        /* shape: return phase, skew, and speed of the opening */
    double tp, te, ta;        /* flow maximum, negative peak, return constant; in periods */
    double omega, alpha, eps; /* pi / tp; growth of the open phase; decay of the return phase */
    double e0;                /* amplitude of the open phase */
    double u0;                /* flow maximum */
} lf_pulse;

enum { LF_MAP = 48 };
/* Rd 0.3..2.7 against H1-H2 (dB), for a source with a given return phase. */
typedef struct lf_map {
    double rd[LF_MAP], h1h2_db[LF_MAP];
} lf_map;

/* rd 0.2..3.2; the return phase is ra_factor times what Rd says (1 is Fant's own), which moves the
 * spectrum's high end apart from its low end. */
lf_pulse lf_from_rd(double rd, double ra_factor);

double lf_open(double rd);                            /* te alone: the open quotient */
double lf_derivative(const lf_pulse *p, double t);    /* t in 0..1 */
double lf_flow(const lf_pulse *p, double t);          /* its integral from 0; 0 at t = 1 */
double complex lf_harmonic(const lf_pulse *p, int h); /* Fourier coefficient h of e, h >= 1 */
double lf_h1h2_db(const lf_pulse *p);                 /* level of harmonic 1 over harmonic 2 */

lf_map lf_map_new(double ra_factor);
double lf_map_rd(const lf_map *m, double h1h2_db); /* clamped to the map's ends */

#endif
