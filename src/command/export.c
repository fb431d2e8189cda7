/* SPDX-License-Identifier: GPL-3.0-or-later */
/* export: everything in the journal as one table, in an order that its content alone decides. */
#include "base/array.h"
#include "base/text.h"
#include "command/command.h"
#include "command/export_row.h"
#include "journal/calibrations.h"
#include "journal/checks.h"
#include "journal/corrections.h"
#include "journal/store.h"
#include "voice/egg.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RECORDS "singer|take|flip|correction|model|frame|check|calibration"
enum record { SINGER, TAKE, FLIP, CORRECTION, MODEL, FRAME, CHECK, CALIBRATION };

typedef struct settings {
    int records;
} settings;

static const option options[] = {
    {"records", 0, OPTION_SET, "LIST", RECORDS, 0, 0, offsetof(settings, records),
     "only these: singer, take, flip, correction, model, frame, check, calibration (all)"},
};

static void defaults(void *p)
{
    *(settings *)p = (settings){.records = -1};
}

typedef struct sheet {
    table_writer *w;
    int records;
    export_row row;
} sheet;

static bool wants(const sheet *s, enum record r)
{
    return s->records < 0 || (s->records >> r & 1);
}

static void set_levels(sheet *s, const journal_take *t)
{
    set_number(&s->row, AT_leq_db, t->leq_db, 3);
    set_number(&s->row, AT_laeq_db, t->laeq_db, 3);
    set_number(&s->row, AT_lzeq_db, t->lzeq_db, 3);
    set_number(&s->row, AT_lcfmax_db, t->lcfmax_db, 3);
    set_number(&s->row, AT_lcsmax_db, t->lcsmax_db, 3);
}

static void set_session(sheet *s, const journal_take *t)
{
    set_text(&s->row, AT_date, t->date);
    set_text(&s->row, AT_rig, t->rig);
    set_number(&s->row, AT_full_scale_db, t->full_scale_db, 3);
    set_number(&s->row, AT_distance_cm, t->distance_cm, 2);
    set_text(&s->row, AT_calibration, *t->calibration ? t->calibration : NULL);
}

static void write_sound(sheet *s, const unsigned char sound[JOURNAL_DIGEST],
                        char hex[2 * JOURNAL_DIGEST + 1])
{
    for (size_t i = 0; i < JOURNAL_DIGEST; i++)
        snprintf(hex + 2 * i, 3, "%02x", sound[i]);
    set_text(&s->row, AT_sound, hex);
}

static void set_heard(sheet *s, const journal_take *t)
{
    set_number(&s->row, AT_seconds, t->seconds, 6);
    set_number(&s->row, AT_voiced_s, t->voiced_s, 3);
    set_count(&s->row, AT_clipped, (long)t->clipped_runs);
    set_number(&s->row, AT_dc, t->dc, 8);
    set_number(&s->row, AT_peak, t->peak, 8);
    set_count(&s->row, AT_microphone, t->microphone);
    set_count(&s->row, AT_egg, t->egg);
    set_count(&s->row, AT_channel, t->channel);
    set_count(&s->row, AT_egg_channel, t->egg_channel);
    set_text(&s->row, AT_settings, t->settings);
    set_text(&s->row, AT_version, t->version);
    set_count(&s->row, AT_removed, t->removed);
}

static void write_take(sheet *s, const journal_take *t)
{
    char date_from[TEXT_WORD_SIZE] = "", sound[2 * JOURNAL_DIGEST + 1];
    char *hold = t->hold < 0 ? NULL : text_set_write(JOURNAL_DIMENSIONS, t->hold);
    char *vary = t->vary < 0 ? NULL : text_set_write(JOURNAL_DIMENSIONS, t->vary);
    text_word(JOURNAL_DATE_FROM, (size_t)t->date_from, date_from);
    row_begin(&s->row, "take", t->singer, t->code);
    set_session(s, t);
    set_text(&s->row, AT_date_from, date_from);
    set_text(&s->row, AT_file, t->file);
    set_number(&s->row, AT_start_s, t->start_s, 6);
    set_number(&s->row, AT_end_s, t->end_s, 6);
    write_sound(s, t->sound, sound);
    set_text(&s->row, AT_name, t->name);
    set_text(&s->row, AT_vowel, t->vowel);
    set_text(&s->row, AT_hold, hold);
    set_text(&s->row, AT_vary, vary);
    set_text(&s->row, AT_declared,
             t->declared == DECLARED_M1   ? "M1"
             : t->declared == DECLARED_M2 ? "M2"
                                          : NULL);
    set_heard(s, t);
    set_levels(s, t);
    row_write(&s->row, s->w);
    free(hold);
    free(vary);
}

