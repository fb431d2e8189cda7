/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Recordings into the journal: hear each, then judge the singer's registers, then say what is
 * stored. A row on stdout means that the take survives whatever comes. */
#include "base/array.h"
#include "base/ticker.h"
#include "command/added_row.h"
#include "command/command.h"
#include "command/electrodes.h"
#include "command/intake.h"
#include "command/intake_split.h"
#include "command/interrupt.h"
#include "command/judge.h"
#include "command/pace.h"
#include "journal/store.h"
#include "lesson/exercise.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

typedef struct turn {
    bool came;          /* it was this recording's turn */
    bool stored, twice; /* twice: the same recording as an earlier one of this batch */
    hear_result heard;
} turn;

typedef struct batch {
    journal *j;
    const intake_list *list;
    turn *turns;              /* [list->n] */
    bool failed;              /* something had its sentence on stderr */
    bool interrupted, broken; /* by Ctrl-C; by a journal that fails */
    size_t known;             /* recordings that were in the journal just so */
    pace pace;
    ticker *ticker;
    bool quiet;
    table_writer *w;
    char *doubted; /* what was last said of a rig; NULL: nothing was */
} batch;

static void say(batch *b, const char *sentence)
{
    ticker_hide(b->ticker);
    message_warn("%s", sentence);
}

static void fail(batch *b, const err *e, bool broken)
{
    say(b, e->text);
    b->failed = true;
    b->broken = b->broken || broken;
}

static bool goes_on(const batch *b)
{
    return !b->interrupted && !b->broken;
}

static bool is_stopped(batch *b)
{
    return b->interrupted = interrupt_came();
}

static bool came_before(const batch *b, size_t i)
{
    for (size_t k = 0; k < i; k++)
        if (b->turns[k].stored && strcmp(b->turns[k].heard.code, b->turns[i].heard.code) == 0)
            return true;
    return false;
}

/* A recording that is there already has its sentence; a batch that is said again has one for all
 * of them, at its end. */
static void say_known(batch *b, const intake *in, bool twice)
{
    err e;
    err_set(&e, "%s is in the journal already, as a take of %s: it stays one take.",
            strcmp(in->file, "-") == 0 ? "Standard input" : in->file, in->singer);
    b->known += !twice;
    if (twice || b->list->n == 1)
        say(b, e.text);
}

static void hear_one(batch *b, size_t i)
{
    const intake *in = &b->list->items[i];
    const electrodes none = {0, EGG_UNKNOWN};
    turn *t = &b->turns[i];
    err e = {""};
    t->came = true;
    hear_recording(b->j, in, &none, &t->heard, &e);
    hear_outcome outcome = t->heard.outcome;
    pace_heard(&b->pace);
    if (outcome == HEAR_UNREADABLE || outcome == HEAR_UNSTORED) {
        fail(b, &e, outcome == HEAR_UNSTORED);
        return;
    }
    t->twice = came_before(b, i);
    t->stored = !t->twice && outcome != HEAR_REMOVED;
    if (outcome == HEAR_REMOVED) {
        err_set(&e, "%s was removed from the journal: \"journal restore %.10s\" brings it back.",
                in->file, t->heard.code);
        say(b, e.text);
    } else if (t->twice || outcome == HEAR_KNOWN) {
        say_known(b, in, t->twice);
    }
}

static void show_pace(const batch *b)
{
    ticker_show_share(b->ticker, b->pace.heard, pace_share(&b->pace));
}

static bool is_of(const batch *b, size_t i, const char *singer)
{
    return strcmp(b->list->items[i].singer, singer) == 0;
}

/* By what the session's other takes tell; what cannot be read any more stays as it was heard. */
static void hear_again(batch *b, size_t i, const electrodes *others)
{
    turn *t = &b->turns[i];
    hear_result again;
    err e;
    hear_recording(b->j, &b->list->items[i], others, &again, &e);
    if (again.outcome == HEAR_UNREADABLE || again.outcome == HEAR_UNSTORED) {
        fail(b, &e, again.outcome == HEAR_UNSTORED);
        return;
    }
    if (t->heard.outcome != HEAR_KNOWN)
        again.outcome = t->heard.outcome;
    t->heard = again;
}

