/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/plane.h"

#include "base/array.h"
#include "base/text.h"
#include "journal/sql.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_statistics_double.h>

static bool has(int bits, const char *dimension)
{
    return bits > 0 && (bits >> text_word_index(JOURNAL_DIMENSIONS, dimension) & 1);
}

static plane_use use_of(const journal_take *t)
{
    if (has(t->hold, "register") || t->declared != DECLARED_NONE)
        return PLANE_HELD;
    if (has(t->vary, "register") && has(t->hold, "pitch"))
        return PLANE_AT_WILL;
    return PLANE_COUNTS;
}

static bool voiced(const track *t, size_t k)
{
    return isfinite(t->pitch_st[k]) && isfinite(t->level_db[k]);
}

/* The median level of the voiced frames of one session among items, whatever their vowel. */
static double session_median(const journal_item *items, size_t n, long session)
{
    double *levels = NULL;
    size_t count = 0, room = 0;
    for (size_t i = 0; i < n; i++) {
        const track *t = items[i].track;
        if (items[i].take.session != session)
            continue;
        array_reserve((void **)&levels, &room, count + t->n, sizeof *levels);
        for (size_t k = 0; k < t->n; k++)
            if (voiced(t, k))
                levels[count++] = t->level_db[k];
    }
    double median = count ? gsl_stats_median(levels, 1, count) : (double)NAN;
    free(levels);
    return median;
}

static bool choose_vowel(journal *j, const char *singer, const char *wanted, plane *p, err *e)
{
    if (!journal_knows(j, singer, e) || !journal_vowels(j, singer, &p->vowels, &p->n_vowels, e))
        return false;
    if (p->n_vowels == 0)
        return err_set(e,
                       "%s has no takes yet whose registers were decoded: add some with "
                       "\"seamline add\".",
                       singer);
    for (size_t i = 0; i < p->n_vowels; i++)
        if (!wanted || strcmp(p->vowels[i].vowel, wanted) == 0) {
            p->vowel = xstrdup(p->vowels[i].vowel);
            return true;
        }
    return err_set(e, "%s has no takes on the vowel \"%s\"; most are on \"%s\".", singer, wanted,
                   p->vowels[0].vowel);
}

static bool is_listed(const long *numbers, size_t n, long number)
{
    for (size_t i = 0; i < n; i++)
        if (numbers[i] == number)
            return true;
    return false;
}

/* Moves the takes of one session and the plane's vowel from all[n] to the end of the plane. */
static void add_session(const journal_item *all, size_t n, long number, plane *p)
{
    plane_session *s = &p->sessions[p->n_sessions++];
    s->first = p->n;
    for (size_t i = 0; i < n; i++)
        if (all[i].take.session == number && strcmp(all[i].take.vowel, p->vowel) == 0)
            p->items[p->n++] = all[i];
    s->n = p->n - s->first;
    s->date = xstrdup(p->items[s->first].take.date);
    s->median_db = session_median(all, n, number);
}

/* The journal gives takes by date, so that two sessions of one day may interleave: here a session's
 * takes are put together, sessions in the order of their first take. Takes all[n]. */
static void take_over(journal_item *all, size_t n, plane *p)
{
    long *numbers = xcalloc(n, sizeof *numbers);
    journal_item *others = xcalloc(n, sizeof *others);
    size_t n_others = 0;
    p->items = xcalloc(n, sizeof *p->items);
    p->sessions = xcalloc(n, sizeof *p->sessions);
    for (size_t i = 0; i < n; i++)
        if (strcmp(all[i].take.vowel, p->vowel) != 0)
            others[n_others++] = all[i];
        else if (!is_listed(numbers, p->n_sessions, all[i].take.session)) {
            numbers[p->n_sessions] = all[i].take.session;
            add_session(all, n, all[i].take.session, p);
        }
    journal_items_free(others, n_others);
    free(numbers);
    free(all);
}

