/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/tail.h"

#include "base/array.h"
#include "base/note.h"
#include "voice/heterodyne.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum { LEAST = 12, BACK = 40, REST_FROM = 4, REST_TO = 10, SOON = 5, MOST_GLIDING = 3, MOST = 8 };
static const heterodyne_window window = {0.040, 4};
static const double least_leap_st = 2, most_leap_st = 13.5, steady_st = 1, octave_st = 12,
                    highest_hz = 1500, apart_hz = 60;
static const float risen = 0.1F;
/* An octave up: power of the harmonics that are left, re their most, and re those that are kept up
 * as it was then. */
static const float fallen = 0.5F;

typedef struct change { /* from one note to another */
    size_t from, at;    /* the first frame to look at, the first of the new pitch */
    double old_hz, new_hz;
    bool octave; /* up: all harmonics of the new note lie on the old one's */
} change;

typedef struct note { /* frames from..end - 1, without a leap */
    size_t from, end;
} note;

static size_t find_notes(const double *st, size_t n, note *found)
{
    size_t n_found = 0;
    for (size_t i = 0, end; i < n; i = end) {
        end = i + 1;
        while (end < n && fabs(st[end] - st[end - 1]) < steady_st)
            end++;
        if (!isnan(st[i]) && end - i >= LEAST)
            found[n_found++] = (note){i, end};
    }
    return n_found;
}

/* Of the notes before note k the longest that has ended less than BACK frames before: two notes at
 * once may be heard as a third. NULL where there is none. */
static const note *left(const note *notes, size_t k)
{
    const note *longest = NULL;
    for (size_t j = k; j-- > 0 && notes[j].end + BACK > notes[k].from;)
        if (!longest || notes[j].end - notes[j].from > longest->end - longest->from)
            longest = &notes[j];
    return longest;
}

/* Whether harmonic k of the new note lies apart from all of the old one. */
static bool is_apart(const change *c, int k)
{
    double hz = k * c->new_hz, off = remainder(hz, c->old_hz);
    return hz < highest_hz && fabs(off) >= apart_hz;
}

static bool has_apart(const change *c)
{
    for (int k = 1; k <= MOST; k++)
        if (is_apart(c, k))
            return true;
    return false;
}

/* The changes between notes. */
static size_t find_changes(const double *st, const note *notes, size_t n_notes, change *found)
{
    size_t n_found = 0;
    for (size_t k = 0; k < n_notes; k++) {
        const note *old = left(notes, k);
        if (!old)
            continue;
        size_t at = notes[k].from, from = old->from + LEAST;
        double old_st = st[old->end - LEAST / 2], new_st = st[at + LEAST / 2];
        from = at > from + BACK ? at - BACK : from;
        double leap_st = fabs(new_st - old_st);
        if (leap_st < least_leap_st || leap_st > most_leap_st || from + SOON > at)
            continue;
        change c = {from, at, note_to_hz(old_st), note_to_hz(new_st), false};
        c.octave = fabs(new_st - old_st - octave_st) <= steady_st && !has_apart(&c);
        found[n_found++] = c;
    }
    return n_found;
}

static float power_apart(heterodyne *h, const change *c, size_t i)
{
    float complex line[2 * MOST];
    float sum = 0;
    heterodyne_lines(h, i, window, 2 * MOST, line);
    for (int k = 1; k <= MOST; k++)
        if (is_apart(c, k))
            sum += line_power(line[2 * k - 1]);
    return sum;
}

/* A pitch between the two is no room's but a glide. */
static bool is_on_its_way(const change *c, double st)
{
    double from = note_from_hz(c->old_hz), to = note_from_hz(c->new_hz);
    return fmin(from, to) + steady_st < st && st < fmax(from, to) - steady_st;
}

/* The frame from which the new note is there; c->at where it does not rise before. */
static size_t onset(heterodyne *h, const change *c, const double *st)
{
    float there = 0;
    for (size_t i = c->at + REST_FROM; i < c->at + REST_TO; i++)
        there += power_apart(h, c, i) / (REST_TO - REST_FROM);
    size_t at = c->at, gliding = 0;
    while (at > c->from && power_apart(h, c, at - 1) > risen * there) {
        gliding += is_on_its_way(c, st[at - 1]);
        if (gliding > MOST_GLIDING)
            break;
        at--;
    }
    return at > c->from && at + SOON <= c->at ? at : c->at;
}

/* Power of the old note's odd harmonics, which lie apart from those of the new one, and of the even
 * ones, on which they lie. */
static void old_powers(heterodyne *old, const change *c, size_t i, float *odd, float *even)
{
    float complex line[2 * MOST];
    heterodyne_lines(old, i, window, 2 * MOST, line);
    *odd = *even = 0;
    for (int k = 1; k <= MOST && k * c->old_hz < highest_hz; k++)
        *(k % 2 ? odd : even) += line_power(line[2 * k - 1]);
}

/* An octave up the new note has no harmonic of its own: it is there from where the old one's odd
 * harmonics do nothing but fade while the even ones are kept up. c->at where they do not. */
static size_t onset_of_octave(heterodyne *old, const change *c)
{
    float odd[BACK] = {0}, even[BACK] = {0};
    size_t n = c->at - c->from, loudest = 0;
    for (size_t i = 0; i < n; i++)
        old_powers(old, c, c->from + i, &odd[i], &even[i]);
    for (size_t i = 0; i < n; i++)
        loudest = odd[i] > odd[loudest] ? i : loudest;
    float most = odd[loudest], share = most / even[loudest];
    size_t at = n;
    while (at > 0 && odd[at - 1] < fallen * most && odd[at - 1] < fallen * share * even[at - 1])
        at--;
    return at > 0 && at + SOON <= n ? c->from + at : c->at;
}

/* What follows a pitch about the changes that are octaves up, the old one, or about all others, the
 * new one; NULL where there are none. */
static heterodyne *follow(const signal *x, double hop_s, size_t n, const double *st,
                          const change *changes, size_t n_changes, bool octaves)
{
    double *hz = array_filled(n, (double)NAN);
    heterodyne *h = NULL;
    for (size_t k = 0; k < n_changes; k++) {
        const change *c = &changes[k];
        double old_st = note_from_hz(c->old_hz);
        if (c->octave != octaves)
            continue;
        for (size_t i = c->from; i < c->at + LEAST; i++) {
            bool still_old = fabs(st[i] - old_st) < steady_st;
            hz[i] = !octaves ? c->new_hz : still_old ? note_to_hz(st[i]) : c->old_hz;
        }
        if (!h)
            h = heterodyne_new(x, hop_s, n, 2 * MOST);
    }
    if (h)
        heterodyne_follow(h, hz);
    free(hz);
    return h;
}

void tail_mend(const signal *x, double hop_s, size_t n, double *st)
{
    change *changes = xmalloc(n, sizeof *changes);
    note *notes = xmalloc(n, sizeof *notes);
    size_t n_changes = find_changes(st, notes, find_notes(st, n, notes), changes);
    heterodyne *new = follow(x, hop_s, n, st, changes, n_changes, false);
    heterodyne *old = follow(x, hop_s, n, st, changes, n_changes, true);
    for (size_t k = 0; k < n_changes; k++) {
        const change *c = &changes[k];
        size_t from = c->octave ? onset_of_octave(old, c) : onset(new, c, st);
        for (size_t i = from; i < c->at; i++)
            st[i] = note_from_hz(c->new_hz);
    }
    heterodyne_free(old);
    heterodyne_free(new);
    free(notes);
    free(changes);
}
