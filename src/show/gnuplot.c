/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/gnuplot.h"
#include "base/array.h"
#include "base/text.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct gnuplot {
    char *text; /* the script, always with a final NUL */
    size_t n, room;
};

gnuplot *gnuplot_new(void)
{
    gnuplot *g = xcalloc(1, sizeof *g);
    array_reserve((void **)&g->text, &g->room, 1, 1);
    g->text[0] = '\0';
    return g;
}

void gnuplot_free(gnuplot *g)
{
    if (g)
        free(g->text);
    free(g);
}

static void append(gnuplot *g, const char *bytes, size_t n)
{
    array_reserve((void **)&g->text, &g->room, g->n + n + 1, 1);
    memcpy(g->text + g->n, bytes, n);
    g->n += n;
    g->text[g->n] = '\0';
}

void gnuplot_commands(gnuplot *g, const char *text)
{
    append(g, text, strlen(text));
}

static void append_number(gnuplot *g, double value)
{
    char digits[40];
    snprintf(digits, sizeof digits, isfinite(value) ? "%.9g" : "NaN", value);
    gnuplot_commands(g, digits);
}

void gnuplot_number(gnuplot *g, const char *variable, double value)
{
    gnuplot_commands(g, variable);
    gnuplot_commands(g, " = ");
    append_number(g, value);
    gnuplot_commands(g, "\n");
}

/* In a single-quoted string all but a quote stands for itself. A doubled quote, which should stand
 * for one, is misread by gnuplot 5.4 where a string begins and beside another; so it is put in as a
 * string of its own. */
void gnuplot_text(gnuplot *g, const char *variable, const char *text, size_t longest)
{
    char *shown = text_shown(text ? text : "", longest);
    gnuplot_commands(g, variable);
    gnuplot_commands(g, " = '");
    for (const char *p = shown; *p; p++)
        if (*p == '\'')
            gnuplot_commands(g, "' . \"'\" . '");
        else
            append(g, p, 1);
    gnuplot_commands(g, "'\n");
    free(shown);
}

void gnuplot_data(gnuplot *g, const char *name)
{
    gnuplot_commands(g, "$");
    gnuplot_commands(g, name);
    gnuplot_commands(g, " << END_OF_DATA\n");
}

void gnuplot_row(gnuplot *g, const double *values, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (i)
            gnuplot_commands(g, " ");
        append_number(g, values[i]);
    }
    gnuplot_commands(g, "\n");
}

void gnuplot_row_nowhere(gnuplot *g, size_t n)
{
    static const double far_away = -1e6;
    double row[8];
    assert(n <= sizeof row / sizeof *row);
    for (int undefined = 0; undefined < 2; undefined++) {
        for (size_t i = 0; i < n; i++)
            row[i] = undefined ? (double)NAN : far_away;
        gnuplot_row(g, row, n);
    }
}

void gnuplot_data_end(gnuplot *g)
{
    gnuplot_commands(g, "END_OF_DATA\n");
}

const char *gnuplot_script(const gnuplot *g)
{
    return g->text;
}
