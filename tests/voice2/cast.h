/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_CAST_H
#define VOICE2_CAST_H

/* The second voice's families. Their difficulty was fixed before any tuning, from what singing
 * teachers meet and from published ranges: only a mistake in the voice itself is a reason to change
 * a row.
 *
 * First families with flips, then families in which no take has one and all takes of a singer are
 * of that kind, then the same with half of the takes replaced by takes with the singer's own flips.
 * A pair is the range from which each singer draws, uniformly. */

#include <stdbool.h>

typedef enum cast_family {
    CAST_CLEAR,
    CAST_SMOOTH,
    CAST_LOW_CONTRAST,
    CAST_BREATHY,
    CAST_VIBRATO,
    CAST_NOISY_ROOM,
    CAST_VOWEL_O,
    CAST_VOWEL_U,
    CAST_VOWEL_I,
    CAST_WOMAN_LOW,
    CAST_WOMAN_HIGH,
    CAST_YODEL,
    CAST_SYLLABLES,
    CAST_SONG,
    CAST_SPEECH,
    CAST_LILT,
    CAST_STILL, /* from here on the families without a flip */
    CAST_ONE_REGISTER = CAST_STILL,
    CAST_PORTAMENTO,
    CAST_VOWEL_CHANGE,
    CAST_CROSSING,
    CAST_DOUBLING,
    CAST_CONSONANTS,
    CAST_TRILL,
    CAST_FRY,
    CAST_WHISTLE,
    CAST_TUNE,
    CAST_BESIDE, /* the same ten again */
    CAST_FAMILIES = CAST_BESIDE + CAST_BESIDE - CAST_STILL
} cast_family;

typedef enum cast_sex { CAST_EITHER, CAST_MAN, CAST_WOMAN } cast_sex;

typedef struct cast_row {
    const char *name, *sentence;
    cast_sex sex;
    const char *vowels;    /* the singer has one of them */
    double edge_st[2];     /* up-flips at the middle level */
    double leap_st[2];     /* the singer's usual leap */
    double span_ms[2];     /* 10-90 % time, drawn for each flip */
    double step_db[2];     /* source H1-H2, M2 over M1, at the boundary and the middle level */
    bool even;             /* source and level change alike with pitch and level in both */
    double tilt_share[2];  /* tilt pole of M2 over that of M1 */
    double gain_db[2];     /* level of M2 re M1, where it steps at all */
    double dip_db[2];      /* dip of level within a flip, where there is one */
    double air_db[2];      /* breath noise re the voice in M1 */
    double more_air_db[2]; /* how much more in M2 */
    double vibrato_share;  /* of singers */
    double vibrato_st[2];  /* peak from the middle */
    double snr_db[2];      /* voice over the room's noise */
    double room_share;     /* of singers not in a dry room */
    double direct_db[2];   /* direct sound over all that is reflected, when not dry */
} cast_row;

cast_row cast_get(cast_family f, bool woman);
bool cast_beside(cast_family f);
/* CAST_FAMILIES when there is none of that name. */
cast_family cast_by_name(const char *name);

#endif
