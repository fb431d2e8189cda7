/* SPDX-License-Identifier: GPL-3.0-or-later */
/* long PROGRAM TAKES MINUTES MOST_MB [PART]: long recordings, made of the takes in the folder
 * TAKES, heard by PROGRAM, and how much memory it takes at its peak (ru_maxrss, which counts shared
 * pages too). Ends with 1 where that is more than MOST_MB, or where PROGRAM fails.
 *
 * `mixed` is takes with pauses of 0 to 8 s between them, analysed from a file beside the takes;
 * `add` the same put into a journal; `voiced` their voiced middles joined without a break, by a
 * pipe. Mono, 16 bits, at the takes' own rate. With PART only that is heard. */
#define _DEFAULT_SOURCE /* wait4() */
#include "base/array.h"

#include <fcntl.h>
#include <math.h>
#include <sndfile.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { TAKES_MOST = 64, RISE = 960, QUIET = 300 /* of 32768: the ends of a voiced middle */ };

typedef struct take {
    int16_t *x;
    size_t n, first, end; /* x[first..end - 1] is loud throughout at its ends */
} take;

typedef struct takes {
    take items[TAKES_MOST];
    size_t n;
    int rate;
} takes;

static bool read_take(const char *path, takes *all)
{
    SF_INFO info = {0};
    SNDFILE *f = sf_open(path, SFM_READ, &info);
    if (!f)
        return false;
    take t = {.n = (size_t)info.frames};
    t.x = xmalloc(t.n, sizeof *t.x);
    bool good = sf_readf_short(f, t.x, info.frames) == info.frames && info.channels == 1;
    sf_close(f);
    while (t.first < t.n && abs(t.x[t.first]) < QUIET)
        t.first++;
    for (t.end = t.n; t.end > t.first && abs(t.x[t.end - 1]) < QUIET;)
        t.end--;
    good = good && t.end > t.first + 2 * RISE && (all->n == 0 || all->rate == info.samplerate);
    all->rate = info.samplerate;
    all->items[all->n++] = t;
    return good;
}

static bool read_takes(const char *folder, takes *all)
{
    for (size_t k = 0; k < TAKES_MOST; k++) {
        char *path = xformat("%s/take-%02zu.wav", folder, k);
        bool there = access(path, R_OK) == 0, good = there && read_take(path, all);
        free(path);
        if (!there)
            break;
        if (!good)
            return false;
    }
    return all->n > 0;
}

static void put_number(unsigned char *to, uint32_t v, int bytes)
{
    for (int i = 0; i < bytes; i++)
        to[i] = (unsigned char)(v >> (8 * i) & 0xFF);
}

static bool write_head(FILE *out, int rate, size_t frames)
{
    unsigned char h[44 + 1] = "RIFF....WAVEfmt ....................data";
    put_number(h + 4, (uint32_t)(36 + 2 * frames), 4);
    put_number(h + 16, 16, 4);
    put_number(h + 20, 1, 2);
    put_number(h + 22, 1, 2);
    put_number(h + 24, (uint32_t)rate, 4);
    put_number(h + 28, (uint32_t)rate * 2, 4);
    put_number(h + 32, 2, 2);
    put_number(h + 34, 16, 2);
    put_number(h + 40, (uint32_t)(2 * frames), 4);
    return fwrite(h, 1, 44, out) == 44;
}

static bool write_samples(FILE *out, const int16_t *x, size_t n, size_t *left)
{
    n = n < *left ? n : *left;
    *left -= n;
    return fwrite(x, sizeof *x, n, out) == n;
}

/* The middle of a take, with 10 ms of fade at its ends: short enough to be no pause. */
static bool write_middle(FILE *out, const take *t, size_t *left)
{
    size_t n = t->end - t->first;
    int16_t *x = xmalloc(n, sizeof *x);
    for (size_t i = 0; i < n; i++) {
        size_t edge = i < n - 1 - i ? i : n - 1 - i;
        double gain = edge < RISE ? (double)edge / RISE : 1;
        x[i] = (int16_t)(gain * t->x[t->first + i]);
    }
    bool good = write_samples(out, x, n, left);
    free(x);
    return good;
}

static bool write_pause(FILE *out, size_t n, uint32_t *seed, size_t *left)
{
    int16_t block[4096];
    bool good = true;
    while (good && n && *left) {
        size_t here = n < 4096 ? n : 4096;
        for (size_t i = 0; i < here; i++) {
            *seed = *seed * 1664525u + 1013904223u;
            block[i] = (int16_t)(*seed >> 30);
        }
        good = write_samples(out, block, here, left);
        n -= here;
    }
    return good;
}

