/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_ELECTRODES_H
#define COMMAND_ELECTRODES_H

/* A session's takes are sung with the same electrodes: in which channel the EGG of a take is to be
 * looked for, and which way contact counts in it, where the take itself does not tell and the
 * session's other takes do. */

#include "command/hear.h"

/* What is wanted of the n takes of one singer that a call of `add` heard, out[n]: nothing where
 * they are to stay as they were heard. Takes of the same session that the journal has from before
 * count by the channel of their EGG, and as without one where none was heard. */
bool electrodes_agree(journal *j, const char *singer, const hear_result *const *heard, size_t n,
                      electrodes *out, err *e);

#endif
