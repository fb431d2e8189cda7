/* SPDX-License-Identifier: GPL-3.0-or-later */
/* analyse: the flips in one singer's takes, or with --tracks every frame; no journal. */
#include "base/array.h"
#include "command/command.h"
#include "command/measure_cells.h"
#include "register/decode.h"
#include "voice/listen.h"

#include <math.h>
#include <stdlib.h>

typedef struct settings {
    bool tracks, measures;
    double full_scale_db, distance_cm;
    int microphone, egg, declared;
    const char *vowel;
} settings;

static void defaults(void *p)
{
    *(settings *)p = (settings){.full_scale_db = (double)NAN, .distance_cm = 30};
}

static const option options[] = {
    {"tracks", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(settings, tracks),
     "every frame instead of the flips"},
    {"measures", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(settings, measures),
     "with --tracks: harmonics, slopes, noise and weighted levels of every frame, too"},
    {"full-scale", 0, OPTION_NUMBER, "DB", NULL, 60, 200, offsetof(settings, full_scale_db),
     "dB SPL of a signal whose RMS is full scale"},
    {"distance", 0, OPTION_NUMBER, "CM", NULL, 1, 1000, offsetof(settings, distance_cm),
     "from the lips to the microphone (30); levels are given at 30 cm"},
    {"microphone", 0, OPTION_WHOLE, "N", NULL, 1, 1024, offsetof(settings, microphone),
     "the channel with the microphone, counted from 1 (without it, it is guessed)"},
    {"egg", 0, OPTION_WHOLE, "N", NULL, 1, 1024, offsetof(settings, egg),
     "the channel with the electroglottograph, counted from 1; never taken for the microphone"},
    {"register", 0, OPTION_CHOICE, "M1|M2", "none|M1|M2", 0, 0, offsetof(settings, declared),
     "what all of the takes are, from the first note to the last"},
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(settings, vowel),
     "the vowel of all takes (without it they are taken as one)"},
};

/* The takes that could be read; *failed counts the others, each with its sentence on stderr. */
static size_t listen_all(const command_call *call, track **tracks, meter_levels *levels,
                         size_t *failed)
{
    const settings *own = call->settings;
    voice_settings s = voice_defaults();
    s.full_scale_db = own->full_scale_db;
    s.distance_cm = own->distance_cm;
    s.recording.channel = own->microphone;
    s.recording.egg = own->egg;
    s.measures = own->measures;
    size_t n = 0;
    for (size_t i = 0; i < call->n; i++) {
        err e;
        voice_whole whole;
        if (!voice_listen(call->operands[i], &s, &tracks[n], &whole, &e)) {
            message_warn("%s", e.text);
            ++*failed;
            continue;
        }
        levels[n] = whole.levels;
        track *t = tracks[n++];
        t->declared = (declared_register)own->declared;
        if (voice_seconds(t) <= 0)
            message_warn("%s: no voice was heard in it.", call->operands[i]);
    }
    return n;
}

static void note_levels(const command_call *call, table_writer *w, const register_summary *summary)
{
    const settings *own = call->settings;
    table_note(w, "level_scale", "%s",
               isnan(own->full_scale_db) ? "dB re full scale" : "dB SPL (Z, 30 cm)");
    table_note(w, "voiced_s", "%.2f", summary->voiced_s);
    table_note(w, "registers", "%s", summary->text);
    if (!isnan(summary->gain_nats))
        table_note(w, "two_over_one_nats", "%.1f", summary->gain_nats);
}

static bool print_flips(const command_call *call, track *const *tracks, size_t n,
                        const flips *found, const register_summary *summary, err *e)
{
    table_writer *w =
        command_table(call, "take time_s direction pitch_before_st pitch_after_st level_before_db "
                            "level_after_db span_ms confidence");
    note_levels(call, w, summary);
    for (size_t k = 0; k < n; k++)
        for (size_t i = 0; i < found[k].n; i++) {
            const flip *f = &found[k].items[i];
            table_text(w, tracks[k]->take);
            table_number(w, f->time_s, 3);
            table_text(w, f->direction == FLIP_UP ? "up" : "down");
            table_number(w, f->pitch_before_st, 2);
            table_number(w, f->pitch_after_st, 2);
            table_number(w, f->level_before_db, 1);
            table_number(w, f->level_after_db, 1);
            table_number(w, f->span_ms, 0);
            table_number(w, f->confidence, 2);
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
}

static bool print_tracks(const command_call *call, track *const *tracks, size_t n,
                         const register_summary *summary, const meter_levels *levels, err *e)
{
    static const char plain[] = "take time_s pitch_st level_db register p_m2 voicing";
    bool measures = ((const settings *)call->settings)->measures;
    char *columns = measures ? measure_columns(plain, tracks, n) : xstrdup(plain);
    size_t harmonics = measures ? measure_harmonics_most(tracks, n) : 0;
    table_writer *w = command_table(call, columns);
    note_levels(call, w, summary);
    if (measures)
        measure_notes(w, tracks, levels, n);
    for (size_t k = 0; k < n; k++)
        for (size_t f = 0, level = 0; f < tracks[k]->n; f++) {
            print_frame(w, tracks[k], f);
            if (measures)
                measure_cells(w, tracks[k], f, harmonics, &level);
        }
    free(columns);
    return table_writer_close(w, e);
}

static int run(const command_call *call, err *e)
{
    const settings *own = call->settings;
    if (own->measures && !own->tracks) {
        err_set(e, "--measures are of frames: say --tracks --measures.");
        return EXIT_USAGE;
    }
    meter_levels *levels = xcalloc(call->n, sizeof *levels);
    track **tracks = xcalloc(call->n, sizeof *tracks);
    flips *found = xcalloc(call->n, sizeof *found);
    size_t failed = 0, n = listen_all(call, tracks, levels, &failed);
    register_settings s = register_defaults();
    register_summary summary;
    register_decode(tracks, n, &s, found, &summary);
    bool printed = own->tracks ? print_tracks(call, tracks, n, &summary, levels, e)
                               : print_flips(call, tracks, n, found, &summary, e);
    for (size_t k = 0; k < n; k++) {
        track_free(tracks[k]);
        flips_clear(&found[k]);
    }
    free(tracks);
    free(levels);
    free(found);
    return printed && !failed ? EXIT_DONE : EXIT_INPUT;
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
