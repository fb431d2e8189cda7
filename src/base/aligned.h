/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_ALIGNED_H
#define BASE_ALIGNED_H

/* A table for eyes: columns as wide as their widest cell on the screen, numbers to the right. What
 * is wider than the screen comes in blocks of columns, each with the first column again. */

#include <stdbool.h>
#include <stdio.h>

typedef struct aligned aligned;

/* names[n] are borrowed; columns: of the screen, 0 for any; bold: the header is. */
aligned *aligned_new(FILE *out, char *const *names, size_t n, size_t columns, bool bold);
/* The next cell; control characters are made visible. Rows are held back until there are 1000, so
 * that widths are known. */
void aligned_cell(aligned *a, const char *text);
void aligned_free(aligned *a); /* prints what is held back; a table without rows its header */

#endif
