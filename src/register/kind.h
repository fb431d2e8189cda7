/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_KIND_H
#define REGISTER_KIND_H

/* What a change of register is that is none from M1 to M2 or back. */

#include "register/evidence.h"
#include "register/flip.h"

#define KIND_MOST 0.4 /* confidence at most of what is no flip: doubtful, not asserted */

/* Of the change on entering voiced frame `at`, from what is heard within 0.15 s of it in the same
 * stretch of voice; the first that holds:
 *
 *  whistle    pitch at or above 1000 Hz: M1 and M2 meet far below (M3: Garnier et al. 2010, from
 *             memory);
 *  fry        one side at or below 75 Hz with irregular cycles, nine semitones or more under the
 *             other side (M0: Hollien and Michel 1968, from memory); or a leap of 18 semitones or
 *             more, wider than any yodel's: pulses of fry too far apart for a pitch, whose ringing
 *             is heard as one;
 *  doubling   the period doubled in most frames of one side and in fewer than half of the other's,
 *             but not where the pitch leaps by a semitone and within 0.3 s most are no more
 *             doubled: folds that go over to another register may pass through some doubled
 *             periods; or the pitch an octave apart while on the lower side the odd harmonics lie
 *             6 dB or more under their neighbours;
 *  consonant  a hole in the voice within 40 ms: of 60 ms or more, or of 35 ms across which the
 *             pitch leaps by less than 1.5 semitones: a voice that cracks may stop for so long.
 *
 * Otherwise, and where `at` begins a stretch (an onset), FLIP_PROPER. Harmonics that are NaN tell
 * nothing. `at` is below ev->n. */
flip_kind kind_of(const evidence *ev, track *const *tracks, size_t at);

#endif
