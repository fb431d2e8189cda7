/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_PAGE_WORDS_H
#define SHOW_PAGE_WORDS_H

/* The words beneath a picture. */

#include "show/gnuplot.h"

/* Sets the array lines[16] and n_lines, which it returns: the text broken at blanks into lines of
 * at most `longest` columns (base/text.h), and at newlines. What does not go into 16 lines is left
 * out. */
size_t page_words_send(gnuplot *g, const char *text, size_t longest);

#endif