static void tell_unclear(batch *b, size_t i)
{
    err e;
    err_set(&e,
            "%s has an EGG that does not tell which way contact counts: quotients are left out; "
            "--contact up or --contact down says it.",
            b->list->items[i].file);
    say(b, e.text);
}

/* The EGG of a singer's takes, those of the i-th recording, by what the takes tell together. */
static void agree_on_electrodes(batch *b, size_t i)
{
    size_t n = 0, *at = xcalloc(b->list->n, sizeof *at);
    const hear_result **heard = xcalloc(b->list->n, sizeof *heard);
    electrodes *wanted = xcalloc(b->list->n, sizeof *wanted);
    const char *singer = b->list->items[i].singer;
    err e;
    for (; i < b->list->n; i++)
        if (b->turns[i].stored && is_of(b, i, singer)) {
            heard[n] = &b->turns[i].heard;
            at[n++] = i;
        }
    if (!electrodes_agree(b->j, singer, heard, n, wanted, &e))
        fail(b, &e, true);
    for (size_t k = 0; k < n && goes_on(b); k++) {
        if (!is_stopped(b) && (wanted[k].channel || wanted[k].contact))
            hear_again(b, at[k], &wanted[k]);
        if (goes_on(b) && heard[k]->unclear)
            tell_unclear(b, at[k]);
    }
    free(wanted);
    free(heard);
    free(at);
}

/* Hears the recordings of the same singer from the i-th on. */
static void hear_singer(batch *b, size_t first)
{
    const char *singer = b->list->items[first].singer;
    for (size_t i = first; i < b->list->n && goes_on(b); i++)
        if (is_of(b, i, singer) && !is_stopped(b)) {
            show_pace(b);
            hear_one(b, i);
        }
    if (goes_on(b))
        agree_on_electrodes(b, first);
}

static void show_one(batch *b, size_t i)
{
    journal_take t = {0};
    bool found = false;
    err e;
    if (!journal_find(b->j, b->turns[i].heard.code, &t, &found, &e)) {
        fail(b, &e, true);
    } else if (found && t.judged) {
        if (b->turns[i].heard.outcome != HEAR_KNOWN &&
            (!added_checks(b->j, b->list->items[i].file, t.code, &e) ||
             !added_rig(b->j, &t, &b->doubted, &e)))
            fail(b, &e, true);
        added_row(b->w, &b->list->items[i], b->turns[i].heard.outcome, &t);
    }
    journal_take_clear(&t);
}

static void count_decoded(void *context, size_t takes)
{
    batch *b = context;
    pace_decoded(&b->pace, takes);
    show_pace(b);
}

static void count_part(void *context, double takes)
{
    batch *b = context;
    pace_decoding(&b->pace, takes);
    show_pace(b);
}

/* Where the batch is stopped, what waits for its registers is left to the next time. */
static void judge_and_show(batch *b, size_t first)
{
    const char *singer = b->list->items[first].singer;
    judge_watch watch = {.decoded = count_decoded,
                         .opt_decoding = count_part,
                         .context = b,
                         .opt_ticker = b->ticker};
    err e;
    show_pace(b);
    if (!b->interrupted && !judge_singer(b->j, singer, &watch, true, &e)) {
        fail(b, &e, true);
        return;
    }
    b->interrupted = b->interrupted || watch.stopped;
    if (!b->interrupted)
        pace_decoded(&b->pace, b->pace.heard);
    ticker_hide(b->ticker);
    for (size_t i = first; i < b->list->n && !b->broken; i++)
        if (b->turns[i].stored && is_of(b, i, singer))
            show_one(b, i);
    fflush(stdout);
}

