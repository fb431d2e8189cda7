/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_TEXT_H
#define BASE_TEXT_H

/* Words that people type, and bytes that may be no words at all. */

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#define TEXT_UNKNOWN_UTF8 "\xEF\xBF\xBD"
enum { TEXT_UNKNOWN = 0xFFFD };
/* Bytes of the character that begins a text that is not empty, and its code; for a byte that begins
 * none 1 and U+FFFD. */
size_t text_character(const char *text, unsigned long *code);

/* A copy in valid UTF-8: each byte that is part of no character becomes U+FFFD. */
char *text_utf8(const char *bytes);

/* A copy that can be shown on one line: as text_utf8, and control characters, which break lines or
 * are forbidden in SVG and HTML, as \n, \t or \xNN. The caller frees. */
char *text_visible(const char *bytes);

/* The same, and of more than `longest` characters (at least 1) the first ones and an ellipsis, so
 * many in all. The caller frees. */
char *text_shown(const char *bytes, size_t longest);

/* Columns that a text takes on a terminal: wide characters two, combining ones none; bytes that are
 * no character one each. */
size_t text_columns(const char *text);

/* Prints words broken at blanks into lines of at most so many columns, as text_columns() counts; a
 * longer word has a line of its own. Each line of the text begins with `first` and goes on with so
 * many blanks. */
void text_wrap_at(FILE *out, size_t columns, const char *first, size_t indent, const char *text);
enum { TEXT_WRAP = 80 };
void text_wrap(FILE *out, const char *first, size_t indent, const char *text);

/* The name a mistyped word most likely meant: fewest letters added, left out, changed or swapped
 * (Damerau's distance with adjacent swaps), at most a third of the longer of the two and 1 at the
 * least; the first of equals. NULL when none is that near. */
const char *text_nearest(const char *typed, const char *const *names, size_t n);

/* Lists parted by a bar, such as "pitch|level|register". */
enum { TEXT_WORD_SIZE = 64 };
/* The i-th word, from 0; false when there are not so many. */
bool text_word(const char *words, size_t i, char word[TEXT_WORD_SIZE]);
int text_word_index(const char *words, const char *word); /* -1 when it is none of them */
/* "level,pitch" or "none" as bits, bit i for the i-th word; false for anything else. */
bool text_set_read(const char *text, const char *words, int *bits);
/* The bits as a list in the order of the words; "none" for 0. The caller frees. */
char *text_set_write(const char *words, int bits);
/* How a sentence that refuses a word ends: "; did you mean X?" with the nearest of the words, or
 * ".". Of each word the part before a blank counts. */
enum { TEXT_HINT_SIZE = TEXT_WORD_SIZE + 20 };
void text_hint(const char *typed, const char *words, char hint[TEXT_HINT_SIZE]);

#endif
