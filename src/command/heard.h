/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_HEARD_H
#define COMMAND_HEARD_H

/* What `analyse` hears in the files it is given, one after the other. */

#include "command/command.h"
#include "command/egg_cells.h"
#include "command/recorded.h"
#include "voice/track_store.h"

typedef struct hearing {
    const recorded *how;
    bool measures; /* of every frame */
    declared_register declared;
    egg_way contact; /* EGG_UNKNOWN: to be found */
} hearing;

typedef struct heard {
    track_store *store;
    meter_levels *levels; /* of each take, when measures are asked for */
    int *channels;        /* of each file, 0 where it could not be read */
    size_t harmonics;     /* the most that any frame's measures have */
    size_t failed;        /* files that could not be read */
    egg_heard egg;
} heard;

/* The call's operands, those that can be read; the others have their sentence on stderr, and so has
 * what is amiss with a take. */
heard heard_takes(const command_call *call, const hearing *as);
void heard_clear(heard *h);

#endif
