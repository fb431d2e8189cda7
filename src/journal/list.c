/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the journal holds, for those who only read. */
#include "journal/journal.h"

#include "base/array.h"
#include "base/text.h"
#include "journal/store.h"
#include "journal/take.h"

#include <stdlib.h>

void journal_take_clear(journal_take *t)
{
    free(t->code);
    free(t->take);
    free(t->singer);
    free(t->date);
    free(t->rig);
    free(t->calibration);
    free(t->file);
    free(t->name);
    free(t->vowel);
    free(t->settings);
    free(t->version);
    free(t->failed);
    free(t->warned);
    *t = (journal_take){0};
}

static bool read_singers(const journal *j, journal_singer **items, size_t *n, err *e)
{
    sqlite3_stmt *s;
    size_t room = 0;
    bool fine = sql_prepare(
        j,
        "SELECT g.name, g.notes, count(DISTINCT s.id), count(t.id),"
        " total((SELECT count(*) FROM flips f"
        "  WHERE f.take = t.id AND f.confidence >= 0.5)), min(s.date), max(s.date)"
        " FROM singers g LEFT JOIN (sessions s JOIN takes t"
        "  ON t.session = s.id AND t.judged = 1 AND t.removed % 2 = 0) ON s.singer = g.id"
        " GROUP BY g.id ORDER BY g.name",
        &s, e, "");
    while (sql_next(j, &s, &fine, e)) {
        array_reserve((void **)items, &room, *n + 1, sizeof **items);
        (*items)[(*n)++] = (journal_singer){.name = sql_text(s, 0),
                                            .notes = sql_text(s, 1),
                                            .sessions = (size_t)sqlite3_column_int64(s, 2),
                                            .takes = (size_t)sqlite3_column_int64(s, 3),
                                            .flips = (size_t)sqlite3_column_int64(s, 4),
                                            .first = sql_text(s, 5),
                                            .last = sql_text(s, 6)};
    }
    return fine;
}

bool journal_singers(journal *j, journal_singer **items, size_t *n, err *e)
{
    *items = NULL;
    *n = 0;
    if (read_singers(j, items, n, e))
        return true;
    journal_singers_free(*items, *n);
    return false;
}

void journal_singers_free(journal_singer *items, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        free(items[i].name);
        free(items[i].notes);
        free(items[i].first);
        free(items[i].last);
    }
    free(items);
}

static bool refuse_singer(journal *j, const char *singer, err *e)
{
    journal_singer *known;
    size_t n;
    if (!journal_singers(j, &known, &n, e))
        return false;
    const char **names = xmalloc(n, sizeof *names);
    for (size_t i = 0; i < n; i++)
        names[i] = known[i].name;
    const char *near = text_nearest(singer, names, n);
    if (near)
        err_set(e, "The journal has no singer %s; did you mean %s?", singer, near);
    else if (n)
        err_set(e, "The journal has no singer %s: seamline singers lists those it has.", singer);
    else
        err_set(e, "The journal has no singer %s: it has none yet.", singer);
    free(names);
    journal_singers_free(known, n);
    return false;
}

bool journal_knows(journal *j, const char *singer, err *e)
{
    long n;
    return sql_long(j, "SELECT count(*) FROM singers WHERE name = ?", 0, &n, e, "t", singer) &&
           (n > 0 || refuse_singer(j, singer, e));
}

static bool read_vowels(const journal *j, const char *text, const char *singer,
                        journal_vowel **items, size_t *n, err *e)
{
    sqlite3_stmt *s;
    size_t room = 0;
    bool fine = sql_prepare(j, text, &s, e, "t", singer);
    while (sql_next(j, &s, &fine, e)) {
        array_reserve((void **)items, &room, *n + 1, sizeof **items);
        (*items)[(*n)++] = (journal_vowel){sql_text(s, 0), (size_t)sqlite3_column_int64(s, 1)};
    }
    return fine;
}

