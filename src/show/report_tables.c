/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/report_tables.h"

#include "base/array.h"
#include "base/note.h"
#include "base/text.h"
#include "fit/ranges.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* "F#4+12c", and its interval in the next cell; empty where it is not told. */
static void cell_pitch(page *p, figure f, double a4_hz)
{
    char note[NOTE_NAME_SIZE], from[NOTE_NAME_SIZE], to[NOTE_NAME_SIZE];
    if (!isfinite(f.estimate)) {
        page_cell(p, "not told");
        page_cell(p, "");
        return;
    }
    note_name(f.estimate, a4_hz, note);
    note_name(f.lo95, a4_hz, from);
    note_name(f.hi95, a4_hz, to);
    page_cell(p, note);
    page_cell_format(p, "%s to %s", from, to);
}

/* A level within those at which the direction was sung: beyond, nothing is told. */
static figure pitch_at(const boundary *b, flip_direction d, double level_db)
{
    const figure none = {(double)NAN, (double)NAN, (double)NAN};
    double lo, hi;
    if (!boundary_levels(b, d, &lo, &hi) || level_db < lo || level_db > hi)
        return none;
    return boundary_pitch_at(b, d, level_db);
}

void report_table_flips(const report_head *h, const report_part *r, page *p)
{
    static const char *const names[3] = {"soft", "middle", "loud"};
    const double levels[3] = {r->reach->soft_db, r->reach->middle_db, r->reach->loud_db};
    page_table_begin(p, "Where the voice flips, in notes and cents",
                     "level|going up|95 % interval|coming down|95 % interval");
    for (int k = 0; k < (r->plane->pitch_only ? 1 : 3); k++) {
        if (r->plane->pitch_only)
            page_cell(p, "any");
        else
            page_cell_format(p, "%s, %.0f dB", names[k], levels[k] + 0.0);
        for (int d = 0; d < 2; d++)
            cell_pitch(p, pitch_at(r->boundary, (flip_direction)d, levels[k]), h->a4_hz);
    }
    page_table_end(p);
}

static char *caption_at(const char *what, const plane *p, double db)
{
    return p->pitch_only ? xformat("%s, whatever the level", what)
                         : xformat("%s at %.1f dB", what, db + 0.0);
}

static void row_of(page *p, const char *what, figure f, int decimals, const char *unit)
{
    page_cell(p, what);
    if (isfinite(f.estimate))
        page_cell_format(p, "%.*f", decimals, f.estimate);
    else
        page_cell(p, "not told");
    if (isfinite(f.lo95))
        page_cell_format(p, "%.*f to %.*f", decimals, f.lo95, decimals, f.hi95);
    else
        page_cell(p, "");
    page_cell(p, unit);
}

void report_table_figures(const report_part *r, page *p)
{
    static const char *const what[BOUNDARY_ROWS] = {
        "pitch going up (MIDI scale, A4 = 69)",
        "slope going up",
        "spread of single flips going up",
        "pitch coming down",
        "slope coming down",
        "spread of single flips coming down",
        "hysteresis: up less down",
        "leap at the flip up",
        "leap at the flip down",
    };
    char *caption = caption_at("The boundary", r->plane, boundary_at_db(r->boundary));
    page_table_begin(p, caption, "figure|estimate|95 % interval|unit");
    free(caption);
    for (int row = 0; row < BOUNDARY_ROWS; row++) {
        const char *unit = boundary_row_unit((boundary_row)row);
        bool slope = strcmp(unit, "st/dB") == 0;
        row_of(p, what[row], boundary_figure(r->boundary, (boundary_row)row), slope ? 3 : 2,
               slope ? "semitones per dB" : "semitones");
    }
    row_of(p, "zone of both registers", ranges_zone(r->plane->paths, r->plane->n), 0,
           "semitones × dB");
    page_table_end(p);
}

