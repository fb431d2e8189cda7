/* SPDX-License-Identifier: GPL-3.0-or-later */
/* export: everything in the journal as one table, in an order that its content alone decides. */
#include "base/array.h"
#include "base/text.h"
#include "command/command.h"
#include "journal/corrections.h"
#include "journal/store.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RECORDS "singer|take|flip|correction|model|frame"
enum record { SINGER, TAKE, FLIP, CORRECTION, MODEL, FRAME };

/* A row has the columns of its kind of record; the others are empty. */
/* clang-format off */
#define COLUMNS(one) \
    one(record) one(singer) one(notes) one(take) one(date) one(date_from) one(rig) \
    one(full_scale_db) one(distance_cm) one(file) one(start_s) one(end_s) one(sound) one(name) \
    one(vowel) one(hold) one(vary) one(declared) one(seconds) one(voiced_s) one(clipped) \
    one(dc) one(peak) one(leq_db) one(laeq_db) one(lzeq_db) one(lcfmax_db) one(lcsmax_db) \
    one(microphone) one(egg) one(channel) one(egg_channel) one(settings) one(version) \
    one(removed) one(number) one(action) one(time_s) one(to_s) one(direction) \
    one(pitch_before_st) one(pitch_after_st) one(level_before_db) one(level_after_db) \
    one(span_ms) one(confidence) one(leap_cents) one(level_step_db) one(spectral_step_db) \
    one(irregular_cycles) one(seam_jnd) one(kind) one(stated) one(part) one(answer) \
    one(pitch_st) one(voicing) one(level_db) one(reg) one(p_m2) one(doubled)
/* clang-format on */
#define AS_ENUM(name) AT_##name,
#define AS_TEXT(name) #name " "
enum column { COLUMNS(AS_ENUM) PLAIN, HARMONIC = PLAIN, NOISE = HARMONIC + TRACK_HARMONICS };
enum { ALL = NOISE + TRACK_HARMONICS };

typedef struct cell {
    enum { EMPTY, TEXT, NUMBER, COUNT } kind;
    const char *text;
    double value;
    int decimals;
} cell;

typedef struct settings {
    int records;
} settings;

static const option options[] = {
    {"records", 0, OPTION_SET, "LIST", RECORDS, 0, 0, offsetof(settings, records),
     "only these: singer, take, flip, correction, model, frame with commas (all)"},
};

static void defaults(void *p)
{
    *(settings *)p = (settings){.records = -1};
}

typedef struct sheet {
    table_writer *w;
    int records;
    cell cells[ALL];
} sheet;

static bool wants(const sheet *s, enum record r)
{
    return s->records < 0 || (s->records >> r & 1);
}

static void set_text(sheet *s, int at, const char *text)
{
    s->cells[at] = (cell){.kind = TEXT, .text = text};
}

static void set_number(sheet *s, int at, double value, int decimals)
{
    s->cells[at] = (cell){.kind = NUMBER, .value = value, .decimals = decimals};
}

static void set_count(sheet *s, int at, long value)
{
    s->cells[at] = (cell){.kind = COUNT, .value = (double)value};
}

static void begin(sheet *s, const char *record, const char *singer, const char *take)
{
    memset(s->cells, 0, sizeof s->cells);
    set_text(s, AT_record, record);
    set_text(s, AT_singer, singer);
    set_text(s, AT_take, take);
}

static void write(sheet *s)
{
    for (int i = 0; i < ALL; i++) {
        const cell *c = &s->cells[i];
        if (c->kind == NUMBER)
            table_number(s->w, c->value, c->decimals);
        else if (c->kind == COUNT)
            table_count(s->w, (long)c->value);
        else
            table_text(s->w, c->kind == TEXT ? c->text : NULL);
    }
}

static void set_levels(sheet *s, const journal_take *t)
{
    set_number(s, AT_leq_db, t->leq_db, 3);
    set_number(s, AT_laeq_db, t->laeq_db, 3);
    set_number(s, AT_lzeq_db, t->lzeq_db, 3);
    set_number(s, AT_lcfmax_db, t->lcfmax_db, 3);
    set_number(s, AT_lcsmax_db, t->lcsmax_db, 3);
}

static void set_session(sheet *s, const journal_take *t)
{
    set_text(s, AT_date, t->date);
    set_text(s, AT_rig, t->rig);
    set_number(s, AT_full_scale_db, t->full_scale_db, 3);
    set_number(s, AT_distance_cm, t->distance_cm, 2);
}

