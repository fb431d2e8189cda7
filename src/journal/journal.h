/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_JOURNAL_H
#define JOURNAL_JOURNAL_H

/* The journal: one SQLite file (docs/journal.md) with singers, sessions, takes, what was heard in
 * each, and what was made of it. It needs no sound to fit registers and boundary anew.
 *
 * What it says depends only on the set of takes, their settings and corrections. Takes are in one
 * order: by session (date, rig, calibration, distance), then file, start of the stretch, code.
 * A call that failed has changed nothing. What is handed out is the caller's. */

#include "base/message.h"
#include "register/flip.h"
#include "sound/date.h"
#include "voice/track.h"

#include <stddef.h>

typedef struct journal journal;
typedef enum journal_mode {
    JOURNAL_READ, /* fails when there is no journal */
    JOURNAL_WRITE /* makes it, mode 0600, when there is none */
} journal_mode;

/* $SEAMLINE_JOURNAL, else $XDG_DATA_HOME/seamline/journal.db, else
 * ~/.local/share/seamline/journal.db. The caller frees; NULL when not even $HOME is known. */
char *journal_path(void);

/* path NULL: journal_path(), whose folder is made, mode 0700, when it is to be written. Fails with
 * one sentence on: missing, not to be written, no database, another program's database, a newer
 * seamline's. Waits up to two minutes wherever another process is writing. */
bool journal_open(const char *path_or_null, journal_mode mode, journal **out, err *e);
void journal_close(journal *j); /* rolls back what was not committed; NULL allowed */

/* What is stored between begin and commit is there as a whole or not at all, also after a power
 * cut; after commit it stays. Begin takes the file's write lock. */
bool journal_begin(journal *j, err *e);
bool journal_commit(journal *j, err *e);
void journal_rollback(journal *j);
bool journal_snapshot(journal *j, err *e); /* until rollback, all that is read is as of now */
enum { JOURNAL_DIGEST = 32, JOURNAL_CODE = 64 + 1 };

/* The dimensions of "--hold" and "--vary", bit 0 first; words of date_origin. */
#define JOURNAL_DIMENSIONS "pitch|level|register"
#define JOURNAL_DATE_FROM "stated|recorded|modified"

typedef struct journal_take {
    char *code; /* 64 hex digits, from singer, sound and stretch alone */
    char *take; /* its first 10, or as many as tell it from every other take: the name in tables */
    char *singer;
    /* the session: what takes of one singer on one day with one set-up share */
    long session; /* same number, same session; otherwise without meaning */
    char *date;   /* YYYY-MM-DD */
    date_origin date_from;
    char *rig;                         /* "" when not stated */
    double full_scale_db, distance_cm; /* dB SPL of RMS 1.0 at the microphone; NaN: unknown */
    char *calibration; /* day of the rig's calibration that full_scale_db is of; "": stated */
    /* the recording */
    char *file;                          /* its name without folder */
    double start_s, end_s;               /* the stretch of the file; NaN: the whole file */
    unsigned char sound[JOURNAL_DIGEST]; /* SHA-256 of the decoded samples */
    double seconds, voiced_s;
    size_t clipped_runs; /* as in sound/recording.h, so too dc and peak */
    double dc, peak;
    /* on the track's scale; NaN: not known. Leq with C, A, Z; largest C level with F and S */
    double leq_db, laeq_db, lzeq_db, lcfmax_db, lcsmax_db;
    /* what the singer says of it */
    char *name, *vowel; /* "" when not stated */
    int hold, vary;     /* bits of JOURNAL_DIMENSIONS; 0 none; -1 not stated */
    declared_register declared;
    /* how it was heard */
    int microphone, egg;      /* channels, from 1, that were named; 0: none was */
    int channel, egg_channel; /* that were heard, named or guessed; 0: none, or not known */
    char *settings, *version; /* of the listening; equal texts, equal listening */
    bool removed;             /* by hand: it counts nowhere until it is restored */
    bool judged;              /* false: heard, but its registers are not decoded yet */
    size_t flips, doubtful;   /* asserted flips, and those of confidence below 0.5 */
    char *failed, *warned;    /* checks of the recording: "hum,noise" or "none"; "": not checked */
} journal_take;

void journal_take_clear(journal_take *t);

typedef struct journal_item {
    journal_take take;
    track *track; /* its `take` is the journal's name of the take */
    flips flips;
} journal_item;

void journal_item_clear(journal_item *item);
void journal_items_free(journal_item *items, size_t n);

typedef struct journal_singer {
    char *name, *notes;
    size_t sessions, takes, flips; /* of judged takes; asserted flips */
    char *first, *last;            /* dates; "" without takes */
} journal_singer;

bool journal_singers(journal *j, journal_singer **items, size_t *n, err *e); /* by name */
void journal_singers_free(journal_singer *items, size_t n);
/* False, with a sentence that names the nearest, when there is no such singer. */
bool journal_knows(journal *j, const char *singer, err *e);

typedef struct journal_vowel {
    char *vowel; /* "" for takes whose vowel was not stated */
    size_t takes;
} journal_vowel;

/* The vowels of a singer's judged takes, most takes first, then by name. */
bool journal_vowels(journal *j, const char *singer, journal_vowel **items, size_t *n, err *e);
void journal_vowels_free(journal_vowel *items, size_t n);

/* A singer's judged takes; vowel NULL: of all vowels. Unknown singers fail as in journal_knows. */
bool journal_takes(journal *j, const char *singer, const char *vowel_or_null, journal_take **items,
                   size_t *n, err *e);
void journal_takes_free(journal_take *items, size_t n);
/* The same with flips and track of each, without harmonics and EGG: track_outline(). */
bool journal_tracks(journal *j, const char *singer, const char *vowel_or_null, journal_item **items,
                    size_t *n, err *e);

#endif
