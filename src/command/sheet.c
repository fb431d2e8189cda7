/* SPDX-License-Identifier: GPL-3.0-or-later */
/* sheet SINGER: what was sung and where the voice flips, the exercises planned from it, as text, as
 * a page, as rows, and as tones to sing with. */
#include "base/array.h"
#include "base/note.h"
#include "base/text.h"
#include "command/command.h"
#include "command/from_journal.h"
#include "command/plane_gain.h"
#include "command/plane_notes.h"
#include "fit/plan.h"
#include "lesson/cautions.h"
#include "lesson/sheet_tones.h"
#include "lesson/sheet_words.h"
#include "show/page.h"
#include "show/sheet_page.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct settings {
    const char *out, *tones, *vowel;
    bool rows;
    int gain;
} settings;

static const option options[] = {
    {"output", 'o', OPTION_PATH, "FILE", NULL, 0, 0, offsetof(settings, out),
     "write a page to print into FILE, HTML"},
    {"tones", 0, OPTION_PATH, "DIR", NULL, 0, 0, offsetof(settings, tones),
     "write guide tones to sing with into the folder DIR, WAV"},
    {"rows", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(settings, rows),
     "print a table instead of text, a row for each stretch that is sung"},
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(settings, vowel),
     "the vowel to sing (the one with most takes)"},
    GAIN_OPTION(settings, gain),
};

static const char columns[] = "line part exercise hold vary minutes stroke register from_st to_st "
                              "from_db to_db seconds breath from to how why";

static void write_set(table_writer *w, const sheet_line *l, int bits)
{
    char *set = text_set_write("pitch|level|register", bits);
    table_text(w, l->exercise ? set : NULL);
    free(set);
}

static void write_stroke(table_writer *w, const sheet *s, const sheet_stroke *k, double a4_hz)
{
    char from[NOTE_NAME_SIZE], to[NOTE_NAME_SIZE];
    bool known = s->sung.levels_known;
    note_nearest(k->from_st, a4_hz, from);
    note_nearest(k->to_st, a4_hz, to);
    table_text(w, k->reg == 1 ? "1" : k->reg == 2 ? "2" : NULL);
    table_count(w, k->from_st);
    table_count(w, k->to_st);
    table_number(w, known ? k->from_db : (double)NAN, 1);
    table_number(w, known ? k->to_db : (double)NAN, 1);
    table_number(w, k->seconds, 1);
    table_count(w, k->breath);
    table_text(w, from);
    table_text(w, to);
}

/* A line without strokes has one row. */
static void write_line(table_writer *w, const sheet *s, size_t i, double a4_hz)
{
    const sheet_line *l = &s->lines[i];
    char *how = sheet_how(s, l, a4_hz), *why = sheet_why(s, l, a4_hz);
    size_t n = l->n_strokes ? l->n_strokes : 1;
    for (size_t k = 0; k < n; k++) {
        table_count(w, (long)i + 1);
        table_text(w, sheet_part_name(l->part));
        table_text(w, sheet_title(l));
        write_set(w, l, l->exercise ? l->exercise->hold : 0);
        write_set(w, l, l->exercise ? l->exercise->vary : 0);
        table_number(w, l->minutes, 1);
        if (l->n_strokes) {
            table_count(w, (long)k + 1);
            write_stroke(w, s, &l->strokes[k], a4_hz);
        } else {
            for (int c = 0; c < 10; c++)
                table_text(w, NULL);
        }
        table_text(w, how);
        table_text(w, why);
    }
    free(how);
    free(why);
}

static bool print_rows(const command_call *call, const plane *p, const sheet *s,
                       const sheet_labels *labels, err *e)
{
    const settings *own = call->settings;
    table_writer *w = command_table(call, columns);
    char *preface = sheet_preface(s, labels->a4_hz);
    if (p)
        plane_notes(p, own->vowel, w);
    table_note(w, "map", "%s", s->sung.from_map ? "yes" : "none: notes that suit most voices");
    table_note(w, "minutes", "%.1f", s->minutes);
    plane_notes_say(preface, w);
    for (size_t i = 0; i < n_cautions; i++)
        table_note(w, "caution", "%s", cautions[i]);
    for (size_t i = 0; i < SHEET_LINES; i++)
        write_line(w, s, i, labels->a4_hz);
    free(preface);
    return table_writer_close(w, e);
}

static bool print_text(const sheet *s, const sheet_labels *labels, err *e)
{
    char *text = sheet_text(s, labels);
    bool fine = fputs(text, stdout) >= 0 && fflush(stdout) == 0;
    free(text);
    return fine || err_set(e, "The result could not be written: %s.", strerror(errno));
}

