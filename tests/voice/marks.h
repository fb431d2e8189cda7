/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_MARKS_H
#define VOICE_MARKS_H

/* What was found, held against the truth: the counts behind the accuracy table.
 *
 * Marks of takes, singers and families add up. Truth-voiced frames are those with a register. A
 * frame is near a transition within 20 ms of the 10-90 % span of a true flip. Only asserted flips
 * count as found. */

#include "register/flip.h"
#include "voice/contact_marks.h"
#include "voice/track.h"
#include "voice/truth.h"

#include <stddef.h>

#define MARKS_MATCH_S 0.06 /* same direction, this near: the same flip */
#define MARKS_GROSS_ST 0.5 /* or missed: a gross error of pitch */
#define MARKS_TAIL_S 0.1   /* after and before voice, nobody can say whether there is voice */

typedef struct numbers { /* a growing list */
    size_t n, room;
    double *items;
} numbers;

/* How often flips of a given confidence are true: tenths of it, doubtful ones too. */
enum { MARKS_TENTHS = 10 };
typedef struct confidence_tenth {
    size_t listed, matched;
    double confidence; /* sum */
} confidence_tenth;

typedef struct marks {
    size_t takes;
    double minutes;             /* truth-voiced */
    size_t voiced[2], gross[2]; /* frames away from transitions; near them */
    size_t silent, false_voiced;
    size_t reg_frames, reg_right; /* transitions' 10-90 % spans left out */
    size_t true_flips, found_flips, matched;
    size_t still_takes, still_false; /* takes without a true flip, and the flips found in them */
    double still_minutes;
    confidence_tenth tenths[MARKS_TENTHS];
    double squares;           /* sum of (confidence - whether it is true)^2 */
    size_t singles, misnamed; /* singers of one register; those called by the other's name */
    numbers cents;            /* |pitch error| of frames that are not gross */
    numbers time_ms;          /* |time error| of matched flips */
    numbers leap_st;          /* |error| of the leap of matched flips, as heard */
    numbers level_db;         /* |level error| of voiced frames */
    size_t boundaries, told,
        covered;         /* up and down are two; told by the fit; inside its interval */
    numbers boundary_st; /* |error| of those told */
    contact_marks contact;
} marks;

void marks_take(marks *m, const truth_take *true_take, const track *found, const flips *found_flips,
                double assert_at);
/* Where a singer's takes have one register alone: whoever gives them as one register is right, by
 * whatever name, also without one (a source's own colour cannot be told from the tract's). Makes
 * m->reg_right the number of frames with the commonest label; for one singer's marks, after all
 * takes. Singers with two registers are left as they are. */
void marks_single(marks *m, const truth *t, track *const *found);
/* One direction's boundary: found (NaN: not told) with its interval against the true pitch. */
void marks_boundary(marks *m, double true_st, double found_st, double lo_st, double hi_st);
void marks_add(marks *sum, const marks *m);
void marks_clear(marks *m);

/* For each true flip the index of the found one that matches it, or -1: nearest pairs first. */
void marks_match(const truth_take *true_take, const flips *found, double assert_at, long *match);

double marks_brier(const marks *m);             /* NaN when nothing is listed */
double marks_calibration_error(const marks *m); /* expected; NaN when nothing is listed */
/* What that is on average where so many flips, given such confidences, are true as often as it is
 * said; NaN likewise. */
double marks_calibration_by_chance(const marks *m);
double marks_precision(const marks *m); /* NaN when nothing was found */
double marks_recall(const marks *m);    /* NaN when there was nothing to find */
double marks_f1(const marks *m);        /* 0 when nothing matches; NaN when nothing was there */

void numbers_append(numbers *l, double value);
double numbers_quantile(const numbers *l, double q); /* NaN when empty */

#endif
