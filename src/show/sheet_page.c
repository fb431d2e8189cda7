/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/sheet_page.h"

#include "base/array.h"
#include "lesson/cautions.h"

#include <stdio.h>
#include <stdlib.h>

static void add_line(page *p, const sheet *s, size_t i, double a4_hz)
{
    const sheet_line *l = &s->lines[i];
    char *how = sheet_how(s, l, a4_hz), *reason = sheet_why(s, l, a4_hz);
    char *why = xformat("Why: %s", reason), open[64], minutes[64] = "";
    snprintf(open, sizeof open, "<li value=\"%zu\"><strong>", i + 1);
    if (l->minutes > 0)
        snprintf(minutes, sizeof minutes, ", %g min", l->minutes);
    page_markup(p, open);
    page_text(p, sheet_title(l));
    page_markup(p, "</strong>");
    page_text(p, minutes);
    page_markup(p, "\n");
    page_paragraphs(p, NULL, how);
    page_paragraphs(p, "quiet", why);
    page_markup(p, "</li>\n");
    free(how);
    free(why);
    free(reason);
}

void sheet_page_cautions(page *p)
{
    for (size_t i = 0; i < n_cautions; i++)
        page_paragraphs(p, "warning", cautions[i]);
}

void sheet_page_add(page *p, const sheet *s, const sheet_labels *labels, int level)
{
    char *preface = sheet_preface(s, labels->a4_hz);
    page_paragraphs(p, NULL, labels->source);
    page_paragraphs(p, NULL, preface);
    for (size_t i = 0; i < SHEET_LINES; i++) {
        sheet_part part = s->lines[i].part;
        if (i == 0 || part != s->lines[i - 1].part) {
            page_heading(p, level, sheet_part_name(part));
            page_markup(p, "<ol>\n");
        }
        add_line(p, s, i, labels->a4_hz);
        if (i + 1 == SHEET_LINES || part != s->lines[i + 1].part)
            page_markup(p, "</ol>\n");
    }
    free(preface);
}

bool sheet_page_write(const sheet *s, const sheet_labels *labels, const char *file, err *e)
{
    char *heading = sheet_heading(s, labels);
    page *p = page_new(heading);
    page_heading(p, 1, heading);
    sheet_page_cautions(p);
    sheet_page_add(p, s, labels, 2);
    bool fine = page_write(p, file, e);
    page_free(p);
    free(heading);
    return fine;
}
