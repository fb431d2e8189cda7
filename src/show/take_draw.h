/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_TAKE_DRAW_H
#define SHOW_TAKE_DRAW_H

/* The picture of one take over time: pitch with its register, level, how sure the register is, and
 * the flips. */

#include "register/flip.h"
#include "show/picture.h"
#include "voice/track.h"

/* Frames to draw, few enough for a picture: of a long take each is one of several. */
typedef struct take_frames {
    size_t n, room, stride;
    double *time_s, *pitch_st, *level_db, *p_m2; /* [n] as in voice/track.h */
    unsigned char *reg;
} take_frames;

/* For a take of n_frames; then its pieces in order, as take_frames_add; free with _clear. */
take_frames take_frames_new(size_t n_frames);
void take_frames_add(take_frames *f, const track *piece, size_t first); /* first: in the take */
void take_frames_clear(take_frames *f);

typedef struct take_labels {
    const char *take; /* any text; its folder is left out */
    const char *level_scale;
    double a4_hz;
} take_labels;

/* The flips in words: how many, and of the first ones when and from which note to which. The caller
 * frees. */
char *take_words(const flips *found, double a4_hz);

/* A take without voice is drawn empty and says so. */
bool take_draw(const take_frames *f, const flips *found, const take_labels *labels,
               const picture *where, err *e);

#endif
