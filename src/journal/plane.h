/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_PLANE_H
#define JOURNAL_PLANE_H

/* A singer's takes of one vowel on one plane of pitch and level, ready for the boundary.
 *
 * Level: dB SPL at 30 cm when every session of the plane is calibrated; otherwise each session's
 * levels re the median of its voiced frames, over all its takes of whatever vowel: the best that
 * sessions with the same set-up allow. */

#include "fit/boundary.h"
#include "journal/journal.h"

#include <stdbool.h>
#include <stddef.h>

typedef enum plane_use {
    PLANE_COUNTS,  /* the flip was let happen */
    PLANE_HELD,    /* a register was to be held: the singer turns back because the flip is near */
    PLANE_AT_WILL, /* the register was changed at will on one pitch */
    PLANE_USES
} plane_use;

typedef struct plane_session {
    char *date;
    size_t first, n;  /* its takes among the plane's, which lie together */
    double median_db; /* of its voiced frames on the track's own scale; NaN without voice */
} plane_session;

typedef struct plane {
    char *vowel; /* "" when not stated */
    journal_vowel *vowels;
    size_t n_vowels; /* all that the singer has, most takes first */
    bool calibrated; /* levels are dB SPL at 30 cm, else dB re session median */
    bool pitch_only; /* false; true when a caller has left levels out, all 0 then */
    size_t n;        /* takes, sessions in date order */
    journal_item *items;
    path *paths;     /* [n], levels on the plane's scale; they borrow from items and levels */
    plane_use *use;  /* [n] */
    double **levels; /* [n] */
    size_t n_sessions;
    plane_session *sessions;
} plane;

/* vowel NULL: the one with most takes. False on: unknown singer, a vowel that the singer has not
 * (the sentence names those there are), a singer without judged takes, an unreadable journal. */
bool plane_load(journal *j, const char *singer, const char *vowel_or_null, plane *out, err *e);
void plane_clear(plane *p);

/* "dB SPL (Z, 30 cm)" or "dB re session median"; "not known (automatic gain)". */
const char *plane_level_scale(const plane *p);
size_t plane_count(const plane *p, plane_use use);

/* The takes first..first+n-1 that count, in a new array for boundary_fit; n_out of them. */
path *plane_counting(const plane *p, size_t first, size_t n, size_t *n_out);
/* The boundary of those takes, whose sessions may scatter; at_db NaN: their median level. Fails as
 * boundary_fit. */
bool plane_fit(const plane *p, size_t first, size_t n, double at_db, boundary **out, err *e);

#endif
