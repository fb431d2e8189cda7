/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/judgement.h"

#include "base/array.h"
#include "base/text.h"
#include "journal/frames.h"
#include "journal/item.h"
#include "journal/take.h"
#include "journal/waiting.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void judgement_clear(judgement *g)
{
    for (size_t i = 0; g->verdicts && i < g->n_before + g->n; i++)
        verdicts_clear(&g->verdicts[i]);
    if (g->items)
        journal_items_free(g->items, g->n_before + g->n);
    free(g->verdicts);
    free(g->singer);
    free(g->vowel);
    free(g->rests_on);
    *g = (judgement){0};
}

/* What an earlier judgement left must not matter to this one. */
static void forget_registers(journal_item *item)
{
    track *t = item->track;
    for (size_t i = 0; i < t->n; i++) {
        t->reg[i] = 0;
        t->p_m2[i] = (double)NAN;
    }
    flips_clear(&item->flips);
}

static bool load_item(const journal *j, const waiter *w, journal_item *item, verdicts *said, err *e)
{
    if (!take_by_id(j, w->id, item, e) || !verdicts_read(j, w->code, said, e))
        return false;
    forget_registers(item);
    verdicts_pin(said, item->track);
    return true;
}

/* A model of another layout, or a damaged one, is nothing to begin with, and no failure. */
static bool load_known(const journal *j, const char *singer, const char *vowel, long part, known *k,
                       err *e)
{
    sqlite3_stmt *s;
    bool row;
    *k = (known){.m = {.hi = 0}};
    if (!sql_prepare(j,
                     "SELECT model FROM models m JOIN singers g ON g.id = m.singer"
                     " WHERE g.name = ? AND vowel = ? AND part = ? AND layout = ?",
                     &s, e, "ttii", singer, vowel, part, (long)FRAMES_KNOWN_LAYOUT) ||
        !sql_step(j, &s, &row, e))
        return false;
    if (row)
        frames_known_read(sqlite3_column_blob(s, 0), (size_t)sqlite3_column_bytes(s, 0), k);
    sqlite3_finalize(s);
    return true;
}

static bool load(const journal *j, const waiting *p, size_t k, judgement *g, err *e)
{
    const waiting_part *own = &p->parts[k];
    size_t first = k ? p->parts[k - 1].first : own->first;
    g->n_before = own->first - first;
    g->n = own->n;
    g->part = (long)k + 1;
    g->rests_on = xstrdup(own->rests_on);
    g->items = xcalloc(g->n_before + g->n, sizeof *g->items);
    g->verdicts = xcalloc(g->n_before + g->n, sizeof *g->verdicts);
    for (size_t i = 0; i < g->n_before + g->n; i++)
        if (!load_item(j, &p->takes[first + i], &g->items[i], &g->verdicts[i], e))
            return false;
    return load_known(j, g->singer, g->vowel, g->part - 1, &g->before, e);
}

/* The first part of this vowel that is not current. */
static bool next_of_vowel(const journal *j, const char *vowel, const char *version, judgement *g,
                          bool *any, err *e)
{
    waiting p;
    if (!waiting_read(j, g->singer, vowel, version, &p, e))
        return false;
    bool fine = true, current = true;
    for (size_t k = 0; fine && !*any && k < p.n_parts; k++) {
        fine = waiting_is_current(j, g->singer, vowel, &p.parts[k], (long)k + 1, &current, e);
        *any = fine && !current;
        if (*any) {
            g->vowel = xstrdup(vowel);
            fine = load(j, &p, k, g, e);
        }
    }
    waiting_clear(&p);
    return fine;
}

static bool next(const journal *j, const char *version, judgement *g, bool *any, err *e)
{
    sqlite3_stmt *s;
    bool fine =
        sql_prepare(j,
                    "SELECT DISTINCT t.vowel FROM takes t JOIN sessions s ON s.id = t.session"
                    " JOIN singers g ON g.id = s.singer WHERE g.name = ? ORDER BY t.vowel",
                    &s, e, "t", g->singer);
    while (!*any && sql_next(j, &s, &fine, e)) {
        char *vowel = sql_text(s, 0);
        fine = next_of_vowel(j, vowel, version, g, any, e);
        free(vowel);
    }
    sqlite3_finalize(s);
    return fine;
}

bool judgement_next(journal *j, const char *singer, const char *version, judgement *out, bool *any,
                    err *e)
{
    bool begun;
    *out = (judgement){.singer = xstrdup(singer)};
    *any = false;
    bool fine = sql_begin_read(j, &begun, e);
    if (fine) {
        fine = next(j, version, out, any, e);
        sql_end_read(j, begun);
    }
    if (!fine || !*any)
        judgement_clear(out);
    return fine;
}

