/* SPDX-License-Identifier: GPL-3.0-or-later */
/* held: what moved in each take, and whether what was to be held was held. */
#include "base/array.h"
#include "base/ticker.h"
#include "command/command.h"
#include "command/held_sessions.h"
#include "command/option_rows.h"
#include "command/recorded.h"
#include "command/take_cells.h"
#include "journal/journal.h"
#include "register/parts.h"
#include "show/held_draw.h"
#include "sound/date.h"
#include "sound/source.h"
#include "voice/listen.h"

#include <math.h>
#include <stdlib.h>

enum { WIDTH_PX = 1200, HEIGHT_PX = 960 };

static const char columns[] =
    "take moved held pitch_steady_cents level_steady_db register_share flips leak leak_unit varied "
    "exercise register doubtful untold pitch_range_st level_range_db db_per_octave "
    "cents_per_10_db pitch_step_cents level_step_db vibrato_hz vibrato_cents sung_s date file";

typedef struct settings {
    bool files, sessions, draw;
    const char *out;
    int hold, vary, declared;
    const char *vowel;
    recorded how;
} settings;

static void defaults(void *p)
{
    *(settings *)p = (settings){
        .hold = -1, .vary = -1, .how = {.full_scale_db = (double)NAN, .distance_cm = 30}};
}

static const option options[] = {
    {"files", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(settings, files),
     "the operands are recordings of one singer, no journal; --hold to --egg say what is known "
     "of them"},
    {"sessions", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(settings, sessions),
     "a row for each day and exercise instead, medians over its takes"},
    {"output", 'o', OPTION_PATH, "FILE", NULL, 0, 0, offsetof(settings, out),
     "draw steadiness and leak of each take into FILE: .png, .svg or .pdf"},
    DRAW_OPTION(settings, draw),
    {"hold", 0, OPTION_SET, "LIST", JOURNAL_DIMENSIONS, 0, 0, offsetof(settings, hold),
     "what was to be held in all files: pitch, level, register, with commas, or none"},
    {"vary", 0, OPTION_SET, "LIST", JOURNAL_DIMENSIONS, 0, 0, offsetof(settings, vary),
     "what was to be varied in all files, likewise"},
    {"register", 0, OPTION_CHOICE, "M1|M2", "none|M1|M2", 0, 0, offsetof(settings, declared),
     "what all of the files are, from the first note to the last"},
    RECORDED_OPTIONS(settings),
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(settings, vowel),
     "only takes of this vowel; with --files, what all of them are sung on: m, n and ng are "
     "hummed"},
};

static void set_or_unknown(table_writer *w, int declared, int bits)
{
    if (declared < 0)
        table_text(w, "unknown");
    else
        cell_set(w, bits);
}

static void write_figures(table_writer *w, const held_score *h)
{
    table_number(w, h->pitch_range_st, 2);
    table_number(w, h->level_range_db, 1);
    table_number(w, h->db_per_octave, 2);
    table_number(w, h->cents_per_10_db, 1);
    table_number(w, h->pitch_step_cents, 0);
    table_number(w, h->level_step_db, 1);
    table_number(w, h->vibrato_hz, 2);
    table_number(w, h->vibrato_cents, 0);
    table_number(w, h->sung_s, 2);
}

static void write_score(table_writer *w, const char *take, int hold, int vary, const held_score *h)
{
    const exercise *x = exercise_find(hold, vary);
    table_text(w, take);
    cell_set(w, h->moved);
    set_or_unknown(w, hold, h->held);
    table_number(w, h->pitch_steady_cents, 1);
    table_number(w, h->level_steady_db, 2);
    table_number(w, h->register_share, 3);
    table_count(w, (long)h->flips);
    table_number(w, h->leak, 2);
    table_text(w, leak_unit_name(h->unit));
    set_or_unknown(w, vary, h->varied);
    table_text(w, x ? x->name : hold < 0 && vary < 0 ? "unknown" : "other");
    cell_register(w, h->reg == 1 ? DECLARED_M1 : h->reg == 2 ? DECLARED_M2 : DECLARED_NONE);
    table_count(w, (long)h->doubtful);
    cell_set(w, h->untold);
    write_figures(w, h);
}

