/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/effort.h"

#include <math.h>

static void show(const effort *e)
{
    double share = e->all > 0 ? fmin(e->done / e->all, 1) : 0;
    if (e->show)
        e->show(e->whose, e->from + share * (e->to - e->from));
}

void effort_begin(effort *e, double all)
{
    if (!e)
        return;
    e->done = 0;
    e->all = all;
    show(e);
}

void effort_add(effort *e, double units)
{
    if (!e)
        return;
    e->done += units;
    show(e);
}

effort effort_part(const effort *e, size_t k, size_t n)
{
    if (!e)
        return (effort){.show = NULL};
    double wide = (e->to - e->from) / (double)n;
    return (effort){.show = e->show,
                    .whose = e->whose,
                    .from = e->from + (double)k * wide,
                    .to = e->from + (double)(k + 1) * wide,
                    .opt_stop = e->opt_stop};
}

void effort_split(const effort *e, double share, effort *first, effort *rest)
{
    *first = *rest = effort_part(e, 0, 1);
    first->to = rest->from = first->from + share * (first->to - first->from);
}

void effort_end(const effort *e)
{
    if (e && e->show)
        e->show(e->whose, e->to);
}

bool effort_stopped(const effort *e)
{
    return e && e->opt_stop && *e->opt_stop;
}