static bool all_calibrated(const plane *p)
{
    for (size_t i = 0; i < p->n; i++)
        if (!isfinite(p->items[i].track->full_scale_db))
            return false;
    return true;
}

/* Silence stays -INFINITY; a session without voice has no median, and no voice to place by it. */
static void lay_out(plane *p, const plane_session *s)
{
    double shift = p->calibrated || !isfinite(s->median_db) ? 0 : s->median_db;
    for (size_t i = s->first; i < s->first + s->n; i++) {
        const track *t = p->items[i].track;
        double *level = xmalloc(t->n, sizeof *level);
        for (size_t k = 0; k < t->n; k++)
            level[k] = t->level_db[k] - shift;
        p->levels[i] = level;
        p->paths[i] = (path){t->take, t->n, t->time_s, t->pitch_st, level, t->reg, t->p_m2};
        p->use[i] = use_of(&p->items[i].take);
    }
}

bool plane_load(journal *j, const char *singer, const char *vowel_or_null, plane *out, err *e)
{
    journal_item *all;
    size_t n;
    bool begun;
    *out = (plane){0};
    if (!sql_begin_read(j, &begun, e))
        return false;
    bool fine = choose_vowel(j, singer, vowel_or_null, out, e) &&
                journal_tracks(j, singer, NULL, &all, &n, e);
    sql_end_read(j, begun);
    if (!fine) {
        plane_clear(out);
        return false;
    }
    take_over(all, n, out);
    out->calibrated = all_calibrated(out);
    out->levels = xcalloc(out->n, sizeof *out->levels);
    out->paths = xcalloc(out->n, sizeof *out->paths);
    out->use = xcalloc(out->n, sizeof *out->use);
    for (size_t s = 0; s < out->n_sessions; s++)
        lay_out(out, &out->sessions[s]);
    return true;
}

void plane_clear(plane *p)
{
    for (size_t i = 0; p->levels && i < p->n; i++)
        free(p->levels[i]);
    for (size_t i = 0; i < p->n_sessions; i++)
        free(p->sessions[i].date);
    if (p->items)
        journal_items_free(p->items, p->n);
    if (p->vowels)
        journal_vowels_free(p->vowels, p->n_vowels);
    free(p->levels);
    free(p->sessions);
    free(p->paths);
    free(p->use);
    free(p->vowel);
    *p = (plane){0};
}

const char *plane_level_scale(const plane *p)
{
    if (p->pitch_only)
        return "not known (automatic gain)";
    return p->calibrated ? "dB SPL (Z, 30 cm)" : "dB re session median";
}

size_t plane_count(const plane *p, plane_use use)
{
    size_t n = 0;
    for (size_t i = 0; i < p->n; i++)
        n += p->use[i] == use;
    return n;
}

path *plane_counting(const plane *p, size_t first, size_t n, size_t *n_out)
{
    path *paths = xcalloc(n, sizeof *paths);
    *n_out = 0;
    for (size_t i = first; i < first + n; i++)
        if (p->use[i] == PLANE_COUNTS)
            paths[(*n_out)++] = p->paths[i];
    return paths;
}

/* Of each take that counts, the number of its session. */
static size_t *sessions_counting(const plane *p, size_t first, size_t n)
{
    size_t *session = xcalloc(n, sizeof *session), m = 0, at = 0;
    for (size_t i = first; i < first + n; i++) {
        while (i >= p->sessions[at].first + p->sessions[at].n)
            at++;
        if (p->use[i] == PLANE_COUNTS)
            session[m++] = at;
    }
    return session;
}

bool plane_fit(const plane *p, size_t first, size_t n, double at_db, boundary **out, err *e)
{
    boundary_settings s = boundary_defaults();
    s.at_db = at_db;
    size_t counting;
    path *paths = plane_counting(p, first, n, &counting);
    size_t *session = sessions_counting(p, first, n);
    s.opt_session = session;
    bool ok = boundary_fit(paths, counting, &s, out, e);
    free(session);
    free(paths);
    return ok;
}
