/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/judgement.h"

#include "base/array.h"
#include "base/text.h"
#include "journal/frames_long.h"
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
    track_store_free(g->store);
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

static bool any_long(const waiting *p, const waiting_part *part)
{
    for (size_t i = part->first; i < part->first + part->n; i++)
        if (waiting_is_long(&p->takes[i]))
            return true;
    return false;
}

static bool load_takes(const journal *j, const waiting *p, const waiting_part *of, judgement *g,
                       bool before, err *e)
{
    for (size_t i = of->first; i < of->first + of->n; i++) {
        const waiter *w = &p->takes[i];
        size_t at = g->n_before + g->n;
        if (before && (g->store || waiting_is_long(w)))
            continue;
        if (before)
            g->n_before++;
        else
            g->n++;
        if (g->store ? !item_store(j, w->id, g->store, e) ||
                           !verdicts_read(j, w->code, &g->verdicts[at], e)
                     : !load_item(j, w, &g->items[at], &g->verdicts[at], e))
            return false;
    }
    return true;
}

static bool load(const journal *j, const waiting *p, size_t k, judgement *g, err *e)
{
    const waiting_part *own = &p->parts[k], *before = k ? own - 1 : NULL;
    size_t most = own->n + (before ? before->n : 0);
    g->part = (long)k + 1;
    g->rests_on = xstrdup(own->rests_on);
    g->items = xcalloc(most, sizeof *g->items);
    g->verdicts = xcalloc(most, sizeof *g->verdicts);
    g->store = any_long(p, own) ? track_store_new() : NULL;
    return (!before || load_takes(j, p, before, g, true, e)) &&
           load_takes(j, p, own, g, false, e) &&
           load_known(j, g->singer, g->vowel, g->part - 1, &g->before, e);
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

void judgement_slim(judgement *g)
{
    for (size_t i = 0; !g->store && i < g->n_before + g->n; i++) {
        track *t = g->items[i].track;
        if (i < g->n_before) {
            track_free(t);
            g->items[i].track = NULL;
        } else {
            free(t->harmonic_db);
            free(t->noise_db);
            t->harmonic_db = t->noise_db = NULL;
        }
    }
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

static bool store_registers(const journal *j, long take, const unsigned char *reg, size_t n,
                            frames_bytes p_m2, const flips *found, err *e)
{
    bool fine = sql_do(j, "REPLACE INTO registers(take, reg, p_m2) VALUES (?, ?, ?)", e, "ibb",
                       take, reg, n, p_m2.bytes, p_m2.n) &&
                sql_do(j, "DELETE FROM flips WHERE take = ?", e, "i", take);
    for (size_t i = 0; fine && i < found->n; i++)
        fine = insert_flip(j, take, i + 1, &found->items[i], e);
    return fine;
}

static bool store_frames(const journal *j, long take, const journal_item *item, err *e)
{
    frames_bytes p_m2 = frames_p_m2_write(item->track);
    bool fine = store_registers(j, take, item->track->reg, item->track->n, p_m2, &item->flips, e);
    free(p_m2.bytes);
    return fine;
}

/* The registers of a take in the store: five bytes a frame. */
static bool store_stored(const journal *j, long take, const judgement *g, size_t i, err *e)
{
    size_t n = track_store_frames(g->store, i);
    unsigned char *reg = xmalloc(n, 1);
    frames_bytes all = {.bytes = NULL};
    bool fine = true;
    for (size_t first = 0; fine && first < n; first += FRAMES_AT_ONCE) {
        track *t;
        size_t here = n - first < FRAMES_AT_ONCE ? n - first : FRAMES_AT_ONCE;
        fine = track_store_read(g->store, i, first, here, &t, e);
        if (!fine)
            break;
        frames_bytes p_m2 = frames_p_m2_write(t);
        if (!all.bytes)
            all.bytes = xmalloc(n, p_m2.n / here);
        memcpy(reg + first, t->reg, here);
        memcpy(all.bytes + all.n, p_m2.bytes, p_m2.n);
        all.n += p_m2.n;
        free(p_m2.bytes);
        track_free(t);
    }
    fine = fine && store_registers(j, take, reg, n, all, &g->items[i].flips, e);
    free(all.bytes);
    free(reg);
    return fine;
}

/* The newest hearing takes the place of the one shown so far. */
static bool show_take(const journal *j, const waiter *w, err *e)
{
    return sql_do(j, "DELETE FROM takes WHERE code = ? AND id <> ?", e, "ti", w->code, w->id) &&
           sql_do(j, "UPDATE takes SET judged = 1 WHERE id = ?", e, "i", w->id);
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

static bool store_take(const journal *j, judgement *g, size_t i, const waiter *w, err *e)
{
    journal_item *item = &g->items[g->n_before + i];
    const verdicts *said = &g->verdicts[g->n_before + i];
    if (!show_take(j, w, e))
        return false;
    if (g->store)
        return verdicts_apply_stored(said, g->store, i, &item->flips, e) &&
               store_stored(j, w->id, g, i, e);
    verdicts_apply(said, item->track, &item->flips);
    return store_frames(j, w->id, item, e);
}

static bool store_part(const journal *j, judgement *g, const waiting *p, const char *version,
                       const char *answer, err *e)
{
    const waiting_part *own = &p->parts[g->part - 1];
    for (size_t i = 0; i < g->n; i++)
        if (!store_take(j, g, i, &p->takes[own->first + i], e))
            return false;
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