static void write_flip(sheet *s, const journal_take *t, const flip *f, size_t number)
{
    static const char *const origins[] = {
        [FLIP_ADDED] = "add", [FLIP_MOVED] = "move", [FLIP_CONFIRMED] = "confirm"};
    row_begin(&s->row, "flip", t->singer, t->code);
    set_count(&s->row, AT_number, (long)number);
    set_number(&s->row, AT_time_s, f->time_s, 4);
    set_text(&s->row, AT_direction, f->direction == FLIP_UP ? "up" : "down");
    set_number(&s->row, AT_pitch_before_st, f->pitch_before_st, 3);
    set_number(&s->row, AT_pitch_after_st, f->pitch_after_st, 3);
    set_number(&s->row, AT_level_before_db, f->level_before_db, 2);
    set_number(&s->row, AT_level_after_db, f->level_after_db, 2);
    set_number(&s->row, AT_span_ms, f->span_ms, 1);
    set_number(&s->row, AT_confidence, f->confidence, 4);
    set_number(&s->row, AT_leap_cents, f->leap_cents, 1);
    set_number(&s->row, AT_level_step_db, f->level_step_db, 2);
    set_number(&s->row, AT_spectral_step_db, f->spectral_step_db, 2);
    set_count(&s->row, AT_irregular_cycles, f->irregular_cycles);
    set_number(&s->row, AT_seam_jnd, f->seam_jnd, 2);
    set_text(&s->row, AT_kind, flip_kind_name(f->kind));
    set_text(&s->row, AT_stated, origins[f->origin]);
    row_write(&s->row, s->w);
}

static void write_correction(sheet *s, const journal_take *t, const correction *c, size_t number)
{
    char action[TEXT_WORD_SIZE] = "";
    text_word(CORRECTION_ACTIONS, (size_t)c->action, action);
    row_begin(&s->row, "correction", t->singer, t->code);
    set_count(&s->row, AT_number, (long)number);
    set_text(&s->row, AT_action, action);
    set_number(&s->row, AT_time_s, c->time_s, 4);
    set_number(&s->row, AT_to_s, c->to_s, 4);
    set_text(&s->row, AT_direction, c->direction == FLIP_UP ? "up" : "down");
    row_write(&s->row, s->w);
}

static bool write_checks(sheet *s, journal *j, const journal_take *t, err *e)
{
    journal_check *checks;
    size_t n;
    if (!journal_checks(j, t->code, &checks, &n, e))
        return false;
    for (size_t i = 0; i < n; i++) {
        const journal_check *c = &checks[i];
        row_begin(&s->row, "check", t->singer, t->code);
        set_text(&s->row, AT_check, c->name);
        set_text(&s->row, AT_result, c->result);
        set_number(&s->row, AT_figure, c->figure, 3);
        set_text(&s->row, AT_unit, c->unit);
        set_text(&s->row, AT_remedy, *c->remedy ? c->remedy : NULL);
        row_write(&s->row, s->w);
    }
    journal_checks_free(checks, n);
    return true;
}

static void set_contact(sheet *s, const egg_frame *f)
{
    set_number(&s->row, AT_contact_quotient, (double)f->quotient, 4);
    set_number(&s->row, AT_contact_quotient_peaks, (double)f->peaks_quotient, 4);
    set_number(&s->row, AT_contact_closing, (double)f->closing, 3);
    set_number(&s->row, AT_contact_opening, (double)f->opening, 3);
    set_number(&s->row, AT_contact_level_db, (double)f->level_db, 2);
    set_number(&s->row, AT_egg_clarity, (double)f->clarity, 4);
}

