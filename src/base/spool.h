/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_SPOOL_H
#define BASE_SPOOL_H

/* Bytes that need not all be in memory: the first 4 MB are, the rest lies in a nameless temporary
 * file in $TMPDIR, else /tmp, which is gone when the program ends, however it ends. */

#include "base/message.h"

#include <stddef.h>

typedef struct spool spool;

spool *spool_new(void);
void spool_free(spool *s); /* NULL allowed */

/* Any place may be written, in any order. Fails when there is no room or no temporary file. */
bool spool_write(spool *s, size_t at, const void *bytes, size_t n, err *e);
/* What was never written is 0. */
bool spool_read(const spool *s, size_t at, void *bytes, size_t n, err *e);

/* Opens such a file by itself, for reading and writing; -1, with errno, when that fails. */
int spool_file(void);

#endif
