/* SPDX-License-Identifier: GPL-3.0-or-later */
/* demo_compare STUDIO.tsv TRUTH FULL_SCALE_DB JOURNAL MAP.tsv...
 *
 * The boundaries that `seamline map` found beside those that the demo's voices were given. The
 * truth is stated in dB re full scale; a map states levels in dB SPL (full scale then is
 * FULL_SCALE_DB) or re each session's median voiced level, which is taken here from the true
 * frames. Where a voice changed from session to session there is no one true boundary: the mean
 * over the takes that count stands for it, and each session is fitted by itself as well. */
#include "base/array.h"
#include "base/note.h"
#include "base/table.h"
#include "fit/boundary.h"
#include "journal/plane.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>

typedef struct truth {
    table *studio, *frames, *boundary;
    double full_scale_db;
} truth;

typedef struct given { /* at one level of the map's scale */
    double up_st, down_st, slope;
} given;

static void stop(const err *e)
{
    fprintf(stderr, "demo_compare: %s\n", e->text);
    exit(1);
}

static table *open_table(const char *folder, const char *name)
{
    err e;
    table *t;
    char *file = folder ? xformat("%s/%s", folder, name) : xstrdup(name);
    if (!table_read(file, &t, &e))
        stop(&e);
    free(file);
    return t;
}

static const char *cell(const table *t, size_t row, const char *column)
{
    return table_cell(t, row, table_column(t, column));
}

static double number(const table *t, size_t row, const char *column)
{
    err e;
    double value;
    if (!table_value(t, row, table_column(t, column), &value, &e))
        stop(&e);
    return value;
}

static bool in_session(const table *studio, size_t row, const char *singer, const char *date)
{
    return strcmp(cell(studio, row, "singer"), singer) == 0 &&
           strcmp(cell(studio, row, "date"), date) == 0;
}

static const char *take_singer_date(const truth *t, const char *take, const char **date)
{
    for (size_t i = 0; i < t->studio->n_rows; i++)
        if (strcmp(cell(t->studio, i, "file"), take) == 0) {
            *date = cell(t->studio, i, "date");
            return cell(t->studio, i, "singer");
        }
    *date = "";
    return "";
}

/* Median level of the session's voiced frames, dB re full scale. */
static double session_median(const truth *t, const char *singer, const char *date)
{
    double *levels = xcalloc(t->frames->n_rows, sizeof *levels);
    size_t n = 0;
    const char *last = "";
    bool mine = false;
    for (size_t i = 0; i < t->frames->n_rows; i++) {
        const char *take = cell(t->frames, i, "take"), *on;
        if (strcmp(take, last) != 0)
            mine = strcmp(take_singer_date(t, take, &on), singer) == 0 && strcmp(on, date) == 0;
        last = take;
        if (mine && strcmp(cell(t->frames, i, "register"), "0") != 0)
            levels[n++] = number(t->frames, i, "level_db");
    }
    gsl_sort(levels, 1, n);
    double median = gsl_stats_median_from_sorted_data(levels, 1, n);
    free(levels);
    return median;
}

/* Takes of a session in which the flip was let happen. */
static size_t counting(const table *studio, const char *singer, const char *date)
{
    size_t n = 0;
    for (size_t i = 0; i < studio->n_rows; i++)
        n += in_session(studio, i, singer, date) && !strstr(cell(studio, i, "hold"), "register") &&
             !strstr(cell(studio, i, "vary"), "register");
    return n;
}

/* The boundary of one row of the truth. */
static given given_in(const truth *t, size_t row, double at_db, bool spl)
{
    const char *singer = cell(t->boundary, row, "singer"), *date = cell(t->boundary, row, "date");
    double zero_db = spl ? -t->full_scale_db : session_median(t, singer, date);
    double slope = number(t->boundary, row, "slope");
    double rise = slope * (at_db + zero_db - number(t->boundary, row, "level_db"));
    return (given){number(t->boundary, row, "up_st") + rise,
                   number(t->boundary, row, "down_st") + rise, slope};
}

/* The mean over the takes that count; how many sessions there were. */
static given given_on_average(const truth *t, const char *singer, double at_db, bool spl,
                              size_t *sessions)
{
    given sum = {0, 0, 0};
    double takes = 0;
    *sessions = 0;
    for (size_t i = 0; i < t->boundary->n_rows; i++) {
        if (strcmp(cell(t->boundary, i, "singer"), singer) != 0)
            continue;
        given g = given_in(t, i, at_db, spl);
        double weight = (double)counting(t->studio, singer, cell(t->boundary, i, "date"));
        sum.up_st += weight * g.up_st;
        sum.down_st += weight * g.down_st;
        sum.slope += weight * g.slope;
        takes += weight;
        (*sessions)++;
    }
    return (given){sum.up_st / takes, sum.down_st / takes, sum.slope / takes};
}

