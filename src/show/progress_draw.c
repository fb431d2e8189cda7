/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/array.h"
#include "show/note_tics.h"
#include "show/page_words.h"
#include "show/progress.h"
#include "show/templates.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { NAME_LONGEST = 64, VOWEL_LONGEST = 12, LABEL_LONGEST = 200 };

static const double DAY_S = 86400, MONTH_DAYS = 365.25 / 12;
static const char *const level_names[PROGRESS_LEVELS] = {"soft", "middle", "loud"};

typedef struct extent {
    double lo, hi;
} extent;

/* From soft to loud; of one alone, that. */
static const course *level(const progress_levels *p, size_t k)
{
    static const size_t order[PROGRESS_LEVELS] = {1, 0, 2};
    return &p->courses[p->n == 1 ? 0 : order[k]];
}

/* An interval may be wide: the axis shows 3 of it on either side. */
static void widen(extent *w, figure f)
{
    static const double most = 3;
    if (isfinite(f.estimate)) {
        w->lo = fmin(w->lo, fmin(f.estimate, fmax(f.lo95, f.estimate - most)));
        w->hi = fmax(w->hi, fmax(f.estimate, fmin(f.hi95, f.estimate + most)));
    }
}

static extent pitch_window(const progress_levels *p)
{
    extent w = {INFINITY, -INFINITY};
    for (size_t k = 0; k < p->n; k++)
        for (size_t i = 0; i < level(p, k)->n; i++) {
            widen(&w, level(p, k)->rows[i][BOUNDARY_UP_PITCH]);
            widen(&w, level(p, k)->rows[i][BOUNDARY_DOWN_PITCH]);
        }
    if (!(w.hi >= w.lo))
        return (extent){48, 60};
    return (extent){w.lo - 0.7, w.hi + 0.7};
}

/* With 0 in it. */
static extent difference_window(const course *c)
{
    extent w = {0, 0};
    for (size_t i = 0; i < c->n; i++)
        widen(&w, c->rows[i][BOUNDARY_HYSTERESIS]);
    return (extent){w.lo - 0.7, w.hi + 0.7};
}

static double zone_top(const progress_levels *p)
{
    double top = 1;
    for (size_t i = 0; i < p->courses[0].n; i++)
        top = fmax(top, fmax(p->zones[i].estimate, p->zones[i].hi95));
    return 1.1 * top;
}

static double second_of(const progress_levels *p, double month)
{
    return (p->first_day + month * MONTH_DAYS) * DAY_S;
}

static double last_month(const progress_levels *p)
{
    const course *c = &p->courses[0];
    return c->n ? c->month[c->n - 1] : 0;
}

/* second, value, lower and upper end, where there are any */
static void send_value(gnuplot *g, double second, figure f)
{
    if (!isfinite(f.estimate))
        return;
    double line[4] = {second, f.estimate, isfinite(f.lo95) ? f.lo95 : f.estimate,
                      isfinite(f.hi95) ? f.hi95 : f.estimate};
    gnuplot_row(g, line, 4);
}

static void send_index(gnuplot *g, size_t index)
{
    for (int i = 0; index && i < 2; i++)
        gnuplot_row(g, NULL, 0);
    gnuplot_row_nowhere(g, 4);
}

static void send_sessions(gnuplot *g, const char *name, const progress_levels *p, boundary_row row)
{
    gnuplot_data(g, name);
    for (size_t k = 0; k < p->n; k++) {
        const course *c = level(p, k);
        send_index(g, k);
        for (size_t i = 0; i < c->n; i++)
            send_value(g, second_of(p, c->month[i]), c->rows[i][row]);
    }
    gnuplot_data_end(g);
}

static void send_line(gnuplot *g, const progress_levels *p, const scatter_fit *f)
{
    for (int end = 0; end < 2; end++) {
        double month = end ? last_month(p) : 0;
        double line[2] = {second_of(p, month), f->beta[0] + month * f->beta[1]};
        gnuplot_row(g, line, 2);
    }
}

static void send_trends(gnuplot *g, const char *name, const progress_levels *p, boundary_row row)
{
    gnuplot_data(g, name);
    for (size_t k = 0; k < p->n; k++) {
        scatter_fit f;
        send_index(g, k);
        if (course_trend(level(p, k), row, p->assumed_scatter_st, &f))
            send_line(g, p, &f);
    }
    gnuplot_data_end(g);
}