static void set_heard(sheet *s, const journal_take *t)
{
    set_number(s, AT_seconds, t->seconds, 6);
    set_number(s, AT_voiced_s, t->voiced_s, 3);
    set_count(s, AT_clipped, (long)t->clipped_runs);
    set_number(s, AT_dc, t->dc, 8);
    set_number(s, AT_peak, t->peak, 8);
    set_count(s, AT_microphone, t->microphone);
    set_count(s, AT_egg, t->egg);
    set_count(s, AT_channel, t->channel);
    set_count(s, AT_egg_channel, t->egg_channel);
    set_text(s, AT_settings, t->settings);
    set_text(s, AT_version, t->version);
    set_count(s, AT_removed, t->removed);
}

static void write_take(sheet *s, const journal_take *t)
{
    char date_from[TEXT_WORD_SIZE] = "", sound[2 * JOURNAL_DIGEST + 1];
    char *hold = t->hold < 0 ? NULL : text_set_write(JOURNAL_DIMENSIONS, t->hold);
    char *vary = t->vary < 0 ? NULL : text_set_write(JOURNAL_DIMENSIONS, t->vary);
    text_word(JOURNAL_DATE_FROM, (size_t)t->date_from, date_from);
    for (size_t i = 0; i < JOURNAL_DIGEST; i++)
        snprintf(sound + 2 * i, 3, "%02x", t->sound[i]);
    begin(s, "take", t->singer, t->code);
    set_session(s, t);
    set_text(s, AT_date_from, date_from);
    set_text(s, AT_file, t->file);
    set_number(s, AT_start_s, t->start_s, 6);
    set_number(s, AT_end_s, t->end_s, 6);
    set_text(s, AT_sound, sound);
    set_text(s, AT_name, t->name);
    set_text(s, AT_vowel, t->vowel);
    set_text(s, AT_hold, hold);
    set_text(s, AT_vary, vary);
    set_text(s, AT_declared,
             t->declared == DECLARED_M1   ? "M1"
             : t->declared == DECLARED_M2 ? "M2"
                                          : NULL);
    set_heard(s, t);
    set_levels(s, t);
    write(s);
    free(hold);
    free(vary);
}

static void write_flip(sheet *s, const journal_take *t, const flip *f, size_t number)
{
    static const char *const origins[] = {
        [FLIP_ADDED] = "add", [FLIP_MOVED] = "move", [FLIP_CONFIRMED] = "confirm"};
    begin(s, "flip", t->singer, t->code);
    set_count(s, AT_number, (long)number);
    set_number(s, AT_time_s, f->time_s, 4);
    set_text(s, AT_direction, f->direction == FLIP_UP ? "up" : "down");
    set_number(s, AT_pitch_before_st, f->pitch_before_st, 3);
    set_number(s, AT_pitch_after_st, f->pitch_after_st, 3);
    set_number(s, AT_level_before_db, f->level_before_db, 2);
    set_number(s, AT_level_after_db, f->level_after_db, 2);
    set_number(s, AT_span_ms, f->span_ms, 1);
    set_number(s, AT_confidence, f->confidence, 4);
    set_number(s, AT_leap_cents, f->leap_cents, 1);
    set_number(s, AT_level_step_db, f->level_step_db, 2);
    set_number(s, AT_spectral_step_db, f->spectral_step_db, 2);
    set_count(s, AT_irregular_cycles, f->irregular_cycles);
    set_number(s, AT_seam_jnd, f->seam_jnd, 2);
    set_text(s, AT_kind, flip_kind_name(f->kind));
    set_text(s, AT_stated, origins[f->origin]);
    write(s);
}

static void write_correction(sheet *s, const journal_take *t, const correction *c, size_t number)
{
    char action[TEXT_WORD_SIZE] = "";
    text_word(CORRECTION_ACTIONS, (size_t)c->action, action);
    begin(s, "correction", t->singer, t->code);
    set_count(s, AT_number, (long)number);
    set_text(s, AT_action, action);
    set_number(s, AT_time_s, c->time_s, 4);
    set_number(s, AT_to_s, c->to_s, 4);
    set_text(s, AT_direction, c->direction == FLIP_UP ? "up" : "down");
    write(s);
}

