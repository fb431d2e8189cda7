/* SPDX-License-Identifier: GPL-3.0-or-later */
/* map SINGER: the singer's takes of a vowel on one plane, the boundary fitted to those that count,
 * its table, and the picture. */
#include "base/array.h"
#include "command/boundary_table.h"
#include "command/command.h"
#include "command/plane_notes.h"
#include "journal/plane.h"
#include "show/map.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { WIDTH_PX = 1200 };

typedef struct map_settings {
    const char *out, *vowel;
    double at_db;
    bool sessions;
} map_settings;

static const option options[] = {
    {"output", 'o', OPTION_PATH, "FILE", NULL, 0, 0, offsetof(map_settings, out),
     "draw into FILE: .png, .svg or .pdf (else a window, or text in a terminal)"},
    {"sessions", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(map_settings, sessions),
     "draw one small map a session"},
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(map_settings, vowel),
     "the vowel to map (the one with most takes)"},
    {"at", 0, OPTION_NUMBER, "DB", NULL, -160, 160, offsetof(map_settings, at_db),
     "the level at which pitches are stated, on the map's scale (the median of the voice)"},
};

static void defaults(void *settings)
{
    *(map_settings *)settings = (map_settings){.at_db = (double)NAN};
}

static bool fit(const plane *p, size_t first, size_t n, double at_db, boundary **out, err *e)
{
    boundary_settings s = boundary_defaults();
    s.at_db = at_db;
    size_t counting;
    path *paths = plane_counting(p, first, n, &counting);
    bool ok = boundary_fit(paths, counting, &s, out, e);
    free(paths);
    return ok;
}

static bool print(const command_call *call, const plane *p, const boundary *b, err *e)
{
    const map_settings *s = call->settings;
    table_writer *w = command_table(call, BOUNDARY_COLUMNS);
    plane_notes(p, s->vowel, w);
    boundary_table_notes(b, w);
    boundary_table_rows(b, w);
    return table_writer_close(w, e);
}

/* A session whose takes tell nothing keeps its place, with what was sung and no lines. */
static bool draw_sessions(const plane *p, const map *all, const map_labels *labels,
                          const picture *where, err *e)
{
    map *maps = xcalloc(p->n_sessions, sizeof *maps);
    const char **dates = xcalloc(p->n_sessions, sizeof *dates);
    for (size_t i = 0; i < p->n_sessions; i++) {
        const plane_session *s = &p->sessions[i];
        boundary *b = NULL;
        err ignored;
        if (!fit(p, s->first, s->n, (double)NAN, &b, &ignored))
            b = NULL;
        map_gather(p->paths + s->first, s->n, b, &maps[i]);
        boundary_free(b);
        dates[i] = s->date;
    }
    bool ok = map_draw_sessions(maps, dates, p->n_sessions, all, labels, where, e);
    for (size_t i = 0; i < p->n_sessions; i++)
        map_clear(&maps[i]);
    free(dates);
    free(maps);
    return ok;
}

static bool draw(const command_call *call, const plane *p, const boundary *b, picture *where,
                 err *e)
{
    const map_settings *s = call->settings;
    map_labels labels = {.singer = call->operands[0],
                         .vowel = p->vowel,
                         .level_scale = plane_level_scale(p),
                         .levels_are_spl = p->calibrated,
                         .sessions = p->n_sessions,
                         .a4_hz = call->shared->a4_hz};
    where->height_px = map_height_px(WIDTH_PX, s->sessions ? p->n_sessions : 0);
    map m;
    map_gather(p->paths, p->n, b, &m);
    bool ok =
        s->sessions ? draw_sessions(p, &m, &labels, where, e) : map_draw(&m, &labels, where, e);
    map_clear(&m);
    return ok;
}

static int map_singer(const command_call *call, const plane *p, picture *where, err *e)
{
    const map_settings *s = call->settings;
    boundary *b;
    if (!fit(p, 0, p->n, s->at_db, &b, e))
        return EXIT_NO_ANSWER;
    int code = print(call, p, b, e) && draw(call, p, b, where, e) ? EXIT_DONE : EXIT_INPUT;
    boundary_free(b);
    return code;
}

static int run(const command_call *call, err *e)
{
    const map_settings *s = call->settings;
    picture where;
    journal *j;
    plane p;
    if (!picture_choose(s->out, WIDTH_PX, WIDTH_PX, &where, e))
        return EXIT_USAGE;
    if (!journal_open(call->shared->journal, JOURNAL_READ, &j, e))
        return EXIT_INPUT;
    int code = EXIT_INPUT;
    if (plane_load(j, call->operands[0], s->vowel, &p, e)) {
        code = map_singer(call, &p, &where, e);
        plane_clear(&p);
    }
    journal_close(j);
    return code;
}

const command command_map = {
    .name = "map",
    .summary = "where a singer's voice flips, drawn and as a table",
    .usage = "SINGER",
    .detail =
        "Fits the boundary to the singer's takes of one vowel and prints it as \"fit\" does.\n"
        "Takes in which a register was to be held, and flips made at will, show where each\n"
        "register can be sung and are left out of the boundary.",
    .least = 1,
    .most = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(map_settings),
    .defaults = defaults,
    .run = run,
};
