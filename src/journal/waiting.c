/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/waiting.h"

#include "base/array.h"
#include "journal/take.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Voice that determines a singer's model well, and what is decoded in a few seconds. */
static const double least_s = 240, most_s = 360;

bool waiting_is_long(const waiter *w)
{
    return w->voiced_s > most_s;
}

void waiting_clear(waiting *p)
{
    for (size_t i = 0; i < p->n; i++) {
        free(p->takes[i].code);
        free(p->takes[i].rests_on);
    }
    free(p->takes);
    free(p->parts);
    *p = (waiting){0};
}

static bool read_takes(const journal *j, const char *singer, const char *vowel, waiting *p, err *e)
{
    sqlite3_stmt *s;
    char *text = xformat(
        "SELECT t.id, t.session, t.judged, t.voiced_s, t.code, hex(t.sound) || quote(t.start_s) || "
        "quote(t.end_s) || t.settings || '|'"
        " || t.version || '|' || t.microphone || '|' || t.egg || '|' || quote(s.full_scale_db)"
        " || '|' || quote(s.distance_cm) || '|' || ifnull(t.declared, 0) || '|' ||"
        " ifnull((SELECT group_concat(c.action || c.direction || quote(c.time_s) || ' ' ||"
        "  quote(c.to_s), ';') FROM (SELECT * FROM corrections WHERE code = t.code"
        "  ORDER BY number, action, direction, time_s, to_s) c), '')"
        " FROM takes t JOIN sessions s ON s.id = t.session JOIN singers g ON g.id = s.singer"
        " WHERE g.name = ? AND t.vowel = ? AND t.removed %% 2 = 0 AND NOT EXISTS"
        " (SELECT 1 FROM takes o WHERE o.code = t.code AND o.judged < t.judged)%s",
        take_order);
    bool fine = sql_prepare(j, text, &s, e, "tt", singer, vowel);
    free(text);
    while (sql_next(j, &s, &fine, e)) {
        array_reserve((void **)&p->takes, &p->room, p->n + 1, sizeof *p->takes);
        p->takes[p->n++] = (waiter){(long)sqlite3_column_int64(s, 0),
                                    (long)sqlite3_column_int64(s, 1),
                                    sqlite3_column_int(s, 2) != 0,
                                    sql_real(s, 3),
                                    sql_text(s, 4),
                                    sql_text(s, 5)};
    }
    return fine;
}

static bool ends_part(const waiting *p, size_t last, double voiced_s)
{
    return last + 1 == p->n || voiced_s >= most_s ||
           (voiced_s >= least_s && p->takes[last].session != p->takes[last + 1].session);
}

static void rest(const waiting *p, const char *version, waiting_part *now)
{
    struct sha256_ctx hash;
    unsigned char digest[SHA256_DIGEST_SIZE];
    const char *before = p->n_parts ? p->parts[p->n_parts - 1].rests_on : "";
    sha256_init(&hash);
    sha256_update(&hash, strlen(before) + 1, (const unsigned char *)before);
    sha256_update(&hash, strlen(version) + 1, (const unsigned char *)version);
    now->judged = true;
    for (size_t i = now->first; i < now->first + now->n; i++) {
        const char *own = p->takes[i].rests_on;
        sha256_update(&hash, strlen(own) + 1, (const unsigned char *)own);
        now->judged = now->judged && p->takes[i].judged;
    }
    sha256_digest(&hash, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++)
        snprintf(now->rests_on + 2 * i, 3, "%02x", digest[i]);
}

bool waiting_read(const journal *j, const char *singer, const char *vowel, const char *version,
                  waiting *p, err *e)
{
    *p = (waiting){0};
    if (!read_takes(j, singer, vowel, p, e)) {
        waiting_clear(p);
        return false;
    }
    double voiced_s = 0;
    for (size_t i = 0, first = 0; i < p->n; i++) {
        voiced_s += p->takes[i].voiced_s;
        if (!ends_part(p, i, voiced_s))
            continue;
        waiting_part now = {.first = first, .n = i + 1 - first};
        rest(p, version, &now);
        array_reserve((void **)&p->parts, &p->part_room, p->n_parts + 1, sizeof *p->parts);
        p->parts[p->n_parts++] = now;
        first = i + 1;
        voiced_s = 0;
    }
    return true;
}

bool waiting_is_current(const journal *j, const char *singer, const char *vowel,
                        const waiting_part *p, long number, bool *current, err *e)
{
    long n;
    bool fine = sql_long(j,
                         "SELECT count(*) FROM models m JOIN singers g ON g.id = m.singer"
                         " WHERE g.name = ? AND m.vowel = ? AND m.part = ? AND m.rests_on = ?",
                         0, &n, e, "ttit", singer, vowel, number, p->rests_on);
    *current = fine && p->judged && n > 0;
    return fine;
}
