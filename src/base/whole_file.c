/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/whole_file.h"

#include "base/array.h"

#include <assert.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool fail(const whole_file *f, err *e)
{
    return err_set(e, "The %s \"%s\" could not be written: %s.", f->what, f->path, strerror(errno));
}

/* The rights that a new file would have: a temporary file is closed to others. */
static bool open_rights(int fd)
{
    mode_t mask = umask(0);
    umask(mask);
    return fchmod(fd, 0666 & ~mask) == 0;
}

bool whole_file_begin(whole_file *f, const char *path, const char *what, err *e)
{
    struct stat s;
    const char *slash = strrchr(path, '/');
    *f = (whole_file){.path = path, .what = what, .fd = -1};
    if (stat(path, &s) == 0 && !S_ISREG(s.st_mode))
        return err_set(e,
                       "The %s \"%s\" could not be written: there is something of that name that "
                       "is no plain file.",
                       what, path);
    f->part = xformat("%.*s.seamline-XXXXXX", slash ? (int)(slash + 1 - path) : 0, path);
    f->fd = mkstemp(f->part);
    if (f->fd >= 0)
        return true;
    fail(f, e);
    free(f->part);
    return false;
}

bool whole_file_end(whole_file *f, bool fine, err *e)
{
    assert(f->part);
    bool written = open_rights(f->fd);
    written = close(f->fd) == 0 && written;
    if (fine && (!written || rename(f->part, f->path) != 0))
        fine = fail(f, e);
    if (!fine && f->part) /* it is: for the analyzer */
        unlink(f->part);
    free(f->part);
    return fine;
}

bool folder_make(const char *path, err *e)
{
    struct stat s;
    if (mkdir(path, 0777) == 0)
        return true;
    if (errno != EEXIST)
        return err_set(e, "The folder \"%s\" could not be made: %s.", path, strerror(errno));
    return (stat(path, &s) == 0 && S_ISDIR(s.st_mode)) ||
           err_set(e, "The folder \"%s\" could not be made: there is something else of that name.",
                   path);
}

bool whole_file_write(const char *path, const char *what, const char *bytes, size_t n, err *e)
{
    whole_file f;
    if (!whole_file_begin(&f, path, what, e))
        return false;
    size_t done = 0;
    ssize_t got = 1;
    while (done < n && got > 0) {
        got = write(f.fd, bytes + done, n - done);
        done += got > 0 ? (size_t)got : 0;
        if (got < 0 && errno == EINTR)
            got = 1;
    }
    return whole_file_end(&f, done == n || fail(&f, e), e);
}
