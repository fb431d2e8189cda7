/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LESSON_CAUTIONS_H
#define LESSON_CAUTIONS_H

/* What has to stand wherever exercises are given. Nothing here or there is a diagnosis. Sources:
 * docs/sheet.md. */

#include <stddef.h>

extern const char *const cautions[]; /* whole sentences, the one to read first at the head */
extern const size_t n_cautions;

#endif
