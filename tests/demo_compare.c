/* SPDX-License-Identifier: GPL-3.0-or-later */
/* demo_compare STUDIO.tsv RECORDINGS FULL_SCALE_DB MAP.tsv...
 *
 * The boundaries that `seamline map` found beside those that the demo's voices were given. The
 * truth is stated in dB re full scale; a map states levels in dB SPL (full scale then is
 * FULL_SCALE_DB) or re each session's median voiced level, which is taken here from the true
 * frames. Where a voice changed from session to session, the true value is the mean over the takes
 * that count. */
#include "base/array.h"
#include "base/note.h"
#include "base/table.h"

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

typedef struct pooled { /* at the map's level */
    double up_st, down_st, slope;
} pooled;

static void stop(const err *e)
{
    fprintf(stderr, "demo_compare: %s\n", e->text);
    exit(1);
}

static table *open_table(const char *folder, const char *name)
{
    err e;
    table *t;
    char *path = folder ? xformat("%s/%s", folder, name) : xstrdup(name);
    if (!table_read(path, &t, &e))
        stop(&e);
    free(path);
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

static pooled pool(const truth *t, const char *singer, double at_db, bool spl)
{
    pooled sum = {0, 0, 0};
    double takes = 0;
    for (size_t i = 0; i < t->boundary->n_rows; i++) {
        const char *date = cell(t->boundary, i, "date");
        if (strcmp(cell(t->boundary, i, "singer"), singer) != 0)
            continue;
        double zero_db = spl ? -t->full_scale_db : session_median(t, singer, date);
        double weight = (double)counting(t->studio, singer, date);
        double slope = number(t->boundary, i, "slope");
        double rise = slope * (at_db + zero_db - number(t->boundary, i, "level_db"));
        sum.up_st += weight * (number(t->boundary, i, "up_st") + rise);
        sum.down_st += weight * (number(t->boundary, i, "down_st") + rise);
        sum.slope += weight * slope;
        takes += weight;
    }
    return (pooled){sum.up_st / takes, sum.down_st / takes, sum.slope / takes};
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

static void print_row(const char *singer, const table *map, const char *parameter, double wanted)
{
    size_t row = find(map, parameter);
    double found = number(map, row, "estimate");
    double lo = number(map, row, "lo95"), hi = number(map, row, "hi95");
    char note[NOTE_NAME_SIZE] = "";
    if (strstr(parameter, "pitch"))
        note_nearest(wanted, 440, note);
    printf("%-9s%-12s%8.2f %-4s", singer, parameter, wanted, note);
    if (isnan(found)) {
        printf("    not told\n");
        return;
    }
    if (strstr(parameter, "pitch"))
        note_nearest(found, 440, note);
    bool inside = wanted >= lo && wanted <= hi;
    printf("%8.2f %-4s%9.2f to %6.2f  %-6s%s\n", found, note, lo, hi, cell(map, row, "unit"),
           inside ? "" : "  MISSED: the interval leaves out the truth");
}

static void compare(const truth *t, const char *path)
{
    table *map = open_table(NULL, path);
    const char *singer = table_note_value(map, "input"), *at = table_note_value(map, "at_db");
    const char *scale = table_note_value(map, "level_scale");
    if (singer && at && scale) {
        double at_db = strtod(at, NULL);
        pooled p = pool(t, singer, at_db, strstr(scale, "SPL") != NULL);
        print_row(singer, map, "up.pitch", p.up_st);
        print_row(singer, map, "down.pitch", p.down_st);
        print_row(singer, map, "hysteresis", p.up_st - p.down_st);
        print_row(singer, map, "up.slope", p.slope);
        printf("%-9sat %s %s\n\n", "", at, scale);
    }
    table_free(map);
}

int main(int argc, char **argv)
{
    if (argc < 5) {
        fputs("usage: demo_compare STUDIO.tsv RECORDINGS FULL_SCALE_DB MAP.tsv...\n", stderr);
        return 2;
    }
    truth t = {open_table(NULL, argv[1]), open_table(argv[2], "frames.tsv"),
               open_table(argv[2], "boundary.tsv"), strtod(argv[3], NULL)};
    printf("%-9s%-12s%8s     %8s    %18s\n", "singer", "parameter", "true", "found",
           "95 % interval");
    for (int i = 4; i < argc; i++)
        compare(&t, argv[i]);
    table_free(t.studio);
    table_free(t.frames);
    table_free(t.boundary);
    return fflush(stdout) == 0 ? 0 : 1;
}
