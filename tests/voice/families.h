/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_FAMILIES_H
#define VOICE_FAMILIES_H

/* The families of test voices. Their difficulty was fixed before any tuning: only a mistake in the
 * voice itself is a reason to change a row.
 *
 * A pair is the range from which each singer draws, uniformly. The step of H1-H2 is that of the
 * source (LF pulse) from M1 to M2 at equal pitch and level. */

#include <stdbool.h>

typedef enum family {
    FAMILY_CLEAR,
    FAMILY_SMOOTH,
    FAMILY_LOW_CONTRAST,
    FAMILY_WOMAN,
    FAMILY_NOISY_ROOM,
    FAMILY_VOWEL_O,
    FAMILY_VOWEL_U,
    FAMILY_BREATHY,
    FAMILY_VIBRATO,
    FAMILY_VOWEL_I,
    FAMILY_WOMAN_LOW,
    FAMILY_WOMAN_HIGH,
    FAMILY_YODEL,
    FAMILY_DWINDLING,
    FAMILY_SYLLABLES,
    FAMILY_SONG,
    FAMILY_LILT,
    FAMILY_STILL, /* from here on no take has a flip, */
    FAMILY_ONE_REGISTER = FAMILY_STILL,
    FAMILY_PORTAMENTO,
    FAMILY_VOWEL_CHANGE,
    FAMILY_CROSSING,
    FAMILY_DOUBLING,
    FAMILY_CONSONANTS,
    FAMILY_TRILL,
    FAMILY_ORNAMENTS,
    FAMILY_TUNE,
    FAMILY_BESIDE, /* and from here on every other take is a usual one, with the singer's flips */
    FAMILIES = FAMILY_BESIDE + FAMILY_BESIDE - FAMILY_STILL
} family;

typedef enum family_sex { SEX_EITHER, SEX_MAN, SEX_WOMAN } family_sex;

typedef struct family_row {
    const char *name, *sentence;
    family_sex sex;
    char vowel;              /* one of aeiou */
    double leap_st[2];       /* the singer's usual leap; each flip varies by a fifth around it */
    double span_ms[2];       /* 10-90 % time of a change, drawn for each flip */
    double step_db[2];       /* source H1-H2, M2 over M1 */
    bool same_slopes;        /* the step is the same at every pitch and level */
    double ra_ratio[2];      /* return phase in M2 over that in M1, beyond what Rd says */
    double noise_m1_db[2];   /* breath noise re the voice at the singer's middle level */
    double noise_more_db[2]; /* how much more in M2 */
    double snr_db[2];        /* take over microphone and room noise, broadband */
    double room_share;       /* share of singers who are not in a dry room */
    double direct_db[2];     /* direct sound over everything reflected, when not dry */
    double rt60_s[2];
} family_row;

typedef struct family_more { /* beyond the row; both 0: as usual */
    double edge_st[2];       /* pitch of up-flips at the singer's middle level */
    double vibrato_st[2];    /* of every singer, on every take */
    double m1_per_st[2];     /* rise of the source's H1-H2 in M1, dB a semitone */
    double m2_gain_db[2];    /* level of M2 re what is meant, beside m1_per_st */
} family_more;

const family_row *family_get(family f);
family_more family_extra(family f);
/* Of those that hold none of their own: FAMILY_STILL and on without "beside"; else f itself. */
family family_kind(family f);
/* FAMILIES when there is none of that name. */
family family_by_name(const char *name);

#endif
