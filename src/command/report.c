/* SPDX-License-Identifier: GPL-3.0-or-later */
/* report: a page for a singer, or for each singer of the journal with an index. */
#include "base/array.h"
#include "base/ticker.h"
#include "base/whole_file.h"
#include "command/command.h"
#include "command/follow.h"
#include "command/from_journal.h"
#include "command/plane_gain.h"
#include "show/page.h"
#include "show/report.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { NEXT_TAKES = 5 };

typedef struct settings {
    const char *out, *vowel;
    bool all;
    int gain;
} settings;

static const option options[] = {
    {"output", 'o', OPTION_PATH, "FILE", NULL, 0, 0, offsetof(settings, out),
     "the page, .html; with --all the folder for the pages, made when it is not there"},
    {"all", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(settings, all),
     "a page for every singer of the journal, and index.html"},
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(settings, vowel),
     "this vowel alone (all that the singer has, most takes first)"},
    GAIN_OPTION(settings, gain),
};

/* What is told of one vowel, its part of the page, and the exercises planned from it. */
static bool write_part(const command_call *call, const report_head *head, plane *own,
                       sheet *opt_today, page *p, err *e)
{
    const settings *s = call->settings;
    report_part part = {.plane = own, .alone = own->n_vowels == 1};
    plan_reach reach;
    plan_take next[NEXT_TAKES];
    progress_levels levels = {.n = 0};
    boundary *b = NULL;
    err none;
    plane_gain(own, s->gain);
    if (plane_fit(own, 0, own->n, (double)NAN, &b, &none))
        part.boundary = b;
    if (b && own->n_sessions > 1 &&
        follow_levels(own, (double)NAN, COURSE_SCATTER_ST, &levels, &none))
        part.progress = &levels;
    if (plan_reach_of(own->paths, own->n, &reach)) {
        plan_next(b, &reach, NEXT_TAKES, next);
        part.reach = &reach;
        part.next = next;
        part.n_next = NEXT_TAKES;
    }
    if (opt_today) {
        sung_voice voice;
        sung_gather(own->paths, own->n, b, !own->pitch_only, own->calibrated, &voice);
        *opt_today = sheet_plan(&voice);
    }
    bool ok = report_part_write(head, &part, p, e);
    progress_levels_clear(&levels);
    boundary_free(b);
    return ok;
}

static bool write_vowel(const command_call *call, const report_head *head, journal *j,
                        const char *vowel, sheet *opt_today, page *p, err *e)
{
    plane own;
    if (!plane_load(j, head->singer, vowel, &own, e))
        return false;
    bool ok = write_part(call, head, &own, opt_today, p, e);
    plane_clear(&own);
    return ok;
}

/* A part for each vowel, then the exercises of the first. */
static bool write_vowels(const command_call *call, const report_head *head, journal *j, page *p,
                         err *e)
{
    const settings *s = call->settings;
    journal_vowel *vowels;
    size_t n;
    sheet today;
    if (!journal_vowels(j, head->singer, &vowels, &n, e))
        return false;
    const char *first = s->vowel ? s->vowel : vowels[0].vowel;
    bool ok = write_vowel(call, head, j, first, &today, p, e);
    for (size_t i = 1; ok && !s->vowel && i < n; i++)
        ok = write_vowel(call, head, j, vowels[i].vowel, NULL, p, e);
    if (ok)
        report_exercises(head, today.sung.from_map ? &today : NULL, first, p);
    journal_vowels_free(vowels, n);
    return ok;
}

static bool write_singer(const command_call *call, journal *j, const journal_singer *s,
                         const char *file, err *e)
{
    const report_head head = {s->name, SEAMLINE_VERSION, call->shared->a4_hz};
    page *p = report_begin(&head, s->sessions, s->takes, s->first, s->last);
    bool ok = write_vowels(call, &head, j, p, e);
    if (ok) {
        report_end(&head, p);
        ok = page_write(p, file, e);
    }
    page_free(p);
    return ok;
}

static void note_page(table_writer *w, const char *singer, const char *file)
{
    table_text(w, singer);
    table_text(w, file);
}

