/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef PEERS_HEAR_H
#define PEERS_HEAR_H

/* Pitch of one file by this program and by others, which run as processes of their own. */

#include "base/message.h"

#include <stddef.h>

enum { OURS, YINFFT, RAPT, SWIPE, TRACKERS };

typedef struct peer_settings {
    const char *name;
    double threshold; /* of voicing: RAPT, SWIPE' */
    double buffer_s;  /* yinfft: the power of two of samples that is nearest */
} peer_settings;

typedef struct hearing {
    size_t n;
    int rate_hz;
    double first_s, hop_s;
    double *st;      /* [n] NaN where no voice is heard */
    double *voicing; /* [n] probability; NULL but for ours */
    double sound_s;
    double spent_s; /* processor time: reading included but for yinfft */
} hearing;

/* What served each best on tuning voices. */
peer_settings hear_settings(int tracker);

/* `programs` is the folder with the program yinfft; SPTK's pitch is where Debian puts it. The
 * limits are our own for all. */
bool hear(int tracker, const peer_settings *s, const char *programs, const char *path, hearing *out,
          err *e);
void hearing_clear(hearing *h);

/* Pitch at a time: between two frames of one note their mean, weighted; else the nearer one's. */
double hearing_at(const hearing *h, const double *values, double time_s);

#endif
