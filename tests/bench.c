/* SPDX-License-Identifier: GPL-3.0-or-later */
/* bench YINFFT FILE...: processor time that listening, as `analyse` listens, and finding the
 * registers take for one second of sound, and beside it that of aubio's yinfft (the program
 * tests/peers/yinfft.c, 2048 samples every 5 ms of 48 kHz, its reading and printing left out); the
 * best of five runs, in turn. */
#include "register/decode.h"
#include "voice/listen.h"

#include "base/array.h"
#include "base/memory.h"
#include "base/process.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

enum { RUNS = 5 };

static double processor_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Hears every file; the seconds of sound, or NaN when one cannot be heard. */
static double listen_all(char *const *files, size_t n, track **tracks)
{
    voice_settings s = voice_defaults();
    double sound_s = 0;
    s.recording.without_digest = true;
    for (size_t i = 0; i < n; i++) {
        err e = {""};
        if (!voice_listen(files[i], &s, &tracks[i], NULL, &e)) {
            fprintf(stderr, "bench: %s\n", e.text);
            return (double)NAN;
        }
        sound_s += (double)tracks[i]->n * tracks[i]->hop_s;
    }
    return sound_s;
}

static void decode_all(track *const *tracks, size_t n)
{
    register_settings s = register_defaults();
    register_summary summary;
    flips *found = xcalloc(n, sizeof *found);
    register_decode(tracks, n, &s, found, &summary);
    for (size_t i = 0; i < n; i++)
        flips_clear(&found[i]);
    free(found);
}

/* Processor time of yinfft over all files, which it prints in a line that begins with "#"; NaN when
 * it does not run. */
static double yinfft_all(const char *program, char *const *files, size_t n)
{
    double sum_s = 0;
    for (size_t i = 0; i < n; i++) {
        const char *argv[] = {program, files[i], "2048", "240", NULL};
        FILE *out = tmpfile();
        int status = 0;
        char line[64];
        if (!out)
            return (double)NAN;
        bool ran = process_run(argv, "", 0, fileno(out), STDERR_FILENO, &status) == PROCESS_DONE;
        double ms = (double)NAN;
        rewind(out);
        while (ran && status == 0 && fgets(line, sizeof line, out))
            if (*line == '#')
                ms = strtod(line + 1, NULL);
        fclose(out);
        sum_s += ms / 1000;
    }
    return sum_s;
}

static void print_stage(const char *stage, double spent_s, double sound_s)
{
    printf("%s\t%.2f\t%.0f\n", stage, 1000 * spent_s / sound_s, sound_s / spent_s);
}

int main(int argc, char **argv)
{
    if (argc < 3)
        return 2;
    memory_keep(); /* as the program does */
    size_t n = (size_t)argc - 2;
    track **tracks = xcalloc(n, sizeof *tracks);
    double listen_s = INFINITY, decode_s = INFINITY, yinfft_s = INFINITY, sound_s = 0;
    for (int run = 0; run < RUNS && !isnan(sound_s); run++) {
        double start = processor_s();
        sound_s = listen_all(argv + 2, n, tracks);
        listen_s = fmin(listen_s, processor_s() - start);
        start = processor_s();
        if (!isnan(sound_s))
            decode_all(tracks, n);
        decode_s = fmin(decode_s, processor_s() - start);
        yinfft_s = fmin(yinfft_s, yinfft_all(argv[1], argv + 2, n));
        for (size_t i = 0; i < n; i++) {
            track_free(tracks[i]);
            tracks[i] = NULL;
        }
    }
    free(tracks);
    if (!(sound_s > 0))
        return 1;
    printf("# takes %zu\n# sound_s %.1f\n", n, sound_s);
    printf("# yinfft_over_listen %.2f\n", yinfft_s / listen_s);
    puts("stage\tms_per_second_of_sound\ttimes_real_time");
    print_stage("listen", listen_s, sound_s);
    print_stage("yinfft", yinfft_s, sound_s);
    print_stage("registers", decode_s, sound_s);
    return 0;
}
