/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/flip.h"

#include "base/array.h"

#include <stdlib.h>

const char *flip_kind_name(flip_kind k)
{
    static const char *const names[FLIP_KINDS] = {"flip", "consonant", "doubling", "fry",
                                                  "whistle"};
    return names[k];
}

void flips_append(flips *f, flip item)
{
    array_reserve((void **)&f->items, &f->room, f->n + 1, sizeof *f->items);
    f->items[f->n++] = item;
}

static int by_time(const void *a, const void *b)
{
    double x = ((const flip *)a)->time_s, y = ((const flip *)b)->time_s;
    return (x > y) - (x < y);
}

void flips_sort(flips *f)
{
    if (f->n)
        qsort(f->items, f->n, sizeof *f->items, by_time);
}

void flips_clear(flips *f)
{
    free(f->items);
    *f = (flips){.n = 0};
}
