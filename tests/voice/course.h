/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_COURSE_H
#define VOICE_COURSE_H

/* The course of a take's flips: how far the register, the pitch and the level have changed. */

#include "register/flip.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct sung_flip {
    double time_s; /* midpoint */
    flip_direction direction;
    double span_ms;                  /* 10-90 % */
    double leap_st;                  /* step of pitch in the change itself, negative when down */
    double pitch_before_st;          /* that the old register has at time_s */
    double level_db;                 /* that the rule saw */
    bool at_will;                    /* not by the boundary */
    double settle_s, settle_after_s; /* back to what was meant, after; 0: stays */
    double dip_db;
} sung_flip;

/* All at time t (s), of n flips in order of time. */
double course_weight(int first, const sung_flip *list, size_t n, double t); /* of M2, 0..1;
                                                 `first` is 1 when the take begins in M2 */
double course_displaced_st(const sung_flip *list, size_t n, double t); /* pitch re what is meant */
double course_dip_db(const sung_flip *list, size_t n, double t);       /* 0 or less */
/* Jitter re the usual: `rough` just after a flip, else 1. */
double course_rough(const sung_flip *list, size_t n, double rough, double t);

/* 0 up to x = 0, a raised cosine up to 1 at x = 1. */
double course_smooth(double x);
/* 0 outside, 1 between them, with edges so long inside. */
double course_within(double t, double from_s, double to_s, double edge_s);

#endif
