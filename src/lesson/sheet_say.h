/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LESSON_SHEET_SAY_H
#define LESSON_SHEET_SAY_H

/* Notes, levels and sentences for the words of a sheet. */

#include "base/note.h"
#include "lesson/sheet.h"

#include <stdio.h>

enum { SAY_LEVEL_SIZE = 32 };

typedef struct say {
    const sheet *s;
    const sheet_line *l;
    double a4_hz;
    FILE *out;
    char *text;
    size_t size;
    /* What note() and level() return lies here: that many in one sentence. */
    size_t next;
    char words[16][NOTE_NAME_SIZE];
} say;

void say_begin(say *y, const sheet *s, const sheet_line *l, double a4_hz);
char *say_end(say *y); /* what was said; the caller frees */

const char *say_note(say *y, double st);
const char *say_level(say *y, double db); /* "68 dB, middle"; "middle level" where not known */
const char *say_db(say *y, double db);    /* "68 dB", "+3 dB" */
const char *say_size(say *y, double db);  /* of a difference: "3 dB" */

#endif
