/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_REPORT_H
#define SHOW_REPORT_H

/* A singer's page: pictures, tables, and words that explain them to a singer. */

#include "fit/plan.h"
#include "journal/plane.h"
#include "lesson/sheet.h"
#include "show/page.h"
#include "show/progress.h"

typedef struct report_head {
    const char *singer;  /* any text */
    const char *version; /* of the program */
    double a4_hz;
} report_head;

/* What is told of the takes of one vowel; everything is borrowed. */
typedef struct report_part {
    const plane *plane;
    bool alone;                      /* the singer has no other vowel */
    const boundary *boundary;        /* NULL: no take has a register that could be told */
    const progress_levels *progress; /* NULL: as boundary, or one session alone */
    const plan_reach *reach;         /* NULL: nothing voiced */
    const plan_take *next;
    size_t n_next;
} report_part;

/* Small maps and takes are those of the last sessions. */
enum { REPORT_SESSIONS = 12 };

/* The page in order: head, each part, exercises, method. A part fails when a picture cannot
 * be drawn. */
page *report_begin(const report_head *h, size_t sessions, size_t takes, const char *first,
                   const char *last);
bool report_part_write(const report_head *h, const report_part *r, page *p, err *e);
/* Cautions, and the exercises planned from the vowel with most takes; s NULL: cautions alone. */
void report_exercises(const report_head *h, const sheet *s, const char *vowel, page *p);
void report_end(const report_head *h, page *p);

/* The studio's: a row a singer, with links to the singers' pages. */
typedef struct report_entry {
    const char *singer, *href; /* href NULL: no page, `why` says it */
    const char *why;
    size_t sessions, takes, flips;
    const char *first, *last;
} report_entry;
page *report_index(const report_entry *items, size_t n, const char *version);

#endif
