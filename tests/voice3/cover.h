/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE3_COVER_H
#define VOICE3_COVER_H

/* The folds of the third voice: three masses a side, both sides alike, which the air sets moving.
 *
 * The cover model with three masses and plates between them (Tokuda, Horacek, Svec and Herzel 2007,
 * on the plates of Lous et al. 1998; equations from memory, parameters our own):
 *
 *   m x" + r x' + k x + sum of k_between (x - x of the neighbour) + collision = force of the air
 *   r = 2 damping sqrt(m k); collision: three times k and more damping while a mass meets its twin
 *
 * Air: Bernoulli as far as the jet leaves the wall, where the gap is 1.2 times the narrowest one
 * above; no pressure comes back after that. Nothing says what the register is.
 *
 * Tension 1 is the slackest: k grows as its power, and stretched folds part. */

#define COVER_MASSES 3

typedef struct cover { /* a side; from below to above */
    double mass_kg[COVER_MASSES], stiffness_n_m[COVER_MASSES], between_n_m[COVER_MASSES - 1];
    double damping[COVER_MASSES], contact_damping;
    double rest_m[COVER_MASSES];  /* from the middle, at tension 1 */
    double parting_m;             /* more of it for each e-fold of tension */
    double stretch[COVER_MASSES]; /* power of tension in stiffness */
} cover;

typedef struct cover_state {
    double x_m[COVER_MASSES], v_m_s[COVER_MASSES];
} cover_state;

#define COVER_LENGTH_M 0.014

/* Where the folds are: gaps between the sides (negative: they press). */
typedef struct cover_gaps {
    double gap_m[COVER_MASSES + 2]; /* with the ends, which do not move */
    double jet_m2;                  /* area at which the jet leaves; 0 closed */
    double area_m2;                 /* narrowest; 0 closed */
    double contact;                 /* share of the folds' depth that touches, 0..1 */
} cover_gaps;

cover_gaps cover_measure(const cover *c, const cover_state *s, double tension);

/* One step of time (semi-implicit Euler) under the pressures below and above (Pa). */
void cover_step(const cover *c, cover_state *s, const cover_gaps *g, double tension,
                double below_pa, double above_pa, double step_s);

#endif
