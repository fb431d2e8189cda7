/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_WHOLE_FILE_H
#define BASE_WHOLE_FILE_H

/* A file that appears whole or not at all: it is written under another name beside its own and
 * renamed at the end, so that what was there before stays when writing fails. */

#include "base/message.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct whole_file {
    const char *path, *what; /* borrowed; what: "picture", for sentences */
    char *part;
    int fd; /* to write to */
} whole_file;

/* False, with nothing left behind, when there is something at `path` that is no plain file, or no
 * file can be made beside it. */
bool whole_file_begin(whole_file *f, const char *path, const char *what, err *e);
/* fine: all was written. It gets the rights that a new file would have and takes its name, or is
 * removed. False when it was not fine (*e stays) or could not be finished. */
bool whole_file_end(whole_file *f, bool fine, err *e);

/* Makes a folder where there is none. */
bool folder_make(const char *path, err *e);

/* The whole at once. */
bool whole_file_write(const char *path, const char *what, const char *bytes, size_t n, err *e);

#endif
