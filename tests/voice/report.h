/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_REPORT_H
#define VOICE_REPORT_H

/* The tables of the yardstick, as Markdown on stdout: families with flips, families without, and
 * pitch, level and boundary of all. */

#include "voice/marks.h"

typedef struct report_line {
    const char *name;
    bool still; /* a family whose takes are of a kind without flips */
    marks marks;
} report_line;

typedef struct report {
    size_t n, room;
    report_line *lines;
} report;

/* Takes the marks over; `name` must outlive the report. */
void report_add(report *r, const char *name, bool still, const marks *m);
void report_head(unsigned long first_seed, unsigned long last_seed);
void report_print(const report *r, const char *voice); /* prints nothing for an empty report */
void report_clear(report *r);

#endif
