/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/item.h"

#include "base/array.h"
#include "base/text.h"
#include "journal/frames_long.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

static const char damaged[] =
    "The frames of take %s in the journal %s are damaged: go back to a copy of it.";

/* The first bytes of what was heard, `most` if there are as many; NULL and a sentence when they
 * cannot be read. */
static frames_bytes read_heard(const journal *j, long id, size_t most, err *e)
{
    sqlite3_blob *heard;
    frames_bytes b = {0};
    if (sqlite3_blob_open(j->db, "main", "frames", "heard", id, 0, &heard) == SQLITE_OK) {
        size_t all = (size_t)sqlite3_blob_bytes(heard);
        b.n = all < most ? all : most;
        b.bytes = xmalloc(b.n, 1);
    }
    if (!b.bytes || sqlite3_blob_read(heard, b.bytes, (int)b.n, 0) != SQLITE_OK) {
        sql_fail(j, e);
        free(b.bytes);
        b.bytes = NULL;
    }
    sqlite3_blob_close(heard);
    return b;
}

static track *read_track(sqlite3_stmt *s, bool outline, frames_bytes heard, const journal_take *of)
{
    size_t n = (size_t)sqlite3_column_int64(s, 1);
    int layout = sqlite3_column_int(s, 0);
    if (layout < 1 || layout > FRAMES_LAYOUT || n > heard.n)
        return NULL;
    track *t = (outline ? track_outline : track_new)(of->take, n, sql_real(s, 2), sql_real(s, 3));
    t->full_scale_db = sql_real(s, 6);
    t->declared = of->declared;
    bool judged = sqlite3_column_type(s, 4) != SQLITE_NULL;
    bool fine = frames_heard_read(heard.bytes, heard.n, t);
    if (fine && judged)
        fine =
            frames_registers_read(sqlite3_column_blob(s, 4), (size_t)sqlite3_column_bytes(s, 4),
                                  sqlite3_column_blob(s, 5), (size_t)sqlite3_column_bytes(s, 5), t);
    if (fine)
        return t;
    track_free(t);
    return NULL;
}

static bool load_track(const journal *j, long id, bool outline, journal_item *item, err *e)
{
    sqlite3_stmt *s;
    bool row;
    if (!sql_prepare(j,
                     "SELECT f.layout, f.n, f.hop_s, f.first_s, r.reg, r.p_m2, f.full_scale_db"
                     " FROM frames f LEFT JOIN registers r ON r.take = f.take WHERE f.take = ?",
                     &s, e, "i", id) ||
        !sql_step(j, &s, &row, e))
        return false;
    err_set(e, damaged, item->take.take, j->file);
    size_t most = row ? (size_t)sqlite3_column_int64(s, 1) * FRAMES_OUTLINE : 0;
    frames_bytes heard = {0};
    if (row)
        heard = read_heard(j, id, outline ? most : SIZE_MAX, e);
    if (heard.bytes)
        item->track = read_track(s, outline, heard, &item->take);
    free(heard.bytes);
    sqlite3_finalize(s);
    return item->track;
}

static flip_origin read_origin(sqlite3_stmt *s, int column)
{
    const char *word = (const char *)sqlite3_column_text(s, column);
    int i = word ? text_word_index(ITEM_ORIGINS, word) : -1;
    return i < 0 ? FLIP_HEARD : (flip_origin)(FLIP_ADDED + i);
}

static flip_kind read_kind(sqlite3_stmt *s, int column)
{
    const char *word = (const char *)sqlite3_column_text(s, column);
    for (int k = 0; word && k < FLIP_KINDS; k++)
        if (strcmp(word, flip_kind_name((flip_kind)k)) == 0)
            return (flip_kind)k;
    return FLIP_PROPER;
}

static flip read_flip(sqlite3_stmt *s)
{
    return (flip){.time_s = sql_real(s, 0),
                  .direction = sqlite3_column_int(s, 1) ? FLIP_UP : FLIP_DOWN,
                  .pitch_before_st = sql_real(s, 2),
                  .pitch_after_st = sql_real(s, 3),
                  .level_before_db = sql_real(s, 4),
                  .level_after_db = sql_real(s, 5),
                  .span_ms = sql_real(s, 6),
                  .confidence = sql_real(s, 7),
                  .origin = read_origin(s, 8),
                  .leap_cents = sql_real(s, 9),
                  .level_step_db = sql_real(s, 10),
                  .spectral_step_db = sql_real(s, 11),
                  .irregular_cycles = sqlite3_column_int(s, 12),
                  .seam_jnd = sql_real(s, 13),
                  .kind = read_kind(s, 14)};
}

static bool load_flips(const journal *j, long id, journal_item *item, err *e)
{
    sqlite3_stmt *s;
    bool fine =
        sql_prepare(j,
                    "SELECT time_s, direction = 'up', pitch_before_st, pitch_after_st,"
                    " level_before_db, level_after_db, span_ms, confidence, stated, leap_cents,"
                    " level_step_db, spectral_step_db, irregular_cycles, seam_jnd, kind FROM flips"
                    " WHERE take = ? ORDER BY number",
                    &s, e, "i", id);
    while (sql_next(j, &s, &fine, e))
        flips_append(&item->flips, read_flip(s));
    return fine;
}

bool item_load(const journal *j, long id, bool outline, journal_item *item, err *e)
{
    return load_track(j, id, outline, item, e) && load_flips(j, id, item, e);
}

typedef struct opened { /* the bytes of what was heard */
    const journal *j;
    sqlite3_blob *heard;
} opened;

static bool read_opened(void *context, size_t at, void *bytes, size_t n, err *e)
{
    const opened *o = context;
    return sqlite3_blob_read(o->heard, bytes, (int)n, (int)at) == SQLITE_OK || sql_fail(o->j, e);
}

static bool store_heard(const journal *j, long id, sqlite3_stmt *s, track_store *to, bool *right,
                        err *e)
{
    opened o = {.j = j};
    int layout = sqlite3_column_int(s, 0);
    *right = layout >= 1 && layout <= FRAMES_LAYOUT;
    if (!*right)
        return true;
    bool fine = sqlite3_blob_open(j->db, "main", "frames", "heard", id, 0, &o.heard) == SQLITE_OK ||
                sql_fail(j, e);
    fine =
        fine && frames_long_read(read_opened, &o, (size_t)sqlite3_blob_bytes(o.heard),
                                 (size_t)sqlite3_column_int64(s, 1), sql_real(s, 2), to, right, e);
    sqlite3_blob_close(o.heard);
    return fine;
}

bool item_store(const journal *j, long id, track_store *to, err *e)
{
    sqlite3_stmt *s;
    bool row, right = false;
    if (!sql_prepare(j,
                     "SELECT f.layout, f.n, f.full_scale_db, f.hop_s, ifnull(t.declared, 0),"
                     " substr(t.code, 1, 10) FROM frames f JOIN takes t ON t.id = f.take"
                     " WHERE f.take = ?",
                     &s, e, "i", id) ||
        !sql_step(j, &s, &row, e))
        return false;
    char *name = row ? sql_text(s, 5) : xstrdup("");
    track_store_begin(to, name, row ? sql_real(s, 3) : 1,
                      row ? (declared_register)sqlite3_column_int(s, 4) : DECLARED_NONE);
    bool fine = !row || store_heard(j, id, s, to, &right, e);
    track_store_end(to);
    if (fine && !right)
        fine = err_set(e, damaged, name, j->file);
    free(name);
    sqlite3_finalize(s);
    return fine;
}
