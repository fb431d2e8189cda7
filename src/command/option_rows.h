/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_OPTION_ROWS_H
#define COMMAND_OPTION_ROWS_H

/* Rows of options that several commands share, for settings of that type with such a field. */

#include "base/options.h"

#include <stddef.h>

/* clang-format off */
/* int, 0: not stated */
#define MICROPHONE_OPTION(type, field) \
    {"microphone", 0, OPTION_WHOLE, "N", NULL, 1, 1024, offsetof(type, field), \
     "the channel with the microphone, counted from 1 (without it, it is guessed)"}
#define EGG_OPTION(type, field) \
    {"egg", 0, OPTION_WHOLE, "N", NULL, 1, 1024, offsetof(type, field), \
     "the channel with the electroglottograph, counted from 1; never taken for the microphone"}
/* int, an egg_way */
#define CONTACT_OPTION(type, field) \
    {"contact", 0, OPTION_CHOICE, "up|down", "found|up|down", 0, 0, offsetof(type, field), \
     "which way contact of the vocal folds counts in the EGG (without it, it is found)"}
/* const char *, of a command that draws wherever it can; bool, of one that draws when asked to */
#define PICTURE_OPTION(type, field) \
    {"output", 'o', OPTION_PATH, "FILE", NULL, 0, 0, offsetof(type, field), \
     "draw into FILE: .png, .svg or .pdf (else a window, or text in a terminal)"}
#define DRAW_OPTION(type, field) \
    {"draw", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(type, field), \
     "the same in a window, or as text in a terminal"}
/* double, semitones */
#define SCATTER_OPTION(type, field) \
    {"scatter", 0, OPTION_NUMBER, "ST", NULL, 0, 12, offsetof(type, field), \
     "scatter between sessions where too few tell it (0.7)"}
/* clang-format on */

#endif
