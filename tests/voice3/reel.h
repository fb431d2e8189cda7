/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE3_REEL_H
#define VOICE3_REEL_H

/* Takes of the third voice, and recordings with the truth beside them, in the layout of the first
 * voice's studio_family (see voice/studio.h). boundary.tsv states the mean pitch and level at which
 * flips came, up and down, as this voice has no rule: slope is 0, and a parameter is NaN where no
 * flip came. Where the folds double their period, the pitch is that of the single cycle. */

#include "base/message.h"
#include "voice3/ensemble.h"
#include "voice3/periods.h"

#define REEL_RATE_HZ 48000.0

typedef struct reel { /* one take */
    size_t n;
    double *samples; /* at REEL_RATE_HZ, breath in it, no noise of a room; not scaled */
    motion folds;    /* at the rate of the model */
} reel;

/* One take sung; reel_clear(). */
reel reel_sing(ensemble_singer s, uint64_t seed, int take);
/* The same folds under other orders. */
reel reel_follow(ensemble_singer s, uint64_t seed, int take, const gesture *g);
void reel_clear(reel *r);

/* Makes the folder when it is not there (its parent must be). */
bool reel_write(ensemble_singer s, uint64_t seed, const char *folder, err *e);

#endif
