/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_VOICING_H
#define VOICE_VOICING_H

/* Voice or none in every frame: a hidden chain of two states, forward and backward. */

#include <stddef.h>

/* odds[n]: natural log of how much likelier a frame's own evidence is under voice than under none.
 * Out: probability[n] of voice, given all frames; change_per_frame is the prior probability that
 * voice begins or ends from one frame to the next. */
void voicing_chain(const double *odds, size_t n, double change_per_frame, double *probability);

#endif
