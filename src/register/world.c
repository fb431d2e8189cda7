/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/world.h"

#include "base/array.h"

#include <stdlib.h>
#include <string.h>

world world_new(size_t n)
{
    world w = {.p2 = xmalloc(n, sizeof *w.p2),
               .says = xmalloc(n, sizeof *w.says),
               .steps = xmalloc(n, sizeof *w.steps)};
    w.m.hi = 0;
    return w;
}

void world_copy(const world *from, size_t n, world *to)
{
    world kept = *to;
    *to = *from;
    to->p2 = kept.p2;
    to->says = kept.says;
    to->steps = kept.steps;
    memcpy(to->p2, from->p2, n * sizeof *to->p2);
    memcpy(to->says, from->says, n * sizeof *to->says);
    memcpy(to->steps, from->steps, n * sizeof *to->steps);
}

void world_clear(world *w)
{
    free(w->p2);
    free(w->says);
    free(w->steps);
    *w = (world){.p2 = NULL};
}
