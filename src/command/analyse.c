/* SPDX-License-Identifier: GPL-3.0-or-later */
/* analyse: the flips in one singer's takes, or with --tracks every frame; no journal. */
#include "base/array.h"
#include "base/ticker.h"
#include "command/command.h"
#include "command/draw_take.h"
#include "command/explain_table.h"
#include "command/flip_cells.h"
#include "command/heard.h"
#include "command/measure_cells.h"
#include "command/option_rows.h"
#include "command/recorded.h"
#include "register/parts.h"
#include "register/seam.h"
#include "show/explain_draw.h"
#include "voice/measures.h"

#include <math.h>
#include <stdlib.h>

enum { FRAMES_AT_ONCE = 4000, WIDTH_PX = 1200, HEIGHT_PX = 1000 };

typedef struct settings {
    bool tracks, measures, explain, draw;
    const char *out;
    recorded how;
    int declared, contact;
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
    CONTACT_OPTION(settings, contact),
    {"explain", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(settings, explain),
     "what registers and flips were told from, instead of the flips"},
    {"output", 'o', OPTION_PATH, "FILE", NULL, 0, 0, offsetof(settings, out),
     "draw the first FILE over time, or with --explain what was told: .png, .svg or .pdf"},
    DRAW_OPTION(settings, draw),
    {"register", 0, OPTION_CHOICE, "M1|M2", "none|M1|M2", 0, 0, offsetof(settings, declared),
     "what all of the takes are, from the first note to the last"},
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(settings, vowel),
     "the vowel of all takes (without it they are taken as one)"},
};

static const char *level_scale(const settings *own)
{
    return isnan(own->how.full_scale_db) ? "dB re full scale" : "dB SPL (Z, 30 cm)";
}

static void note_levels(const command_call *call, table_writer *w, const heard *h,
                        const register_summary *summary)
{
    table_note(w, "level_scale", "%s", level_scale(call->settings));
    table_note(w, "voiced_s", "%.2f", summary->voiced_s);
    table_note(w, "registers", "%s", summary->text);
    if (!isnan(summary->gain_nats))
        table_note(w, "two_over_one_nats", "%.1f", summary->gain_nats);
    egg_notes(w, &h->egg, &summary->egg, summary->voiced_s);
}

static bool print_flips(const command_call *call, const heard *h, const flips *found,
                        const register_summary *summary, err *e)
{
    table_writer *w = command_table(call, "take " FLIP_COLUMNS);
    note_levels(call, w, h, summary);
    double seam = seam_median(found, track_store_takes(h->store));
    if (!isnan(seam))
        table_note(w, "seam_jnd", "%.1f", seam);
    for (size_t k = 0; k < track_store_takes(h->store); k++)
        for (size_t i = 0; i < found[k].n; i++) {
            table_text(w, track_store_name(h->store, k));
            cell_flip(w, &found[k].items[i]);
        }
    return table_writer_close(w, e);
}

static void print_frame(table_writer *w, const track *t, size_t f, bool egg)
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
    if (egg)
        egg_cells(w, t, f);
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
            print_frame(w, t, f, h->egg.takes > 0);
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
    char *basic = xformat("%s%s", plain, h->egg.takes > 0 ? EGG_COLUMNS : "");
    char *columns = own->measures ? measure_columns(basic, h->harmonics) : xstrdup(basic);
    table_writer *w = command_table(call, columns);
    size_t n = track_store_takes(h->store);
    err unwritten;
    note_levels(call, w, h, summary);
    if (own->measures)
        measure_notes(w);
    for (size_t k = 0; own->measures && k < n; k++)
        measure_note_take(w, track_store_name(h->store, k), !isnan(own->how.full_scale_db),
                          &h->levels[k]);
    bool read = true;
    track_store_read_measures(h->store);
    for (size_t k = 0; read && k < n; k++)
        read = print_take(w, h, k, e);
    free(columns);
    free(basic);
    bool written = table_writer_close(w, read ? e : &unwritten);
    return read && written;
}

static bool print_explanation(const command_call *call, const heard *h, const explanation *why,
                              const register_summary *summary, const picture *where, err *e)
{
    table_writer *w = command_table(call, EXPLAIN_COLUMNS);
    note_levels(call, w, h, summary);
    explain_table_rows(why, w);
    if (!table_writer_close(w, e))
        return false;
    return explain_draw(why, summary->text, where, e);
}

static bool print(const command_call *call, const heard *h, const flips *found,
                  const explanation *why, const register_summary *summary, const picture *where,
                  err *e)
{
    const settings *own = call->settings;
    if (own->explain)
        return print_explanation(call, h, why, summary, where, e);
    return (own->tracks ? print_tracks(call, h, summary, e)
                        : print_flips(call, h, found, summary, e)) &&
           draw_take(h->store, 0, found, level_scale(own), call->shared->a4_hz, where, e);
}

static bool decode(const command_call *call, const heard *h, const picture *where, err *e)
{
    const settings *own = call->settings;
    flips *found = xcalloc(call->n, sizeof *found);
    register_settings s = register_defaults();
    parts_settings sizes = parts_defaults();
    explanation why = {.n = 0};
    s.opt_why = own->explain ? &why : NULL;
    register_summary summary;
    size_t parts;
    ticker *t = ticker_new("decoding the registers", 0, call->shared->quiet);
    effort shown = {.show = ticker_share, .whose = t, .to = 1};
    s.opt_effort = &shown;
    bool good = parts_decode(h->store, &s, &sizes, found, &summary, &parts, e);
    ticker_free(t);
    if (good && parts > 1)
        message_warn("These takes hold %.0f minutes of voice, too much to be judged together: the "
                     "registers were told in %zu parts.",
                     summary.voiced_s / 60, parts);
    if (good)
        good = print(call, h, found, &why, &summary, where, e);
    explanation_clear(&why);
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
    if (own->explain && own->tracks) {
        err_set(e, "--explain and --tracks are tables of their own: say one of them.");
        return EXIT_USAGE;
    }
    picture where = {.kind = PICTURE_NONE};
    if ((own->out || own->draw) && !picture_choose(own->out, WIDTH_PX, HEIGHT_PX, &where, e))
        return EXIT_USAGE;
    hearing as = {&own->how, own->measures, (declared_register)own->declared,
                  (egg_way)own->contact};
    heard h = heard_takes(call, &as);
    bool printed = decode(call, &h, &where, e);
    heard_clear(&h);
    return printed && !h.failed ? EXIT_DONE : EXIT_INPUT;
}

const command command_analyse = {
    .name = "analyse",
    .summary = "the flips in one singer's takes",
    .usage = "FILE...",
    .detail = "All files are takes of one singer on one vowel: what a take lacks the others tell. "
              "A file\nmay be FILE@START-END in seconds, or - for standard input.",
    .examples = "seamline analyse takes/*.wav\n"
                "seamline analyse --tracks takes/*.wav > tracks.tsv\n"
                "seamline analyse --explain takes/take-01.wav -o evidence.png",
    .least = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .defaults = defaults,
    .run = run,
};
