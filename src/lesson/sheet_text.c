/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/text.h"
#include "lesson/cautions.h"
#include "lesson/sheet_say.h"
#include "lesson/sheet_words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const char *sheet_title(const sheet_line *l)
{
    if (l->exercise)
        return l->exercise->name;
    return l->part == SHEET_LOOSEN ? "loosen" : "settle";
}

char *sheet_heading(const sheet *s, const sheet_labels *labels)
{
    say y;
    say_begin(&y, s, NULL, labels->a4_hz);
    char *singer = text_visible(labels->singer ? labels->singer : "");
    char *vowel = text_visible(labels->vowel);
    fprintf(y.out, "%s%soday's exercises", singer, *singer ? ": t" : "T");
    if (*vowel)
        fprintf(y.out, " on \"%s\"", vowel);
    fprintf(y.out, ", about %.0f minutes", round(s->minutes));
    free(singer);
    free(vowel);
    return say_end(&y);
}

static void print_line(say *y, const sheet *s, size_t i, double a4_hz)
{
    const sheet_line *l = &s->lines[i];
    char *how = sheet_how(s, l, a4_hz), *why = sheet_why(s, l, a4_hz);
    fprintf(y->out, "\n%2zu. %s", i + 1, sheet_title(l));
    if (l->minutes > 0)
        fprintf(y->out, " (%g min)", l->minutes);
    fputc('\n', y->out);
    text_wrap(y->out, "    ", 4, how);
    text_wrap(y->out, "    Why: ", 4, why);
    free(how);
    free(why);
}

char *sheet_text(const sheet *s, const sheet_labels *labels)
{
    say y;
    say_begin(&y, s, NULL, labels->a4_hz);
    char *heading = sheet_heading(s, labels), *preface = sheet_preface(s, labels->a4_hz);
    text_wrap(y.out, "", 0, heading);
    text_wrap(y.out, "", 0, labels->source);
    text_wrap(y.out, "", 0, preface);
    fputs("\nBefore you sing\n", y.out);
    for (size_t i = 0; i < n_cautions; i++)
        text_wrap(y.out, "  - ", 4, cautions[i]);
    for (size_t i = 0; i < SHEET_LINES; i++) {
        if (i == 0 || s->lines[i].part != s->lines[i - 1].part)
            fprintf(y.out, "\n%s\n", sheet_part_name(s->lines[i].part));
        print_line(&y, s, i, labels->a4_hz);
    }
    free(heading);
    free(preface);
    return say_end(&y);
}
