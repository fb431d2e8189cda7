/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_MEMORY_H
#define BASE_MEMORY_H

/* From here on up to 16 MB of what is freed, in pieces of up to 4 MB, stay with the program for
 * what it asks for next, where the C library can be told so. To touch a page for the first time
 * takes longer than to reckon with it, and finding registers asks for the same few megabytes again
 * and again. For a program's main to call. */
void memory_keep(void);

#endif
