/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/source.h"

#include "base/array.h"
#include "base/number.h"
#include "base/spool.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Takes @START-END off the end of `path`; false, with nothing changed, when there is none. */
static bool take_stretch(char *path, double *start_s, double *end_s)
{
    char *at = strrchr(path, '@'), *dash = at ? strchr(at, '-') : NULL;
    double start, end;
    if (!dash || at == path)
        return false;
    *dash = '\0';
    bool good = number_read(at + 1, &start) && number_read(dash + 1, &end);
    *dash = '-';
    if (!good)
        return false;
    *at = '\0';
    *start_s = start;
    *end_s = end;
    return true;
}

static bool copy_all(int from, int to)
{
    char block[65536];
    for (;;) {
        ssize_t got = read(from, block, sizeof block);
        if (got < 0 && errno == EINTR)
            continue;
        if (got <= 0)
            return got == 0;
        for (ssize_t done = 0; done < got;) {
            ssize_t put = write(to, block + done, (size_t)(got - done));
            if (put < 0 && errno != EINTR)
                return false;
            done += put > 0 ? put : 0;
        }
    }
}

/* Puts a copy that can be sought in into s->fd. */
static bool copy_pipe(source *s, err *e)
{
    int copy = spool_file();
    if (copy < 0 || !copy_all(s->fd, copy) || lseek(copy, 0, SEEK_SET) != 0) {
        err_set(e, "%s could not be copied to a temporary file: %s.", s->shown, strerror(errno));
        if (copy >= 0)
            close(copy);
        return false;
    }
    if (s->fd != STDIN_FILENO)
        close(s->fd);
    s->fd = copy;
    return true;
}

static bool make_seekable(source *s, err *e)
{
    struct stat st;
    bool standard = s->fd == STDIN_FILENO;
    if (fstat(s->fd, &st) != 0)
        return err_set(e, "%s cannot be read: %s.", s->shown, strerror(errno));
    if (S_ISDIR(st.st_mode))
        return err_set(e, "%s is a folder, not a recording: name the recordings in it.", s->shown);
    if (standard && isatty(s->fd))
        return err_set(e, "No recording comes in on standard input, which is a terminal.");
    if (!standard && (S_ISCHR(st.st_mode) || S_ISBLK(st.st_mode)))
        return err_set(e, "%s is a device, not a recording.", s->shown);
    if (!S_ISREG(st.st_mode) && !copy_pipe(s, e))
        return false;
    if (fstat(s->fd, &st) == 0 && st.st_size == 0)
        return err_set(e, "%s is empty.", s->shown);
    return true;
}

void source_parts(const char *name, char **path, double *start_s, double *end_s)
{
    struct stat st;
    *path = xstrdup(name);
    *start_s = 0;
    *end_s = INFINITY;
    if (stat(name, &st) != 0)
        take_stretch(*path, start_s, end_s);
}

bool source_open(const char *name, source *out, err *e)
{
    source s = {.fd = -1};
    char *path;
    source_parts(name, &path, &s.start_s, &s.end_s);
    bool standard = strcmp(path, "-") == 0;
    s.shown = xstrdup(standard ? "Standard input" : path);
    s.fd = standard ? STDIN_FILENO : open(path, O_RDONLY | O_CLOEXEC);
    free(path);
    bool good = false;
    if (s.fd < 0 && (errno == ENOENT || errno == ENOTDIR))
        err_set(e, "There is no file %s.", s.shown);
    else if (s.fd < 0)
        err_set(e, "%s cannot be opened: %s.", s.shown, strerror(errno));
    else if (!(s.start_s < s.end_s))
        err_set(e, "The stretch %g-%g s of %s does not end after its start.", s.start_s, s.end_s,
                s.shown);
    else
        good = make_seekable(&s, e);
    if (good)
        *out = s;
    else
        source_close(&s);
    return good;
}

void source_close(source *s)
{
    if (s->fd >= 0 && s->fd != STDIN_FILENO)
        close(s->fd);
    s->fd = -1;
    free(s->shown);
    s->shown = NULL;
}

bool source_settle(const char *name, err *e)
{
    char *path;
    double start_s, end_s;
    source copy;
    source_parts(name, &path, &start_s, &end_s);
    bool standard = strcmp(path, "-") == 0, fine = true;
    free(path);
    if (standard && (fine = source_open("-", &copy, e))) {
        if (copy.fd != STDIN_FILENO && dup2(copy.fd, STDIN_FILENO) < 0)
            fine = err_set(e, "Standard input could not be kept.");
        source_close(&copy);
    }
    return fine;
}
