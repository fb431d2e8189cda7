/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/store.h"

#include "base/number.h"
#include "base/spool.h"
#include "base/text.h"
#include "journal/checks.h"
#include "journal/frames_long.h"
#include "journal/take.h"

#include <math.h>
#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void hash_text(struct sha256_ctx *hash, const char *text)
{
    sha256_update(hash, strlen(text) + 1, (const unsigned char *)text);
}

static void hash_seconds(struct sha256_ctx *hash, double seconds)
{
    char text[NUMBER_SIZE];
    number_fixed(seconds, 6, text);
    hash_text(hash, text);
}

void journal_code(const char *singer, const unsigned char sound[JOURNAL_DIGEST], double start_s,
                  double end_s, char code[JOURNAL_CODE])
{
    struct sha256_ctx hash;
    unsigned char digest[SHA256_DIGEST_SIZE];
    sha256_init(&hash);
    hash_text(&hash, singer);
    hash_seconds(&hash, start_s);
    hash_seconds(&hash, end_s);
    sha256_update(&hash, JOURNAL_DIGEST, sound);
    sha256_digest(&hash, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++)
        snprintf(code + 2 * i, 3, "%02x", digest[i]);
}

bool journal_find(journal *j, const char *code, journal_take *out, bool *found, err *e)
{
    take_list list;
    if (!take_query(j,
                    "WHERE t.code = ? AND NOT EXISTS (SELECT 1 FROM takes o"
                    " WHERE o.code = t.code AND o.judged < t.judged)",
                    code, NULL, &list, e))
        return false;
    *found = list.n > 0;
    if (*found) {
        *out = list.items[0];
        list.items[0] = (journal_take){0};
    }
    take_list_clear(&list);
    return true;
}

static bool refuse_name(const char *name, bool removed, size_t n, err *e)
{
    if (n > 1)
        return err_set(e, "%zu takes begin with %s: give more digits of the one meant.", n, name);
    return err_set(e, "There is no %stake %s: seamline takes SINGER lists those there are.",
                   removed ? "removed " : "", name);
}

bool journal_named(journal *j, const char *name, bool removed, journal_item *out, err *e)
{
    take_list list;
    const char *where =
        removed ? "WHERE t.code >= ?1 AND t.code < ?1 || 'g' AND t.judged = 1 AND t.removed % 2 = 1"
                : "WHERE t.code >= ?1 AND t.code < ?1 || 'g' AND t.judged = 1 AND t.removed % 2 = "
                  "0";
    if (!*name || name[strspn(name, "0123456789abcdef")])
        return err_set(e, "\"%s\" names no take: their names are digits 0-9 and a-f.", name);
    if (!take_query(j, where, name, NULL, &list, e))
        return false;
    bool fine =
        list.n == 1 ? take_by_id(j, list.ids[0], out, e) : refuse_name(name, removed, list.n, e);
    take_list_clear(&list);
    return fine;
}

static bool session_of(const journal *j, const journal_take *t, long *id, err *e)
{
    return sql_do(j, "INSERT INTO singers(name) VALUES (?) ON CONFLICT DO NOTHING", e, "t",
                  t->singer) &&
           sql_do(j,
                  "INSERT INTO sessions(singer, date, rig, full_scale_db, distance_cm, calibration)"
                  " SELECT id, ?, ?, ?, ?, ? FROM singers WHERE name = ?"
                  " ON CONFLICT(singer, date, rig, ifnull(full_scale_db, ''), distance_cm)"
                  " DO UPDATE SET calibration = max(calibration, excluded.calibration)",
                  e, "ttrrtt", t->date, t->rig, t->full_scale_db, t->distance_cm,
                  t->calibration ? t->calibration : "", t->singer) &&
           sql_long(j,
                    "SELECT s.id FROM sessions s JOIN singers g ON g.id = s.singer"
                    " WHERE g.name = ? AND s.date = ? AND s.rig = ? AND s.full_scale_db IS ?"
                    " AND s.distance_cm = ?",
                    0, id, e, "tttrr", t->singer, t->date, t->rig, t->full_scale_db,
                    t->distance_cm);
}

static char *set_text(int bits)
{
    return bits < 0 ? NULL : text_set_write(JOURNAL_DIMENSIONS, bits);
}

static bool insert_take(const journal *j, const journal_take *t, long session, long removed, err *e)
{
    char *hold = set_text(t->hold), *vary = set_text(t->vary), date_from[TEXT_WORD_SIZE];
    text_word(JOURNAL_DATE_FROM, (size_t)t->date_from, date_from);
    bool fine = sql_do(
        j,
        "INSERT INTO takes(code, session, date_from, file, start_s, end_s, sound, name,"
        " vowel, hold, vary, declared, seconds, voiced_s, clipped_runs, dc, peak, leq_db,"
        " egg, settings, version, laeq_db, lzeq_db, lcfmax_db, lcsmax_db,"
        " microphone, channel, egg_channel, removed)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, nullif(?, 0), ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?,"
        " ?, ?, ?, nullif(?, 0), nullif(?, 0), ?)",
        e, "tittrrbttttirrirrrittrrrriiii", t->code, session, date_from, t->file, t->start_s,
        t->end_s, t->sound, (size_t)JOURNAL_DIGEST, t->name, t->vowel, hold, vary,
        (long)t->declared, t->seconds, t->voiced_s, (long)t->clipped_runs, t->dc, t->peak,
        t->leq_db, (long)t->egg, t->settings, t->version, t->laeq_db, t->lzeq_db, t->lcfmax_db,
        t->lcsmax_db, (long)t->microphone, (long)t->channel, (long)t->egg_channel, removed);
    free(hold);
    free(vary);
    return fine;
}

