/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_CHAIN_GRID_H
#define REGISTER_CHAIN_GRID_H

/* The states of the chain: each register with its drift on a grid. */

#include "base/lanes.h"

/* Bin k of M1's drift is lane k / EACH of vector k % EACH, so that bin k + 1 is the same lane of
 * the next vector; M2's are HALF lanes on. What is beyond BINS is 0. */
enum { BINS = 17, EACH = 5, HALF = LANES / 2 };
typedef struct states {
    float of[EACH][LANES];
} states;

typedef struct grid {
    double widest;                       /* drift */
    float c[EACH][LANES], sign[LANES];   /* register and drift; -1 in M1, 1 in M2 */
    states stationary, less, more, stay; /* per frame, a step down, up or none */
} grid;

/* drift_sd: in steps from M1 to M2; drift_s: its time constant; hop_s: from frame to frame. */
grid grid_new(double drift_sd, double drift_s, double hop_s);

#endif