static void write_frame(sheet *s, const journal_item *item, size_t f)
{
    const track *t = item->track;
    row_begin(&s->row, "frame", item->take.singer, item->take.code);
    set_number(&s->row, AT_time_s, t->time_s[f], 4);
    set_number(&s->row, AT_pitch_st, t->pitch_st[f], 4);
    set_number(&s->row, AT_voicing, t->voicing[f], 4);
    set_number(&s->row, AT_level_db, t->level_db[f], 3);
    if (!item->take.removed && t->reg[f])
        set_count(&s->row, AT_reg, t->reg[f]);
    if (!item->take.removed)
        set_number(&s->row, AT_p_m2, t->p_m2[f], 5);
    set_count(&s->row, AT_doubled, t->doubled[f]);
    set_count(&s->row, AT_irregular_cycles, t->irregular[f]);
    for (int h = 0; h < TRACK_HARMONICS; h++) {
        size_t i = f * TRACK_HARMONICS + (size_t)h;
        set_number(&s->row, HARMONIC + h, (double)t->harmonic_db[i], 2);
        set_number(&s->row, NOISE + h, (double)t->noise_db[i], 2);
    }
    if (t->egg)
        set_contact(s, &t->egg[f]);
    row_write(&s->row, s->w);
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
    return !wants(s, CHECK) || write_checks(s, j, t, e);
}

static bool write_answers(sheet *s, journal *j, const char *singer, err *e)
{
    journal_answer *answers;
    size_t n;
    if (!journal_answers(j, singer, &answers, &n, e))
        return false;
    for (size_t i = 0; wants(s, MODEL) && i < n; i++) {
        row_begin(&s->row, "model", singer, NULL);
        set_text(&s->row, AT_vowel, answers[i].vowel);
        set_count(&s->row, AT_part, answers[i].part);
        set_text(&s->row, AT_version, answers[i].version);
        set_text(&s->row, AT_answer, answers[i].answer);
        row_write(&s->row, s->w);
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
        row_begin(&s->row, "singer", g->name, NULL);
        set_text(&s->row, AT_notes, g->notes);
        row_write(&s->row, s->w);
    }
    bool fine = true;
    for (size_t i = 0; fine && i < n; i++)
        fine = write_item(s, j, &takes[i], e);
    journal_takes_free(takes, n);
    return fine && write_answers(s, j, g->name, e);
}

static bool write_calibrations(sheet *s, const journal *j, err *e)
{
    journal_calibration *items;
    size_t n;
    if (!calibrations_kept(j, &items, &n, e))
        return false;
    for (size_t i = 0; i < n; i++) {
        const journal_calibration *c = &items[i];
        char sound[2 * JOURNAL_DIGEST + 1];
        row_begin(&s->row, "calibration", NULL, NULL);
        set_text(&s->row, AT_rig, c->rig);
        set_text(&s->row, AT_date, c->date);
        set_number(&s->row, AT_full_scale_db, c->full_scale_db, 3);
        set_number(&s->row, AT_distance_cm, c->distance_cm, 2);
        set_text(&s->row, AT_file, c->file);
        write_sound(s, c->sound, sound);
        set_text(&s->row, AT_version, c->version);
        set_number(&s->row, AT_reads_db, c->reads_db, 2);
        set_number(&s->row, AT_steady_db, c->steady_db, 3);
        set_text(&s->row, AT_made, c->made);
        row_write(&s->row, s->w);
    }
    calibrations_free(items, n);
    return true;
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
    char *names = export_columns();
    s->records = ((const settings *)call->settings)->records;
    s->w = command_table(call, names);
    bool fine = journal_snapshot(j, e) && journal_singers(j, &singers, &n, e), all = fine;
    for (size_t i = 0; all && i < n; i++)
        all = write_singer(s, j, &singers[i], e);
    if (all && wants(s, CALIBRATION))
        all = write_calibrations(s, j, e);
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
        "model, frame, check, calibration; the columns that a record has not are empty. The "
        "order\nis one: the same takes, corrections and settings give the same table, however "
        "they came\ntogether. Of takes that were removed no flips and registers are told. Frames "
        "are most of\nit: \"--records take,flip,correction\" leaves them out.",
    .examples = "seamline export > journal.tsv\n"
                "seamline export --records take,flip,correction",
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .defaults = defaults,
    .run = run,
};
