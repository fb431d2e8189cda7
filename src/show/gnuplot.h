/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_GNUPLOT_H
#define SHOW_GNUPLOT_H

/* A script for gnuplot: commands and data are gathered here, and picture_draw() sends them to a
 * process. Nothing that a user typed is ever a command: it goes in by gnuplot_text() alone. */

#include <stddef.h>

typedef struct gnuplot gnuplot;

gnuplot *gnuplot_new(void);
void gnuplot_free(gnuplot *g); /* NULL allowed */

/* Appends commands as they are: templates and what this program itself writes, never anything
 * that a user typed. */
void gnuplot_commands(gnuplot *g, const char *text);
/* Sets a variable; NaN is gnuplot's NaN. */
void gnuplot_number(gnuplot *g, const char *variable, double value);
/* Sets a string variable to any text. Control characters become \n, \t, \xNN; bytes that are not
 * UTF-8 become the replacement character; more than `longest` characters end in an ellipsis
 * (longest >= 1). NULL is taken as "". */
void gnuplot_text(gnuplot *g, const char *variable, const char *text, size_t longest);

/* An inline datablock $NAME. A row of n = 0 is an empty line: the end of a line or polygon.
 * NaN breaks a line. A block without rows draws nothing and keeps its place in the key. */
void gnuplot_data(gnuplot *g, const char *name);
void gnuplot_row(gnuplot *g, const double *values, size_t n);
/* Two rows of n numbers that draw nothing, one far away and one of NaN: gnuplot 5.4 dies when it is
 * to draw characters of which each is undefined. */
void gnuplot_row_nowhere(gnuplot *g, size_t n);
void gnuplot_data_end(gnuplot *g);

/* The script so far, as it will be sent; g's, valid until the next call. */
const char *gnuplot_script(const gnuplot *g);

#endif
