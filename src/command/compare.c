/* SPDX-License-Identifier: GPL-3.0-or-later */
/* compare SINGER SINGER...: their boundaries on one plane, and by how much each differs from the
 * first, with the scatter between sessions taken into account. */
#include "base/array.h"
#include "base/text.h"
#include "command/boundary_table.h"
#include "command/command.h"
#include "command/comparison.h"
#include "command/follow.h"
#include "command/from_journal.h"
#include "command/option_rows.h"
#include "command/plane_gain.h"
#include "command/plane_notes.h"
#include "command/plane_scale.h"
#include "show/compare_draw.h"
#include "show/far_level.h"
#include "show/session_maps.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WIDTH_PX = 1200 };
/* Levels closer than this are not soft and loud. */
static const double NARROW_DB = 2;

typedef struct settings {
    const char *out, *vowel;
    double at_db, scatter_st;
    int gain;
} settings;

static const option options[] = {
    PICTURE_OPTION(settings, out),
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(settings, vowel),
     "the vowel to compare (that with most takes of the first singer)"},
    {"at", 0, OPTION_NUMBER, "DB", NULL, -160, 160, offsetof(settings, at_db),
     "one level to compare at (soft, middle and loud of what all have sung)"},
    SCATTER_OPTION(settings, scatter_st),
    GAIN_OPTION(settings, gain),
};

static void defaults(void *p)
{
    *(settings *)p = (settings){.at_db = (double)NAN, .scatter_st = COURSE_SCATTER_ST};
}

static bool load(const command_call *call, comparison *c, err *e)
{
    const settings *s = call->settings;
    journal *j;
    bool ok = journal_open(call->shared->journal, JOURNAL_READ, &j, e);
    if (!ok)
        return false;
    ok = journal_snapshot(j, e);
    for (size_t i = 0; ok && i < call->n; i++) {
        const char *vowel = s->vowel ? s->vowel : i ? c->planes[0].vowel : NULL;
        ok = load_plane(j, call->operands[i], vowel, s->gain, &c->planes[i], e);
        c->n += ok;
    }
    journal_close(j);
    return ok;
}

/* Soft, middle and loud of the levels at which everybody's voice came to the boundary going up. */
static bool choose_levels(const command_call *call, comparison *c, err *e)
{
    const settings *s = call->settings;
    double lo = -INFINITY, hi = INFINITY;
    c->n_levels = 1;
    c->at_db[0] = s->at_db;
    for (size_t i = 0; !isfinite(s->at_db) && i < c->n; i++) {
        double from, to;
        course all;
        if (!follow_course(&c->planes[i], (double)NAN, &all, e))
            return false;
        bool sung = boundary_levels(all.whole, FLIP_UP, &from, &to);
        course_clear(&all);
        if (!sung)
            return err_set(e, "%s has no take in the heavy register that counts.", c->names[i]);
        lo = fmax(lo, from);
        hi = fmin(hi, to);
    }
    if (isfinite(s->at_db))
        return true;
    if (lo > hi)
        return err_set(e,
                       "The singers share no level: the loudest of one is %.1f dB, the softest of "
                       "another %.1f dB; --at compares at a level of your choice.",
                       hi, lo);
    if (hi - lo < NARROW_DB) {
        c->at_db[0] = 0.5 * (lo + hi);
        return true;
    }
    c->n_levels = COMPARE_LEVELS;
    c->middle = 1;
    for (int k = 0; k < COMPARE_LEVELS; k++)
        c->at_db[k] = lo + (hi - lo) * (0.1 + 0.4 * k);
    return true;
}

static bool fit(comparison *c, err *e)
{
    for (size_t i = 0; i < c->n; i++)
        for (size_t k = 0; k < c->n_levels; k++)
            if (!follow_course(&c->planes[i], c->at_db[k], &c->courses[i * COMPARE_LEVELS + k],
                               e) ||
                !far_level_check(comparison_course(c, i, k)->whole, c->names[i], e))
                return false;
    return true;
}

static void print_singer(const comparison *c, size_t i, table_writer *w)
{
    follow_boundary(w, c->names[i], c->at_db[c->middle], comparison_course(c, i, c->middle)->whole);
    for (size_t k = 0; k < c->n_levels; k++)
        if (k != c->middle)
            follow_pitches(w, c->names[i], c->at_db[k], comparison_course(c, i, k)->whole);
}

