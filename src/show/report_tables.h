/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_REPORT_TABLES_H
#define SHOW_REPORT_TABLES_H

/* The tables of a singer's page. */

#include "lesson/held.h"
#include "show/report.h"

void report_table_flips(const report_head *h, const report_part *r, page *p); /* at three levels */
void report_table_figures(const report_part *r,
                          page *p); /* all rows of the boundary, and the zone */
void report_table_sessions(const report_head *h, const report_part *r, page *p);
/* The takes from the first on; scores: of all takes, those before it unread. */
void report_table_takes(const report_part *r, const held_score *scores, size_t first, page *p);
void report_table_next(const report_head *h, const report_part *r, page *p);

#endif