static int write_one(const command_call *call, journal *j, err *e)
{
    const settings *s = call->settings;
    journal_singer *singers;
    size_t n;
    const char *who = call->operands[0];
    if (!journal_knows(j, who, e) || !journal_singers(j, &singers, &n, e))
        return EXIT_INPUT;
    int code = EXIT_NO_ANSWER;
    err_set(e, "%s has no takes yet: seamline add puts them in.", who);
    for (size_t i = 0; i < n; i++)
        if (strcmp(singers[i].name, who) == 0 && singers[i].takes)
            code = write_singer(call, j, &singers[i], s->out, e) ? EXIT_DONE : EXIT_INPUT;
    journal_singers_free(singers, n);
    if (code != EXIT_DONE)
        return code;
    table_writer *w = command_table(call, "singer page");
    note_page(w, who, s->out);
    return table_writer_close(w, e) ? EXIT_DONE : EXIT_INPUT;
}

/* The pages of all; a singer whose page fails has a sentence on stderr. Returns how many failed. */
static size_t write_pages(const command_call *call, journal *j, const journal_singer *singers,
                          size_t n, report_entry *entries, table_writer *w)
{
    const settings *s = call->settings;
    size_t failed = 0;
    ticker *t = ticker_new("pages", n, call->shared->quiet);
    for (size_t i = 0; i < n; i++) {
        const journal_singer *one = &singers[i];
        char *name = page_file_name(one->name), *file = xformat("%s/%s", s->out, name);
        err e = {"no takes yet"};
        ticker_show(t, i);
        bool ok = one->takes && write_singer(call, j, one, file, &e);
        if (!ok && one->takes) {
            ticker_hide(t);
            message_warn("%s: %s", one->name, e.text);
            failed++;
        }
        if (ok)
            note_page(w, one->name, file);
        entries[i] = (report_entry){one->name,
                                    ok ? xstrdup(name) : NULL,
                                    one->takes ? "failed" : "no takes",
                                    one->sessions,
                                    one->takes,
                                    one->flips,
                                    one->first,
                                    one->last};
        free(name);
        free(file);
    }
    ticker_free(t);
    return failed;
}

static int write_all(const command_call *call, journal *j, err *e)
{
    const settings *s = call->settings;
    journal_singer *singers;
    size_t n;
    if (!folder_make(s->out, e) || !journal_singers(j, &singers, &n, e))
        return EXIT_INPUT;
    table_writer *w = command_table(call, "singer page");
    report_entry *entries = xcalloc(n, sizeof *entries);
    size_t failed = write_pages(call, j, singers, n, entries, w);
    char *file = xformat("%s/index.html", s->out);
    page *p = report_index(entries, n, SEAMLINE_VERSION);
    bool ok = page_write(p, file, e);
    page_free(p);
    free(file);
    for (size_t i = 0; i < n; i++)
        free((char *)entries[i].href);
    free(entries);
    journal_singers_free(singers, n);
    err unwritten;
    return table_writer_close(w, ok ? e : &unwritten) && ok && !failed ? EXIT_DONE : EXIT_INPUT;
}

static bool fits(const command_call *call, err *e)
{
    const settings *s = call->settings;
    if (!s->out)
        return err_set(e, "Say where the page goes: -o FILE.html, or --all -o FOLDER.");
    if (s->all && call->n)
        return err_set(e, "--all is for every singer: name none.");
    if (!s->all && call->n != 1)
        return err_set(e, "Name one singer, or --all.");
    return s->all || page_name_check(s->out, e);
}

static int write_report(const command_call *call, journal *j, err *e)
{
    const settings *s = call->settings;
    if (!journal_snapshot(j, e))
        return EXIT_INPUT;
    return s->all ? write_all(call, j, e) : write_one(call, j, e);
}

static int run(const command_call *call, err *e)
{
    return fits(call, e) ? with_journal(call, write_report, e) : EXIT_USAGE;
}

const command command_report = {
    .name = "report",
    .summary = "a page to print or send: a singer's maps, tables and what they mean",
    .usage = "SINGER | --all",
    .detail = "Writes one HTML page that needs nothing but itself: no network, no script, pictures "
              "inline. It\nprints on A4 and reads on a telephone. Prints which page is whose.",
    .examples = "seamline report robin -o robin.html\n"
                "seamline report --all -o pages",
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .run = run,
};