/* The points of a picture grow take by take. */
typedef struct drawing {
    const char *singer;
    held_point *points;
    size_t n;
} drawing;

static void write_item(table_writer *w, const journal_take *t, const held_score *h)
{
    write_score(w, t->take, t->hold, t->vary, h);
    table_text(w, t->date);
    cell_file(w, t);
}

static void write_items(const settings *own, table_writer *w, const journal_item *items, size_t n,
                        drawing *d)
{
    held_settings s = held_defaults();
    held_score *scores = xmalloc(n, sizeof *scores);
    d->points = xmalloc(n, sizeof *d->points);
    for (size_t i = 0; i < n; i++) {
        const journal_take *t = &items[i].take;
        s.hummed = held_hummed(t->vowel);
        scores[i] = held_judge(items[i].track, &items[i].flips, t->hold, t->vary, &s);
        d->points[d->n++] = held_point_of(date_days(t->date), &scores[i], t->hold);
        if (!own->sessions)
            write_item(w, t, &scores[i]);
    }
    if (own->sessions)
        held_sessions_write(w, items, scores, n);
    free(scores);
}

static table_writer *begin(const command_call *call)
{
    const settings *own = call->settings;
    const held_settings s = held_defaults();
    table_writer *w = command_table(call, own->sessions ? held_sessions_columns : columns);
    table_note(w, "stays",
               "within %.0f semitone, within %.0f dB, no flip and %.0f %% in one register",
               s.pitch_st, s.level_db, 100 * s.register_share);
    return w;
}

static bool held_of_singer(const command_call *call, drawing *d, err *e)
{
    const settings *own = call->settings;
    journal *j;
    journal_item *items;
    size_t n;
    if (!journal_open(call->shared->journal, JOURNAL_READ, &j, e))
        return false;
    bool fine = journal_tracks(j, call->operands[0], own->vowel, &items, &n, e);
    journal_close(j);
    if (!fine)
        return false;
    table_writer *w = begin(call);
    write_items(own, w, items, n, d);
    journal_items_free(items, n);
    return table_writer_close(w, e);
}

static bool keep(void *store, const track *piece, err *e)
{
    return track_store_append(store, piece, e);
}

/* Files that could not be read have their sentence on stderr; returns how many. */
static size_t listen(const command_call *call, track_store *store)
{
    const settings *own = call->settings;
    voice_settings s = recorded_settings(&own->how);
    size_t failed = 0;
    ticker *t = ticker_new("recordings", call->n, call->shared->quiet);
    for (size_t i = 0; i < call->n; i++) {
        err e;
        ticker_show(t, i);
        track_store_begin(store, call->operands[i], s.hop_s, (declared_register)own->declared);
        if (voice_listen_pieces(call->operands[i], &s, keep, store, NULL, &e)) {
            track_store_end(store);
        } else {
            ticker_hide(t);
            message_warn("%s", e.text);
            track_store_drop(store);
            failed++;
        }
    }
    ticker_free(t);
    return failed;
}

static bool write_files(const settings *own, table_writer *w, const track_store *store,
                        const flips *found, drawing *d, err *e)
{
    held_settings s = held_defaults();
    s.hummed = own->vowel && held_hummed(own->vowel);
    for (size_t k = 0; k < track_store_takes(store); k++) {
        track *t;
        const char *name = track_store_name(store, k);
        if (!track_store_read(store, k, 0, track_store_frames(store, k), &t, e))
            return false;
        t->declared = (declared_register)own->declared;
        held_score h = held_judge(t, &found[k], own->hold, own->vary, &s);
        if (h.sung_s < s.least_s)
            message_warn("%s: too little voice was heard in it to tell what moved.", name);
        d->points[d->n++] = held_point_of((double)k + 1, &h, own->hold);
        write_score(w, name, own->hold, own->vary, &h);
        table_text(w, NULL);
        table_text(w, name);
        track_free(t);
    }
    return true;
}