static bool open_place(const journal *j, const char *column, long take, sqlite3_blob **to, err *e)
{
    *to = NULL;
    return sqlite3_blob_open(j->db, "main", "frames", column, take, 1, to) == SQLITE_OK ||
           sql_fail(j, e);
}

static bool write_place(const journal *j, sqlite3_blob *to, size_t at, const void *bytes, size_t n,
                        err *e)
{
    return sqlite3_blob_write(to, bytes, (int)n, (int)at) == SQLITE_OK || sql_fail(j, e);
}

static bool close_place(const journal *j, sqlite3_blob *to, bool fine, err *e)
{
    return (sqlite3_blob_close(to) == SQLITE_OK || !fine || sql_fail(j, e)) && fine;
}

/* From the spool into the place that was kept for it. */
static bool write_heard(const journal *j, long take, const spool *heard, size_t n, err *e)
{
    unsigned char block[4096];
    sqlite3_blob *to;
    bool fine = open_place(j, "heard", take, &to, e);
    for (size_t at = 0; fine && at < n; at += sizeof block) {
        size_t here = n - at < sizeof block ? n - at : sizeof block;
        fine = spool_read(heard, at, block, here, e) && write_place(j, to, at, block, here, e);
    }
    return close_place(j, to, fine, e);
}

static bool write_digest(const journal *j, long take, const unsigned char digest[FRAMES_DIGEST],
                         err *e)
{
    sqlite3_blob *to;
    bool fine =
        open_place(j, "digest", take, &to, e) && write_place(j, to, 0, digest, FRAMES_DIGEST, e);
    return close_place(j, to, fine, e);
}

/* SQLite takes no more in one place. */
static bool room_for(const journal *j, const journal_take *t, size_t n, err *e)
{
    size_t most = (size_t)sqlite3_limit(j->db, SQLITE_LIMIT_LENGTH, -1) - 4096;
    return n <= most ||
           err_set(e,
                   "%s is too long for one take: what was heard has %zu MB, and %zu can be kept.",
                   t->file, n / 1000000, most / 1000000);
}

/* Places are kept for what was heard and its digest, and then filled: with bytes behind a place
 * SQLite would hold all of it in memory. */
static bool insert_frames(const journal *j, long take, const journal_take *of,
                          const track_store *heard, double first_s, err *e)
{
    unsigned char digest[FRAMES_DIGEST];
    spool *bytes = spool_new();
    track *none = NULL;
    size_t n;
    bool fine = track_store_read(heard, 0, 0, 0, &none, e) &&
                frames_long_write(heard, 0, bytes, &n, digest, e) && room_for(j, of, n, e) &&
                sql_do(j,
                       "INSERT INTO frames(take, layout, n, hop_s, first_s, full_scale_db, heard,"
                       " digest) VALUES (?, ?, ?, ?, ?, ?, zeroblob(?), zeroblob(?))",
                       e, "iiirrrii", take, (long)FRAMES_LAYOUT, (long)track_store_frames(heard, 0),
                       none->hop_s, first_s, none->full_scale_db, (long)n, (long)FRAMES_DIGEST) &&
                write_heard(j, take, bytes, n, e) && write_digest(j, take, digest, e);
    track_free(none);
    spool_free(bytes);
    return fine;
}

static bool store(const journal *j, const journal_take *t, const track_store *heard, double first_s,
                  const checkup *opt_checks, err *e)
{
    long session, removed;
    if (!session_of(j, t, &session, e) ||
        !sql_long(j, "SELECT max(removed) FROM takes WHERE code = ?", 0, &removed, e, "t",
                  t->code) ||
        !sql_do(j, "DELETE FROM takes WHERE code = ? AND judged = 0", e, "t", t->code) ||
        !insert_take(j, t, session, removed, e))
        return false;
    long id = (long)sqlite3_last_insert_rowid(j->db);
    return insert_frames(j, id, t, heard, first_s, e) &&
           (!opt_checks || checks_store(j, id, opt_checks, e));
}

static bool store_at_once(journal *j, const journal_take *t, const track_store *heard,
                          double first_s, const checkup *opt_checks, err *e)
{
    bool begun;
    return sql_begin_write(j, &begun, e) &&
           sql_end_write(j, begun, store(j, t, heard, first_s, opt_checks, e), e);
}

bool journal_store_heard(journal *j, const journal_take *t, const track_store *heard,
                         const checkup *opt_checks, err *e)
{
    return store_at_once(j, t, heard, 0, opt_checks, e);
}

bool journal_store(journal *j, const journal_take *t, const track *heard, const checkup *opt_checks,
                   err *e)
{
    track_store *s = track_store_new();
    track_store_begin(s, heard->take, heard->hop_s, heard->declared);
    bool fine = track_store_append(s, heard, e) &&
                store_at_once(j, t, s, heard->n ? heard->time_s[0] : 0, opt_checks, e);
    track_store_free(s);
    return fine;
}
