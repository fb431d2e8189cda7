/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/page_words.h"

#include "base/array.h"
#include "base/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LINES = 16, LINE_LONGEST = 1 << 20 };

size_t page_words_send(gnuplot *g, const char *text, size_t longest)
{
    char *words = NULL, *rest, variable[32];
    size_t size, n = 0;
    FILE *to = xmemstream(&words, &size);
    text_wrap_at(to, longest, "", 0, text);
    fclose(to);
    gnuplot_commands(g, "array lines[16]\n");
    rest = words;
    for (char *end; n < LINES && (end = strchr(rest, '\n')); rest = end + 1) {
        *end = '\0';
        snprintf(variable, sizeof variable, "lines[%zu]", ++n);
        gnuplot_text(g, variable, rest, LINE_LONGEST);
    }
    gnuplot_number(g, "n_lines", (double)n);
    free(words);
    return n;
}
