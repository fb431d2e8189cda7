/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/corrections.h"

#include "base/array.h"
#include "base/text.h"
#include "journal/sql.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double about_s = 0.02;     /* the registers right beside a flip are not pinned */
static const double beside_s = 0.05;    /* before and after are means over this */
static const double usual_span_ms = 40; /* of a flip that was not heard */
static const double rounding_s = 1e-9;

bool corrections_say(journal *j, const char *code, const correction *c, err *e)
{
    char action[TEXT_WORD_SIZE];
    text_word(CORRECTION_ACTIONS, (size_t)c->action, action);
    return sql_do(j,
                  "INSERT INTO corrections(code, number, action, direction, time_s, to_s)"
                  " SELECT ?1, 1 + ifnull(max(number), 0), ?2, ?3, ?4, ?5 FROM corrections"
                  " WHERE code = ?1",
                  e, "tttrr", code, action, c->direction == FLIP_UP ? "up" : "down", c->time_s,
                  c->to_s);
}

void verdicts_clear(verdicts *v)
{
    free(v->items);
    *v = (verdicts){0};
}

/* Takes back what was said of the place. */
static void clear_place(verdicts *v, double time_s)
{
    size_t kept = 0;
    for (size_t i = 0; i < v->n; i++)
        if (fabs(v->items[i].time_s - time_s) > CORRECTION_PLACE_S + rounding_s)
            v->items[kept++] = v->items[i];
    v->n = kept;
}

static void judge_place(verdicts *v, double time_s, bool is_flip, flip_direction direction,
                        flip_origin origin)
{
    clear_place(v, time_s);
    size_t at = v->n;
    v->items = xrealloc(v->items, v->n + 1, sizeof *v->items);
    for (; at > 0 && v->items[at - 1].time_s > time_s; at--)
        v->items[at] = v->items[at - 1];
    v->items[at] = (verdict){time_s, is_flip, direction, origin};
    v->n++;
}

static void hear_out(verdicts *v, const correction *c)
{
    static const flip_origin origins[] = {[CORRECTION_ADD] = FLIP_ADDED,
                                          [CORRECTION_MOVE] = FLIP_MOVED,
                                          [CORRECTION_CONFIRM] = FLIP_CONFIRMED,
                                          [CORRECTION_WITHDRAW] = FLIP_HEARD};
    if (c->action == CORRECTION_WITHDRAW)
        clear_place(v, c->time_s);
    if (c->action == CORRECTION_REMOVE || c->action == CORRECTION_MOVE)
        judge_place(v, c->time_s, false, c->direction, FLIP_HEARD);
    if (c->action != CORRECTION_REMOVE && c->action != CORRECTION_WITHDRAW)
        judge_place(v, c->to_s, true, c->direction, origins[c->action]);
}

static correction read_correction(sqlite3_stmt *s)
{
    const char *action = (const char *)sqlite3_column_text(s, 0);
    int i = text_word_index(CORRECTION_ACTIONS, action ? action : "");
    return (correction){i < 0 ? CORRECTION_WITHDRAW : (correction_action)i,
                        sqlite3_column_int(s, 1) ? FLIP_UP : FLIP_DOWN, sql_real(s, 2),
                        sql_real(s, 3)};
}

bool corrections_read(const journal *j, const char *code, correction **items, size_t *n, err *e)
{
    sqlite3_stmt *s;
    size_t room = 0;
    *items = NULL;
    *n = 0;
    bool fine = sql_prepare(j,
                            "SELECT action, direction = 'up', time_s, to_s FROM corrections"
                            " WHERE code = ? ORDER BY number, action, direction, time_s, to_s",
                            &s, e, "t", code);
    while (sql_next(j, &s, &fine, e)) {
        array_reserve((void **)items, &room, *n + 1, sizeof **items);
        (*items)[(*n)++] = read_correction(s);
    }
    if (!fine)
        free(*items);
    return fine;
}

bool verdicts_read(const journal *j, const char *code, verdicts *out, err *e)
{
    correction *said;
    size_t n;
    *out = (verdicts){0};
    if (!corrections_read(j, code, &said, &n, e))
        return false;
    for (size_t i = 0; i < n; i++)
        hear_out(out, &said[i]);
    free(said);
    return true;
}

/* The nearest other flip stated, before (way -1) or after (1): half the way to it. */
static double reach(const verdicts *v, size_t i, int way)
{
    double most = CORRECTION_PLACE_S;
    for (size_t k = 0; k < v->n; k++) {
        double off = (v->items[k].time_s - v->items[i].time_s) * way;
        if (k != i && v->items[k].flip && off > 0)
            most = fmin(most, off / 2);
    }
    return most;
}

static void pin_flip(const verdicts *v, size_t i, track *t)
{
    const verdict *at = &v->items[i];
    double before = reach(v, i, -1), after = reach(v, i, 1);
    bool up = at->direction == FLIP_UP;
    for (size_t f = 0; f < t->n; f++) {
        double off = t->time_s[f] - at->time_s;
        if (off < -before - rounding_s || off > after + rounding_s)
            continue;
        t->stated[f] = fabs(off) <= about_s + rounding_s ? STATED_FLIP
                       : (off < 0) == up                 ? STATED_M1
                                                         : STATED_M2;
    }
}

