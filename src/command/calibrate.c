/* SPDX-License-Identifier: GPL-3.0-or-later */
/* calibrate: what full scale is in dB SPL, from a tone of known level, and what is kept of rigs. */
#include "base/array.h"
#include "command/command.h"
#include "command/option_rows.h"
#include "command/rig.h"
#include "sound/calibration.h"
#include "sound/date.h"
#include "sound/source.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct settings {
    const char *rig, *date;
    double reads_db, distance_cm, meter_cm;
    int weighting, speed, microphone;
} settings;

static void defaults(void *p)
{
    *(settings *)p = (settings){.reads_db = (double)NAN,
                                .distance_cm = (double)NAN,
                                .meter_cm = (double)NAN,
                                .weighting = WEIGHTING_C};
}

static const option options[] = {
    {"reads", 0, OPTION_NUMBER, "DB", NULL, 20, 160, offsetof(settings, reads_db),
     "what the calibrator gives (94 or 114), or the meter showed"},
    {"rig", 0, OPTION_TEXT, "TEXT", NULL, 0, 0, offsetof(settings, rig),
     "keep it in the journal for this rig: a microphone, its distance, recorder and gain"},
    {"date", 0, OPTION_TEXT, "YYYY-MM-DD", NULL, 0, 0, offsetof(settings, date),
     "the day of the tone (else what the file says); goes with --rig"},
    {"weighting", 0, OPTION_CHOICE, "A|C|Z", "A|C|Z", 0, 0, offsetof(settings, weighting),
     "the meter's frequency weighting (C); at 1 kHz all are alike"},
    {"speed", 0, OPTION_CHOICE, "F|S", "F|S", 0, 0, offsetof(settings, speed),
     "the meter's time weighting (F)"},
    {"distance", 0, OPTION_NUMBER, "CM", NULL, 1, 1000, offsetof(settings, distance_cm),
     "from the lips, or a source in their place, to the microphone (30); kept with the rig"},
    {"meter-distance", 0, OPTION_NUMBER, "CM", NULL, 1, 1000, offsetof(settings, meter_cm),
     "from the source to the meter (where the microphone is)"},
    MICROPHONE_OPTION(settings, microphone),
};

static int measure(const settings *own, const char *file, calibration *found, err *e)
{
    calibration_settings s = calibration_defaults();
    recording_settings r = recording_defaults();
    bool answer;
    s.reads_db = own->reads_db;
    if (!isnan(own->distance_cm))
        s.distance_cm = own->distance_cm;
    s.meter_cm = own->meter_cm;
    s.curve = (weighting_curve)own->weighting;
    s.speed = (meter_speed)own->speed;
    r.channel = own->microphone;
    if (!source_settle(file, e))
        return EXIT_INPUT;
    if (!calibrate_recording(file, &r, &s, found, &answer, e))
        return answer ? EXIT_INPUT : EXIT_NO_ANSWER;
    return EXIT_DONE;
}

static void warn_of_change(const journal_calibration *earlier, const journal_calibration *later)
{
    char *sentence = rig_changed(earlier, later);
    if (sentence)
        message_warn("%s", sentence);
    free(sentence);
}

/* Stores c; *change_db: from the calibration that counted on that day, NaN where none did. */
static bool keep_in(journal *j, const journal_calibration *c, double *change_db, err *e)
{
    journal_calibration *items;
    size_t n, k;
    if (!calibrations_read(j, c->rig, &items, &n, e))
        return false;
    bool fine = calibration_store(j, c, e);
    k = calibration_of_day(items, n, c->date);
    bool before = n && strcmp(items[k].date, c->date) <= 0;
    *change_db = before ? c->full_scale_db - items[k].full_scale_db : (double)NAN;
    if (fine && before)
        warn_of_change(&items[k], c);
    k += before;
    if (fine && k < n)
        warn_of_change(c, &items[k]);
    calibrations_free(items, n);
    return fine;
}

static bool keep(const command_call *call, const char *file, const char *date,
                 const calibration *found, double *change_db, err *e)
{
    const settings *own = call->settings;
    const char *slash = strrchr(file, '/');
    char *name = xstrdup(slash ? slash + 1 : file), version[] = SEAMLINE_VERSION;
    char *rig = xstrdup(own->rig), *day = xstrdup(date);
    journal_calibration c = {.rig = rig,
                             .date = day,
                             .full_scale_db = found->full_scale_db,
                             .reads_db = own->reads_db,
                             .steady_db = found->steady_db,
                             .distance_cm = own->distance_cm,
                             .file = name,
                             .version = version};
    memcpy(c.sound, found->sound, JOURNAL_DIGEST);
    journal *j;
    bool fine = journal_open(call->shared->journal, JOURNAL_WRITE, &j, e);
    if (fine) {
        fine = keep_in(j, &c, change_db, e);
        journal_close(j);
    }
    free(name);
    free(rig);
    free(day);
    return fine;
}

