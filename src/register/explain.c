/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/explain.h"

#include "base/array.h"
#include "register/trust.h"

#include <math.h>
#include <stdlib.h>

enum { CURVE = 96, MEAN_OF = 8 };
static const double near_s = 0.08; /* of the flip: what the hazard knew may be so far off */
static const double frame_s = 0.005;

typedef struct world_view { /* the world, and what the hazard was made of */
    const figures_of *of;
    const world *w;
    const search_settings *s;
    double *odds, *up_leap, *down_leap;
} world_view;

const char *explain_about_name(explain_about a)
{
    static const char *const names[] = {"tract", "source", "naming", "registers", "flip"};
    return names[a];
}

void explanation_clear(explanation *x)
{
    for (size_t i = 0; i < x->n; i++)
        free(x->rows[i].take);
    free(x->rows);
    *x = (explanation){.n = 0};
}

void explanation_append(explanation *x, explain_row row)
{
    array_reserve((void **)&x->rows, &x->room, x->n + 1, sizeof *x->rows);
    x->rows[x->n++] = row;
}

static void add(explanation *x, explain_row row)
{
    row.part = 1;
    explanation_append(x, row);
}

static void explain_tract(const world_view *v, explanation *x)
{
    double lowest = (double)INFINITY, highest = 0, db[CURVE], hz[CURVE], mean = 0;
    for (size_t i = 0; i < v->of->ev->n; i++)
        for (int h = 0; h < HARMONICS; h++)
            if (!isnan(v->of->ev->y_db[i][h])) {
                lowest = fmin(lowest, (h + 1) * v->of->ev->hz[i]);
                highest = fmax(highest, (h + 1) * v->of->ev->hz[i]);
            }
    for (int k = 0; k < CURVE; k++) {
        hz[k] = lowest * pow(highest / lowest, k / (CURVE - 1.0));
        db[k] = model_tract(&v->w->m, hz[k]);
        mean += db[k] / CURVE;
    }
    add(x, (explain_row){.about = EXPLAIN_TRACT,
                         .time_s = (double)NAN,
                         .item = "vowels",
                         .at = (double)NAN,
                         .value = v->w->m.mouth.n ? v->w->m.mouth.n : 1,
                         .unit = "vowels"});
    for (int k = 0; highest > 0 && k < CURVE; k++)
        add(x, (explain_row){.about = EXPLAIN_TRACT,
                             .time_s = (double)NAN,
                             .item = "tract",
                             .at = hz[k],
                             .at_unit = "Hz",
                             .value = db[k] - mean,
                             .unit = "dB"});
}

static void source_row(explanation *x, const char *item, int h, double db)
{
    add(x, (explain_row){.about = EXPLAIN_SOURCE,
                         .time_s = (double)NAN,
                         .item = item,
                         .at = h + 1,
                         .at_unit = "harmonic",
                         .value = db,
                         .unit = "dB"});
}

static void explain_source(const world_view *v, explanation *x)
{
    const double *s = v->w->m.beta + MODEL_S, *d = v->w->m.beta + MODEL_D;
    double mean_s = 0, mean_d = 0;
    for (int h = 0; h < MEAN_OF; h++) {
        mean_s += s[h] / MEAN_OF;
        mean_d += d[h] / MEAN_OF;
    }
    for (int h = 0; h < HARMONICS; h++)
        source_row(x, "M1", h, s[h] - mean_s - 0.5 * (d[h] - mean_d));
    for (int h = 0; h < HARMONICS; h++)
        source_row(x, "M2", h, s[h] - mean_s + 0.5 * (d[h] - mean_d));
    for (int h = 0; h < HARMONICS; h++)
        source_row(x, "M2 less M1", h, d[h] - mean_d);
}

static void naming_row(explanation *x, const char *item, double nats)
{
    add(x, (explain_row){.about = EXPLAIN_NAMING,
                         .time_s = (double)NAN,
                         .item = item,
                         .at = (double)NAN,
                         .value = nats,
                         .unit = "nats"});
}

/* The frame of the evidence nearest to a flip of a take; false where there is none near. */
static bool frame_at(const figures_of *of, size_t take, double time_s, size_t *at)
{
    double nearest = near_s;
    for (size_t i = 0; i < of->ev->n; i++)
        if (of->ev->take[i] == take && fabs(of->time_s[i] - time_s) < nearest) {
            nearest = fabs(of->time_s[i] - time_s);
            *at = i;
        }
    return nearest < near_s;
}

static void span_of(const world_view *v, size_t at, size_t *lo, size_t *hi)
{
    const evidence *ev = v->of->ev;
    *lo = *hi = at;
    while (*lo > 0 && !isinf(ev->gap_s[*lo]) &&
           v->of->time_s[at] - v->of->time_s[*lo - 1] <= near_s)
        --*lo;
    while (*hi + 1 < ev->n && !isinf(ev->gap_s[*hi + 1]) &&
           v->of->time_s[*hi + 1] - v->of->time_s[at] <= near_s)
        ++*hi;
}

static double largest(const double *values, size_t lo, size_t hi)
{
    double best = values[lo];
    for (size_t i = lo + 1; i <= hi; i++)
        best = fmax(best, values[i]);
    return best;
}

static double log_odds(double p)
{
    return log(p / (1 - p));
}

/* Nats that a leap near the flip adds to its odds over those without one. */
static double leap_gain(const world_view *v, size_t at, bool up)
{
    size_t lo, hi;
    span_of(v, at, &lo, &hi);
    double p = largest(up ? v->up_leap : v->down_leap, lo, hi);
    return p > 0 ? log_odds(p) - log(v->s->hazard.rate * frame_s) : 0;
}