void verdicts_pin(const verdicts *v, track *t)
{
    free(t->stated);
    t->stated = v->n ? xcalloc(t->n, sizeof *t->stated) : NULL;
    for (size_t i = 0; i < v->n; i++)
        for (size_t f = 0; !v->items[i].flip && f < t->n; f++)
            if (fabs(t->time_s[f] - v->items[i].time_s) <= CORRECTION_PLACE_S)
                t->stated[f] = STATED_SAME;
    for (size_t i = 0; i < v->n; i++)
        if (v->items[i].flip)
            pin_flip(v, i, t);
}

static double mean_of(const track *t, const double *values, double from_s, double to_s)
{
    double sum = 0, n = 0;
    for (size_t f = 0; f < t->n; f++)
        if (t->time_s[f] >= from_s && t->time_s[f] <= to_s && isfinite(t->pitch_st[f]) &&
            isfinite(values[f])) {
            sum += values[f];
            n++;
        }
    return n > 0 ? sum / n : (double)NAN;
}

static flip measure(const track *t, double time_s)
{
    double half = usual_span_ms / 2000, from = time_s - half, to = time_s + half;
    return (flip){.span_ms = usual_span_ms,
                  .leap_cents = (double)NAN,
                  .level_step_db = (double)NAN,
                  .spectral_step_db = (double)NAN,
                  .seam_jnd = (double)NAN,
                  .pitch_before_st = mean_of(t, t->pitch_st, from - beside_s, from),
                  .pitch_after_st = mean_of(t, t->pitch_st, to, to + beside_s),
                  .level_before_db = mean_of(t, t->level_db, from - beside_s, from),
                  .level_after_db = mean_of(t, t->level_db, to, to + beside_s)};
}

/* The nearest flip found of the same direction within the place, or found->n. */
static size_t nearest(const flips *found, const verdict *v)
{
    size_t best = found->n;
    double least = CORRECTION_PLACE_S + rounding_s;
    for (size_t i = 0; i < found->n; i++) {
        double off = fabs(found->items[i].time_s - v->time_s);
        if (found->items[i].direction == v->direction && off <= least) {
            least = off;
            best = i;
        }
    }
    return best;
}

static bool spoken_of(const verdicts *v, double time_s)
{
    for (size_t i = 0; i < v->n; i++)
        if (fabs(v->items[i].time_s - time_s) <= CORRECTION_PLACE_S + rounding_s)
            return true;
    return false;
}

/* Right beside the flip the registers change at the time stated. */
static void settle_frames(const verdict *v, track *t)
{
    for (size_t f = 0; f < t->n; f++)
        if (t->stated[f] == STATED_FLIP && fabs(t->time_s[f] - v->time_s) <= about_s + rounding_s &&
            isfinite(t->pitch_st[f])) {
            bool m2 = (t->time_s[f] >= v->time_s) == (v->direction == FLIP_UP);
            t->reg[f] = m2 ? 2 : 1;
            t->p_m2[f] = m2;
        }
}

void verdicts_apply(const verdicts *v, track *t, flips *found)
{
    flips all = {0};
    for (size_t i = 0; i < v->n; i++) {
        const verdict *one = &v->items[i];
        if (!one->flip)
            continue;
        size_t near = nearest(found, one);
        flip f = near < found->n ? found->items[near] : measure(t, one->time_s);
        f.time_s = one->time_s;
        f.direction = one->direction;
        f.confidence = 1;
        f.origin = one->origin;
        f.kind = FLIP_PROPER;
        flips_append(&all, f);
        settle_frames(one, t);
    }
    for (size_t i = 0; i < found->n; i++)
        if (!spoken_of(v, found->items[i].time_s))
            flips_append(&all, found->items[i]);
    flips_sort(&all);
    flips_clear(found);
    *found = all;
}

/* The frames about all verdicts, one behind the other. */
static bool read_about(const verdicts *v, const track_store *s, size_t take, track **out, err *e)
{
    static const double wide_s = 0.5;
    size_t n = track_store_frames(s, take), end = 0;
    bool fine = track_store_read(s, take, 0, 0, out, e);
    for (size_t i = 0; fine && i < v->n; i++) {
        double hop_s = (*out)->hop_s, at_s = v->items[i].time_s;
        size_t from = (size_t)(fmax(0, at_s - wide_s) / hop_s),
               to = (size_t)((at_s + wide_s) / hop_s);
        track *more;
        from = from < end ? end : from;
        to = to < n ? to : n;
        if (from >= to)
            continue;
        fine = track_store_read(s, take, from, to - from, &more, e);
        if (fine) {
            track_append(*out, more, 0, more->n);
            track_free(more);
        }
        end = to;
    }
    return fine;
}

bool verdicts_apply_stored(const verdicts *v, track_store *s, size_t take, flips *found, err *e)
{
    track *t = NULL;
    if (!v->n)
        return true;
    bool fine = read_about(v, s, take, &t, e);
    if (fine) {
        verdicts_pin(v, t);
        verdicts_apply(v, t, found);
    }
    for (size_t i = 0; fine && i < t->n; i++)
        fine = track_store_label(s, take, (size_t)lround(t->time_s[i] / t->hop_s), 1, &t->reg[i],
                                 &t->p_m2[i], e);
    track_free(t);
    return fine;
}
