/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/spool.h"

#include "base/array.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static const size_t kept_bytes = (size_t)4 << 20;

struct spool {
    unsigned char *kept; /* [room], zero where nothing was written */
    size_t room;
    int file; /* of what lies behind kept_bytes; -1: none yet */
};

spool *spool_new(void)
{
    spool *s = xcalloc(1, sizeof *s);
    s->file = -1;
    return s;
}

void spool_free(spool *s)
{
    if (!s)
        return;
    if (s->file >= 0)
        close(s->file);
    free(s->kept);
    free(s);
}

int spool_file(void)
{
    const char *folder = getenv("TMPDIR");
    char *path = xformat("%s/seamline-XXXXXX", folder && *folder ? folder : "/tmp");
    int file = mkstemp(path), cause = errno;
    if (file >= 0)
        unlink(path);
    free(path);
    errno = cause;
    return file;
}

static bool fail(err *e)
{
    return err_set(e, "What was heard could not be kept in a temporary file: %s.", strerror(errno));
}

/* How many of n bytes from `at` on lie in memory. */
static size_t near_part(size_t at, size_t n)
{
    size_t left = at < kept_bytes ? kept_bytes - at : 0;
    return n < left ? n : left;
}

static void write_kept(spool *s, size_t at, const void *bytes, size_t n)
{
    size_t was = s->room;
    array_reserve((void **)&s->kept, &s->room, at + n, 1);
    memset(s->kept + was, 0, s->room - was);
    memcpy(s->kept + at, bytes, n);
}

bool spool_write(spool *s, size_t at, const void *bytes, size_t n, err *e)
{
    const unsigned char *from = bytes;
    size_t here = near_part(at, n);
    if (here)
        write_kept(s, at, from, here);
    at += here;
    from += here;
    n -= here;
    if (n && s->file < 0 && (s->file = spool_file()) < 0)
        return fail(e);
    while (n) {
        ssize_t put = pwrite(s->file, from, n, (off_t)(at - kept_bytes));
        if (put < 0 && errno != EINTR)
            return fail(e);
        size_t done = put > 0 ? (size_t)put : 0;
        at += done;
        from += done;
        n -= done;
    }
    return true;
}

static void read_kept(const spool *s, size_t at, void *bytes, size_t n)
{
    size_t there = at < s->room ? s->room - at : 0, here = n < there ? n : there;
    if (here)
        memcpy(bytes, s->kept + at, here);
    memset((unsigned char *)bytes + here, 0, n - here);
}

bool spool_read(const spool *s, size_t at, void *bytes, size_t n, err *e)
{
    unsigned char *to = bytes;
    size_t here = near_part(at, n);
    if (here)
        read_kept(s, at, to, here);
    at += here;
    to += here;
    n -= here;
    while (n && s->file >= 0) {
        ssize_t got = pread(s->file, to, n, (off_t)(at - kept_bytes));
        if (got < 0 && errno != EINTR)
            return fail(e);
        if (got == 0)
            break;
        size_t done = got > 0 ? (size_t)got : 0;
        at += done;
        to += done;
        n -= done;
    }
    memset(to, 0, n);
    return true;
}