static int add_all(const command_call *call, batch *b, err *e)
{
    b->turns = xcalloc(b->list->n, sizeof *b->turns);
    b->quiet = call->shared->quiet;
    b->pace = pace_begin(b->list->n);
    b->ticker = ticker_new("recordings heard", b->list->n, b->quiet);
    b->w = command_table(call, ADDED_COLUMNS);
    interrupt_hold();
    for (size_t i = 0; i < b->list->n && goes_on(b); i++)
        if (!b->turns[i].came) {
            hear_singer(b, i);
            judge_and_show(b, i);
        }
    ticker_free(b->ticker);
    free(b->turns);
    free(b->doubted);
    if (b->known && b->list->n > 1)
        message_warn("%zu of %zu recordings were in the journal already, and stay one take each.",
                     b->known, b->list->n);
    bool written = table_writer_close(b->w, e);
    if (written && b->interrupted)
        err_set(e, "Stopped with %zu of %zu recordings heard: the same command goes on from there.",
                b->pace.heard, b->list->n);
    return written && !b->failed && !b->interrupted ? EXIT_DONE : EXIT_INPUT;
}

static bool usage_good(const command_call *call, const statement *said, err *e)
{
    if (said->date && !date_valid(said->date))
        return err_set(e, "--date takes a day like 2024-03-05, not \"%s\".", said->date);
    if (said->split && call->n < 2)
        return err_set(e, "add --split wants SINGER and the recordings of whole lessons.");
    if (call->n == 0 && !said->table)
        return err_set(e, "add wants SINGER FILE..., or --table T.tsv.");
    if (call->n == 1 && !said->table)
        return err_set(e, "add wants a singer and then files, but one operand was given: %s.",
                       call->operands[0]);
    struct stat st;
    if (call->n && strchr(call->operands[0], '.') && stat(call->operands[0], &st) == 0 &&
        S_ISREG(st.st_mode))
        return err_set(e, "%s is a file, but the singer's name comes first: add SINGER FILE...",
                       call->operands[0]);
    return exercise_check(said->hold, said->vary, e);
}

/* The recordings that are called for, lessons as the takes in them. */
static bool gather(const command_call *call, intake_list *list, size_t *failed, err *e)
{
    statement said = *(const statement *)call->settings;
    const char *more = said.table;
    const char *singer = call->n ? call->operands[0] : NULL;
    const char *const *files = call->n ? call->operands + 1 : NULL;
    *failed = 0;
    if (said.split)
        said.table = NULL;
    if (!intake_read(singer, files, call->n ? call->n - 1 : 0, &said, list, e))
        return false;
    if (!said.split || intake_split(list, more, call->shared->quiet, failed, e))
        return true;
    intake_clear(list);
    return false;
}

static int run(const command_call *call, err *e)
{
    intake_list list;
    size_t failed;
    if (!usage_good(call, call->settings, e))
        return EXIT_USAGE;
    if (!gather(call, &list, &failed, e))
        return EXIT_INPUT;
    batch b = {.list = &list, .failed = failed > 0};
    int code = journal_open(call->shared->journal, JOURNAL_WRITE, &b.j, e) ? add_all(call, &b, e)
                                                                           : EXIT_INPUT;
    journal_close(b.j);
    intake_clear(&list);
    return code;
}

static void defaults(void *settings)
{
    *(statement *)settings = statement_none();
}

const command command_add = {
    .name = "add",
    .summary = "recordings into the journal, as takes of a singer",
    .usage = "SINGER FILE...",
    .detail =
        "Listens to each FILE (or FILE@START-END, in seconds; a folder stands for the recordings "
        "in\n"
        "it), then decodes the registers of the singer's takes of the same vowel together, and\n"
        "prints a row for each take once it is safely stored. The same recording twice is one "
        "take.\n"
        "What is wrong with a recording (see check) is said, and kept. With --rig and without\n"
        "--full-scale, levels go by the rig's last calibration on or before the take's day, else "
        "by the\n"
        "first after it (see calibrate).\n"
        "With --table, each row of the table is a recording, of SINGER or of the singer it names; "
        "with\n--split, it says more of the take that its start_s and end_s overlap most "
        "(docs/split.md).",
    .examples = "seamline add robin takes/*.wav --vowel a --hold level --vary pitch\n"
                "seamline add robin takes/take-01.wav@0.5-3.5 --date 2025-03-04\n"
                "seamline add robin lesson.wav --split\n"
                "seamline add --table studio.tsv --full-scale 108",
    .options = statement_options,
    .n_options = STATEMENT_OPTIONS,
    .settings_size = sizeof(statement),
    .defaults = defaults,
    .run = run,
};