static bool write_long(FILE *out, const takes *all, double minutes, bool voiced)
{
    size_t frames = (size_t)(minutes * 60 * all->rate), left = frames;
    uint32_t seed = 1;
    bool good = write_head(out, all->rate, frames);
    for (size_t k = 0; good && left; k = (k + 7) % all->n) {
        const take *t = &all->items[k];
        if (voiced) {
            good = write_middle(out, t, &left);
            continue;
        }
        good = write_samples(out, t->x, t->n, &left);
        size_t pause = (size_t)(seed >> 16) % 9 * (size_t)all->rate;
        good = good && write_pause(out, pause, &seed, &left);
    }
    return good && fflush(out) == 0;
}

typedef struct spent {
    bool done;
    double mb, processor_s, wall_s;
} spent;

/* Runs the program with `in` as standard input; what it prints goes to nothing. */
static spent measure(const char *const *argv, int in)
{
    spent s = {.done = false};
    struct timespec a, b;
    struct rusage use;
    int status;
    clock_gettime(CLOCK_MONOTONIC, &a);
    pid_t child = fork();
    if (child == 0) {
        int nothing = open("/dev/null", O_RDWR);
        dup2(in >= 0 ? in : nothing, STDIN_FILENO);
        dup2(nothing, STDOUT_FILENO);
        execv(argv[0], (char *const *)argv);
        _exit(127);
    }
    if (child < 0 || wait4(child, &status, 0, &use) != child)
        return s;
    clock_gettime(CLOCK_MONOTONIC, &b);
    s.done = WIFEXITED(status) && WEXITSTATUS(status) == 0;
    s.mb = (double)use.ru_maxrss / 1000;
    s.processor_s = (double)(use.ru_utime.tv_sec + use.ru_stime.tv_sec);
    s.wall_s = (double)(b.tv_sec - a.tv_sec);
    return s;
}

/* The sound comes by a pipe from a process of its own. */
static spent measure_pipe(const char *const *argv, const takes *all, double minutes, bool voiced)
{
    int ends[2];
    if (pipe(ends) != 0)
        return (spent){.done = false};
    pid_t singer = fork();
    if (singer == 0) {
        close(ends[0]);
        FILE *out = fdopen(ends[1], "wb");
        _exit(out && write_long(out, all, minutes, voiced) ? 0 : 1);
    }
    close(ends[1]);
    spent s = measure(argv, ends[0]);
    close(ends[0]);
    int status;
    s.done = s.done && waitpid(singer, &status, 0) == singer && WIFEXITED(status) &&
             WEXITSTATUS(status) == 0;
    return s;
}

static bool tell(const char *what, const char *sound, double minutes, spent s, double most_mb)
{
    printf("%s\t%s\t%.1f\t%.1f\t%.0f\t%.0f\t%s\n", what, sound, minutes, s.mb, s.processor_s,
           s.wall_s,
           !s.done          ? "failed"
           : s.mb > most_mb ? "too much"
                            : "fine");
    fflush(stdout);
    return s.done && s.mb <= most_mb;
}

/* Whether this part is asked for; all are where none is named. */
static bool asked(const char *only, const char *part)
{
    return !only || strcmp(only, part) == 0;
}

static bool hear_file(const char *program, const char *folder, const takes *all, double minutes,
                      double most_mb, const char *only)
{
    char *path = xformat("%s/long.wav", folder), *journal = xformat("%s/long.journal", folder);
    const char *const flips[] = {program, "analyse", path, NULL};
    const char *const add[] = {program, "--journal", journal, "add", "wren", path, NULL};
    FILE *out = fopen(path, "wb");
    bool good = out && write_long(out, all, minutes, false);
    good = out && fclose(out) == 0 && good;
    if (asked(only, "mixed"))
        good = tell("analyse", "mixed", minutes, measure(flips, -1), most_mb) && good;
    remove(journal);
    if (asked(only, "add"))
        good = tell("add", "mixed", minutes, measure(add, -1), most_mb) && good;
    remove(journal);
    remove(path);
    free(journal);
    free(path);
    return good;
}

int main(int argc, char **argv)
{
    takes all = {.n = 0};
    if (argc < 5 || argc > 6 || !read_takes(argv[2], &all)) {
        fputs("usage: long PROGRAM TAKES MINUTES MOST_MB [mixed|add|voiced]\n", stderr);
        return 2;
    }
    double minutes = strtod(argv[3], NULL), most_mb = strtod(argv[4], NULL);
    const char *const frames[] = {argv[1], "analyse", "--tracks", "--measures", "-", NULL};
    const char *only = argv[5];
    bool good = true;
    printf("# %zu takes of %d Hz\ncommand\tsound\tminutes\tpeak_mb\tprocessor_s\twall_s\tresult\n",
           all.n, all.rate);
    if (asked(only, "mixed") || asked(only, "add"))
        good = hear_file(argv[1], argv[2], &all, minutes, most_mb, only);
    if (asked(only, "voiced"))
        good = tell("analyse --tracks --measures", "voiced, by a pipe", minutes,
                    measure_pipe(frames, &all, minutes, true), most_mb) &&
               good;
    for (size_t k = 0; k < all.n; k++)
        free(all.items[k].x);
    return good ? 0 : 1;
}
