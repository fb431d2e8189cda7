/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/page_words.h"

#include "base/array.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WORDS_LONGEST = 1 << 20 };

void page_words_send(gnuplot *g, const char *text, size_t longest)
{
    char *words = xstrdup(text), *from = words, variable[32];
    size_t n = 0;
    gnuplot_commands(g, "array lines[16]\n");
    while (*from && n < 16) {
        size_t length = strcspn(from, "\n"), line = length;
        if (length > longest)
            for (line = longest; line > 0 && from[line] != ' '; line--)
                continue;
        line = line ? line : length;
        bool more = from[line] == ' ' || from[line] == '\n';
        from[line] = '\0';
        snprintf(variable, sizeof variable, "lines[%zu]", ++n);
        gnuplot_text(g, variable, from, WORDS_LONGEST);
        from += line + more;
    }
    gnuplot_number(g, "n_lines", (double)n);
    free(words);
}
