/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_PROCESS_H
#define BASE_PROCESS_H

/* Another program run with an argument vector: no shell, so nothing in it is interpreted. */

#include <stdbool.h>
#include <stddef.h>

typedef enum process_end {
    PROCESS_DONE,    /* it ran and ended; its exit status is set */
    PROCESS_MISSING, /* there is no such program on the PATH */
    PROCESS_FAILED   /* it could not be started, or was ended by a signal: errno, or 0 */
} process_end;

/* Runs argv[0], found on the PATH, to its end. It reads `input` (n bytes) as its standard input;
 * its standard output and error go to the two descriptors, which stay the caller's. A program that
 * ends without reading all its input is no failure, and no signal comes of it. */
process_end process_run(const char *const argv[], const char *input, size_t n, int out, int error,
                        int *exit_status);

#endif
