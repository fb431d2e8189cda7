/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_PLANE_GAIN_H
#define COMMAND_PLANE_GAIN_H

/* Levels that a recorder's automatic gain has made worthless are left out of a plane. */

#include "base/options.h"
#include "journal/plane.h"

typedef enum gain_choice { GAIN_HEARD, GAIN_FIXED, GAIN_AUTOMATIC } gain_choice;

/* A command's option for it, whose setting is an int of gain_choice. */
#define GAIN_OPTION(settings, field)                                                               \
    {                                                                                              \
        "gain", 0, OPTION_CHOICE, "WORD", "heard|fixed|automatic", 0, 0,                           \
            offsetof(settings, field),                                                             \
            "automatic leaves levels out, fixed keeps them (heard: as the pauses sound)"           \
    }

/* Sets all levels of the plane to 0 where its gain is automatic, and says so once; silence stays
 * silence. */
void plane_gain(plane *p, int choice);
/* False when a level is asked for (at_db, else NaN) and levels were left out. */
bool plane_gain_at(const plane *p, double at_db, err *e);

#endif
