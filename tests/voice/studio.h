/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_STUDIO_H
#define VOICE_STUDIO_H

/* Recordings of test voices, with the truth beside them, as files.
 *
 * A family's singer in a folder:
 *   take-NN.wav   16-bit mono (24-bit for some singers), takes from 00
 *   takes.tsv     take kind: what was meant; flips of a take of kind atwill are none of the
 *                 boundary's
 *   frames.tsv    take time_s pitch_st level_db register: every 5 ms; register 0 is not voiced, and
 *                 then pitch is empty and level -inf
 *   flips.tsv     take time_s direction span_ms leap_st pitch_before_st level_db
 *   boundary.tsv  parameter value: up_st (pitch of up-flips at level_db), down_st, slope, level_db,
 *                 spread, hysteresis, leap_st, h1h2_step_db, rate_hz, ... */

#include "base/message.h"
#include "voice/perform.h"

#include <limits.h>
#include <stdio.h>

/* The singer's first `takes` takes, all where there are fewer; STUDIO_ALL: all. Makes the folder
 * when it is not there (its parent must be). Fails with a sentence when a file cannot be written.
 */
enum { STUDIO_ALL = INT_MAX };
bool studio_family(family f, uint64_t seed, int takes, const char *folder, err *e);
/* The same with an EGG (see contact.h) beside the microphone, whose samples are the same. On the
 * right of frames.tsv contact_quotient (to 3/7 of the amplitude), contact_peaks (between the peaks
 * of the slope) and egg_lost (1: no contact with the skin); in boundary.tsv egg_channel, egg_turned
 * (1: contact counts downwards) and egg_noise_db. */
bool studio_family_egg(family f, uint64_t seed, int takes, const char *folder, err *e);

/* A scenario: a table with a row a take, rendered under `folder`.
 *
 *   file        path of the WAV under the folder; folders on the way are made
 *   singer      name: all that is not given follows from it
 *   kind        slide updown swell hold atwill melody
 *   from_st     pitch at the start
 * and, when the column is there and the cell filled, in place of the default in brackets:
 *   to_st [from_st]   level_db [-32]   to_db [level_db]   seconds [6]
 *   date [""]         goes to the truth alone
 *   family [clear]    vowel [the family's]   sex man or woman [the family's, else by the name]
 *   seed [from the singer's name]
 *   boundary_st boundary_slope boundary_db spread hysteresis leap_st span_ms snr_db rate_hz
 *                     [as drawn for the singer; boundary_db, where boundary_st holds, -32;
 *                     rate_hz 16000..96000]
 *   held [0]          1 or 2: the register is held whatever the boundary says
 *
 * Levels are those of the clean voice, dB re full scale. Beside the WAVs:
 *   truth.tsv     file singer date time_s direction span_ms leap_st pitch_before_st level_db atwill
 *   frames.tsv    take time_s pitch_st level_db register, as above; take is the file's path
 *   boundary.tsv  singer date vowel level_db up_st down_st slope spread hysteresis leap_st: a row
 *                 for each singer, date and vowel, as in the first of its rows */
bool studio_scenario(const char *table_path, const char *folder, err *e);

/* The rows of frames.tsv for one take. */
void studio_frames_write(FILE *out, const char *take, const performance *p);

#endif
