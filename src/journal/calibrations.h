/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_CALIBRATIONS_H
#define JOURNAL_CALIBRATIONS_H

/* What full scale was in dB SPL for a rig (microphone, its distance, recorder and gain), day by
 * day. All that was measured is kept; of one rig's day the measurement made last counts. */

#include "journal/journal.h"

typedef struct journal_calibration {
    char *rig;
    char *date;                                /* of the recorded tone, YYYY-MM-DD */
    double full_scale_db, reads_db, steady_db; /* as in sound/calibration.h */
    double distance_cm;                        /* of takes with this rig; NaN: not stated */
    char *file;                                /* its name without folder */
    unsigned char sound[JOURNAL_DIGEST];       /* of the recorded tone, as in journal_take */
    char *version;
    char *made; /* when it was put in: UTC, 2025-03-01T10:20:30.123Z; "" when not known */
} journal_calibration;

/* Two calibrations of one rig that are farther apart are those of two rigs. */
static const double CALIBRATION_CHANGED_DB = 2; /* common practice, no source */

/* Puts one in, made now (c->made is not read). The same rig, day and figure again is one row. */
bool calibration_store(journal *j, const journal_calibration *c, err *e);

/* Those that count, by rig and then by date; rig NULL: of all rigs. */
bool calibrations_read(const journal *j, const char *rig_or_null, journal_calibration **items,
                       size_t *n, err *e);
/* All that are kept, by rig, date, made, figure. */
bool calibrations_kept(const journal *j, journal_calibration **items, size_t *n, err *e);
void calibrations_free(journal_calibration *items, size_t n);

/* Of one rig's items, by date, the one for a take of that day: the last on or before it, else the
 * first after. items, n = 0: n. */
size_t calibration_of_day(const journal_calibration *items, size_t n, const char *date);

/* How a row joins one of the same key, whichever came first: the one made last stays. */
#define CALIBRATION_AGAIN                                                                          \
    " ON CONFLICT(rig, date, full_scale_db) DO UPDATE SET reads_db = excluded.reads_db, "          \
    "steady_db = excluded.steady_db,"                                                              \
    " file = excluded.file, sound = excluded.sound, version = excluded.version,"                   \
    " distance_cm = excluded.distance_cm, made = excluded.made"                                    \
    " WHERE excluded.made || quote(excluded.reads_db) || quote(excluded.steady_db) ||"             \
    " excluded.file || quote(excluded.sound) || excluded.version || quote(excluded.distance_cm)"   \
    " > calibrations.made || quote(calibrations.reads_db) || quote(calibrations.steady_db) ||"     \
    " calibrations.file || quote(calibrations.sound) || calibrations.version ||"                   \
    " quote(calibrations.distance_cm)"

#endif
