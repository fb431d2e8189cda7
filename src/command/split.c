/* SPDX-License-Identifier: GPL-3.0-or-later */
/* split: the takes in recordings of whole lessons. */
#include "base/ticker.h"
#include "command/command.h"
#include "command/option_rows.h"
#include "sound/source.h"
#include "voice/split.h"

#include <stdlib.h>

typedef struct settings {
    int microphone, egg;
} settings;

static const option options[] = {
    MICROPHONE_OPTION(settings, microphone),
    EGG_OPTION(settings, egg),
};

static bool split_one(table_writer *w, const char *file, const recording_settings *s)
{
    split_take *takes = NULL;
    size_t n = 0;
    err e;
    bool fine = source_settle(file, &e) && split_recording(file, s, &takes, &n, &e);
    if (!fine)
        message_warn("%s", e.text);
    else if (!n)
        message_warn("%s: no take was found in it.", file);
    for (size_t i = 0; fine && i < n; i++) {
        table_text(w, file);
        table_number(w, takes[i].start_s, 2);
        table_number(w, takes[i].end_s, 2);
        table_text(w, split_kind_name(takes[i].kind));
    }
    free(takes);
    return fine;
}

static int run(const command_call *call, err *e)
{
    const settings *own = call->settings;
    recording_settings s = recording_defaults();
    s.channel = own->microphone;
    s.egg = own->egg;
    size_t failed = 0;
    table_writer *w = command_table(call, "file start_s end_s kind");
    ticker *t = ticker_new("recordings", call->n, call->shared->quiet);
    for (size_t i = 0; i < call->n; i++) {
        ticker_show(t, i);
        failed += !split_one(w, call->operands[i], &s);
    }
    ticker_free(t);
    if (!table_writer_close(w, e))
        return EXIT_INPUT;
    return failed ? EXIT_INPUT : EXIT_DONE;
}

const command command_split = {
    .name = "split",
    .summary = "the takes in recordings of whole lessons",
    .usage = "FILE...",
    .detail = "Prints a row for each take, a stretch that is sung; talk, a piano, breaths and "
              "silence are none.\nThe kind is slide, swell, hold or other. FILE@START-END names "
              "such a take to every other command,\nand the table, with columns for what is known "
              "of each take, is one for add --split --table.\nA teacher's sung example is "
              "a take, too: drop it by that table.",
    .examples = "seamline split lesson.wav > takes.tsv",
    .least = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .run = run,
};
