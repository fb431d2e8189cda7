/* SPDX-License-Identifier: GPL-3.0-or-later */
/* check: is a recording good enough? */
#include "base/ticker.h"
#include "command/command.h"
#include "command/option_rows.h"
#include "sound/source.h"
#include "voice/checkup.h"

#include <math.h>

typedef struct settings {
    int microphone, egg;
} settings;

static const option options[] = {
    MICROPHONE_OPTION(settings, microphone),
    EGG_OPTION(settings, egg),
};

static void print_checkup(table_writer *w, const char *file, const checkup *found)
{
    for (int c = 0; c < CHECKS; c++) {
        const check_row *row = &found->of[c];
        const char *name = check_name_of((check_name)c);
        table_text(w, file);
        table_text(w, name);
        table_text(w, check_result_of(row->result));
        table_number(w, isfinite(row->figure) ? row->figure : (double)NAN, check_decimals_of(name));
        table_text(w, check_unit_of((check_name)c));
        table_text(w, row->remedy);
    }
}

static int run(const command_call *call, err *e)
{
    const settings *own = call->settings;
    recording_settings s = recording_defaults();
    s.channel = own->microphone;
    s.egg = own->egg;
    size_t failed = 0;
    table_writer *w = command_table(call, "file check result figure unit remedy");
    ticker *t = ticker_new("recordings", call->n, call->shared->quiet);
    for (size_t i = 0; i < call->n; i++) {
        checkup found;
        err unread;
        ticker_show(t, i);
        bool fine = source_settle(call->operands[i], &unread) &&
                    checkup_recording(call->operands[i], &s, &found, &unread);
        ticker_hide(t);
        if (fine)
            print_checkup(w, call->operands[i], &found);
        else
            message_warn("%s", unread.text);
        failed += !fine;
    }
    ticker_free(t);
    if (!table_writer_close(w, e))
        return EXIT_INPUT;
    return failed ? EXIT_INPUT : EXIT_DONE;
}

const command command_check = {
    .name = "check",
    .summary = "whether recordings are good enough, and what to do",
    .usage = "FILE...",
    .detail = "Prints a row for each check of each FILE: pass, warn or fail, what was measured, "
              "and what\nto do. A check that could not be judged has an empty result, and says why "
              "in the remedy.\nExits 0 whatever is found in files that can be read.",
    .examples = "seamline check takes/*.wav",
    .least = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .run = run,
};
