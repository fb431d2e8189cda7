/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_SOURCE_H
#define SOUND_SOURCE_H

/* Where a recording's bytes come from: a name becomes an open file that can be sought in.
 *
 * `name` is a path, "-" for standard input, or either of them with @START-END in seconds (digits
 * with a decimal point). A file of that very name goes first. What cannot be sought in (a pipe)
 * is copied to a nameless temporary file in $TMPDIR, else /tmp: decoders look for the end first. */

#include "base/message.h"

typedef struct source {
    int fd;         /* at its beginning, seekable; -1 when closed */
    char *shown;    /* the file as messages call it, without the stretch */
    double start_s; /* 0 without a stretch */
    double end_s;   /* INFINITY without a stretch */
} source;

/* Fails with one sentence: missing, a folder, a device, empty, a stretch that ends before it
 * starts, no room to copy a pipe. On failure nothing is left open. */
bool source_open(const char *name, source *out, err *e);
void source_close(source *s);

/* Makes it possible to open "-" again from its beginning: a pipe is changed for the copy of it.
 * Other names are left alone. */
bool source_settle(const char *name, err *e);

/* The two parts of a name without opening anything: *path (the caller frees) and the stretch, 0 and
 * INFINITY without one. */
void source_parts(const char *name, char **path, double *start_s, double *end_s);

#endif