/* Pitches and hysteresis at every level, leaps once. */
static void print_difference(const comparison *c, size_t other, double assumed, table_writer *w)
{
    char *who = xformat("%s less %s", c->names[other], c->names[0]);
    for (size_t k = 0; k < c->n_levels; k++)
        for (int r = 0; r < (k == c->middle ? FOLLOW_ROWS : 3); r++) {
            scatter_fit f;
            bool told = comparison_difference(c, other, k, follow_rows[r], assumed, &f);
            follow_change(w, who, c->at_db[k], follow_rows[r], "difference", told ? &f : NULL,
                          "st");
        }
    free(who);
}

/* A sentence a direction at the middle level. */
static char *words_of(const comparison *c, size_t other, flip_direction d, double assumed,
                      const char *who, const char *first)
{
    scatter_fit f;
    const char *way = d == FLIP_UP ? "Going up" : "Coming down";
    boundary_row row = d == FLIP_UP ? BOUNDARY_UP_PITCH : BOUNDARY_DOWN_PITCH;
    if (!comparison_difference(c, other, c->middle, row, assumed, &f))
        return xformat("%s: not both of %s and %s are told.", way, who, first);
    char at[64] = ""; /* nothing where levels are not known */
    if (!c->planes[0].pitch_only)
        snprintf(at, sizeof at, " at %.1f dB", c->at_db[c->middle] + 0.0);
    figure x = scatter_figure(&f, 1);
    if (x.lo95 > 0 || x.hi95 < 0)
        return xformat("%s%s, %s flips %.1f semitones %s than %s (95 %%: %+.1f to %+.1f).", way, at,
                       who, fabs(x.estimate), x.estimate > 0 ? "higher" : "lower", first, x.lo95,
                       x.hi95);
    return xformat("%s%s, no sure difference of %s from %s (95 %%: %+.1f to %+.1f); %.1f "
                   "semitones would have shown in four of five cases.",
                   way, at, who, first, x.lo95, x.hi95, scatter_detectable(&f, 1));
}

static bool anybody_far(const comparison *c)
{
    for (size_t i = 0; i < c->n; i++) {
        const boundary *b = comparison_course(c, i, c->middle)->whole;
        if (far_level(b, FLIP_UP) || far_level(b, FLIP_DOWN))
            return true;
    }
    return false;
}

static char *all_words(const comparison *c, double assumed)
{
    char *all = xstrdup("Flipping higher or lower is no score.");
    char *first = text_shown(c->names[0], COMPARE_NAME);
    for (size_t i = 1; i < c->n; i++) {
        char *who = text_shown(c->names[i], COMPARE_NAME);
        for (int d = 0; d < 2; d++) {
            char *one = words_of(c, i, (flip_direction)d, assumed, who, first);
            char *longer = xformat("%s\n%s", all, one);
            free(all);
            free(one);
            all = longer;
        }
        free(who);
    }
    free(first);
    if (anybody_far(c)) {
        char *longer = xformat("%s\n%s", all, far_level_words);
        free(all);
        all = longer;
    }
    return all;
}

static void note_counts(const comparison *c, double assumed, table_writer *w)
{
    for (size_t i = 0; i < c->n; i++) {
        const plane *p = &c->planes[i];
        table_note(w, "singer",
                   "%s: vowel %s, %zu take%s in %zu session%s, %zu held and %zu at will "
                   "left out",
                   c->names[i], *p->vowel ? p->vowel : "not stated", p->n, p->n == 1 ? "" : "s",
                   p->n_sessions, p->n_sessions == 1 ? "" : "s", plane_count(p, PLANE_HELD),
                   plane_count(p, PLANE_AT_WILL));
        const boundary *b = comparison_course(c, i, c->middle)->whole;
        char *who = xformat("%s: ", c->names[i]);
        boundary_table_far(b, "singer", who, w);
        free(who);
        for (int row = 0; row < BOUNDARY_ROWS; row++)
            if (boundary_reason(b, (boundary_row)row))
                table_note(w, "singer", "%s: %s: %s", c->names[i],
                           boundary_row_name((boundary_row)row),
                           boundary_reason(b, (boundary_row)row));
    }
    for (size_t i = 1; i < c->n; i++) {
        scatter_fit f;
        if (comparison_difference(c, i, c->middle, BOUNDARY_UP_PITCH, assumed, &f) && f.assumed)
            table_note(w, "assumed", "sessions scatter by %.2f st: too few of %s and %s to tell",
                       f.scatter, c->names[0], c->names[i]);
    }
}

