/* SPDX-License-Identifier: GPL-3.0-or-later */
/* progress SINGER: the boundary of each session at one level, what moved, and whether that is more
 * than sessions scatter. */
#include "base/array.h"
#include "command/boundary_table.h"
#include "command/command.h"
#include "command/follow.h"
#include "command/from_journal.h"
#include "command/option_rows.h"
#include "command/plane_gain.h"
#include "command/plane_notes.h"
#include "register/seam.h"
#include "show/far_level.h"
#include "show/progress.h"
#include "sound/date.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { WIDTH_PX = 1200, HEIGHT_PX = 960 };

typedef struct settings {
    const char *out, *vowel, *since;
    double at_db, scatter_st;
    int gain;
} settings;

static const option options[] = {
    PICTURE_OPTION(settings, out),
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(settings, vowel),
     "the vowel to follow (the one with most takes)"},
    {"at", 0, OPTION_NUMBER, "DB", NULL, -160, 160, offsetof(settings, at_db),
     "the level at which pitches are stated (the median of the voice)"},
    {"since", 0, OPTION_TEXT, "DATE", NULL, 0, 0, offsetof(settings, since),
     "compare the sessions from DATE on with those before"},
    SCATTER_OPTION(settings, scatter_st),
    GAIN_OPTION(settings, gain),
};

static void defaults(void *p)
{
    *(settings *)p = (settings){.at_db = (double)NAN, .scatter_st = COURSE_SCATTER_ST};
}

/* The first session on or after a date. */
static size_t session_from(const plane *p, const char *date)
{
    size_t i = 0;
    while (i < p->n_sessions && strcmp(p->sessions[i].date, date) < 0)
        i++;
    return i;
}

static void note_reasons(const plane *p, const course *c, table_writer *w)
{
    for (size_t i = 0; i < c->n; i++) {
        const boundary *b = c->sessions[i];
        if (!b)
            table_note(w, p->sessions[i].date, "no take of this session says which register it is");
        for (int row = 0; b && row < BOUNDARY_ROWS; row++) {
            const char *reason = boundary_reason(b, (boundary_row)row);
            if (reason)
                table_note(w, p->sessions[i].date, "%s: %s", boundary_row_name((boundary_row)row),
                           reason);
        }
    }
}

static void print_changes(const settings *s, const plane *p, const course *c, table_writer *w)
{
    const char *first = p->sessions[0].date, *last = p->sessions[p->n_sessions - 1].date;
    char days[2 * DATE_SIZE + 2];
    snprintf(days, sizeof days, "%s/%s", first, last);
    for (int i = 0; i < FOLLOW_ROWS; i++) {
        scatter_fit f;
        bool told = course_trend(c, follow_rows[i], s->scatter_st, &f);
        follow_change(w, days, c->at_db, follow_rows[i], "trend", told ? &f : NULL, "st/month");
    }
    for (int i = 0; s->since && i < FOLLOW_ROWS; i++) {
        scatter_fit f;
        bool told = course_shift(c, follow_rows[i], session_from(p, s->since), s->scatter_st, &f);
        follow_change(w, s->since, c->at_db, follow_rows[i], "shift", told ? &f : NULL, "st");
    }
}

/* Of the flips in the session's takes that count. */
static double seam_of_session(const plane *p, const plane_session *s)
{
    flips *found = xcalloc(s->n, sizeof *found);
    size_t n = 0;
    for (size_t i = s->first; i < s->first + s->n; i++)
        if (p->use[i] == PLANE_COUNTS)
            found[n++] = p->items[i].flips;
    double seam = seam_median(found, n);
    free(found);
    return seam;
}

/* The boundary at the middle level, its pitches at the others, and what hangs on no level. */
static void print_session(const plane *p, const progress_levels *all, size_t i, table_writer *w)
{
    const double nan = (double)NAN;
    const char *date = p->sessions[i].date;
    follow_boundary(w, date, all->courses[0].at_db, all->courses[0].sessions[i]);
    for (size_t k = 1; k < all->n; k++)
        follow_pitches(w, date, all->courses[k].at_db, all->courses[k].sessions[i]);
    table_text(w, date);
    follow_cells(w, nan, "zone", all->zones[i], "st*dB");
    table_text(w, date);
    follow_cells(w, nan, "seam", (figure){seam_of_session(p, &p->sessions[i]), nan, nan}, "JND");
}

static bool print(const command_call *call, const plane *p, const progress_levels *all,
                  const progress *shown, const progress_labels *labels, err *e)
{
    const settings *s = call->settings;
    const course *c = shown->course;
    table_writer *w = command_table(call, "date at_db parameter estimate lo95 hi95 unit");
    plane_notes(p, s->vowel, w);
    if (isnan(s->at_db))
        table_note(w, "at_db", "%.2f", c->at_db + 0.0);
    if (s->since)
        table_note(w, "sessions_before", "%zu", session_from(p, s->since));
    char *words = progress_words(shown, labels);
    plane_notes_say(words, w);
    free(words);
    boundary_table_far(c->whole, "far", "", w);
    note_reasons(p, c, w);
    for (size_t i = 0; i < c->n; i++)
        print_session(p, all, i, w);
    print_changes(s, p, c, w);
    return table_writer_close(w, e);
}

static int follow(const command_call *call, const plane *p, picture *where, err *e)
{
    const settings *s = call->settings;
    progress_levels all;
    if (!plane_gain_at(p, s->at_db, e) || !follow_levels(p, s->at_db, s->scatter_st, &all, e))
        return EXIT_NO_ANSWER;
    progress_labels labels = {.singer = call->operands[0],
                              .vowel = p->vowel,
                              .level_scale = plane_level_scale(p),
                              .first = p->sessions[0].date,
                              .last = p->sessions[p->n_sessions - 1].date,
                              .a4_hz = call->shared->a4_hz,
                              .pitch_only = p->pitch_only};
    progress shown = progress_of(&all.courses[0], all.first_day, s->scatter_st);
    int code = EXIT_NO_ANSWER;
    if (far_level_check(all.courses[0].whole, labels.singer, e))
        code = print(call, p, &all, &shown, &labels, e) && progress_draw(&all, &labels, where, e)
                   ? EXIT_DONE
                   : EXIT_INPUT;
    progress_levels_clear(&all);
    return code;
}

static int run(const command_call *call, err *e)
{
    const settings *s = call->settings;
    picture where;
    plane p;
    if (s->since && !date_valid(s->since)) {
        err_set(e, "--since is %s, but must be a day as in 2025-03-04.", s->since);
        return EXIT_USAGE;
    }
    if (!picture_choose(s->out, WIDTH_PX, HEIGHT_PX, &where, e))
        return EXIT_USAGE;
    if (!singer_plane(call, s->vowel, s->gain, &p, e))
        return EXIT_INPUT;
    int code = follow(call, &p, &where, e);
    plane_clear(&p);
    return code;
}

const command command_progress = {
    .name = "progress",
    .summary = "how a singer's boundary moves over the sessions, and whether that is real",
    .usage = "SINGER",
    .detail = "Fits the boundary of each session at one level and prints it, then the trend in "
              "semitones a\nmonth, the least trend that these sessions would have shown in four of "
              "five cases, and by\nhow much sessions scatter beside it. A change is sure when its "
              "interval leaves out 0.",
    .examples = "seamline progress robin -o progress.png\n"
                "seamline progress robin --since 2025-03-05",
    .least = 1,
    .most = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .defaults = defaults,
    .run = run,
};
