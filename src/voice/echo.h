/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_ECHO_H
#define VOICE_ECHO_H

/* How fast sound dies away after the voice stops: the room, heard at the microphone.
 *
 * Where voice ends, the time from 5 to 25 dB under the level that it ended from, times three, as in
 * T20 of ISO 3382-2 (from memory), but after a voice, and with direct sound and room together: near
 * the microphone a live room counts for little, which is what is asked. An ending counts when the
 * voice was level within 3 dB in the 0.3 s before it and then falls by 4 dB within 60 ms (else it
 * fades by itself), and falls by 30 dB or more; where it falls by 20 dB at least, the time from 5
 * to 15 dB counts, times six. A singer never stops faster than the room, so the fastest quarter of
 * endings counts. */

#include "base/message.h"
#include "voice/track_store.h"

/* Seconds for 60 dB; NaN when no ending counts. *endings: how many did. */
bool echo_measure(const track_store *s, size_t take, double *decay_s, size_t *endings, err *e);

#endif
