/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_EVIDENCE_H
#define REGISTER_EVIDENCE_H

/* What the register is told from: the voiced frames of all takes in one row of arrays, but for
 * those without any harmonic, which trills of lips and tongue are. */

#include "voice/track.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { HARMONICS = TRACK_HARMONICS };

#define EVIDENCE_NONE SIZE_MAX
static const double EVIDENCE_LAG_S = 0.1;

typedef struct evidence {
    size_t n;                 /* voiced frames */
    double hop_s;             /* from one to the next where the voice goes on: 0.005, or that
                                  of thin_evidence() */
    size_t *take;             /* [n] which track */
    size_t *frame;            /* [n] which frame of it */
    double *gap_s;            /* [n] time since the voiced frame before; INFINITY where a new
                                  stretch of voice begins (another take, or silence over 0.15 s) */
    size_t *before;           /* [n] the frame EVIDENCE_LAG_S before it in the same stretch, or
                                   EVIDENCE_NONE */
    double *edge_s;           /* [n] time to the nearer end of what is sung in its stretch; below 0
                                   in on- and offset and in a room's tail */
    double *pitch_st, *hz;    /* [n] the pitch in semitones and in Hz */
    double *level_db;         /* [n] re the median of its take's session scale: mean 0 over all */
    float (*y_db)[HARMONICS]; /* [n] harmonic levels, noise taken off; NaN when too weak */
    float (*var)[HARMONICS];  /* [n] variance of y from noise, dB^2; NaN likewise */
    float (*warp)[HARMONICS]; /* [n] log2(1 + f / 300 Hz) of each harmonic, the tract's axis */
    double *leap_st; /* [n] step of pitch with the trend removed, only at its peaks, else 0 */
    double *sudden;  /* [n] where there is a leap, the share of it that the pitch moves in 40 ms */
    double *kink;    /* [n] and the share of it by which 25 ms move more than the 25 ms before and
                        after do on average; NaN where the voice has a hole */
    double *trip;    /* [n] of a leap away for a moment, and of the one back, how surely both are
                        quicker than a voice moves at will, 0..1 (register/trips.h); else 0 */
    double *slide;   /* [n] and the semitones a second by which the pitch slides the same way both
                        before and after it, 0 where it does not */
    /* [n] What the level does about a frame; NaN where there is too little voice: how far the 65 ms
       about it lie under what is 80 to 180 ms away; 60 to 160 ms after less as long before. */
    double *dip_db, *step_db;
    /* [n] log(1 + nats) that speak for a sudden step of pitch and level, see register/breaks.h;
       negative where the step is downward */
    double *pitch_break, *level_break;
    declared_register *declared; /* [n] of the take, or as stated of the frame */
    unsigned char *stated;       /* [n] as in voice/track.h; 0: nothing */
    void *block;                 /* all of these lie in it */
} evidence;

evidence *evidence_new(track *const *tracks, size_t n_tracks);
void evidence_free(evidence *ev);
/* n frames 5 ms apart whose arrays hold 0. */
evidence *evidence_alloc(size_t n);

/* Seconds of voice that are stated to be in the register of which less is stated. */
double evidence_told_s(const evidence *ev);

double evidence_warp(double hz); /* log2(1 + hz / 300) */
/* The least warp of a first harmonic, infinite for n = 0, and the greatest of any that is heard, 0
 * for none. */
void evidence_range(const evidence *ev, double *lo, double *hi);

static inline double evidence_time(const evidence *ev, track *const *tracks, size_t i) /* s */
{
    return tracks[ev->take[i]]->time_s[ev->frame[i]];
}

static inline bool evidence_of_takes(const evidence *ev) /* of several; n > 0 */
{
    return ev->take[0] != ev->take[ev->n - 1];
}

/* [ev->n] of all frames; free() it. */
double *evidence_times(const evidence *ev, track *const *tracks);

static inline size_t evidence_frames(const evidence *ev, double s) /* in so long a time */
{
    return (size_t)(s / ev->hop_s + 0.5);
}

#endif
