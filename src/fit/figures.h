/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_FIGURES_H
#define FIT_FIGURES_H

/* The rows of a boundary, each with its 95 % interval or the reason why it cannot be told. */

#include "fit/attempts.h"
#include "fit/estimate.h"

typedef struct figures {
    figure rows[BOUNDARY_ROWS];
    char *reasons[BOUNDARY_ROWS]; /* NULL when told */
    figure curve;                 /* st/dB^2; NaN where the boundary is straight */
    double lo_ratio[2],
        hi_ratio[2]; /* half-widths of a direction's pitch over its standard error */
} figures;

/* e and a belong together. Free with figures_clear. */
figures figures_of(const estimate *e, const attempts *a);
void figures_clear(figures *f);

/* The row of a direction that is the counterpart of one of the up rows pitch, slope, spread. */
boundary_row figures_row(flip_direction d, boundary_row up_row);

#endif
