/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_PICTURE_H
#define SHOW_PICTURE_H

/* Where a picture goes, and its drawing by a gnuplot process.
 *
 * No shell takes part, the user's own gnuplot settings are not read, and no file name is part of a
 * command. Enhanced text is off everywhere: markup is shown as it was typed. A script finds set
 * its terminal, and on other than the screen: width_px, height_px; scale (width / 1200 px: type,
 * lines and marks keep their share of the picture); tic, the length of tics; pt, one point of type,
 * and dot, the usual mark, at that scale and in the terminal's unit; face and bold_face, names of
 * fonts; bare, 1 on a page, where scale is twice as large and title, key and words are left out. */

#include "base/message.h"
#include "show/gnuplot.h"

#include <stdbool.h>

typedef enum picture_kind {
    PICTURE_NONE,   /* nothing to draw on */
    PICTURE_FILE,   /* .png, .svg or .pdf by the ending of the name, in either case */
    PICTURE_WINDOW, /* a window that stays when the program ends */
    PICTURE_SCREEN, /* characters on standard output */
    PICTURE_PAGE    /* SVG in memory, for a page that says title, key and words itself */
} picture_kind;

typedef struct picture {
    picture_kind kind;
    const char *path;        /* PICTURE_FILE alone; borrowed */
    int width_px, height_px; /* .svg: the same numbers in user units; .pdf: 100 to the inch */
    int columns, rows;       /* PICTURE_SCREEN, characters */
    char **svg;              /* PICTURE_PAGE: out, the caller frees; NULL when drawing failed */
} picture;

/* Where a picture goes: to the file when there is a name; else to a window when there is a display
 * and a gnuplot that can open one; else as text when standard output is a terminal, sized to it;
 * else nowhere, so that a piped table stays a table. False when the name has another ending. */
bool picture_choose(const char *path_or_null, int width_px, int height_px, picture *out, err *e);

/* *svg is NULL until it is drawn. */
picture picture_on_page(int width_px, int height_px, char **svg);

/* Draws; PICTURE_NONE draws nothing and is no failure. A file appears whole or not at all: what was
 * there before stays when drawing fails. False, with one sentence, when gnuplot is missing or
 * fails or the file cannot be written. */
bool picture_draw(const gnuplot *script, const picture *where, err *e);

#endif
