/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_FAULTS_H
#define VOICE_FAULTS_H

/* What goes wrong with recordings, planted in a sound at a known strength. */

#include "voice/sing.h"

#include <stdint.h>

/* A take of the first (1) or second (2) test voice at rate_hz, as it leaves the lips: family and
 * seed as in families.h and cast.h, by name; kinds come round with `take`. */
sound fault_free_take(int voice, const char *named, uint64_t seed, int take, int rate_hz);

/* seconds of silence, then takes 0..n-1 with as much after each; noise, rather low than
 * white, noise_db under the loudest parts all through. */
sound fault_free_session(int voice, const char *named, uint64_t seed, int n, double seconds,
                         double noise_db, int rate_hz);

/* The loudest parts are cut `db` under their highest peak. */
void fault_clip(sound *x, double db);
/* y = tanh(drive x / peak) / drive * peak. */
void fault_squash(sound *x, double drive);
void fault_dc(sound *x, double share);
/* Noise of `rms`; a sine at hz with half its amplitude at three times that. */
void fault_noise(sound *x, double rms, uint64_t seed);
void fault_hum(sound *x, double hz, double rms);
/* `n` holes of span_s, evenly over the sound; filled with 0. */
void fault_holes(sound *x, int n, double span_s);
/* `n` times span_s of sound is lost and the rest moves up. */
void fault_splices(sound *x, int n, double span_s);
/* Nothing above hz. */
void fault_lowpass(sound *x, double hz);
/* Gain that takes levels to the loudest with a share of `strength` of their distance in dB, at once
 * when louder, within release_s when softer, at most by most_db. */
void fault_gain(sound *x, double strength, double release_s, double most_db);
/* A room of rt60_s whose sound has direct_db less than the direct one. */
void fault_room(sound *x, double rt60_s, double direct_db, uint64_t seed);
/* Adds y, db louder than x by the RMS of what sounds. */
void fault_other(sound *x, const sound *y, double db);

double fault_peak(const sound *x);

#endif
