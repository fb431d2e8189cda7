/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_TRUTH_H
#define VOICE_TRUTH_H

/* The truth of a test singer, read back from the tables beside the takes (see studio.h). */

#include "base/message.h"
#include "register/flip.h"

#include <stddef.h>

#define TRUTH_HOP_S 0.005

typedef struct truth_flip {
    double time_s, span_ms, leap_st, pitch_before_st, level_db;
    flip_direction direction;
} truth_flip;

typedef struct truth_take {
    char *name; /* file in the folder */
    char *kind;
    size_t n;                    /* frames, from time 0 every TRUTH_HOP_S */
    double *pitch_st, *level_db; /* NaN, -INFINITY when not voiced */
    unsigned char *reg;          /* 1, 2; 0 not voiced */
    double *contact;             /* contact quotient; NaN not voiced; NULL without an EGG */
    unsigned char *egg_lost;     /* 1: no contact with the skin; NULL likewise */
    size_t n_flips;
    truth_flip *flips; /* in order of time */
} truth_take;

typedef struct truth {
    size_t n;
    truth_take *takes;
    double up_st, down_st, slope, level_db; /* the boundary */
    int egg_channel;                        /* from 1; 0 without an EGG */
} truth;

bool truth_read(const char *folder, truth *out, err *e);
void truth_clear(truth *t);

/* Pitch of the boundary at a level. */
double truth_boundary_st(const truth *t, flip_direction d, double level_db);
/* The step of pitch as a listener would measure it: means of the 50 ms on both sides of the span;
 * NaN when one side is not voiced. */
double truth_heard_leap(const truth_take *t, const truth_flip *f);

#endif
