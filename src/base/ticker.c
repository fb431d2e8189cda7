/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/ticker.h"

#include "base/array.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

struct ticker {
    const char *what;
    size_t total;
    bool draws, drawn;
    double start_s, last_s;
};

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

ticker *ticker_new(const char *what, size_t total, bool quiet)
{
    ticker *t = xcalloc(1, sizeof *t);
    t->what = what;
    t->total = total;
    t->draws = !quiet && total > 0 && isatty(STDERR_FILENO);
    t->start_s = now_s();
    t->last_s = -(double)INFINITY;
    return t;
}

void ticker_line(const char *what, size_t done, size_t total, double elapsed_s,
                 char line[TICKER_LINE_SIZE])
{
    int at = snprintf(line, TICKER_LINE_SIZE, "%zu of %zu %.40s", done, total, what);
    if (!done || done >= total)
        return;
    long left_s = lround(elapsed_s / (double)done * (double)(total - done));
    long hours = left_s / 3600, minutes = left_s / 60 % 60, seconds = left_s % 60;
    char *rest = line + at;
    size_t room = TICKER_LINE_SIZE - (size_t)at;
    if (hours)
        snprintf(rest, room, ", %ld h %ld min left", hours, minutes);
    else if (minutes)
        snprintf(rest, room, ", %ld min %ld s left", minutes, seconds);
    else
        snprintf(rest, room, ", %ld s left", seconds);
}

void ticker_show(ticker *t, size_t done)
{
    double now = now_s();
    if (!t->draws || (t->drawn && now - t->last_s < 0.1))
        return;
    char line[TICKER_LINE_SIZE];
    ticker_line(t->what, done, t->total, now - t->start_s, line);
    fprintf(stderr, "\r%s\033[K", line);
    fflush(stderr);
    t->drawn = true;
    t->last_s = now;
}

void ticker_hide(ticker *t)
{
    if (!t->drawn)
        return;
    fputs("\r\033[K", stderr);
    fflush(stderr);
    t->drawn = false;
}

void ticker_free(ticker *t)
{
    if (!t)
        return;
    ticker_hide(t);
    free(t);
}