static bool print(const command_call *call, const comparison *c, const char *words, err *e)
{
    const settings *s = call->settings;
    table_writer *w = command_table(call, "singer at_db parameter estimate lo95 hi95 unit");
    table_note(w, "level_scale", "%s", plane_level_scale(&c->planes[0]));
    note_counts(c, s->scatter_st, w);
    plane_notes_say(words, w);
    for (size_t i = 0; i < c->n; i++)
        print_singer(c, i, w);
    for (size_t i = 1; i < c->n; i++)
        print_difference(c, i, s->scatter_st, w);
    return table_writer_close(w, e);
}

/* [c->n - 1] differences from the first; the caller frees. */
static compare_difference *differences(const comparison *c, double assumed)
{
    static const boundary_row rows[2] = {BOUNDARY_UP_PITCH, BOUNDARY_DOWN_PITCH};
    compare_difference *all = xcalloc(c->n, sizeof *all);
    for (size_t i = 1; i < c->n; i++)
        for (size_t k = 0; k < c->n_levels; k++)
            for (int d = 0; d < 2; d++) {
                scatter_fit f;
                bool told = comparison_difference(c, i, k, rows[d], assumed, &f);
                all[i - 1].at[k][d] = told ? scatter_figure(&f, 1) : (figure){NAN, NAN, NAN};
            }
    return all;
}

static bool draw(const command_call *call, const comparison *c, const char *words, picture *where,
                 err *e)
{
    const settings *s = call->settings;
    map_labels labels = plane_map_labels(&c->planes[0], "Side by side", call->shared->a4_hz);
    map *maps = xcalloc(c->n, sizeof *maps);
    compare_difference *apart = differences(c, s->scatter_st);
    compare_shown shown = {.n = c->n,
                           .names = c->names,
                           .maps = maps,
                           .n_levels = c->n_levels,
                           .at_db = c->at_db,
                           .differences = apart};
    where->height_px = compare_height_px(c->n);
    labels.words = words;
    labels.sessions = 0;
    for (size_t i = 0; i < c->n; i++) {
        const plane *p = &c->planes[i];
        labels.sessions += p->n_sessions;
        map_gather(p->paths, p->n, comparison_course(c, i, c->middle)->whole, &maps[i]);
    }
    bool ok = compare_draw(&shown, &labels, where, e);
    for (size_t i = 0; i < c->n; i++)
        map_clear(&maps[i]);
    free(apart);
    free(maps);
    return ok;
}

static int compare(const command_call *call, comparison *c, picture *where, err *e)
{
    const settings *s = call->settings;
    if (!load(call, c, e))
        return EXIT_INPUT;
    plane_scale(c->planes, c->n);
    if (!plane_gain_at(&c->planes[0], s->at_db, e) || !choose_levels(call, c, e) || !fit(c, e))
        return EXIT_NO_ANSWER;
    comparison_sort(c, s->scatter_st);
    char *words = all_words(c, s->scatter_st);
    bool ok = print(call, c, words, e) && draw(call, c, words, where, e);
    free(words);
    return ok ? EXIT_DONE : EXIT_INPUT;
}

static int run(const command_call *call, err *e)
{
    const settings *s = call->settings;
    picture where;
    comparison c = {.n = 0};
    if (!picture_choose(s->out, WIDTH_PX, WIDTH_PX, &where, e))
        return EXIT_USAGE;
    for (size_t i = 1; i < call->n; i++)
        for (size_t k = 0; k < i; k++)
            if (strcmp(call->operands[i], call->operands[k]) == 0) {
                err_set(e, "%s is named twice.", call->operands[i]);
                return EXIT_USAGE;
            }
    c.names = xmalloc(call->n, sizeof *c.names);
    memcpy(c.names, call->operands, call->n * sizeof *c.names);
    c.planes = xcalloc(call->n, sizeof *c.planes);
    c.courses = xcalloc(call->n * COMPARE_LEVELS, sizeof *c.courses);
    int code = compare(call, &c, &where, e);
    comparison_clear(&c);
    return code;
}

const command command_compare = {
    .name = "compare",
    .summary = "singers side by side: their maps, and by how much they differ",
    .usage = "SINGER SINGER...",
    .detail = "Prints each singer's boundary where all have sung, soft, middle and loud, then the "
              "difference\nof each from the first, lowest up-flip first, with a 95 % interval that "
              "allows for the scatter "
              "between sessions.\nLevels are sound pressure when all are calibrated, else each "
              "session's own scale.",
    .examples = "seamline compare robin wren -o both.png",
    .least = 2,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .defaults = defaults,
    .run = run,
};
