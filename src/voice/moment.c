/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/moment.h"

#include <math.h>

/* The frame nearest to a time, by its number in `heard`; it may be none of them. */
static long frame_at(const moment *m, double s)
{
    return (long)m->first + lround(s / m->heard->hop_s);
}

static bool voiced(const moment *m, long frame)
{
    return frame >= 0 && frame < (long)m->heard->n && !isnan(m->heard->pitch_st[frame]);
}

static bool all(const moment *m, double from_s, double to_s, bool want)
{
    for (long i = frame_at(m, from_s), end = frame_at(m, to_s); i <= end; i++)
        if (voiced(m, i) != want)
            return false;
    return true;
}

bool moment_voiced(const moment *m, double from_s, double to_s)
{
    return all(m, from_s, to_s, true);
}

bool moment_unvoiced(const moment *m, double from_s, double to_s)
{
    return all(m, from_s, to_s, false);
}

double moment_since_voice(const moment *m, double at_s)
{
    long here = frame_at(m, at_s);
    for (long i = here; i >= 0; i--)
        if (voiced(m, i))
            return (double)(here - i) * m->heard->hop_s;
    return INFINITY;
}
