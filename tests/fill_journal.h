/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FILL_JOURNAL_H
#define FILL_JOURNAL_H

/* A journal of made-up takes for a test, without sound. Include after cmocka.h. */

#include "base/array.h"
#include "journal/journal.h"
#include "journal/judgement.h"
#include "journal/store.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define N_OF(a) (sizeof(a) / sizeof *(a))

enum { PITCH = 1, LEVEL = 2, REGISTER = 4, UNSTATED = -1 };

typedef struct sung {
    const char *singer, *date, *vowel, *rig;
    double level_db, full_scale_db;
    int frames, hold, vary;
    declared_register declared;
    bool slides; /* from F#3 to A#4 and back, flipping at 64 and back at 61; else on C4 */
} sung;

static inline int new_journal(void **state)
{
    char *file = xstrdup("/tmp/test_journal_XXXXXX");
    int fd = mkstemp(file);
    if (fd < 0)
        return -1;
    close(fd);
    unlink(file);
    *state = file;
    return 0;
}

static inline int drop_journal(void **state)
{
    static const char *const parts[] = {"", "-wal", "-shm"};
    for (size_t i = 0; i < 3; i++) {
        char *part = xformat("%s%s", (char *)*state, parts[i]);
        unlink(part);
        free(part);
    }
    free(*state);
    return 0;
}

/* Frames of constant level. Takes on one note have three frames in five unvoiced and louder, and
 * the last one silent. */
static track *track_of(const sung *s)
{
    track *t = track_new("take", (size_t)s->frames, 0.005, 0);
    t->full_scale_db = s->full_scale_db;
    t->declared = s->declared;
    for (size_t k = 0; k < t->n; k++) {
        double way = 2.0 * (double)k / (double)t->n;
        bool voiced = s->slides || (k % 5 < 2 && k + 1 < t->n);
        t->level_db[k] = s->level_db + (voiced ? 0 : 30);
        t->pitch_st[k] = !voiced ? (double)NAN : s->slides ? 54 + 16 * fmin(way, 2 - way) : 60;
        t->voicing[k] = voiced;
    }
    if (!s->slides)
        t->level_db[t->n - 1] = -INFINITY;
    return t;
}

/* What the decoder would fill in. */
static void label(track *t)
{
    for (size_t k = 0; k < t->n; k++) {
        bool heavy = t->pitch_st[k] < (2 * k < t->n ? 64 : 61);
        t->reg[k] = !isfinite(t->pitch_st[k]) ? 0 : heavy ? 1 : 2;
        t->p_m2[k] = !isfinite(t->pitch_st[k]) ? (double)NAN : heavy ? 0.02 : 0.98;
    }
}

static void must(bool ok, const err *e)
{
    if (!ok)
        fail_msg("%s", e->text);
}

/* The digest of a take that has no sound, another for each number. */
static void sound_of(int number, unsigned char sound[JOURNAL_DIGEST])
{
    for (int i = 0; i < JOURNAL_DIGEST; i++)
        sound[i] = (unsigned char)((i % 2 ? number / 256 : 31 * number) + 7 * i + 1);
}

static void store_track(journal *j, const sung *s, int number, const track *t)
{
    err e = {""};
    char code[JOURNAL_CODE], file[32], empty[1] = "";
    journal_take take = {.singer = (char *)s->singer,
                         .date = (char *)s->date,
                         .rig = (char *)(s->rig ? s->rig : ""),
                         .full_scale_db = s->full_scale_db,
                         .distance_cm = 30,
                         .start_s = (double)NAN,
                         .end_s = (double)NAN,
                         .name = empty,
                         .vowel = (char *)s->vowel,
                         .hold = s->hold,
                         .vary = s->vary,
                         .declared = s->declared,
                         .settings = empty,
                         .version = empty};
    snprintf(file, sizeof file, "%02d.wav", number);
    take.file = file;
    sound_of(number, take.sound);
    journal_code(s->singer, take.sound, take.start_s, take.end_s, code);
    take.code = code;
    must(journal_store(j, &take, t, NULL, &e), &e);
}

static inline void store(journal *j, const sung *s, int number)
{
    track *t = track_of(s);
    store_track(j, s, number, t);
    track_free(t);
}

static void judge(journal *j, const char *singer)
{
    err e = {""};
    judgement g;
    bool any, stale;
    for (;;) {
        must(judgement_next(j, singer, "test", &g, &any, &e), &e);
        if (!any)
            return;
        for (size_t i = 0; i < g.n_before + g.n; i++)
            label(g.items[i].track);
        must(judgement_store(j, &g, "test", "", &stale, &e), &e);
        assert_false(stale);
        judgement_clear(&g);
    }
}

static inline journal *fill(const char *file, const sung *takes, size_t n)
{
    err e = {""};
    journal *j;
    must(journal_open(file, JOURNAL_WRITE, &j, &e), &e);
    must(journal_begin(j, &e), &e);
    for (size_t i = 0; i < n; i++)
        store(j, &takes[i], (int)i);
    for (size_t i = 0; i < n; i++)
        judge(j, takes[i].singer);
    must(journal_commit(j, &e), &e);
    return j;
}

#endif