static bool held_of_files(const command_call *call, drawing *d, size_t *failed, err *e)
{
    register_settings s = register_defaults();
    parts_settings sizes = parts_defaults();
    register_summary summary;
    size_t parts;
    track_store *store = track_store_new();
    flips *found = xcalloc(call->n, sizeof *found);
    *failed = listen(call, store);
    ticker *t = ticker_new("decoding the registers", 0, call->shared->quiet);
    effort shown = {.show = ticker_share, .whose = t, .to = 1};
    s.opt_effort = &shown;
    bool fine = parts_decode(store, &s, &sizes, found, &summary, &parts, e);
    ticker_free(t);
    if (fine) {
        err unwritten;
        table_writer *w = begin(call);
        table_note(w, "registers", "%s", summary.text);
        d->points = xmalloc(call->n, sizeof *d->points);
        fine = write_files(call->settings, w, store, found, d, e);
        fine = table_writer_close(w, fine ? e : &unwritten) && fine;
    }
    for (size_t k = 0; k < call->n; k++)
        flips_clear(&found[k]);
    free(found);
    track_store_free(store);
    return fine;
}

/* Options that would do nothing are refused. */
static bool fits(const command_call *call, err *e)
{
    const settings *own = call->settings;
    if (own->files && own->sessions)
        return err_set(e, "--sessions are a singer's takes by day and do not go with --files.");
    if (!own->files && call->n > 1)
        return err_set(e, "One singer at a time; recordings need --files before or after them.");
    if (!own->files && (own->hold >= 0 || own->vary >= 0 || own->declared || own->how.microphone ||
                        own->how.egg || !isnan(own->how.full_scale_db)))
        return err_set(e, "What is stated of recordings goes with --files; of a singer's takes "
                          "`seamline add` has stored it.");
    return exercise_check(own->hold, own->vary, e);
}

static bool draw_points(const settings *own, const drawing *d, const picture *where, err *e)
{
    held_chart c = {.singer = d->singer, .by_date = !own->files, .n = d->n, .points = d->points};
    return !d->n || held_draw(&c, where, e);
}

static int run(const command_call *call, err *e)
{
    const settings *own = call->settings;
    size_t failed = 0;
    picture where = {.kind = PICTURE_NONE};
    drawing d = {.singer = own->files ? "" : call->operands[0]};
    if (!fits(call, e) ||
        ((own->out || own->draw) && !picture_choose(own->out, WIDTH_PX, HEIGHT_PX, &where, e)))
        return EXIT_USAGE;
    bool fine = (own->files ? held_of_files(call, &d, &failed, e) : held_of_singer(call, &d, e)) &&
                draw_points(own, &d, &where, e);
    free(d.points);
    if (!fine || failed)
        return EXIT_INPUT;
    if (!own->files && !d.n) {
        err_set(e, "%s has no takes%s%s to judge.", call->operands[0],
                own->vowel ? " on the vowel " : "", own->vowel ? own->vowel : "");
        return EXIT_NO_ANSWER;
    }
    return EXIT_DONE;
}

const command command_held = {
    .name = "held",
    .summary = "what moved in each take, and whether what was to be held was held",
    .usage = "SINGER | --files FILE...",
    .detail =
        "A row per take: which of pitch, level and register moved; of those that were to be held, "
        "which\nwere; how steady they were, vibrato taken out; and how far what was varied leaked "
        "into them.\nWhat was meant is what add stored of --hold and --vary, or unknown.",
    .examples = "seamline held robin\n"
                "seamline held robin --sessions -o held.png\n"
                "seamline held --files takes/*.wav --hold level",
    .least = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .defaults = defaults,
    .run = run,
};
