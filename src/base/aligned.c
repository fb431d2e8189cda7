/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/aligned.h"

#include "base/array.h"
#include "base/terminal.h"
#include "base/text.h"

#include <stdlib.h>
#include <string.h>

enum { ROWS_HELD = 1000, GAP = 2 };

struct aligned {
    FILE *out;
    char *const *names; /* [n] */
    size_t n, columns;
    bool bold, printed;
    char **cells; /* [held], row by row */
    size_t held, room;
};

typedef struct layout {
    size_t *width; /* [n] */
    bool *right;   /* [n] a column of numbers */
} layout;

aligned *aligned_new(FILE *out, char *const *names, size_t n, size_t columns, bool bold)
{
    aligned *a = xcalloc(1, sizeof *a);
    *a = (aligned){.out = out, .names = names, .n = n, .columns = columns, .bold = bold};
    return a;
}

static bool is_number(const char *text)
{
    text += *text == '-' || *text == '+';
    return strcmp(text, "inf") == 0 || !text[strspn(text, "0123456789.")];
}

static layout measure(const aligned *a)
{
    layout l = {xcalloc(a->n, sizeof *l.width), xcalloc(a->n, sizeof *l.right)};
    for (size_t c = 0; c < a->n; c++) {
        l.width[c] = text_columns(a->names[c]);
        bool numbers = true, any = false;
        for (size_t i = c; i < a->held; i += a->n) {
            size_t width = text_columns(a->cells[i]);
            l.width[c] = width > l.width[c] ? width : l.width[c];
            numbers = numbers && is_number(a->cells[i]);
            any = any || *a->cells[i];
        }
        l.right[c] = numbers && any;
    }
    return l;
}

static void print_cell(const aligned *a, const layout *l, size_t c, const char *text, bool last)
{
    size_t pad = l->width[c] - text_columns(text);
    int before = l->right[c] ? (int)pad : 0, after = last ? 0 : GAP + (int)pad - before;
    fprintf(a->out, "%*s%s%*s", before, "", text, after, "");
}

/* Column 0 and columns [from, to) of a row. */
static void print_row(const aligned *a, const layout *l, char *const *row, size_t from, size_t to)
{
    print_cell(a, l, 0, row[0], from >= to);
    for (size_t c = from; c < to; c++)
        print_cell(a, l, c, row[c], c + 1 == to);
}

static void print_block(const aligned *a, const layout *l, size_t from, size_t to)
{
    fputs(a->bold ? TERMINAL_BOLD : "", a->out);
    print_row(a, l, a->names, from, to);
    fputs(a->bold ? TERMINAL_PLAIN "\n" : "\n", a->out);
    for (size_t i = 0; i < a->held; i += a->n) {
        print_row(a, l, a->cells + i, from, to);
        fputc('\n', a->out);
    }
}

/* One column more than the first at the least, however narrow the screen. */
static size_t block_end(const aligned *a, const layout *l, size_t from)
{
    size_t to = from, taken = l->width[0];
    while (to < a->n) {
        taken += GAP + l->width[to];
        if (a->columns && taken > a->columns && to > from)
            break;
        to++;
    }
    return to;
}

static void print_held(aligned *a)
{
    layout l = measure(a);
    size_t from = 1;
    do {
        if (a->printed)
            fputc('\n', a->out);
        size_t to = block_end(a, &l, from);
        print_block(a, &l, from, to);
        a->printed = true;
        from = to;
    } while (from < a->n);
    for (size_t i = 0; i < a->held; i++)
        free(a->cells[i]);
    a->held = 0;
    free(l.width);
    free(l.right);
}

void aligned_cell(aligned *a, const char *text)
{
    if (a->held == ROWS_HELD * a->n)
        print_held(a);
    array_reserve((void **)&a->cells, &a->room, a->held + 1, sizeof *a->cells);
    a->cells[a->held++] = text_visible(text);
}

void aligned_free(aligned *a)
{
    if (!a)
        return;
    if (a->held || !a->printed)
        print_held(a);
    free(a->cells);
    free(a);
}