static bool insert_flip(const journal *j, long take, size_t number, const flip *f, err *e)
{
    char stated[TEXT_WORD_SIZE];
    bool said = f->origin != FLIP_HEARD;
    if (said)
        text_word(ITEM_ORIGINS, (size_t)(f->origin - FLIP_ADDED), stated);
    return sql_do(j,
                  "INSERT INTO flips(take, number, time_s, direction, pitch_before_st,"
                  " pitch_after_st, level_before_db, level_after_db, span_ms, confidence,"
                  " leap_cents, level_step_db, spectral_step_db, irregular_cycles, seam_jnd, kind,"
                  " stated) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                  e, "iirtrrrrrrrrrirtt", take, (long)number, f->time_s,
                  f->direction == FLIP_UP ? "up" : "down", f->pitch_before_st, f->pitch_after_st,
                  f->level_before_db, f->level_after_db, f->span_ms, f->confidence, f->leap_cents,
                  f->level_step_db, f->spectral_step_db, (long)f->irregular_cycles, f->seam_jnd,
                  flip_kind_name(f->kind), said ? stated : NULL);
}

static bool store_frames(const journal *j, long take, const journal_item *item, err *e)
{
    frames_bytes p_m2 = frames_p_m2_write(item->track);
    bool fine = sql_do(j, "REPLACE INTO registers(take, reg, p_m2) VALUES (?, ?, ?)", e, "ibb",
                       take, item->track->reg, item->track->n, p_m2.bytes, p_m2.n) &&
                sql_do(j, "DELETE FROM flips WHERE take = ?", e, "i", take);
    free(p_m2.bytes);
    for (size_t i = 0; fine && i < item->flips.n; i++)
        fine = insert_flip(j, take, i + 1, &item->flips.items[i], e);
    return fine;
}

/* The newest hearing takes the place of the one shown so far. */
static bool store_take(const journal *j, long take, const journal_item *item, err *e)
{
    return sql_do(j, "DELETE FROM takes WHERE code = ? AND id <> ?", e, "ti", item->take.code,
                  take) &&
           sql_do(j, "UPDATE takes SET judged = 1 WHERE id = ?", e, "i", take) &&
           store_frames(j, take, item, e);
}

/* Sessions and models without takes go. */
static bool tidy(const journal *j, const judgement *g, size_t n_parts, err *e)
{
    return sql_do(j,
                  "DELETE FROM sessions WHERE singer = (SELECT id FROM singers WHERE name = ?)"
                  " AND NOT EXISTS (SELECT 1 FROM takes t WHERE t.session = sessions.id)",
                  e, "t", g->singer) &&
           sql_do(j,
                  "DELETE FROM models WHERE singer = (SELECT id FROM singers WHERE name = ?1)"
                  " AND ((vowel = ?2 AND part > ?3) OR vowel NOT IN (SELECT t.vowel FROM takes t"
                  "  JOIN sessions s ON s.id = t.session WHERE s.singer = models.singer))",
                  e, "tti", g->singer, g->vowel, (long)n_parts);
}

static bool store_model(const journal *j, const judgement *g, const char *version,
                        const char *answer, err *e)
{
    bool any = g->learnt.m.hi > g->learnt.m.lo;
    frames_bytes b = any ? frames_known_write(&g->learnt) : (frames_bytes){NULL, 0};
    bool fine =
        sql_do(j,
               "REPLACE INTO models(singer, vowel, part, version, answer, rests_on, layout, model)"
               " SELECT id, ?, ?, ?, ?, ?, ?, ? FROM singers WHERE name = ?",
               e, "titttibt", g->vowel, g->part, version, answer, g->rests_on,
               any ? (long)FRAMES_KNOWN_LAYOUT : 0L, b.bytes, b.n, g->singer);
    free(b.bytes);
    return fine;
}

static bool store_part(const journal *j, judgement *g, const waiting *p, const char *version,
                       const char *answer, err *e)
{
    const waiting_part *own = &p->parts[g->part - 1];
    for (size_t i = 0; i < g->n; i++) {
        journal_item *item = &g->items[g->n_before + i];
        verdicts_apply(&g->verdicts[g->n_before + i], item->track, &item->flips);
        if (!store_take(j, p->takes[own->first + i].id, item, e))
            return false;
    }
    return store_model(j, g, version, answer, e) && tidy(j, g, p->n_parts, e);
}

static bool store_unless_stale(const journal *j, judgement *g, const char *version,
                               const char *answer, bool *stale, err *e)
{
    waiting p;
    if (!waiting_read(j, g->singer, g->vowel, version, &p, e))
        return false;
    *stale = (size_t)g->part > p.n_parts || strcmp(p.parts[g->part - 1].rests_on, g->rests_on) != 0;
    bool fine = *stale || store_part(j, g, &p, version, answer, e);
    waiting_clear(&p);
    return fine;
}

bool judgement_store(journal *j, judgement *g, const char *version, const char *answer, bool *stale,
                     err *e)
{
    bool begun;
    return sql_begin_write(j, &begun, e) &&
           sql_end_write(j, begun, store_unless_stale(j, g, version, answer, stale, e), e);
}