static bool hand_over(const command_call *call, const plane *p, const sheet *s,
                      const sheet_labels *labels, err *e)
{
    const settings *own = call->settings;
    bool rows = own->rows || call->shared->format == TABLE_JSON;
    if (own->out && !sheet_page_write(s, labels, own->out, e))
        return false;
    if (own->tones && !sheet_tones_write(s, labels->a4_hz, own->tones, e))
        return false;
    return rows ? print_rows(call, p, s, labels, e) : print_text(s, labels, e);
}

/* No singer, or one of whom nothing can be told. */
static bool without_map(const command_call *call, const char *why, err *e)
{
    sung_voice usual = sung_default();
    sheet s = sheet_plan(&usual);
    sheet_labels labels = {.singer = call->n ? call->operands[0] : NULL,
                           .vowel = "",
                           .source = why,
                           .a4_hz = call->shared->a4_hz};
    return hand_over(call, NULL, &s, &labels, e);
}

/* Sung, but in registers that cannot be told. */
static bool untold(const command_call *call, const plane *p, err *e)
{
    char lo[NOTE_NAME_SIZE], hi[NOTE_NAME_SIZE];
    plan_reach reach;
    if (!plan_reach_of(p->paths, p->n, &reach))
        return without_map(call, "The takes so far have no voice.", e);
    note_nearest(reach.lo_st, call->shared->a4_hz, lo);
    note_nearest(reach.hi_st, call->shared->a4_hz, hi);
    char *why = xformat("The takes so far go from %s to %s, and in which register they are sung "
                        "cannot be told. Leave out below what lies outside of them, or move it.",
                        lo, hi);
    bool fine = without_map(call, why, e);
    free(why);
    return fine;
}

static char *source_of(const plane *p)
{
    const char *first = p->sessions[0].date, *last = p->sessions[p->n_sessions - 1].date;
    bool one = p->n_sessions == 1;
    return xformat("Planned from the map of %zu take%s in %zu session%s, %s%s%s.", p->n,
                   p->n == 1 ? "" : "s", p->n_sessions, one ? "" : "s", first, one ? "" : " to ",
                   one ? "" : last);
}

static bool from_plane(const command_call *call, const plane *p, err *e)
{
    boundary *b = NULL;
    err ignored;
    sung_voice voice;
    if (!plane_fit(p, 0, p->n, (double)NAN, &b, &ignored))
        b = NULL;
    bool any = sung_gather(p->paths, p->n, b, !p->pitch_only, p->calibrated, &voice);
    boundary_free(b);
    if (!any)
        return untold(call, p, e);
    sheet s = sheet_plan(&voice);
    char *source = source_of(p);
    sheet_labels labels = {call->operands[0], p->vowel, source, call->shared->a4_hz};
    bool fine = hand_over(call, p, &s, &labels, e);
    free(source);
    return fine;
}

static int of_singer(const command_call *call, journal *j, err *e)
{
    const settings *own = call->settings;
    const char *singer = call->operands[0];
    journal_vowel *vowels;
    size_t n;
    plane p;
    if (!journal_vowels(j, singer, &vowels, &n, e))
        return EXIT_INPUT;
    journal_vowels_free(vowels, n);
    if (n == 0)
        return without_map(call, "The journal has no take of this singer yet.", e) ? EXIT_DONE
                                                                                   : EXIT_INPUT;
    if (!load_plane(j, singer, own->vowel, own->gain, &p, e))
        return EXIT_INPUT;
    bool fine = from_plane(call, &p, e);
    plane_clear(&p);
    return fine ? EXIT_DONE : EXIT_INPUT;
}

static int run(const command_call *call, err *e)
{
    const settings *own = call->settings;
    if (call->n == 0 && own->vowel) {
        err_set(e, "--vowel chooses among a singer's takes: name the singer.");
        return EXIT_USAGE;
    }
    if (own->out && !page_name_check(own->out, e))
        return EXIT_USAGE;
    if (call->n == 0)
        return without_map(call, "No singer was named.", e) ? EXIT_DONE : EXIT_INPUT;
    return with_journal(call, of_singer, e);
}

const command command_sheet = {
    .name = "sheet",
    .summary = "today's exercises at a singer's own notes and levels",
    .usage = "[SINGER]",
    .detail =
        "Plans about a quarter of an hour from the singer's map: loosening, free exploring, one "
        "thing held and\none varied, two held and the third varied. Every note lies where it was "
        "sung at that level, and each\nline says why it is there. Without SINGER, or without "
        "takes, the notes suit most voices. Nothing here\nis a diagnosis.",
    .examples = "seamline sheet robin\nseamline sheet robin -o sheet.html --tones tones",
    .most = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .defaults = NULL,
    .run = run,
};
