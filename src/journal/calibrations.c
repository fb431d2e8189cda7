/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/calibrations.h"

#include "base/array.h"
#include "journal/sql.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { MADE_SIZE = 32 };

static void now(char made[MADE_SIZE])
{
    struct timespec t = {0};
    struct tm utc = {0};
    clock_gettime(CLOCK_REALTIME, &t);
    gmtime_r(&t.tv_sec, &utc);
    size_t n = strftime(made, MADE_SIZE, "%Y-%m-%dT%H:%M:%S", &utc);
    snprintf(made + n, MADE_SIZE - n, ".%03dZ", (int)(t.tv_nsec / 1000000) % 1000);
}

bool calibration_store(journal *j, const journal_calibration *c, err *e)
{
    char made[MADE_SIZE];
    now(made);
    return sql_do(j,
                  "INSERT INTO calibrations(rig, date, full_scale_db, reads_db, steady_db, file,"
                  " sound, version, distance_cm, made) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, "
                  "?)" CALIBRATION_AGAIN,
                  e, "ttrrrtbtrt", c->rig, c->date, c->full_scale_db, c->reads_db, c->steady_db,
                  c->file, c->sound, (size_t)JOURNAL_DIGEST, c->version, c->distance_cm, made);
}

static journal_calibration read_row(sqlite3_stmt *s)
{
    journal_calibration c = {.rig = sql_text(s, 0),
                             .date = sql_text(s, 1),
                             .full_scale_db = sql_real(s, 2),
                             .reads_db = sql_real(s, 3),
                             .steady_db = sql_real(s, 4),
                             .file = sql_text(s, 5),
                             .version = sql_text(s, 7),
                             .distance_cm = sql_real(s, 8),
                             .made = sql_text(s, 9)};
    const void *sound = sqlite3_column_blob(s, 6);
    if (sound && sqlite3_column_bytes(s, 6) == JOURNAL_DIGEST)
        memcpy(c.sound, sound, JOURNAL_DIGEST);
    return c;
}

/* Rows of a statement that wants `rig_or_null` as its first parameter. */
static bool read_rows(const journal *j, const char *where, const char *rig_or_null,
                      journal_calibration **items, size_t *n, err *e)
{
    sqlite3_stmt *s;
    size_t room = 0;
    char *text = xformat("SELECT rig, date, full_scale_db, reads_db, steady_db, file, sound,"
                         " version, distance_cm, made FROM calibrations c WHERE rig = ifnull(?1,"
                         " rig) %s ORDER BY rig, date, made, full_scale_db",
                         where);
    bool fine = sql_prepare(j, text, &s, e, "t", rig_or_null);
    free(text);
    *items = NULL;
    *n = 0;
    while (sql_next(j, &s, &fine, e)) {
        array_reserve((void **)items, &room, *n + 1, sizeof **items);
        (*items)[(*n)++] = read_row(s);
    }
    if (!fine)
        calibrations_free(*items, *n);
    return fine;
}

bool calibrations_read(const journal *j, const char *rig_or_null, journal_calibration **items,
                       size_t *n, err *e)
{
    return read_rows(j,
                     "AND NOT EXISTS (SELECT 1 FROM calibrations o WHERE o.rig = c.rig AND"
                     " o.date = c.date AND (o.made, o.full_scale_db) > (c.made, c.full_scale_db))",
                     rig_or_null, items, n, e);
}

bool calibrations_kept(const journal *j, journal_calibration **items, size_t *n, err *e)
{
    return read_rows(j, "", NULL, items, n, e);
}

void calibrations_free(journal_calibration *items, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        free(items[i].rig);
        free(items[i].date);
        free(items[i].file);
        free(items[i].version);
        free(items[i].made);
    }
    free(items);
}

size_t calibration_of_day(const journal_calibration *items, size_t n, const char *date)
{
    size_t after = 0;
    while (after < n && strcmp(items[after].date, date) <= 0)
        after++;
    return after ? after - 1 : 0;
}
