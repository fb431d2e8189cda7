/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/files.h"

#include "base/array.h"

#include <errno.h>
#include <math.h>
#include <sndfile.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

bool files_folder(const char *path, err *e)
{
    struct stat st;
    if (mkdir(path, 0777) == 0 || (errno == EEXIST && stat(path, &st) == 0 && S_ISDIR(st.st_mode)))
        return true;
    return err_set(e, "The folder %s could not be made: %s.", path, strerror(errno));
}

bool files_way_to(const char *path, err *e)
{
    char *way = xstrdup(path);
    bool ok = true;
    for (char *c = way + 1; ok && *c; c++)
        if (*c == '/') {
            *c = '\0';
            ok = files_folder(way, e);
            *c = '/';
        }
    free(way);
    return ok;
}

bool files_create(const char *folder, const char *name, FILE **out, err *e)
{
    char *path = xformat("%s/%s", folder, name);
    *out = fopen(path, "w");
    bool ok = *out || err_set(e, "%s could not be written: %s.", path, strerror(errno));
    free(path);
    return ok;
}

bool files_write_channels(const char *path, const sound *const x[], int n, int bits, err *e)
{
    size_t width = (size_t)n, values = x[0]->n * width;
    double *all = xmalloc(values, sizeof *all), most = 0;
    size_t at = 0;
    for (size_t i = 0; i < values; i++) {
        all[i] = x[i % width]->samples[i / width];
        if (fabs(all[i]) >= 1 && most < 1)
            at = i / width;
        most = fmax(most, fabs(all[i]));
    }
    SF_INFO info = {.samplerate = x[0]->rate_hz, .channels = n};
    info.format = SF_FORMAT_WAV | (bits == 24 ? SF_FORMAT_PCM_24 : SF_FORMAT_PCM_16);
    SNDFILE *file = most < 1 ? sf_open(path, SFM_WRITE, &info) : NULL;
    sf_count_t written = file ? sf_writef_double(file, all, (sf_count_t)x[0]->n) : 0;
    free(all);
    if (most >= 1)
        return err_set(e, "The take %s is too loud: it would clip %.2f s in.", path,
                       (double)at / x[0]->rate_hz);
    if (!file)
        return err_set(e, "%s could not be written: %s.", path, sf_strerror(NULL));
    if (sf_close(file) != 0 || written != (sf_count_t)x[0]->n)
        return err_set(e, "%s could not be written whole.", path);
    return true;
}

bool files_write_wav(const char *path, const sound *x, int bits, err *e)
{
    return files_write_channels(path, &x, 1, bits, e);
}
