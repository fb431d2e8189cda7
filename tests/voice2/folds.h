/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_FOLDS_H
#define VOICE2_FOLDS_H

/* Contact between the vocal folds of the second voice over one cycle.
 *
 * The medial surface moves as in Titze 1984 (JASA 75:570) and 1989 (Speech Communication 8:191),
 * from memory: at height z and place y along the fold, both 0..1, the fold stands off the middle by
 *
 *   gap + converge (1/2 - z) + sin(pi y) sin(2 pi t - delay (z - 1/2)),
 *
 * in units of its amplitude, its lower edge ahead of the upper one. What is closer than 0 touches,
 * softly. Thick folds (M1: a long delay, converging) close at once and peel open from below; thin
 * ones (M2: no delay, apart at rest) touch briefly and as they come, so they part. */

enum { FOLDS_PHASES = 128 };

typedef struct folds {
    double gap;      /* at rest; negative: pressed together */
    double converge; /* how much wider they stand below than above */
    double delay;    /* radians by which the lower edge leads */
    double soft;     /* depth over which tissue comes into full contact */
} folds;

typedef struct folds_cycle {
    double contact[FOLDS_PHASES]; /* share of the surface; starts where it is least */
    double most, least;
    double closing;       /* phase 0..1 of its fastest rise */
    double contact_share; /* contact quotient: from there to where contact falls to 3/7 of the way
                             up from least to most */
    double peaks_share;   /* from there to its fastest fall */
} folds_cycle;

void folds_move(const folds *f, folds_cycle *out);
double folds_contact(const folds_cycle *c, double phase); /* 0..1, of the cycle that starts at 0 */

#endif
