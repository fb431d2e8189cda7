/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_GLOTTIS_H
#define VOICE2_GLOTTIS_H

/* The second voice's pulse: glottal flow after Rosenberg 1971 (JASA 49:583, his trigonometric
 * type; from memory), a raised half cosine that opens and a quarter cosine that closes, with a
 * corner at closure. How softly the folds close is a filter of its own, one pole at tilt_hz, as in
 * the source of Klatt & Klatt 1990 (JASA 87:820; from memory).
 *
 * Time runs 0..1 in periods; the flow's maximum is 1. Harmonics are those of the flow's derivative,
 * which is what is radiated. */

#include <complex.h>

typedef struct glottis {
    double open; /* open quotient, 0.1..1 */
    double skew; /* share of the open phase in which the flow rises, 0.5..0.9 */
} glottis;

double glottis_flow(const glottis *g, double t); /* t in 0..1 */
/* Fourier coefficient h of the flow, integral of flow(t) exp(-2 pi i h t); h >= 0. */
double complex glottis_coefficient(const glottis *g, int h);
/* Amplitude of harmonic h >= 1 of the derivative by time in s, pulses of f0_hz, after the pole. */
double glottis_harmonic(const glottis *g, double tilt_hz, double f0_hz, int h);
double glottis_h1h2_db(const glottis *g, double tilt_hz, double f0_hz);
/* The open quotient, GLOTTIS_LEAST..GLOTTIS_MOST, that gives an H1-H2 (which rises over that range
 * and hardly beyond, given skew <= 0.75); the nearer end when there is none. */
double glottis_open_for(double h1h2_db, double skew, double tilt_hz, double f0_hz);

#define GLOTTIS_LEAST 0.3 /* Henrich et al. 2005: 0.3-0.8 in M1, 0.5-0.95 in M2 (from memory) */
#define GLOTTIS_MOST 0.84

#endif
