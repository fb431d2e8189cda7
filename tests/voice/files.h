/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_FILES_H
#define VOICE_FILES_H

/* Folders, tables and WAV files of the test voice; each failure leaves one sentence. */

#include "base/message.h"
#include "voice/sing.h"

#include <stdio.h>

bool files_folder(const char *path, err *e); /* makes the last folder when it is not there */
bool files_way_to(const char *path, err *e); /* makes every folder on the way to a file */
bool files_create(const char *folder, const char *name, FILE **out, err *e);

/* Mono, 16 or 24 bits. A sample beyond full scale is a failure: the truth of level would be gone.
 */
bool files_write_wav(const char *path, const sound *x, int bits, err *e);

/* The same with n channels of the same length and rate. */
bool files_write_channels(const char *path, const sound *const x[], int n, int bits, err *e);

#endif
