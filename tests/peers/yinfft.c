/* SPDX-License-Identifier: GPL-3.0-or-later */

/* yinfft FILE BUFFER HOP: aubio's yinfft over the first channel of a file. Prints one pitch a line,
 * in semitones, 0 where there is none, the first for the first HOP samples; then a line "# ms" with
 * the processor time of the pitch alone, reading and printing left out. */

#include "base/array.h"

#include <aubio/aubio.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static double processor_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static float *read_first_channel(const char *path, SF_INFO *info)
{
    SNDFILE *f = sf_open(path, SFM_READ, info);
    if (!f)
        return NULL;
    size_t channels = (size_t)info->channels, n = (size_t)info->frames;
    float *all = xmalloc(n * channels, sizeof *all);
    info->frames = sf_readf_float(f, all, info->frames);
    sf_close(f);
    for (size_t i = 0; i < n; i++)
        all[i] = all[i * channels];
    return all;
}

int main(int argc, char **argv)
{
    SF_INFO info = {0};
    float *x = argc == 4 ? read_first_channel(argv[1], &info) : NULL;
    if (!x) {
        fputs("usage: yinfft FILE BUFFER HOP\n", stderr);
        return 2;
    }
    uint_t hop = (uint_t)atoi(argv[3]);
    size_t n = (size_t)info.frames / hop;
    float *st = xmalloc(n, sizeof *st);
    aubio_pitch_t *p =
        new_aubio_pitch("yinfft", (uint_t)atoi(argv[2]), hop, (uint_t)info.samplerate);
    fvec_t *out = new_fvec(1);
    aubio_pitch_set_unit(p, "midi");
    double start = processor_s();
    for (size_t i = 0; i < n; i++) {
        fvec_t in = {hop, x + i * hop};
        aubio_pitch_do(p, &in, out);
        st[i] = out->data[0];
    }
    double spent = processor_s() - start;
    for (size_t i = 0; i < n; i++)
        printf("%.4f\n", (double)st[i]);
    printf("# %.4f\n", 1000 * spent);
    del_aubio_pitch(p);
    del_fvec(out);
    free(st);
    free(x);
    return fflush(stdout) == 0 ? 0 : 1;
}
