/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/pace.h"

#include <math.h>
#include <time.h>

/* Seconds since the last time. */
static double lap(pace *p)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    double now_s = (double)t.tv_sec + 1e-9 * (double)t.tv_nsec, passed_s = now_s - p->since_s;
    p->since_s = now_s;
    return passed_s;
}

pace pace_begin(size_t n)
{
    pace p = {.n = n};
    lap(&p);
    return p;
}

void pace_heard(pace *p)
{
    p->hear_s += lap(p);
    p->heard++;
}

void pace_decoded(pace *p, size_t more)
{
    size_t most = p->heard - p->decoded;
    p->decode_s += lap(p);
    p->decoded += more < most ? more : most;
    p->part = 0;
}

void pace_decoding(pace *p, double part)
{
    p->part = fmin(part, (double)(p->heard - p->decoded));
}

double pace_share(const pace *p)
{
    if (p->heard == p->n && p->decoded == p->n)
        return 1;
    if (p->heard == 0)
        return 0;
    double hear_s = p->hear_s / (double)p->heard;
    double decode_s = p->decoded ? p->decode_s / (double)p->decoded : hear_s;
    double done_s = p->hear_s + ((double)p->decoded + p->part) * decode_s;
    return fmin(done_s / ((double)p->n * (hear_s + decode_s)), 1);
}
