/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_SCORE_H
#define VOICE_SCORE_H

/* What is meant to be sung in one take: contours of pitch and level, one value a millisecond. */

#include "voice/singer.h"

#include <stddef.h>

#define SCORE_STEP_S 0.001

typedef enum score_kind {
    SCORE_SLIDE,  /* from_st to to_st, level_db to to_db */
    SCORE_UPDOWN, /* from_st to to_st and back */
    SCORE_SWELL,  /* from_st throughout, level_db to to_db and back */
    SCORE_HOLD,   /* from_st and level_db throughout */
    SCORE_ATWILL, /* a hold in which the register is changed at will, again and again */
    SCORE_MELODY, /* notes and legato leaps between from_st and to_st */
    SCORE_SONG,   /* a melody in sung steps, with consonants and vowels that change */
    /* What tempts a listener to hear a flip where there is none (tempt.h): */
    SCORE_PORTAMENTO, /* between from_st and to_st, again and again */
    SCORE_VOWELS,     /* to vowel_b and back, on a slide from from_st to to_st */
    SCORE_DOUBLED,    /* every other period differs for a while */
    SCORE_CONSONANTS, /* stops, fricatives and nasals in a melody */
    SCORE_TRILL,      /* trills or wide vibrato on notes between from_st and to_st */
    SCORE_ORNAMENTS,  /* fast notes anywhere between from_st and to_st, each with its own stress */
    SCORE_KINDS
} score_kind;

typedef struct score {
    score_kind kind;
    double seconds; /* whole take, silence at both ends included; >= 2 */
    double from_st, to_st;
    double level_db, to_db; /* dB re full scale */
    int held;               /* 1 or 2: no flip, whatever the boundary says; 0: let it happen */
    double rate_hz;         /* of flips at will; 0: as usual */
    char vowel_b;           /* of SCORE_VOWELS and SCORE_SONG, and of SCORE_ATWILL in M2, one of
                               aeiou; else 0 */
} score;

typedef struct score_line {
    size_t n;
    double *pitch_st, *level_db;
    double *gate;   /* 0 silent, 1 full voice, ramps between */
    double *breath; /* the same for breathing in before the voice sets in */
    /* 0..1, all 0 where nothing tempts: */
    double *morph;   /* share of the way to vowel_b */
    double *doubled; /* how much softer every other period is */
    double *hiss;    /* fricatives and bursts */
    double *nasal;   /* the mouth is shut, the voice goes on */
    double vibrato;  /* share of the singer's usual vibrato */
} score_line;

const char *score_kind_name(score_kind k);
score_kind score_kind_by_name(const char *name); /* SCORE_KINDS when there is none */

/* The family's takes, in order: slides up and down, up-and-down, swells at several levels, and
 * some without a flip. */
int score_count(const singer *s);            /* 8..10 */
score score_plan(const singer *s, int take); /* take from 0 */

score_line score_write(const score *sc, const singer *s, int take);
void score_line_clear(score_line *l);

#endif