void report_table_sessions(const report_head *h, const report_part *r, page *p)
{
    const course *c = &r->progress->courses[0];
    char *caption = caption_at("Each session", r->plane, c->at_db);
    page_table_begin(p, caption, "date|takes|going up|95 % interval|coming down|95 % interval");
    free(caption);
    for (size_t i = 0; i < c->n; i++) {
        page_cell(p, r->plane->sessions[i].date);
        page_cell_format(p, "%zu", r->plane->sessions[i].n);
        cell_pitch(p, c->rows[i][BOUNDARY_UP_PITCH], h->a4_hz);
        cell_pitch(p, c->rows[i][BOUNDARY_DOWN_PITCH], h->a4_hz);
    }
    page_table_end(p);
}

/* "pitch, register" */
static void cell_set(page *p, int bits)
{
    char words[3 * TEXT_WORD_SIZE] = "", word[TEXT_WORD_SIZE];
    for (size_t i = 0; bits > 0 && text_word(JOURNAL_DIMENSIONS, i, word); i++)
        if (bits >> i & 1) {
            strcat(words, *words ? ", " : "");
            strcat(words, word);
        }
    page_cell(p, bits < 0 ? "unknown" : bits ? words : "none");
}

static void cell_number(page *p, double value, int decimals, const char *unit)
{
    if (isfinite(value))
        page_cell_format(p, "%.*f%s%s", decimals, value + 0.0, *unit ? " " : "", unit);
    else
        page_cell(p, "");
}

/* What is wrong with the recording. */
static void cell_recording(page *p, const journal_take *t)
{
    bool failed = *t->failed && strcmp(t->failed, "none") != 0;
    bool warned = *t->warned && strcmp(t->warned, "none") != 0;
    if (!*t->failed)
        page_cell(p, "not checked");
    else if (!failed && !warned)
        page_cell(p, "good");
    else
        page_cell_format(p, "%s%s%s%s%s", failed ? "bad: " : "", failed ? t->failed : "",
                         failed && warned ? "; " : "", warned ? "look at: " : "",
                         warned ? t->warned : "");
}

static void take_row(page *p, const journal_take *t, const held_score *h)
{
    const exercise *x = exercise_find(t->hold, t->vary);
    page_cell(p, t->date);
    page_cell(p, *t->name ? t->name : t->file);
    page_cell(p, x ? x->name : t->hold < 0 && t->vary < 0 ? "not stated" : "other");
    cell_set(p, h->moved);
    cell_set(p, t->hold < 0 ? -1 : h->held);
    cell_number(p, h->pitch_steady_cents, 0, "");
    cell_number(p, h->level_steady_db, 1, "");
    cell_number(p, h->leak, 1, leak_unit_name(h->unit));
    if (t->doubtful)
        page_cell_format(p, "%zu, %zu doubtful", t->flips, t->doubtful);
    else
        page_cell_format(p, "%zu", t->flips);
    cell_recording(p, t);
}

void report_table_takes(const report_part *r, const held_score *scores, size_t first, page *p)
{
    const plane *own = r->plane;
    page_table_begin(
        p, first ? "The takes of the last sessions" : "The takes",
        "date|take|exercise|moved|held|pitch, ± cents|level, ± dB|leak|flips|recording");
    for (size_t i = first; i < own->n; i++)
        take_row(p, &own->items[i].take, &scores[i]);
    page_table_end(p);
}

void report_table_next(const report_head *h, const report_part *r, page *p)
{
    char from[NOTE_NAME_SIZE], to[NOTE_NAME_SIZE];
    page_table_begin(p, "Takes worth recording next", "take|from|to|level|band now|band then");
    for (size_t i = 0; i < r->n_next; i++) {
        const plan_take *t = &r->next[i];
        bool slide = t->kind == PLAN_SLIDE;
        note_nearest(t->from_st, h->a4_hz, from);
        note_nearest(t->to_st, h->a4_hz, to);
        page_cell(p, slide ? "slide there and back" : "swell there and back");
        page_cell(p, from);
        page_cell(p, to);
        if (r->plane->pitch_only)
            page_cell(p, "easy");
        else if (slide)
            page_cell_format(p, "%.0f dB", t->from_db + 0.0);
        else
            page_cell_format(p, "%.0f to %.0f dB", t->from_db + 0.0, t->to_db + 0.0);
        cell_number(p, t->now_st, 1, "st");
        cell_number(p, t->then_st, 1, "st");
    }
    page_table_end(p);
}
