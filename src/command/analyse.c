/* SPDX-License-Identifier: GPL-3.0-or-later */
/* analyse: the flips in one singer's takes, or with --tracks every frame; no journal. */
#include "base/array.h"
#include "command/command.h"
#include "command/flip_cells.h"
#include "command/measure_cells.h"
#include "command/recorded.h"
#include "register/parts.h"
#include "register/seam.h"
#include "voice/listen.h"
#include "voice/measures.h"

#include <math.h>
#include <stdlib.h>

enum { FRAMES_AT_ONCE = 4000 };

typedef struct settings {
    bool tracks, measures;
    recorded how;
    int declared;
    const char *vowel;
} settings;

static void defaults(void *p)
{
    *(settings *)p = (settings){.how = {.full_scale_db = (double)NAN, .distance_cm = 30}};
}

static const option options[] = {
    {"tracks", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(settings, tracks),
     "every frame instead of the flips"},
    {"measures", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(settings, measures),
     "with --tracks: harmonics, slopes, noise and weighted levels of every frame, too"},
    RECORDED_OPTIONS(settings),
    {"register", 0, OPTION_CHOICE, "M1|M2", "none|M1|M2", 0, 0, offsetof(settings, declared),
     "what all of the takes are, from the first note to the last"},
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(settings, vowel),
     "the vowel of all takes (without it they are taken as one)"},
};

/* What was heard of all takes. */
typedef struct heard {
    track_store *store;
    meter_levels *levels; /* of each take, when measures are asked for */
    size_t harmonics;     /* the most that any frame's measures have */
    size_t failed;        /* files that could not be read */
} heard;

static bool keep(void *context, const track *piece, err *e)
{
    heard *h = context;
    for (size_t i = 0; piece->measures && i < piece->n; i++)
        if (piece->measures->harmonics[i] > h->harmonics)
            h->harmonics = piece->measures->harmonics[i];
    return track_store_append(h->store, piece, e);
}

static size_t voiced_frames(const track_store *store, size_t take)
{
    size_t n, voiced = 0;
    const stretch *all = track_store_stretches(store, &n);
    while (n-- && all[n].take == take)
        voiced += all[n].voiced;
    return voiced;
}

/* The takes that could be read; the others have their sentence on stderr. */
static void listen_all(const command_call *call, heard *h)
{
    const settings *own = call->settings;
    voice_settings s = recorded_settings(&own->how);
    s.measures = own->measures;
    for (size_t i = 0; i < call->n; i++) {
        err e;
        voice_whole whole;
        track_store_begin(h->store, call->operands[i], s.hop_s, (declared_register)own->declared);
        if (!voice_listen_pieces(call->operands[i], &s, keep, h, &whole, &e)) {
            message_warn("%s", e.text);
            track_store_drop(h->store);
            h->failed++;
            continue;
        }
        track_store_end(h->store);
        size_t take = track_store_takes(h->store) - 1;
        h->levels[take] = whole.levels;
        if (!voiced_frames(h->store, take))
            message_warn("%s: no voice was heard in it.", call->operands[i]);
    }
}

static void note_levels(const command_call *call, table_writer *w, const register_summary *summary)
{
    const settings *own = call->settings;
    table_note(w, "level_scale", "%s",
               isnan(own->how.full_scale_db) ? "dB re full scale" : "dB SPL (Z, 30 cm)");
    table_note(w, "voiced_s", "%.2f", summary->voiced_s);
    table_note(w, "registers", "%s", summary->text);
    if (!isnan(summary->gain_nats))
        table_note(w, "two_over_one_nats", "%.1f", summary->gain_nats);
}

static bool print_flips(const command_call *call, const track_store *store, const flips *found,
                        const register_summary *summary, err *e)
{
    table_writer *w = command_table(call, "take " FLIP_COLUMNS);
    note_levels(call, w, summary);
    double seam = seam_median(found, track_store_takes(store));
    if (!isnan(seam))
        table_note(w, "seam_jnd", "%.1f", seam);
    for (size_t k = 0; k < track_store_takes(store); k++)
        for (size_t i = 0; i < found[k].n; i++) {
            table_text(w, track_store_name(store, k));
            cell_flip(w, &found[k].items[i]);
        }
    return table_writer_close(w, e);
}

