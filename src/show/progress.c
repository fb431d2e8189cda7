/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/progress.h"

#include "base/array.h"
#include "show/note_tics.h"
#include "show/page_words.h"
#include "show/templates.h"

#include <math.h>
#include <stdlib.h>

enum { NAME_LONGEST = 64, VOWEL_LONGEST = 12, LABEL_LONGEST = 200 };

static const double DAY_S = 86400, MONTH_DAYS = 365.25 / 12;

progress progress_of(const course *c, double first_day, double assumed_scatter_st)
{
    static const boundary_row rows[2] = {BOUNDARY_UP_PITCH, BOUNDARY_DOWN_PITCH};
    progress p = {.course = c, .first_day = first_day};
    for (int d = 0; d < 2; d++)
        p.told[d] = course_trend(c, rows[d], assumed_scatter_st, &p.trend[d]);
    return p;
}

static double months(const progress *p)
{
    return p->course->n ? p->course->month[p->course->n - 1] : 0;
}

static char *direction_words(const progress *p, flip_direction d)
{
    const char *way = d == FLIP_UP ? "Going up" : "Coming down";
    if (!p->told[d])
        return xformat("%s: too few sessions on different days tell the flip for a trend.", way);
    figure a_month = scatter_figure(&p->trend[d], 1);
    double m = months(p);
    if (a_month.lo95 > 0 || a_month.hi95 < 0)
        return xformat("%s, the flip moved by %+.1f semitones over these days (95 %%: %+.1f to "
                       "%+.1f).",
                       way, m * a_month.estimate, m * a_month.lo95, m * a_month.hi95);
    return xformat("%s, no sure change (%+.1f semitones, 95 %%: %+.1f to %+.1f); a steady one of "
                   "%.1f over these days would have shown in four of five cases.",
                   way, m * a_month.estimate, m * a_month.lo95, m * a_month.hi95,
                   m * scatter_detectable(&p->trend[d], 1));
}

static char *scatter_words(const progress *p)
{
    const scatter_fit *f = &p->trend[p->told[FLIP_UP] ? FLIP_UP : FLIP_DOWN];
    if (!p->told[FLIP_UP] && !p->told[FLIP_DOWN])
        return xstrdup("");
    if (f->assumed)
        return xformat("\nWith so few sessions it is assumed that they scatter by %.1f semitones.",
                       f->scatter);
    return xformat("\nBeside that, sessions scatter by %.1f semitones.", f->scatter);
}

char *progress_words(const progress *p, const progress_labels *labels)
{
    char *up = direction_words(p, FLIP_UP), *down = direction_words(p, FLIP_DOWN);
    char *scatter = scatter_words(p);
    char *all = xformat("At %.1f %s, %s to %s. A move either way is no score.\n%s\n%s%s",
                        p->course->at_db + 0.0, labels->level_scale, labels->first, labels->last,
                        up, down, scatter);
    free(up);
    free(down);
    free(scatter);
    return all;
}

typedef struct extent {
    double lo_st, hi_st;
} extent;

/* A session's interval may be wide: the axis shows the estimates and two semitones around them. */
static extent window_of(const course *c)
{
    extent w = {INFINITY, -INFINITY};
    for (size_t i = 0; i < c->n; i++)
        for (int d = 0; d < 2; d++) {
            figure f = c->rows[i][d == 0 ? BOUNDARY_UP_PITCH : BOUNDARY_DOWN_PITCH];
            if (isfinite(f.estimate)) {
                w.lo_st = fmin(w.lo_st, f.estimate);
                w.hi_st = fmax(w.hi_st, f.estimate);
            }
        }
    if (!(w.hi_st >= w.lo_st))
        return (extent){48, 60};
    return (extent){w.lo_st - 2.5, w.hi_st + 2.5};
}

static double second_of(const progress *p, double month)
{
    return (p->first_day + month * MONTH_DAYS) * DAY_S;
}

/* second, pitch, lower and upper end */
static void send_sessions(gnuplot *g, const char *name, const progress *p, boundary_row row,
                          const extent *w)
{
    gnuplot_data(g, name);
    for (size_t i = 0; i < p->course->n; i++) {
        figure f = p->course->rows[i][row];
        double line[4] = {second_of(p, p->course->month[i]), f.estimate, fmax(f.lo95, w->lo_st),
                          fmin(f.hi95, w->hi_st)};
        if (isfinite(f.estimate))
            gnuplot_row(g, line, 4);
    }
    gnuplot_data_end(g);
}

static void send_trend(gnuplot *g, const char *name, const progress *p, flip_direction d)
{
    gnuplot_data(g, name);
    for (int end = 0; p->told[d] && end < 2; end++) {
        double month = end ? months(p) : 0;
        double line[2] = {second_of(p, month), p->trend[d].beta[0] + month * p->trend[d].beta[1]};
        gnuplot_row(g, line, 2);
    }
    gnuplot_data_end(g);
}

static void send_texts(gnuplot *g, const progress *p, const progress_labels *l, size_t longest)
{
    gnuplot_text(g, "singer", l->singer, NAME_LONGEST);
    gnuplot_text(g, "vowel", l->vowel, VOWEL_LONGEST);
    char *counts = xformat("%zu session%s, %s to %s", p->course->n, p->course->n == 1 ? "" : "s",
                           l->first, l->last);
    gnuplot_text(g, "counts", counts, LABEL_LONGEST);
    free(counts);
    char *axis = xformat("pitch of the flip (note names, A4 = %g Hz)", l->a4_hz);
    gnuplot_text(g, "pitch_axis", axis, LABEL_LONGEST);
    free(axis);
    char *words = progress_words(p, l);
    page_words_send(g, words, longest);
    free(words);
}

bool progress_draw(const progress *p, const progress_labels *labels, const picture *where, err *e)
{
    gnuplot *g = gnuplot_new();
    bool characters = where->kind == PICTURE_SCREEN;
    extent w = window_of(p->course);
    double days = fmax(months(p) * MONTH_DAYS, 2);
    send_texts(g, p, labels, characters ? (size_t)where->columns - 2 : 104);
    gnuplot_number(g, "lo_st", w.lo_st);
    gnuplot_number(g, "hi_st", w.hi_st);
    gnuplot_number(g, "lo_s", second_of(p, 0) - 0.06 * days * DAY_S);
    gnuplot_number(g, "hi_s", second_of(p, 0) + 1.06 * days * DAY_S);
    note_tics_send(g, "named_tics", w.lo_st, w.hi_st, labels->a4_hz,
                   w.hi_st - w.lo_st > 40 ? NAME_FEW : NAME_ALL);
    send_sessions(g, "up", p, BOUNDARY_UP_PITCH, &w);
    send_sessions(g, "down", p, BOUNDARY_DOWN_PITCH, &w);
    send_trend(g, "trend_up", p, FLIP_UP);
    send_trend(g, "trend_down", p, FLIP_DOWN);
    gnuplot_commands(g, characters ? plot_progress_text : plot_progress);
    bool ok = picture_draw(g, where, e);
    gnuplot_free(g);
    return ok;
}
