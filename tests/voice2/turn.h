/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_TURN_H
#define VOICE2_TURN_H

/* The course of a take's flips in the second voice: how far register, pitch and level are at a
 * time. Each flip replaces what the one before has left. */

#include "voice2/vocalist.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct turn {
    double time_s; /* half-way */
    bool up;       /* M1 to M2 */
    vocalist_turn kind;
    double span_ms; /* 10-90 % of the change of register */
    double from_st; /* pitch re what is meant, at time_s, had there been no flip */
    double to_st;   /* and just after */
    double over;    /* share of the leap by which the pitch overshoots, over over_s */
    double over_s;
    double back, back_after_s, back_tau_s; /* share of to_st that goes, when and how fast */
    double dip_db;                         /* 0 or less */
    bool unheard;                          /* while the voice rests: no flip */
    int ragged;                            /* irregular cycles around time_s */
    double pitch_st, level_db;             /* of the old register at time_s, as the rule saw them */
} turn;

/* All at time t (s), for n turns in order of time. */
double turn_weight(bool light, const turn *list, size_t n, double t); /* of M2, 0..1; `light`: the
                                                                take begins in M2 */
double turn_away_st(const turn *list, size_t n, double t);            /* pitch re what is meant */
double turn_dip_db(const turn *list, size_t n, double t);

#endif