static int measure_and_keep(const command_call *call, err *e)
{
    const settings *own = call->settings;
    const char *file = call->operands[0], *date = own->date;
    char day[DATE_SIZE];
    calibration found = {0};
    double change_db = (double)NAN;
    int code = measure(own, file, &found, e);
    if (code != EXIT_DONE)
        return code;
    if (own->rig && !date) {
        date_of_recording(file, day);
        date = day;
    }
    if (own->rig && !keep(call, file, date, &found, &change_db, e))
        return EXIT_INPUT;
    table_writer *w = command_table(
        call, "file full_scale_db steady_db level_db from_s to_s rig date distance_cm change_db");
    table_text(w, file);
    table_number(w, found.full_scale_db, 2);
    table_number(w, found.steady_db, 2);
    table_number(w, found.level_db, 2);
    table_number(w, found.from_s, 2);
    table_number(w, found.to_s, 2);
    table_text(w, own->rig);
    table_text(w, date);
    table_number(w, own->distance_cm, 1);
    table_number(w, change_db, 2);
    return table_writer_close(w, e) ? EXIT_DONE : EXIT_INPUT;
}

static void write_kept(table_writer *w, const journal_calibration *items, size_t i)
{
    const journal_calibration *c = &items[i];
    bool first = !i || strcmp(items[i - 1].rig, c->rig) != 0;
    table_text(w, c->rig);
    table_text(w, c->date);
    table_number(w, c->full_scale_db, 2);
    table_number(w, first ? (double)NAN : c->full_scale_db - items[i - 1].full_scale_db, 2);
    table_number(w, c->distance_cm, 1);
    table_number(w, c->reads_db, 1);
    table_number(w, c->steady_db, 2);
    table_text(w, c->file);
}

static int list_kept(const command_call *call, err *e)
{
    const settings *own = call->settings;
    journal *j;
    journal_calibration *items;
    size_t n;
    if (!journal_open(call->shared->journal, JOURNAL_READ, &j, e))
        return EXIT_INPUT;
    bool fine = calibrations_read(j, own->rig, &items, &n, e);
    journal_close(j);
    if (!fine)
        return EXIT_INPUT;
    table_writer *w =
        command_table(call, "rig date full_scale_db change_db distance_cm reads_db steady_db file");
    for (size_t i = 0; i < n; i++)
        write_kept(w, items, i);
    calibrations_free(items, n);
    return table_writer_close(w, e) ? EXIT_DONE : EXIT_INPUT;
}

static bool usage_good(const command_call *call, err *e)
{
    const settings *own = call->settings;
    if (own->date && !date_valid(own->date))
        return err_set(e, "--date takes a day like 2024-03-05, not \"%s\".", own->date);
    if (!call->n && !isnan(own->reads_db))
        return err_set(e, "calibrate wants the recording of the tone that --reads is of.");
    if (call->n && isnan(own->reads_db))
        return err_set(e, "calibrate wants --reads DB, the level of the tone.");
    if (own->date && (!own->rig || !call->n))
        return err_set(e, "--date is the day of a recording that is kept by --rig.");
    return true;
}

static int run(const command_call *call, err *e)
{
    if (!usage_good(call, e))
        return EXIT_USAGE;
    return call->n ? measure_and_keep(call, e) : list_kept(call, e);
}

const command command_calibrate = {
    .name = "calibrate",
    .summary = "what full scale is in dB SPL, from a tone of known level",
    .usage = "[FILE]",
    .detail = "Record a calibrator (94 or 114 dB at 1 kHz), or any steady tone beside a sound "
              "level meter, with\nthe same microphone and gain as the takes, and state what it "
              "reads. full_scale_db is what\nanalyse and add take as --full-scale. A tone that "
              "is clipped, too short or not steady within\na decibel is refused (exit 3).\n"
              "With --rig it is kept in the journal, and add --rig goes by it. Where a rig's "
              "calibrations are\nmore than 2 dB apart it has probably changed, which is said. "
              "Without FILE: what is kept.",
    .examples = "seamline calibrate calibrator.wav --reads 94\n"
                "seamline calibrate calibrator.wav --reads 94 --rig desk --distance 30",
    .most = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .defaults = defaults,
    .run = run,
};
