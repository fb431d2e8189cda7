/* SPDX-License-Identifier: GPL-3.0-or-later */
/* map SINGER: the singer's takes of a vowel on one plane, the boundary fitted to those that count,
 * its table, and the picture. */
#include "base/array.h"
#include "base/note.h"
#include "command/boundary_table.h"
#include "command/command.h"
#include "command/from_journal.h"
#include "command/option_rows.h"
#include "command/plane_gain.h"
#include "command/plane_notes.h"
#include "fit/least_step.h"
#include "fit/ranges.h"
#include "journal/plane.h"
#include "show/far_level.h"
#include "show/map.h"
#include "show/session_maps.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { WIDTH_PX = 1200 };

typedef struct map_settings {
    const char *out, *vowel;
    double at_db;
    bool sessions, ranges;
    int gain;
} map_settings;

static const option options[] = {
    PICTURE_OPTION(map_settings, out),
    {"sessions", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(map_settings, sessions),
     "draw one small map a session"},
    {"ranges", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(map_settings, ranges),
     "print the softest and loudest of each register and pitch instead, and draw nothing"},
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(map_settings, vowel),
     "the vowel to map (the one with most takes)"},
    {"at", 0, OPTION_NUMBER, "DB", NULL, -160, 160, offsetof(map_settings, at_db),
     "the level at which pitches are stated, on the map's scale (the median of the voice)"},
    GAIN_OPTION(map_settings, gain),
};

static void defaults(void *settings)
{
    *(map_settings *)settings = (map_settings){.at_db = (double)NAN};
}

static const char *const least_names[2] = {"up.least_step", "down.least_step"};

/* Why the place is not told, or on which note of the boundary it lies. */
static void note_least(const boundary *b, flip_direction d, figure least, const char *reason,
                       double a4_hz, table_writer *w)
{
    char note[NOTE_NAME_SIZE];
    figure pitch = boundary_pitch_at(b, d, least.estimate);
    note_nearest(pitch.estimate, a4_hz, note);
    if (reason)
        table_note(w, least_names[d], "%s", reason);
    else if (isfinite(pitch.estimate))
        table_note(w, least_names[d], "there the voice flips near %s", note);
}

static bool print(const command_call *call, const plane *p, const boundary *b, err *e)
{
    const map_settings *s = call->settings;
    char *why[2];
    figure zone = ranges_zone(p->paths, p->n);
    figure least[2] = {least_step(b, FLIP_UP, &why[0]), least_step(b, FLIP_DOWN, &why[1])};
    table_writer *w = command_table(call, BOUNDARY_COLUMNS);
    plane_notes(p, s->vowel, w);
    boundary_table_notes(b, w);
    for (int d = 0; d < 2; d++) {
        note_least(b, (flip_direction)d, least[d], why[d], call->shared->a4_hz, w);
        free(why[d]);
    }
    boundary_table_rows(b, w);
    boundary_table_row(w, "zone", zone, "st*dB");
    boundary_table_row(w, least_names[FLIP_UP], least[FLIP_UP], "dB");
    boundary_table_row(w, least_names[FLIP_DOWN], least[FLIP_DOWN], "dB");
    return table_writer_close(w, e);
}

static bool print_ranges(const command_call *call, const plane *p, err *e)
{
    const map_settings *s = call->settings;
    range *items;
    size_t n = ranges_of(p->paths, p->n, &items);
    table_writer *w =
        command_table(call, "register pitch_st note seconds takes floor_db floor_lo95 "
                            "floor_hi95 ceiling_db ceiling_lo95 ceiling_hi95");
    plane_notes(p, s->vowel, w);
    for (size_t i = 0; i < n; i++) {
        const range *r = &items[i];
        char note[NOTE_NAME_SIZE];
        note_nearest(r->pitch_st, call->shared->a4_hz, note);
        table_count(w, r->reg);
        table_number(w, r->pitch_st, 0);
        table_text(w, note);
        table_number(w, r->seconds, 2);
        table_count(w, (long)r->takes);
        const double values[6] = {r->floor_db.estimate,   r->floor_db.lo95,   r->floor_db.hi95,
                                  r->ceiling_db.estimate, r->ceiling_db.lo95, r->ceiling_db.hi95};
        for (int k = 0; k < 6; k++)
            table_number(w, values[k], 1);
    }
    free(items);
    return table_writer_close(w, e);
}

static bool draw_sessions(const plane *p, const map *all, const map_labels *labels,
                          const picture *where, err *e)
{
    session_maps maps = session_maps_gather(p, 0);
    bool ok = map_draw_sessions(maps.items, maps.dates, maps.n, all, labels, where, e);
    session_maps_clear(&maps);
    return ok;
}

static bool draw(const command_call *call, const plane *p, const boundary *b, picture *where,
                 err *e)
{
    const map_settings *s = call->settings;
    map_labels labels = plane_map_labels(p, call->operands[0], call->shared->a4_hz);
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
    if (s->ranges)
        return print_ranges(call, p, e) ? EXIT_DONE : EXIT_INPUT;
    if (!plane_gain_at(p, s->at_db, e) || !plane_fit(p, 0, p->n, s->at_db, &b, e))
        return EXIT_NO_ANSWER;
    int code = EXIT_NO_ANSWER;
    if (far_level_check(b, call->operands[0], e))
        code = print(call, p, b, e) && draw(call, p, b, where, e) ? EXIT_DONE : EXIT_INPUT;
    boundary_free(b);
    return code;
}

static int run(const command_call *call, err *e)
{
    const map_settings *s = call->settings;
    picture where;
    plane p;
    if (!picture_choose(s->out, WIDTH_PX, WIDTH_PX, &where, e))
        return EXIT_USAGE;
    if (!singer_plane(call, s->vowel, s->gain, &p, e))
        return EXIT_INPUT;
    int code = map_singer(call, &p, &where, e);
    plane_clear(&p);
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
    .examples = "seamline map robin -o robin.png\n"
                "seamline map robin --sessions -o days.svg\n"
                "seamline map robin --ranges",
    .least = 1,
    .most = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(map_settings),
    .defaults = defaults,
    .run = run,
};
