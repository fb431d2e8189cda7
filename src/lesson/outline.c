/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lesson/outline.h"

#include "base/array.h"
#include "voice/run.h"

#include <math.h>
#include <stdlib.h>

static const double window_s = 0.5, end_s = 0.1, beside_flip_s = 0.05;
static const double least_piece_s = 0.1;
static const double least_voiced = 0.8; /* of a window's weight */

typedef struct averager {
    const track *t;
    double *weight;
    size_t width, room;
    const flips *found;
    double least;
    outline out;
} averager;

static double *hann(size_t n)
{
    double *w = xmalloc(n, sizeof *w);
    for (size_t i = 0; i < n; i++)
        w[i] = 1 - cos(2 * M_PI * ((double)i + 0.5) / (double)n);
    return w;
}

/* The weighted mean of the voiced frames among first..first + n - 1; weight NULL: all alike. False
 * where too few of them have voice. */
static bool mean_of(const track *t, size_t first, size_t n, const double *weight, outline_point *p)
{
    double all = 0, sum = 0, pitch = 0, level = 0;
    for (size_t i = 0; i < n; i++) {
        double w = weight ? weight[i] : 1;
        all += w;
        if (isnan(t->pitch_st[first + i]) || !isfinite(t->level_db[first + i]))
            continue;
        sum += w;
        pitch += w * t->pitch_st[first + i];
        level += w * t->level_db[first + i];
    }
    if (sum < least_voiced * all)
        return false;
    p->frame = first + n / 2;
    p->pitch_st = pitch / sum;
    p->level_db = level / sum;
    return true;
}

static void append(averager *a, const outline_point *p)
{
    array_reserve((void **)&a->out.items, &a->room, a->out.n + 1, sizeof *a->out.items);
    a->out.items[a->out.n++] = *p;
}

static void add_piece(averager *a, size_t first, size_t end)
{
    outline_point p = {.piece = a->out.pieces};
    size_t before = a->out.n;
    if (end <= first || (double)(end - first) * a->t->hop_s < least_piece_s)
        return;
    for (size_t i = first; i + a->width <= end; i++)
        if (mean_of(a->t, i, a->width, a->weight, &p))
            append(a, &p);
    if (end - first < a->width && mean_of(a->t, first, end - first, NULL, &p))
        for (size_t i = 0; i < (end - first) / 2; i++)
            append(a, &p);
    a->out.pieces += a->out.n > before;
}

static size_t frames_in(const track *t, double seconds)
{
    return (size_t)lround(fmax(0, seconds) / t->hop_s);
}

/* first..end - 1 has voice, its ends taken off. */
static void add_voice(averager *a, size_t first, size_t end)
{
    const track *t = a->t;
    for (size_t k = 0; k < a->found->n && first < end; k++) {
        const flip *f = &a->found->items[k];
        double half_s = (isnan(f->span_ms) ? 0 : f->span_ms / 2000) + beside_flip_s;
        double at_s = f->time_s - t->time_s[0];
        size_t cut = frames_in(t, at_s - half_s), on = frames_in(t, at_s + half_s) + 1;
        if (f->confidence < a->least || on <= first || cut >= end)
            continue;
        add_piece(a, first, cut);
        first = on;
    }
    add_piece(a, first, end);
}

outline outline_of(const track *t, const flips *found, double least)
{
    averager a = {.t = t, .width = frames_in(t, window_s), .found = found, .least = least};
    a.weight = hann(a.width);
    size_t off = frames_in(t, end_s);
    for (run r = {0}; run_next(t, &r);)
        if (r.n > 2 * off)
            add_voice(&a, r.first + off, r.first + r.n - off);
    free(a.weight);
    return a.out;
}

void outline_clear(outline *c)
{
    free(c->items);
    *c = (outline){0};
}
