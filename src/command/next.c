/* SPDX-License-Identifier: GPL-3.0-or-later */
/* next SINGER: the takes that would tell most of where the voice flips up. */
#include "base/array.h"
#include "base/note.h"
#include "command/command.h"
#include "command/from_journal.h"
#include "command/plane_gain.h"
#include "command/plane_notes.h"
#include "fit/plan.h"

#include <math.h>
#include <stdlib.h>

/* Levels that were sung over less than this tell no slope, or hardly (4 dB are the least). */
static const double WIDE_DB = 6;
static const double LEAST_GAIN_ST = 0.0005; /* less is 0 where intervals are printed */

typedef struct settings {
    const char *vowel;
    int count, gain;
    note_typed lowest, highest;
} settings;

static const option options[] = {
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(settings, vowel),
     "the vowel to sing (the one with most takes)"},
    {"count", 0, OPTION_WHOLE, "N", NULL, 1, 20, offsetof(settings, count),
     "how many takes to propose (5)"},
    {"lowest", 0, OPTION_PITCH, "PITCH", NULL, 24, 108, offsetof(settings, lowest),
     "nothing below this today: F#4, Gb4, 66.0 (semitones) or 370Hz"},
    {"highest", 0, OPTION_PITCH, "PITCH", NULL, 24, 108, offsetof(settings, highest),
     "nothing above this today"},
    GAIN_OPTION(settings, gain),
};

static void defaults(void *p)
{
    *(settings *)p = (settings){.count = 5, .lowest.st = (double)NAN, .highest.st = (double)NAN};
}

static void write_take(table_writer *w, int rank, const plan_take *t, double a4_hz)
{
    char from[NOTE_NAME_SIZE], to[NOTE_NAME_SIZE];
    table_count(w, rank);
    table_text(w, t->kind == PLAN_SLIDE ? "slide" : "swell");
    table_number(w, t->from_st, 1);
    table_number(w, t->to_st, 1);
    table_number(w, t->from_db, 1);
    table_number(w, t->to_db, 1);
    table_number(w, t->now_st, 3);
    table_number(w, t->then_st, 3);
    note_nearest(t->from_st, a4_hz, from);
    note_nearest(t->to_st, a4_hz, to);
    table_text(w, from);
    table_text(w, to);
}

static void note_reach(const plan_reach *r, double a4_hz, table_writer *w)
{
    char lo[NOTE_NAME_SIZE], hi[NOTE_NAME_SIZE];
    note_nearest(r->lo_st, a4_hz, lo);
    note_nearest(r->hi_st, a4_hz, hi);
    table_note(w, "reach", "%s to %s, soft %.1f, middle %.1f, loud %.1f dB, as sung so far", lo, hi,
               r->soft_db + 0.0, r->middle_db + 0.0, r->loud_db + 0.0);
    table_note(w, "says",
               "Each take goes there and back. None goes beyond what was sung before; leave out "
               "what is not easy today.");
    if (r->loud_db - r->soft_db < WIDE_DB)
        table_note(w, "says",
                   "Nearly all was sung over %.1f dB: how the flip moves with level is told by "
                   "takes that are softer, and louder where that is easy.",
                   r->loud_db - r->soft_db);
}

/* The widths are those at soft, middle and loud. */
static bool print(const command_call *call, const plane *p, const plan_reach *r, const boundary *b,
                  const plan_take *takes, err *e)
{
    const settings *s = call->settings;
    table_writer *w = command_table(
        call, "rank kind from_st to_st from_db to_db interval_now interval_then from to");
    plane_notes(p, s->vowel, w);
    note_reach(r, call->shared->a4_hz, w);
    const char *reason = b ? boundary_reason(b, BOUNDARY_UP_PITCH) : "no take counts yet";
    if (reason)
        table_note(w, "interval", "not told yet (%s): slides over all that was sung", reason);
    for (int i = 0; i < s->count; i++)
        write_take(w, i + 1, &takes[i], call->shared->a4_hz);
    return table_writer_close(w, e);
}

/* No further than the singer wants to go today. */
static bool narrow(const command_call *call, plan_reach *r, err *e)
{
    const settings *s = call->settings;
    double lowest = note_meant(&s->lowest, call->shared->a4_hz);
    double highest = note_meant(&s->highest, call->shared->a4_hz);
    char lo[NOTE_NAME_SIZE], hi[NOTE_NAME_SIZE];
    note_nearest(r->lo_st, call->shared->a4_hz, lo);
    note_nearest(r->hi_st, call->shared->a4_hz, hi);
    r->lo_st = fmax(r->lo_st, lowest);
    r->hi_st = fmin(r->hi_st, highest);
    return r->hi_st > r->lo_st ||
           err_set(
               e,
               "%s has sung from %s to %s, and nothing of that is between --lowest and --highest: "
               "set them wider.",
               call->operands[0], lo, hi);
}

static int propose(const command_call *call, const plane *p, err *e)
{
    plan_reach reach;
    boundary *b = NULL;
    err ignored;
    if (!plan_reach_of(p->paths, p->n, &reach)) {
        err_set(e, "No take of %s has a voiced frame: record a slide up and down first.",
                call->operands[0]);
        return EXIT_NO_ANSWER;
    }
    if (!narrow(call, &reach, e))
        return EXIT_NO_ANSWER;
    if (!plane_fit(p, 0, p->n, (double)NAN, &b, &ignored))
        b = NULL;
    const settings *s = call->settings;
    plan_take *takes = xcalloc((size_t)s->count, sizeof *takes);
    plan_next(b, &reach, (size_t)s->count, takes);
    int code = EXIT_NO_ANSWER;
    bool limited = !isnan(s->lowest.st) || !isnan(s->highest.st);
    if (limited && takes[0].now_st - takes[0].then_st < LEAST_GAIN_ST) /* not where they are NaN */
        err_set(e,
                "No slide or swell within these limits would tell more of where %s flips: set "
                "--lowest and --highest wider.",
                call->operands[0]);
    else
        code = print(call, p, &reach, b, takes, e) ? EXIT_DONE : EXIT_INPUT;
    free(takes);
    boundary_free(b);
    return code;
}

static int run(const command_call *call, err *e)
{
    const settings *s = call->settings;
    plane p;
    if (note_meant(&s->lowest, call->shared->a4_hz) >
        note_meant(&s->highest, call->shared->a4_hz)) {
        err_set(e, "--lowest is above --highest.");
        return EXIT_USAGE;
    }
    if (!singer_plane(call, s->vowel, s->gain, &p, e))
        return EXIT_INPUT;
    int code = propose(call, &p, e);
    plane_clear(&p);
    return code;
}

const command command_next = {
    .name = "next",
    .summary = "the takes worth recording next",
    .usage = "SINGER",
    .detail = "Proposes slides and swells, best first, that would narrow the interval of the "
              "boundary going up\nmost, each given those before it. interval_now and "
              "interval_then are its mean width in semitones at\nsoft, middle and loud, before "
              "and after the take. Nothing is asked for that was not sung before.",
    .examples = "seamline next robin --count 3\nseamline next robin --lowest C4 --highest F#4",
    .least = 1,
    .most = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .defaults = defaults,
    .run = run,
};
