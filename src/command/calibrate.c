/* SPDX-License-Identifier: GPL-3.0-or-later */
/* calibrate: what full scale is in dB SPL, from a tone of known level. */
#include "command/command.h"
#include "sound/calibration.h"
#include "sound/source.h"

#include <math.h>

typedef struct settings {
    double reads_db, distance_cm, meter_cm;
    int weighting, speed, microphone;
} settings;

static void defaults(void *p)
{
    *(settings *)p = (settings){.reads_db = (double)NAN,
                                .distance_cm = 30,
                                .meter_cm = (double)NAN,
                                .weighting = WEIGHTING_C};
}

static const option options[] = {
    {"reads", 0, OPTION_NUMBER, "DB", NULL, 20, 160, offsetof(settings, reads_db),
     "what the calibrator gives (94 or 114), or the meter showed"},
    {"weighting", 0, OPTION_CHOICE, "A|C|Z", "A|C|Z", 0, 0, offsetof(settings, weighting),
     "the meter's frequency weighting (C); at 1 kHz all are alike"},
    {"speed", 0, OPTION_CHOICE, "F|S", "F|S", 0, 0, offsetof(settings, speed),
     "the meter's time weighting (F)"},
    {"distance", 0, OPTION_NUMBER, "CM", NULL, 1, 1000, offsetof(settings, distance_cm),
     "from the source to the microphone (30); counts with --meter-distance alone"},
    {"meter-distance", 0, OPTION_NUMBER, "CM", NULL, 1, 1000, offsetof(settings, meter_cm),
     "from the source to the meter (where the microphone is)"},
    {"microphone", 0, OPTION_WHOLE, "N", NULL, 1, 1024, offsetof(settings, microphone),
     "the channel with the microphone, counted from 1 (without it, it is guessed)"},
};

static int run(const command_call *call, err *e)
{
    const settings *own = call->settings;
    const char *file = call->operands[0];
    calibration_settings s = calibration_defaults();
    recording_settings r = recording_defaults();
    calibration found;
    bool answer;
    if (isnan(own->reads_db)) {
        err_set(e, "calibrate wants --reads DB, the level of the tone.");
        return EXIT_USAGE;
    }
    s.reads_db = own->reads_db;
    s.distance_cm = own->distance_cm;
    s.meter_cm = own->meter_cm;
    s.curve = (weighting_curve)own->weighting;
    s.speed = (meter_speed)own->speed;
    r.channel = own->microphone;
    if (!source_settle(file, e))
        return EXIT_INPUT;
    if (!calibrate_recording(file, &r, &s, &found, &answer, e))
        return answer ? EXIT_INPUT : EXIT_NO_ANSWER;
    table_writer *w = command_table(call, "file full_scale_db steady_db level_db from_s to_s");
    table_text(w, file);
    table_number(w, found.full_scale_db, 2);
    table_number(w, found.steady_db, 2);
    table_number(w, found.level_db, 2);
    table_number(w, found.from_s, 2);
    table_number(w, found.to_s, 2);
    return table_writer_close(w, e) ? EXIT_DONE : EXIT_INPUT;
}

const command command_calibrate = {
    .name = "calibrate",
    .summary = "what full scale is in dB SPL, from a tone of known level",
    .usage = "FILE",
    .detail = "Record a calibrator (94 or 114 dB at 1 kHz), or any steady tone beside a sound "
              "level meter, with\nthe same microphone and gain as the takes, and state what it "
              "reads. full_scale_db is what\nanalyse and add take as --full-scale. A tone that "
              "is clipped, too short or not steady within\na decibel is refused (exit 3).",
    .least = 1,
    .most = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .defaults = defaults,
    .run = run,
};
