/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/flip.h"

#include "base/array.h"

#include <stdlib.h>

void flips_append(flips *f, flip item)
{
    array_reserve((void **)&f->items, &f->room, f->n + 1, sizeof *f->items);
    f->items[f->n++] = item;
}

void flips_clear(flips *f)
{
    free(f->items);
    *f = (flips){.n = 0};
}