static void write_frame(sheet *s, const journal_item *item, size_t f)
{
    const track *t = item->track;
    begin(s, "frame", item->take.singer, item->take.code);
    set_number(s, AT_time_s, t->time_s[f], 4);
    set_number(s, AT_pitch_st, t->pitch_st[f], 4);
    set_number(s, AT_voicing, t->voicing[f], 4);
    set_number(s, AT_level_db, t->level_db[f], 3);
    if (!item->take.removed && t->reg[f])
        set_count(s, AT_reg, t->reg[f]);
    if (!item->take.removed)
        set_number(s, AT_p_m2, t->p_m2[f], 5);
    set_count(s, AT_doubled, t->doubled[f]);
    set_count(s, AT_irregular_cycles, t->irregular[f]);
    for (int h = 0; h < TRACK_HARMONICS; h++) {
        size_t i = f * TRACK_HARMONICS + (size_t)h;
        set_number(s, HARMONIC + h, (double)t->harmonic_db[i], 2);
        set_number(s, NOISE + h, (double)t->noise_db[i], 2);
    }
    write(s);
}

static bool write_item(sheet *s, journal *j, const journal_take *t, err *e)
{
    journal_item item = {0};
    correction *said;
    size_t n;
    if (wants(s, TAKE))
        write_take(s, t);
    if (!journal_named(j, t->code, t->removed, &item, e) ||
        !corrections_read(j, t->code, &said, &n, e)) {
        journal_item_clear(&item);
        return false;
    }
    for (size_t i = 0; wants(s, FLIP) && !t->removed && i < item.flips.n; i++)
        write_flip(s, t, &item.flips.items[i], i + 1);
    for (size_t i = 0; wants(s, CORRECTION) && i < n; i++)
        write_correction(s, t, &said[i], i + 1);
    for (size_t f = 0; wants(s, FRAME) && f < item.track->n; f++)
        write_frame(s, &item, f);
    free(said);
    journal_item_clear(&item);
    return true;
}

static bool write_answers(sheet *s, journal *j, const char *singer, err *e)
{
    journal_answer *answers;
    size_t n;
    if (!journal_answers(j, singer, &answers, &n, e))
        return false;
    for (size_t i = 0; wants(s, MODEL) && i < n; i++) {
        begin(s, "model", singer, NULL);
        set_text(s, AT_vowel, answers[i].vowel);
        set_count(s, AT_part, answers[i].part);
        set_text(s, AT_version, answers[i].version);
        set_text(s, AT_answer, answers[i].answer);
        write(s);
    }
    journal_answers_free(answers, n);
    return true;
}

static bool write_singer(sheet *s, journal *j, const journal_singer *g, err *e)
{
    journal_take *takes;
    size_t n;
    if (!journal_kept(j, g->name, &takes, &n, e))
        return false;
    if (wants(s, SINGER)) {
        begin(s, "singer", g->name, NULL);
        set_text(s, AT_notes, g->notes);
        write(s);
    }
    bool fine = true;
    for (size_t i = 0; fine && i < n; i++)
        fine = write_item(s, j, &takes[i], e);
    journal_takes_free(takes, n);
    return fine && write_answers(s, j, g->name, e);
}

static char *columns(void)
{
    char *names = xstrdup(COLUMNS(AS_TEXT));
    for (int i = 0; i < 2 * TRACK_HARMONICS; i++) {
        int h = i % TRACK_HARMONICS + 1;
        char *longer = xformat("%s%s%d_db%s", names, i < TRACK_HARMONICS ? "h" : "noise", h,
                               i + 1 < 2 * TRACK_HARMONICS ? " " : "");
        free(names);
        names = longer;
    }
    return names;
}

static int run(const command_call *call, err *e)
{
    journal *j;
    journal_singer *singers;
    size_t n;
    sheet *s = xcalloc(1, sizeof *s);
    err unwritten;
    if (!journal_open(call->shared->journal, JOURNAL_READ, &j, e)) {
        free(s);
        return EXIT_INPUT;
    }
    char *names = columns();
    s->records = ((const settings *)call->settings)->records;
    s->w = command_table(call, names);
    bool fine = journal_snapshot(j, e) && journal_singers(j, &singers, &n, e), all = fine;
    for (size_t i = 0; all && i < n; i++)
        all = write_singer(s, j, &singers[i], e);
    if (fine)
        journal_singers_free(singers, n);
    journal_close(j);
    bool written = table_writer_close(s->w, all ? e : &unwritten);
    free(names);
    free(s);
    return all && written ? EXIT_DONE : EXIT_INPUT;
}

const command command_export = {
    .name = "export",
    .summary = "everything in the journal as one table",
    .usage = "",
    .detail =
        "A row for each record, which the first column names: singer, take, flip, correction,\n"
        "model, frame; the columns that a record has not are empty. The order is one: the same\n"
        "takes, corrections and settings give the same table, however they came together. Of "
        "takes\n"
        "that were removed no flips and registers are told. Frames are most of it: \"--records\n"
        "take,flip,correction\" leaves them out.",
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .defaults = defaults,
    .run = run,
};
