/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_CHART_H
#define VOICE2_CHART_H

/* What is meant to be sung in a take of the second voice, a value a millisecond. */

#include "voice2/vocalist.h"

#include <stddef.h>

#define CHART_STEP_S 0.001

typedef enum chart_kind {
    CHART_SLIDE, /* from_st to to_st, from_db to to_db */
    CHART_SIREN, /* up and down again, twice or three times */
    CHART_SWELL, /* from_st, from_db to to_db and back */
    CHART_HOLD,
    CHART_SCALE,  /* step by step from from_st to to_st and back */
    CHART_ATWILL, /* on from_st, the register changed at will, M2 on vowel_b where there is one */
    CHART_SONG,   /* a melody between from_st and to_st, consonants, vowels to and fro */
    CHART_TUNE,   /* the same within a register, each note a syllable */
    CHART_SPEECH, /* phrases whose tune lies between from_st and to_st */
    CHART_PORTAMENTO,
    CHART_VOWELS, /* to vowel_b and back, on a note or a slide */
    CHART_DOUBLED,
    CHART_CONSONANTS,
    CHART_TRILL,
    CHART_FRY,
    CHART_WHISTLE,
    CHART_KINDS
} chart_kind;

typedef struct chart {
    chart_kind kind;
    double seconds; /* whole take */
    double from_st, to_st, from_db, to_db;
    int pinned;     /* 1 or 2: the register is held; 0: flips may come */
    char vowel_b;   /* 0: none */
    double rate_hz; /* of flips at will, or of a trill */
} chart;

typedef struct contour {
    size_t n;
    double *pitch_st, *level_db;
    double *gate;                /* 0 silent, 1 voiced */
    double *breath;              /* air drawn in before the voice */
    double *hiss;                /* fricatives and bursts */
    double *closure;             /* 1: a nasal or liquid is held */
    double *morph;               /* 0 the singer's vowel, 1 vowel_b */
    double *mouth[THROAT_VOWEL]; /* speech: octaves that F1..F3 lie off the singer's vowel */
    double *doubled;             /* depth of period doubling, 0..1 */
    double *fry;                 /* 1: pulses of fry (M0) */
    double *whistle;             /* 1: whistle (M3) */
    double vibrato;              /* share of the singer's usual */
} contour;

const char *chart_name(chart_kind k); /* as in takes.tsv; atwill as the first voice has it */
int chart_count(const vocalist *v);   /* 8..10 */
chart chart_plan(const vocalist *v, int take);

contour contour_write(const chart *c, const vocalist *v, int take);
void contour_clear(contour *c);

double chart_ease(double x); /* 0 up to 0, 1 from 1 on, x^2 (3 - 2 x) between */

#endif