bool journal_vowels(journal *j, const char *singer, journal_vowel **items, size_t *n, err *e)
{
    static const char text[] =
        "SELECT t.vowel, count(*) FROM takes t JOIN sessions s ON s.id = t.session"
        " JOIN singers g ON g.id = s.singer WHERE g.name = ? AND t.judged = 1 AND t.removed % 2 = 0"
        " GROUP BY t.vowel ORDER BY count(*) DESC, t.vowel";
    *items = NULL;
    *n = 0;
    if (journal_knows(j, singer, e) && read_vowels(j, text, singer, items, n, e))
        return true;
    journal_vowels_free(*items, *n);
    return false;
}

void journal_vowels_free(journal_vowel *items, size_t n)
{
    for (size_t i = 0; i < n; i++)
        free(items[i].vowel);
    free(items);
}

static bool judged(journal *j, const char *singer, const char *vowel_or_null, take_list *list,
                   err *e)
{
    const char *where =
        vowel_or_null ? "WHERE t.judged = 1 AND t.removed % 2 = 0 AND g.name = ? AND t.vowel = ?"
                      : "WHERE t.judged = 1 AND t.removed % 2 = 0 AND g.name = ?";
    return journal_knows(j, singer, e) && take_query(j, where, singer, vowel_or_null, list, e);
}

bool journal_takes(journal *j, const char *singer, const char *vowel_or_null, journal_take **items,
                   size_t *n, err *e)
{
    take_list list;
    bool begun;
    if (!sql_begin_read(j, &begun, e))
        return false;
    bool fine = judged(j, singer, vowel_or_null, &list, e);
    sql_end_read(j, begun);
    if (fine) {
        *items = list.items;
        *n = list.n;
        free(list.ids);
    }
    return fine;
}

bool journal_kept(journal *j, const char *singer, journal_take **items, size_t *n, err *e)
{
    take_list list;
    if (!take_query(j, "WHERE t.judged = 1 AND g.name = ?", singer, NULL, &list, e))
        return false;
    *items = list.items;
    *n = list.n;
    free(list.ids);
    return true;
}

bool journal_answers(journal *j, const char *singer, journal_answer **items, size_t *n, err *e)
{
    sqlite3_stmt *s;
    size_t room = 0;
    *items = NULL;
    *n = 0;
    bool fine =
        sql_prepare(j,
                    "SELECT m.vowel, m.version, m.answer, m.part FROM models m"
                    " JOIN singers g ON g.id = m.singer WHERE g.name = ? ORDER BY vowel, part",
                    &s, e, "t", singer);
    while (sql_next(j, &s, &fine, e)) {
        array_reserve((void **)items, &room, *n + 1, sizeof **items);
        (*items)[(*n)++] = (journal_answer){sql_text(s, 0), sql_text(s, 1), sql_text(s, 2),
                                            (long)sqlite3_column_int64(s, 3)};
    }
    if (!fine)
        journal_answers_free(*items, *n);
    return fine;
}

void journal_answers_free(journal_answer *items, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        free(items[i].vowel);
        free(items[i].version);
        free(items[i].answer);
    }
    free(items);
}

void journal_takes_free(journal_take *items, size_t n)
{
    for (size_t i = 0; i < n; i++)
        journal_take_clear(&items[i]);
    free(items);
}

bool journal_tracks(journal *j, const char *singer, const char *vowel_or_null, journal_item **items,
                    size_t *n, err *e)
{
    take_list list;
    bool begun;
    if (!sql_begin_read(j, &begun, e))
        return false;
    bool fine = judged(j, singer, vowel_or_null, &list, e) && take_outlines(j, &list, items, n, e);
    sql_end_read(j, begun);
    return fine;
}

void journal_item_clear(journal_item *item)
{
    journal_take_clear(&item->take);
    track_free(item->track);
    flips_clear(&item->flips);
    item->track = NULL;
}

void journal_items_free(journal_item *items, size_t n)
{
    for (size_t i = 0; i < n; i++)
        journal_item_clear(&items[i]);
    free(items);
}
