/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LESSON_SHEET_WORDS_H
#define LESSON_SHEET_WORDS_H

/* A sheet in words. Every figure is one of the line's own or of the map that it was planned from.
 * Texts are the caller's to free; notes are named by the tuning a4_hz. */

#include "lesson/sheet.h"

/* What is to be held and varied: "vary pitch, hold level"; "loosen", "settle". */
const char *sheet_title(const sheet_line *l);
/* What to sing, and why there. */
char *sheet_how(const sheet *s, const sheet_line *l, double a4_hz);
char *sheet_why(const sheet *s, const sheet_line *l, double a4_hz);
/* What levels are, on which scale, and what is soft, middle and loud to this singer; or that there
 * is no map and what that means. One or more paragraphs, a line each. */
char *sheet_preface(const sheet *s, double a4_hz);

typedef struct sheet_labels {
    const char *singer; /* as it was typed; NULL: nobody */
    const char *vowel;  /* "": not stated */
    const char *source; /* one sentence on which takes it rests */
    double a4_hz;
} sheet_labels;

/* "wren: today's exercises on \"a\", about 15 minutes" */
char *sheet_heading(const sheet *s, const sheet_labels *labels);
/* The whole as plain text, 80 columns wide, with the cautions first. Control characters in a name
 * are shown as \n, \t, \xNN. */
char *sheet_text(const sheet *s, const sheet_labels *labels);

#endif
