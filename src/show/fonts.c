/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/fonts.h"

#include "base/array.h"
#include "base/process.h"
#include "base/text.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct rare { /* a character that not every font has */
    unsigned long code;
    bool outlined, coloured; /* by any font */
} rare;

typedef struct rares {
    rare *items;
    size_t n, room;
} rares;

static bool is_rare(unsigned long code)
{
    return code >= 0x0530 && !(code >= 0x2000 && code < 0x2600) && code != TEXT_UNKNOWN;
}

static bool is_selector(unsigned long code)
{
    return (code >= 0xFE00 && code <= 0xFE0F) || (code >= 0xE0000 && code <= 0xE0FFF);
}

static const rare *find(const rares *all, unsigned long code)
{
    for (size_t i = 0; i < all->n; i++)
        if (all->items[i].code == code)
            return &all->items[i];
    return NULL;
}

static rares gather(const char *text)
{
    rares all = {0};
    unsigned long code;
    for (size_t n; *text; text += n) {
        n = text_character(text, &code);
        if (!is_rare(code) || is_selector(code) || find(&all, code))
            continue;
        array_reserve((void **)&all.items, &all.room, all.n + 1, sizeof *all.items);
        all.items[all.n++] = (rare){.code = code};
    }
    return all;
}

/* A font's line: whether it is coloured, whether it has outlines, and its characters as ranges of
 * hexadecimal numbers. */
static void take_font(rares *all, char *line)
{
    char *rest, *coloured = strtok_r(line, " ", &rest), *outlined = strtok_r(NULL, " ", &rest);
    for (char *range; (range = strtok_r(NULL, " \n", &rest));) {
        char *dash;
        unsigned long first = strtoul(range, &dash, 16);
        unsigned long last = *dash == '-' ? strtoul(dash + 1, NULL, 16) : first;
        for (size_t i = 0; i < all->n; i++) {
            rare *r = &all->items[i];
            if (r->code < first || r->code > last)
                continue;
            r->coloured = r->coloured || strcmp(coloured, "True") == 0;
            r->outlined = r->outlined || strcmp(outlined, "True") == 0;
        }
    }
}

static void ask_fonts(rares *all)
{
    static const char *const argv[] = {"fc-list", "-f", "%{color} %{outline} %{charset}\n", NULL};
    FILE *said = tmpfile(), *ignored = tmpfile();
    char *line = NULL;
    size_t size = 0;
    int status;
    if (said && ignored &&
        process_run(argv, "", 0, fileno(said), fileno(ignored), &status) == PROCESS_DONE) {
        rewind(said);
        while (getline(&line, &size, said) > 0)
            take_font(all, line);
    }
    free(line);
    if (said)
        fclose(said);
    if (ignored)
        fclose(ignored);
}

char *fonts_drawable(const char *text)
{
    rares all = gather(text);
    if (all.n)
        ask_fonts(&all);
    char *out = xmalloc(strlen(text) + 1, 3), *to = out; /* U+FFFD has three bytes */
    unsigned long code;
    for (size_t n; *text; text += n) {
        n = text_character(text, &code);
        const rare *r = find(&all, code);
        if (is_selector(code))
            continue;
        bool drawn = !r || (r->outlined && !r->coloured);
        memcpy(to, drawn ? text : TEXT_UNKNOWN_UTF8, drawn ? n : sizeof TEXT_UNKNOWN_UTF8 - 1);
        to += drawn ? n : sizeof TEXT_UNKNOWN_UTF8 - 1;
    }
    *to = '\0';
    free(all.items);
    return out;
}