static void send_beneath(gnuplot *g, const progress_levels *p)
{
    const course *c = &p->courses[0];
    extent diff = difference_window(c);
    scatter_fit f;
    gnuplot_number(g, "lo_diff", diff.lo);
    gnuplot_number(g, "hi_diff", diff.hi);
    gnuplot_number(g, "hi_zone", zone_top(p));
    gnuplot_data(g, "diff");
    for (size_t i = 0; i < c->n; i++)
        send_value(g, second_of(p, c->month[i]), c->rows[i][BOUNDARY_HYSTERESIS]);
    gnuplot_data_end(g);
    gnuplot_data(g, "trend_diff");
    if (course_trend(c, BOUNDARY_HYSTERESIS, p->assumed_scatter_st, &f))
        send_line(g, p, &f);
    gnuplot_data_end(g);
    gnuplot_data(g, "zone");
    for (size_t i = 0; i < c->n; i++)
        send_value(g, second_of(p, c->month[i]), p->zones[i]);
    gnuplot_data_end(g);
}

static void send_days(gnuplot *g, const progress_levels *p)
{
    double first = second_of(p, 0), last = second_of(p, last_month(p));
    double margin = 0.1 * fmax(last - first, 2 * DAY_S);
    gnuplot_number(g, "first_s", first);
    gnuplot_number(g, "last_s", last);
    gnuplot_number(g, "lo_s", first - margin);
    gnuplot_number(g, "hi_s", last + margin);
}

/* "soft, 63 dB SPL (Z, 30 cm)"; the scale beside the middle one alone, for room. */
static void send_titles(gnuplot *g, const progress_levels *p, const progress_labels *l)
{
    gnuplot_number(g, "levels", (double)p->n);
    gnuplot_commands(g, "array titles[levels]\n");
    for (size_t k = 0; k < p->n; k++) {
        char variable[32];
        double at = round(level(p, k)->at_db) + 0.0;
        char *title = l->pitch_only ? xstrdup("whatever the level")
                      : p->n == 1   ? xformat("at %.0f %s", at, l->level_scale)
                                    : xformat("%s, %.0f dB", level_names[k], at);
        snprintf(variable, sizeof variable, "titles[%zu]", k + 1);
        gnuplot_text(g, variable, title, LABEL_LONGEST);
        free(title);
    }
}

static void send_texts(gnuplot *g, const progress_levels *p, const progress_labels *l,
                       size_t longest)
{
    const course *c = &p->courses[0];
    progress middle = progress_of(c, p->first_day, p->assumed_scatter_st);
    gnuplot_text(g, "singer", l->singer, NAME_LONGEST);
    gnuplot_text(g, "vowel", l->vowel, VOWEL_LONGEST);
    char *counts =
        xformat("%zu session%s, %s to %s", c->n, c->n == 1 ? "" : "s", l->first, l->last);
    gnuplot_text(g, "counts", counts, LABEL_LONGEST);
    free(counts);
    char *axis = xformat("pitch (note names, A4 = %g Hz)", l->a4_hz);
    gnuplot_text(g, "pitch_axis", axis, LABEL_LONGEST);
    free(axis);
    char *words = progress_words(&middle, l);
    page_words_send(g, words, longest);
    free(words);
}

bool progress_draw(const progress_levels *p, const progress_labels *labels, const picture *where,
                   err *e)
{
    gnuplot *g = gnuplot_new();
    bool characters = where->kind == PICTURE_SCREEN;
    extent w = pitch_window(p);
    send_texts(g, p, labels, characters ? (size_t)where->columns - 2 : 104);
    send_titles(g, p, labels);
    send_days(g, p);
    gnuplot_number(g, "lo_st", w.lo);
    gnuplot_number(g, "hi_st", w.hi);
    bool few = w.hi - w.lo > (where->kind == PICTURE_PAGE ? 14 : 40);
    note_tics_send(g, "named_tics", w.lo, w.hi, labels->a4_hz, few ? NAME_FEW : NAME_ALL);
    note_tics_send(g, "bare_tics", w.lo, w.hi, labels->a4_hz, NAME_NONE);
    send_sessions(g, "up", p, BOUNDARY_UP_PITCH);
    send_sessions(g, "down", p, BOUNDARY_DOWN_PITCH);
    send_trends(g, "trend_up", p, BOUNDARY_UP_PITCH);
    send_trends(g, "trend_down", p, BOUNDARY_DOWN_PITCH);
    send_beneath(g, p);
    gnuplot_commands(g, characters ? plot_progress_text : plot_progress);
    bool ok = picture_draw(g, where, e);
    gnuplot_free(g);
    return ok;
}
