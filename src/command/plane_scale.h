/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_PLANE_SCALE_H
#define COMMAND_PLANE_SCALE_H

/* One scale of level for the planes of several singers. */

#include "journal/plane.h"

/* No levels where one plane has none; sound pressure where all have it; else each session's own
 * scale, with a warning when some are calibrated. */
void plane_scale(plane *planes, size_t n);

#endif
