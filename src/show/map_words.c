/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/array.h"
#include "base/note.h"
#include "show/map.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double sure_st = 1;  /* an interval of so much either way is said as one note */
static const double alike_db = 4; /* levels closer than this are not soft and loud */

enum { PHRASE_SIZE = 3 * NOTE_NAME_SIZE, LEVEL_SIZE = 32 };

/* "near F4", "between E4 and G4". */
static void place(figure f, double a4_hz, char phrase[PHRASE_SIZE])
{
    char from[NOTE_NAME_SIZE], to[NOTE_NAME_SIZE];
    if (f.hi95 - f.lo95 <= 2 * sure_st) {
        note_nearest(f.estimate, a4_hz, from);
        snprintf(phrase, PHRASE_SIZE, "near %s", from);
        return;
    }
    note_nearest(f.lo95, a4_hz, from);
    note_nearest(f.hi95, a4_hz, to);
    snprintf(phrase, PHRASE_SIZE, "between %s and %s", from, to);
}

static void add(char **text, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void add(char **text, const char *format, ...)
{
    char sentence[512];
    va_list args;
    va_start(args, format);
    vsnprintf(sentence, sizeof sentence, format, args);
    va_end(args);
    char *longer = xformat("%s%s%s", *text, **text ? " " : "", sentence);
    free(*text);
    *text = longer;
}

/* Whether the line spans levels that deserve the names soft and loud, both told. */
static bool soft_and_loud(const map_line *line)
{
    return line->n > 1 && line->level_db[line->n - 1] - line->level_db[0] >= alike_db &&
           map_told(line->pitch_st[0]) && map_told(line->pitch_st[line->n - 1]);
}

/* "62 dB SPL", or "+3 dB re median" for the session's. */
static const char *level(double db, const map_labels *labels, char shown[LEVEL_SIZE])
{
    double whole = round(db) + 0.0; /* no -0 */
    if (labels->pitch_only)
        return strcpy(shown, "whatever level");
    bool plain = labels->levels_are_spl || whole == 0;
    snprintf(shown, LEVEL_SIZE, plain ? "%.0f dB %s" : "%+.0f dB %s", whole,
             labels->levels_are_spl ? "SPL" : "re median");
    return shown;
}

/* Where a register never gave way: how far it lasted. */
static bool add_lasted(const map *m, flip_direction d, const map_labels *labels, char **text)
{
    char note[NOTE_NAME_SIZE];
    if (m->lasted_st[d] == 0)
        return false;
    note_nearest(m->lasted_st[d], labels->a4_hz, note);
    if (d == FLIP_UP)
        add(text, "It never flipped up below %s at any level that was sung.", note);
    else
        add(text, "It never flipped back above %s at any level that was sung.", note);
    return true;
}

static void add_up(const map *m, const map_labels *labels, char **text)
{
    const map_line *line = &m->line[FLIP_UP];
    char soft[PHRASE_SIZE], loud[PHRASE_SIZE], soft_db[LEVEL_SIZE], loud_db[LEVEL_SIZE];
    if (soft_and_loud(line)) {
        place(line->pitch_st[0], labels->a4_hz, soft);
        place(line->pitch_st[line->n - 1], labels->a4_hz, loud);
        add(text, "Soft (%s), the voice flips up %s; loud (%s), %s.",
            level(line->level_db[0], labels, soft_db), soft,
            level(line->level_db[line->n - 1], labels, loud_db), loud);
    } else if (line->n && map_told(line->pitch_st[line->n / 2])) {
        place(line->pitch_st[line->n / 2], labels->a4_hz, soft);
        add(text,
            "The voice flips up %s at %s; what singing softer or louder does to that, these "
            "takes do not tell.",
            soft, level(line->level_db[line->n / 2], labels, soft_db));
    } else if (!add_lasted(m, FLIP_UP, labels, text))
        add(text, "Where the voice flips up, these takes do not tell.");
}

/* ": about 2 semitones lower", or that the difference is not sure. */
static void difference(figure h, char phrase[PHRASE_SIZE])
{
    double size = round(2 * fabs(h.estimate)) / 2;
    phrase[0] = '\0';
    if (map_told(h) && h.lo95 <= 0 && h.hi95 >= 0)
        snprintf(phrase, PHRASE_SIZE, ", no sure difference from going up");
    else if (map_told(h))
        snprintf(phrase, PHRASE_SIZE, ", about %.*f semitone%s %s", fmod(size, 1) > 0, size,
                 size > 1 ? "s" : "", h.estimate > 0 ? "lower" : "higher");
}

static void add_down(const map *m, const map_labels *labels, char **text)
{
    const map_line *line = &m->line[FLIP_DOWN];
    char soft[PHRASE_SIZE], loud[PHRASE_SIZE], lower[PHRASE_SIZE], at[LEVEL_SIZE];
    difference(m->hysteresis, lower);
    if (soft_and_loud(line)) {
        place(line->pitch_st[0], labels->a4_hz, soft);
        place(line->pitch_st[line->n - 1], labels->a4_hz, loud);
        add(text, "Coming down, it flips back %s when soft and %s when loud%s.", soft, loud, lower);
    } else if (line->n && map_told(line->pitch_st[line->n / 2])) {
        place(line->pitch_st[line->n / 2], labels->a4_hz, soft);
        add(text, "Coming down, it flips back %s at %s%s.", soft,
            level(line->level_db[line->n / 2], labels, at), lower);
    } else if (!add_lasted(m, FLIP_DOWN, labels, text))
        add(text, "Where it flips back coming down, these takes do not tell.");
}

static void add_strays(const map *m, char **text)
{
    size_t strays = m->stray_flips[FLIP_UP] + m->stray_flips[FLIP_DOWN];
    if (strays == 0 && m->stray_s > 0)
        add(text, "Not shown: %.1f s far from the rest, perhaps breath or noise.", m->stray_s);
    if (strays > 0)
        add(text, "Not shown: %.1f s and %zu flip%s far from the rest, perhaps breath or noise.",
            m->stray_s, strays, strays == 1 ? "" : "s");
}

char *map_words(const map *m, const map_labels *labels)
{
    char *text = xstrdup("");
    if (m->n_cells == 0) {
        add(&text, "No take of this map has voice whose register could be told.");
        return text;
    }
    add_up(m, labels, &text);
    add_down(m, labels, &text);
    if (m->takes == 1)
        add(&text, "This is one take: the band holds more of what is taken for granted of voices "
                   "than of this one.");
    add_strays(m, &text);
    return text;
}