static void print_frame(table_writer *w, const track *t, size_t f)
{
    table_text(w, t->take);
    table_number(w, t->time_s[f], 3);
    table_number(w, t->pitch_st[f], 3);
    table_number(w, t->level_db[f], 2);
    if (t->reg[f])
        table_count(w, t->reg[f]);
    else
        table_text(w, NULL);
    table_number(w, t->p_m2[f], 3);
    table_number(w, t->voicing[f], 2);
    table_count(w, t->doubled[f]);
    table_count(w, t->irregular[f]);
}

static bool print_take(table_writer *w, const heard *h, size_t take, err *e)
{
    size_t n = track_store_frames(h->store, take);
    for (size_t first = 0; first < n; first += FRAMES_AT_ONCE) {
        track *t;
        size_t here = n - first < FRAMES_AT_ONCE ? n - first : FRAMES_AT_ONCE;
        if (!track_store_read(h->store, take, first, here, &t, e))
            return false;
        for (size_t f = 0, level = 0; f < t->n; f++) {
            print_frame(w, t, f);
            if (t->measures)
                measure_cells(w, t, f, h->harmonics, &level);
        }
        track_free(t);
    }
    return true;
}

static bool print_tracks(const command_call *call, const heard *h, const register_summary *summary,
                         err *e)
{
    static const char plain[] = "take time_s pitch_st level_db register p_m2 voicing doubled "
                                "irregular_cycles";
    const settings *own = call->settings;
    char *columns = own->measures ? measure_columns(plain, h->harmonics) : xstrdup(plain);
    table_writer *w = command_table(call, columns);
    size_t n = track_store_takes(h->store);
    err unwritten;
    note_levels(call, w, summary);
    if (own->measures)
        measure_notes(w);
    for (size_t k = 0; own->measures && k < n; k++)
        measure_note_take(w, track_store_name(h->store, k), !isnan(own->how.full_scale_db),
                          &h->levels[k]);
    bool read = true;
    for (size_t k = 0; read && k < n; k++)
        read = print_take(w, h, k, e);
    free(columns);
    bool written = table_writer_close(w, read ? e : &unwritten);
    return read && written;
}

static bool decode(const command_call *call, const heard *h, err *e)
{
    const settings *own = call->settings;
    flips *found = xcalloc(call->n, sizeof *found);
    register_settings s = register_defaults();
    parts_settings sizes = parts_defaults();
    register_summary summary;
    size_t parts;
    bool good = parts_decode(h->store, &s, &sizes, found, &summary, &parts, e);
    if (good && parts > 1)
        message_warn("These takes hold %.0f minutes of voice, too much to be judged together: the "
                     "registers were told in %zu parts.",
                     summary.voiced_s / 60, parts);
    if (good)
        good = own->tracks ? print_tracks(call, h, &summary, e)
                           : print_flips(call, h->store, found, &summary, e);
    for (size_t k = 0; k < call->n; k++)
        flips_clear(&found[k]);
    free(found);
    return good;
}

static int run(const command_call *call, err *e)
{
    const settings *own = call->settings;
    if (own->measures && !own->tracks) {
        err_set(e, "--measures are of frames: say --tracks --measures.");
        return EXIT_USAGE;
    }
    heard h = {.store = track_store_new(), .levels = xcalloc(call->n, sizeof *h.levels)};
    listen_all(call, &h);
    bool printed = decode(call, &h, e);
    track_store_free(h.store);
    free(h.levels);
    return printed && !h.failed ? EXIT_DONE : EXIT_INPUT;
}

const command command_analyse = {
    .name = "analyse",
    .summary = "the flips in one singer's takes",
    .usage = "FILE...",
    .detail = "All files are takes of one singer on one vowel: what a take lacks the others tell. "
              "A file\nmay be FILE@START-END in seconds, or - for standard input.",
    .least = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .defaults = defaults,
    .run = run,
};