static size_t find(const table *map, const char *parameter)
{
    for (size_t i = 0; i < map->n_rows; i++)
        if (strcmp(cell(map, i, "parameter"), parameter) == 0)
            return i;
    err e;
    err_set(&e, "%s has no row %s.", map->path, parameter);
    stop(&e);
    return 0;
}

static void print_figure(double wanted, figure found, bool is_pitch, const char *unit)
{
    char note[NOTE_NAME_SIZE] = "";
    if (is_pitch)
        note_nearest(wanted, 440, note);
    printf("%8.2f %-4s", wanted, note);
    if (isnan(found.estimate)) {
        puts("    not told");
        return;
    }
    if (is_pitch)
        note_nearest(found.estimate, 440, note);
    bool inside = wanted >= found.lo95 && wanted <= found.hi95;
    printf("%8.2f %-4s%9.2f to %6.2f  %s%s\n", found.estimate, note, found.lo95, found.hi95, unit,
           inside ? "" : "    MISSED: the interval leaves out the truth");
}

static void print_row(const char *singer, const table *map, const char *parameter, double wanted)
{
    size_t row = find(map, parameter);
    figure f = {number(map, row, "estimate"), number(map, row, "lo95"), number(map, row, "hi95")};
    printf("%-12s%-12s", singer, parameter);
    print_figure(wanted, f, strstr(parameter, "pitch") != NULL, cell(map, row, "unit"));
}

static void print_session(const truth *t, const plane *p, size_t session, size_t row, double at_db)
{
    const plane_session *s = &p->sessions[session];
    boundary_settings settings = boundary_defaults();
    settings.at_db = at_db;
    given g = given_in(t, row, at_db, p->calibrated);
    size_t n;
    err e;
    boundary *b;
    path *paths = plane_counting(p, s->first, s->n, &n);
    if (!boundary_fit(paths, n, &settings, &b, &e))
        stop(&e);
    printf("%-12s%-12s", s->date, "up.pitch");
    print_figure(g.up_st, boundary_figure(b, BOUNDARY_UP_PITCH), true, "st");
    printf("%-12s%-12s", "", "down.pitch");
    print_figure(g.down_st, boundary_figure(b, BOUNDARY_DOWN_PITCH), true, "st");
    printf("%-12s%-12s", "", "hysteresis");
    print_figure(g.up_st - g.down_st, boundary_figure(b, BOUNDARY_HYSTERESIS), false, "st");
    boundary_free(b);
    free(paths);
}

static void compare_sessions(const truth *t, journal *j, const char *singer, double at_db)
{
    err e;
    plane p;
    if (!plane_load(j, singer, NULL, &p, &e))
        stop(&e);
    printf("%s session by session, at the same level:\n", singer);
    for (size_t s = 0; s < p.n_sessions; s++)
        for (size_t i = 0; i < t->boundary->n_rows; i++)
            if (strcmp(cell(t->boundary, i, "singer"), singer) == 0 &&
                strcmp(cell(t->boundary, i, "date"), p.sessions[s].date) == 0)
                print_session(t, &p, s, i, at_db);
    puts("");
    plane_clear(&p);
}

static void compare(const truth *t, journal *j, const char *file)
{
    table *map = open_table(NULL, file);
    const char *singer = table_note_value(map, "input"), *at = table_note_value(map, "at_db");
    const char *scale = table_note_value(map, "level_scale");
    err e;
    if (!singer || !at || !scale) {
        err_set(&e, "%s is not the table of a map.", file);
        stop(&e);
    }
    double at_db = strtod(at, NULL);
    size_t sessions;
    given g = given_on_average(t, singer, at_db, strstr(scale, "SPL") != NULL, &sessions);
    print_row(singer, map, "up.pitch", g.up_st);
    print_row("", map, "down.pitch", g.down_st);
    print_row("", map, "hysteresis", g.up_st - g.down_st);
    print_row("", map, "up.slope", g.slope);
    printf("%-12sat %s %s%s\n\n", "", at, scale,
           sessions > 1 ? "; the voice changed, true is the mean of its sessions" : "");
    if (sessions > 1)
        compare_sessions(t, j, singer, at_db);
    table_free(map);
}

int main(int argc, char **argv)
{
    err e;
    journal *j;
    if (argc < 6) {
        fputs("usage: demo_compare STUDIO.tsv TRUTH FULL_SCALE_DB JOURNAL MAP.tsv...\n", stderr);
        return 2;
    }
    truth t = {open_table(NULL, argv[1]), open_table(argv[2], "frames.tsv"),
               open_table(argv[2], "boundary.tsv"), strtod(argv[3], NULL)};
    if (!journal_open(argv[4], JOURNAL_READ, &j, &e))
        stop(&e);
    printf("%-24s%8s     %8s    %18s\n", "", "true", "found", "95 % interval");
    for (int i = 5; i < argc; i++)
        compare(&t, j, argv[i]);
    journal_close(j);
    table_free(t.studio);
    table_free(t.frames);
    table_free(t.boundary);
    return fflush(stdout) == 0 ? 0 : 1;
}
