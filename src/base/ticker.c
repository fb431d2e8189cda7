/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/ticker.h"

#include "base/array.h"
#include "base/terminal.h"

#include <math.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { BAR = 20 };
static const double redraw_s = 0.5;

struct ticker {
    ticker_state state; /* its seconds are filled in where it is drawn */
    bool draws;         /* else there is no thread, and the rest is unused */
    bool shown, drawn, over;
    double start_s, done_s, last_s; /* when it began, when the share grew, when it was drawn */
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t ends;
};

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void write_time(double seconds, char text[40])
{
    long all = lround(seconds), hours = all / 3600, minutes = all / 60 % 60;
    if (hours)
        snprintf(text, 40, "%ld h %ld min", hours, minutes);
    else if (minutes)
        snprintf(text, 40, "%ld min %ld s", minutes, all % 60);
    else
        snprintf(text, 40, "%ld s", all);
}

static void write_bar(double share, char bar[BAR + 1])
{
    size_t full = share < 1 ? (size_t)(BAR * share) : BAR;
    memset(bar, ' ', BAR);
    memset(bar, '=', full);
    if (full < BAR)
        bar[full] = '>';
    bar[BAR] = '\0';
}

void ticker_line(const ticker_state *s, char line[TICKER_LINE_SIZE])
{
    char bar[BAR + 1], time[40], counted[112];
    bool begun = s->share > 0;
    write_bar(s->share, bar);
    if (s->total)
        snprintf(counted, sizeof counted, "[%s] %zu of %zu %.40s", bar, s->done, s->total, s->what);
    else if (begun)
        snprintf(counted, sizeof counted, "[%s] %.0f %% of %.60s", bar, floor(100 * s->share),
                 s->what);
    else
        snprintf(counted, sizeof counted, "%.80s", s->what);
    double whole_s = begun ? (s->elapsed_s - s->since_s) / s->share : 0;
    write_time(begun ? fmax(whole_s - s->elapsed_s, 0) : s->elapsed_s, time);
    if (s->share >= 1 || (!begun && s->elapsed_s < 1))
        snprintf(line, TICKER_LINE_SIZE, "%s", counted);
    else
        snprintf(line, TICKER_LINE_SIZE, "%s, %s %s", counted, time, begun ? "left" : "so far");
}

static bool asked_to_stop(void)
{
    sigset_t waiting;
    return sigpending(&waiting) == 0 &&
           (sigismember(&waiting, SIGINT) == 1 || sigismember(&waiting, SIGTERM) == 1);
}

static void draw(ticker *t, double now)
{
    char line[TICKER_LINE_SIZE];
    size_t columns = terminal_columns(STDERR_FILENO);
    t->state.elapsed_s = now - t->start_s;
    t->state.since_s = now - t->done_s;
    ticker_line(&t->state, line);
    if (asked_to_stop() && !t->state.total)
        snprintf(line, sizeof line, "stopping: %.80s", t->state.what);
    else if (asked_to_stop())
        snprintf(line, sizeof line, "stopping: %zu of %zu %.40s", t->state.done, t->state.total,
                 t->state.what);
    if (columns > 1 && columns <= strlen(line))
        line[columns - 1] = '\0';
    fprintf(stderr, "\r%s\033[K", line);
    fflush(stderr);
    t->drawn = true;
    t->last_s = now;
}

static void *redraw(void *context)
{
    ticker *t = context;
    pthread_mutex_lock(&t->lock);
    while (!t->over) {
        struct timespec until;
        clock_gettime(CLOCK_REALTIME, &until);
        until.tv_nsec += (long)(1e9 * redraw_s);
        until.tv_sec += until.tv_nsec / 1000000000;
        until.tv_nsec %= 1000000000;
        pthread_cond_timedwait(&t->ends, &t->lock, &until);
        if (!t->over && t->shown && now_s() - t->last_s > 0.9 * redraw_s)
            draw(t, now_s());
    }
    pthread_mutex_unlock(&t->lock);
    return NULL;
}

/* Signals are for the program's own thread. */
static bool start(ticker *t)
{
    sigset_t all, former;
    sigfillset(&all);
    pthread_mutex_init(&t->lock, NULL);
    pthread_cond_init(&t->ends, NULL);
    pthread_sigmask(SIG_SETMASK, &all, &former);
    bool started = pthread_create(&t->thread, NULL, redraw, t) == 0;
    pthread_sigmask(SIG_SETMASK, &former, NULL);
    return started;
}

ticker *ticker_new(const char *what, size_t total, bool quiet)
{
    ticker *t = xcalloc(1, sizeof *t);
    t->state.what = what;
    t->state.total = total;
    t->start_s = t->done_s = now_s();
    t->last_s = total ? -(double)INFINITY : t->start_s;
    t->shown = !total;
    t->draws = !quiet && isatty(STDERR_FILENO) && start(t);
    return t;
}

void ticker_show(ticker *t, size_t done)
{
    ticker_show_share(t, done, t->state.total ? (double)done / (double)t->state.total : 0);
}

void ticker_show_share(ticker *t, size_t done, double share)
{
    if (!t->draws)
        return;
    pthread_mutex_lock(&t->lock);
    double now = now_s();
    if (share > t->state.share)
        t->done_s = now;
    t->state.share = share;
    t->state.done = done;
    t->shown = true;
    if (!t->drawn || now - t->last_s >= 0.1)
        draw(t, now);
    pthread_mutex_unlock(&t->lock);
}

void ticker_share(void *one, double share)
{
    ticker *t = one;
    if (!t->draws)
        return;
    pthread_mutex_lock(&t->lock);
    if (share > t->state.share) {
        t->state.share = share;
        t->done_s = now_s();
    }
    pthread_mutex_unlock(&t->lock);
}

void ticker_hide(ticker *t)
{
    if (!t->draws)
        return;
    pthread_mutex_lock(&t->lock);
    if (t->drawn)
        fputs("\r\033[K", stderr);
    fflush(stderr);
    t->drawn = t->shown = false;
    pthread_mutex_unlock(&t->lock);
}

void ticker_free(ticker *t)
{
    if (!t)
        return;
    ticker_hide(t);
    if (t->draws) {
        pthread_mutex_lock(&t->lock);
        t->over = true;
        pthread_cond_signal(&t->ends);
        pthread_mutex_unlock(&t->lock);
        pthread_join(t->thread, NULL);
        pthread_cond_destroy(&t->ends);
        pthread_mutex_destroy(&t->lock);
    }
    free(t);
}
