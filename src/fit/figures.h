/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_FIGURES_H
#define FIT_FIGURES_H

/* The rows of a boundary, each with its 95 % interval or the reason why it cannot be told. */

#include "fit/attempts.h"
#include "fit/estimate.h"

/* Half-widths of a direction's pitch over its standard error; NaN where it is not told. */
typedef struct ratios {
    double lo[2], hi[2];
} ratios;

typedef struct figures {
    bool done; /* false: the others are not yet made */
    figure rows[BOUNDARY_ROWS];
    char *reasons[BOUNDARY_ROWS]; /* NULL when told */
    figure curve;                 /* st/dB^2; NaN where the boundary is straight */
    ratios own, other;            /* of the estimate and the one it is averaged with */
} figures;

/* e and a belong together. Free with figures_clear. */
figures figures_of(const estimate *e, const attempts *a);
void figures_clear(figures *f);

/* The pitch of a direction's boundary at a level less at_db. */
figure figures_pitch(const figures *f, const estimate *e, flip_direction d,
                     double level_less_at_db);

/* The row of a direction that is the counterpart of one of the up rows pitch, slope, spread. */
boundary_row figures_row(flip_direction d, boundary_row up_row);

#endif
