/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "peers/hear.h"

#include "base/array.h"
#include "base/note.h"
#include "base/process.h"
#include "voice/listen.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

static const char sptk_pitch[] = "/usr/libexec/sptk/bin/pitch";
static const double hop_s = 0.005;

peer_settings hear_settings(int tracker)
{
    static const peer_settings settings[TRACKERS] = {
        [OURS] = {.name = "seamline"},
        [YINFFT] = {.name = "yinfft", .buffer_s = 0.0427},
        [RAPT] = {.name = "RAPT", .threshold = 0.3},
        [SWIPE] = {.name = "SWIPE'", .threshold = 0.1},
    };
    return settings[tracker];
}

static double seconds_of(struct timeval t)
{
    return (double)t.tv_sec + 1e-6 * (double)t.tv_usec;
}

static double spent_by(int who)
{
    struct rusage u;
    getrusage(who, &u);
    return seconds_of(u.ru_utime) + seconds_of(u.ru_stime);
}

static bool hear_ours(const char *path, hearing *out, err *e)
{
    voice_settings s = voice_defaults();
    track *t;
    s.recording.without_digest = true;
    double start = spent_by(RUSAGE_SELF);
    if (!voice_listen(path, &s, &t, NULL, e))
        return false;
    *out = (hearing){.n = t->n, .hop_s = t->hop_s, .spent_s = spent_by(RUSAGE_SELF) - start};
    out->st = t->pitch_st;
    out->voicing = t->voicing;
    t->pitch_st = t->voicing = NULL;
    track_free(t);
    return true;
}

/* The whole sound, floats of 16-bit size, as SPTK wants it. */
static bool sound_of(const char *path, float **x, size_t *n, int *rate_hz, err *e)
{
    recording_settings s = recording_defaults();
    recording *r;
    size_t room = 0, got = 1;
    *x = NULL;
    *n = 0;
    if (!recording_open(path, &s, &r, e))
        return false;
    *rate_hz = recording_rate_hz(r);
    bool fine = true;
    while (fine && got) {
        array_reserve((void **)x, &room, *n + 65536, sizeof **x);
        fine = recording_read(r, *x + *n, 65536, &got, e);
        *n += got;
    }
    recording_close(r);
    for (size_t i = 0; i < *n; i++)
        (*x)[i] *= 32768;
    return fine;
}

/* Runs a program with its output in a file that has no name; false with a sentence. */
static bool run(const char *const argv[], const void *input, size_t n, FILE *out, double *spent_s,
                err *e)
{
    int status = 0;
    double start = spent_by(RUSAGE_CHILDREN);
    process_end end = process_run(argv, input, n, fileno(out), STDERR_FILENO, &status);
    *spent_s = spent_by(RUSAGE_CHILDREN) - start;
    rewind(out);
    return (end == PROCESS_DONE && status == 0) || err_set(e, "%s could not be run.", argv[0]);
}

static void append(hearing *h, size_t *room, double st)
{
    array_reserve((void **)&h->st, room, h->n + 1, sizeof *h->st);
    h->st[h->n++] = st;
}

static bool hear_sptk(bool swipe, const peer_settings *s, const float *x, size_t n, FILE *file,
                      hearing *out, err *e)
{
    pitch_settings own = pitch_defaults();
    size_t hop = (size_t)lround(hop_s * out->rate_hz), room = 0;
    char rate[32], shift[32], lo[32], hi[32], threshold[32];
    snprintf(rate, sizeof rate, "%.6g", out->rate_hz / 1000.0);
    snprintf(shift, sizeof shift, "%zu", hop);
    snprintf(lo, sizeof lo, "%.0f", own.lo_hz);
    snprintf(hi, sizeof hi, "%.0f", own.hi_hz);
    snprintf(threshold, sizeof threshold, "%.2f", s->threshold);
    const char *argv[] = {
        sptk_pitch, "-a", swipe ? "1" : "0",   "-s",      rate, "-p", shift, "-L", lo, "-H", hi,
        "-o",       "1",  swipe ? "-t" : "-T", threshold, NULL};
    out->hop_s = (double)hop / out->rate_hz;
    if (!run(argv, x, n * sizeof *x, file, &out->spent_s, e))
        return false;
    float hz;
    while (fread(&hz, sizeof hz, 1, file) == 1)
        append(out, &room, hz > 0 ? note_from_hz((double)hz) : (double)NAN);
    return true;
}

static int power_of_two_near(double samples)
{
    return 1 << (int)lround(log2(samples));
}

static bool hear_yinfft(const peer_settings *s, const char *programs, const char *path, FILE *file,
                        hearing *out, err *e)
{
    size_t hop = (size_t)lround(hop_s * out->rate_hz), room = 0;
    char *program = xformat("%s/yinfft", programs), line[64], buffer[32], step[32];
    snprintf(buffer, sizeof buffer, "%d", power_of_two_near(s->buffer_s * out->rate_hz));
    snprintf(step, sizeof step, "%zu", hop);
    const char *argv[] = {program, path, buffer, step, NULL};
    out->hop_s = (double)hop / out->rate_hz;
    double ignored;
    bool fine = run(argv, "", 0, file, &ignored, e);
    free(program);
    while (fine && fgets(line, sizeof line, file)) {
        double value = strtod(line + (*line == '#'), NULL);
        if (*line == '#')
            out->spent_s = value / 1000;
        else
            append(out, &room, value > 0 ? value : (double)NAN);
    }
    return fine;
}

bool hear(int tracker, const peer_settings *s, const char *programs, const char *path, hearing *out,
          err *e)
{
    float *x = NULL;
    size_t n = 0;
    int rate_hz = 0;
    FILE *file = tmpfile();
    bool fine = file || err_set(e, "No temporary file could be made.");
    fine = fine && sound_of(path, &x, &n, &rate_hz, e);
    *out = (hearing){.rate_hz = rate_hz};
    if (fine && tracker == OURS)
        fine = hear_ours(path, out, e);
    else if (fine && tracker == YINFFT)
        fine = hear_yinfft(s, programs, path, file, out, e);
    else if (fine)
        fine = hear_sptk(tracker == SWIPE, s, x, n, file, out, e);
    out->rate_hz = rate_hz;
    out->sound_s = rate_hz ? (double)n / rate_hz : 0;
    free(x);
    if (file)
        fclose(file);
    return fine;
}

void hearing_clear(hearing *h)
{
    free(h->st);
    free(h->voicing);
    *h = (hearing){0};
}

double hearing_at(const hearing *h, const double *values, double time_s)
{
    double at = (time_s - h->first_s) / h->hop_s;
    long i = (long)floor(at);
    if (i < -1 || i >= (long)h->n)
        return (double)NAN;
    double before = i >= 0 ? values[i] : (double)NAN;
    double after = i + 1 < (long)h->n ? values[i + 1] : (double)NAN;
    double share = at - (double)i;
    if (fabs(after - before) < 1)
        return before + share * (after - before);
    return share < 0.5 ? before : after;
}
