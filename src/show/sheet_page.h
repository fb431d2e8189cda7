/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_SHEET_PAGE_H
#define SHOW_SHEET_PAGE_H

/* A sheet of exercises on a page. */

#include "lesson/sheet_words.h"
#include "show/page.h"

/* The cautions, which come before the exercises. */
void sheet_page_cautions(page *p);
/* The preface and the exercises by part, with headings of this level, 2 or 3. */
void sheet_page_add(page *p, const sheet *s, const sheet_labels *labels, int level);

/* A page of its own. False, with *e and nothing changed, when it could not be written. */
bool sheet_page_write(const sheet *s, const sheet_labels *labels, const char *file, err *e);

#endif
