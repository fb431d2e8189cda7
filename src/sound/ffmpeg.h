/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_FFMPEG_H
#define SOUND_FFMPEG_H

/* What phones make and libsndfile does not read (M4A with AAC, AMR, the sound of a video), decoded
 * by an ffmpeg process into a nameless temporary file (see base/spool.h) of AU, 24 bits, all
 * channels, at its own rate: 3 bytes a sample. The file's name is an argument, never part of a
 * command, and playlists reach no network. */

#include "base/message.h"
#include "sound/source.h"

typedef enum ffmpeg_end { FFMPEG_DONE, FFMPEG_MISSING, FFMPEG_REFUSED } ffmpeg_end;

/* On FFMPEG_DONE s->fd is the decoded sound; else it is as it was. MISSING: there is no such
 * program; REFUSED: it found no sound, or there is no room for it. */
ffmpeg_end ffmpeg_decode(source *s);

#endif
