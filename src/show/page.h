/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_PAGE_H
#define SHOW_PAGE_H

/* An HTML page that needs nothing but itself: no script, no network, pictures inline. It prints on
 * A4 and reads on a telephone 360 px wide.
 *
 * Every text goes through page_text() or what calls it, the one place where text becomes HTML: it
 * is shown as it was typed, control characters as \n, \t, \xNN, and is never markup. A heading, a
 * paragraph or a cell takes text by anyone. */

#include "base/message.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct page page;

page *page_new(const char *title); /* title of the window, not shown on the page */
void page_free(page *p);           /* NULL allowed */
/* False, with one sentence, for a name that does not end in .html or .htm. */
bool page_name_check(const char *path, err *e);
bool page_write(const page *p, const char *path, err *e); /* whole, or *e and nothing changed */

/* Markup that this program itself writes, never anything that a user typed. */
void page_markup(page *p, const char *markup);
void page_text(page *p, const char *text); /* NULL is taken as "" */

void page_heading(page *p, int level, const char *text); /* level 1 to 3 */
/* Each line of the text is a paragraph; css_class NULL: plain, else "quiet" or "warning". */
void page_paragraphs(page *p, const char *css_class, const char *text);
void page_list(page *p, const char *const *items, size_t n);
void page_link(page *p, const char *href, const char *text); /* href by this program, relative */

/* A table with a caption; `columns` are the names parted by a bar. Cells are then given one by one,
 * and a row begins by itself. The first cell of each row is its heading. */
void page_table_begin(page *p, const char *caption, const char *columns);
void page_cell(page *p, const char *text);
void page_cell_format(page *p, const char *format, ...) __attribute__((format(printf, 2, 3)));
void page_cell_link(page *p, const char *href, const char *text);
void page_table_end(page *p); /* asserts that each row is whole */

/* A figure from picture_on_page(): `name` and `description` are what those hear who do not see it,
 * `key` is markup by this program that explains its signs (may be ""), the caption what it says. */
void page_figure(page *p, const char *svg, const char *name, const char *description,
                 const char *key, const char *caption);

/* A name for the page's file that holds [a-z0-9-] alone, with a digest of the text wherever that is
 * not the text itself: other texts, other names. The caller frees. */
char *page_file_name(const char *text);

#endif