/* The names exchanged: M2 what is lower, the leaps against them, the source's step the other way.
 * A frame counts as a hundredth, as in the fit of the place. */
static void explain_naming(const world_view *v, size_t n, const flips *found, explanation *x)
{
    double height = 0, leaps = 0, source = 0;
    for (size_t i = 0; i < v->of->ev->n; i++)
        height += v->s->chain.place * (2 * v->w->p2[i] - 1) * v->odds[i];
    for (size_t k = 0; k < n; k++)
        for (size_t i = 0; i < found[k].n; i++) {
            const flip *f = &found[k].items[i];
            bool up = f->direction == FLIP_UP;
            size_t at = 0;
            if (f->confidence >= FLIP_ASSERTED && frame_at(v->of, k, f->time_s, &at))
                leaps += leap_gain(v, at, up) - leap_gain(v, at, !up);
        }
    for (int h = 0; h < HARMONICS; h++)
        source += 2 * v->s->regress.ridge_d * v->w->m.beta[MODEL_D + h] * model_expected_step(h);
    naming_row(x, "pitch and level", height);
    naming_row(x, "leaps", leaps);
    naming_row(x, "source", source);
}

static void explain_registers(const world_view *v, explanation *x)
{
    double voiced_s = (double)v->of->ev->n * frame_s;
    add(x, (explain_row){.about = EXPLAIN_REGISTERS,
                         .time_s = (double)NAN,
                         .item = "two over one",
                         .at = voiced_s,
                         .at_unit = "s of voice",
                         .value = v->w->gain,
                         .unit = "nats"});
}

/* What the cues of a flip are gathered under, and the one that stands for the others. */
typedef struct cue_group {
    const char *item;
    cue first, last, shown;
    const char *unit;
} cue_group;

static const cue_group groups[] = {
    {"leap", CUE_LEAP, CUE_TRIP, CUE_LEAP, "st"},
    {"sudden steps", CUE_PITCH_BREAK, CUE_LEVEL_BREAK, CUE_PITCH_BREAK, "log nats of the pitch's"},
    {"step of harmonics", CUE_STEP, CUE_ODD, CUE_STEP, "nats against its usual scatter"},
    {"level", CUE_DIP, CUE_FALL, CUE_DIP, "dB of dip"},
    {"chain", CUE_CHAIN, CUE_CHAIN, CUE_CHAIN, NULL},
    {"both sides", CUE_FAR, CUE_NEAR, CUE_FAR, "steps from M1 to M2"},
    {"place", CUE_PLACE, CUE_PLACE, CUE_PLACE, "log odds"},
    {"surroundings", CUE_STAY_BEFORE, CUE_PAUSE, CUE_STAY_AFTER, "log s to the next change"},
    {"brief stay", CUE_BRIEF, CUE_BRIEF, CUE_BRIEF, NULL},
    {"the voice as a whole", CUE_GAIN, CUE_TOLD, CUE_GAIN, "nats a second"},
    {"the other changes", CUE_COMPANY, CUE_COMPANY, CUE_COMPANY, "nats of each, on average"},
};

static void flip_row(explanation *x, size_t k, const char *take, const flip *f, explain_row row)
{
    row.about = EXPLAIN_FLIP;
    row.track = k;
    row.take = xstrdup(take);
    row.time_s = f->time_s;
    row.direction = f->direction;
    add(x, row);
}

static void explain_flip(size_t k, const char *take, const flip *f, explanation *x)
{
    double nats[TRUST_TERMS], rest = trust_weigh(f->cues, nats);
    for (size_t i = 0; i < sizeof groups / sizeof *groups; i++) {
        const cue_group *g = &groups[i];
        double sum = 0;
        for (int t = 0; t < TRUST_TERMS; t++)
            if (trust_terms[t].from >= g->first && trust_terms[t].from <= g->last)
                sum += nats[t];
        rest -= sum;
        flip_row(x, k, take, f,
                 (explain_row){.item = g->item,
                               .at = f->cues[g->shown],
                               .at_unit = g->unit,
                               .value = sum,
                               .unit = "nats"});
    }
    flip_row(x, k, take, f,
             (explain_row){.item = "any change", .at = (double)NAN, .value = rest, .unit = "nats"});
    flip_row(x, k, take, f,
             (explain_row){.item = "confidence",
                           .at = (double)NAN,
                           .value = f->confidence,
                           .unit = "probability"});
}

static void measure(world_view *v)
{
    const evidence *ev = v->of->ev;
    double *none = array_filled(ev->n, 0);
    place_measure(ev, &v->w->where, v->odds);
    hazard_measure(ev, none, none, &v->s->hazard, v->up_leap, v->down_leap, NULL);
    free(none);
}

void explain_world(const figures_of *of, size_t n_tracks, const world *w, const flips *found,
                   explanation *out)
{
    search_settings settings = search_defaults();
    double *room = array_filled(3 * of->ev->n, 0);
    size_t n = of->ev->n;
    world_view v = {of, w, &settings, room, room + n, room + 2 * n};
    measure(&v);
    explain_tract(&v, out);
    explain_source(&v, out);
    explain_naming(&v, n_tracks, found, out);
    explain_registers(&v, out);
    for (size_t k = 0; k < n_tracks; k++)
        for (size_t i = 0; i < found[k].n; i++)
            explain_flip(k, of->tracks[k]->take, &found[k].items[i], out);
    free(room);
}
