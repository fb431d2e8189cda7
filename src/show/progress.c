/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/progress.h"

#include "base/array.h"
#include "show/far_level.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

progress progress_of(const course *c, double first_day, double assumed_scatter_st)
{
    static const boundary_row rows[2] = {BOUNDARY_UP_PITCH, BOUNDARY_DOWN_PITCH};
    progress p = {.course = c, .first_day = first_day};
    for (int d = 0; d < 2; d++)
        p.told[d] = course_trend(c, rows[d], assumed_scatter_st, &p.trend[d]);
    return p;
}

void progress_levels_clear(progress_levels *p)
{
    for (size_t i = 0; i < p->n; i++)
        course_clear(&p->courses[i]);
    free(p->zones);
    p->n = 0;
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
    const boundary *whole = p->course->whole;
    bool far = far_level(whole, FLIP_UP) || far_level(whole, FLIP_DOWN);
    char *at = labels->pitch_only
                   ? xstrdup("Whatever the level")
                   : xformat("At %.1f %s", p->course->at_db + 0.0, labels->level_scale);
    char *days = strcmp(labels->first, labels->last) == 0
                     ? xstrdup(labels->first)
                     : xformat("%s to %s", labels->first, labels->last);
    char *all = xformat("%s, %s. A move either way is no score.\n%s\n%s%s%s%s", at, days, up, down,
                        scatter, far ? "\n" : "", far ? far_level_words : "");
    free(at);
    free(days);
    free(up);
    free(down);
    free(scatter);
    return all;
}
