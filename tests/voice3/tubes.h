/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE3_TUBES_H
#define VOICE3_TUBES_H

/* The air above and below the folds: waves in a windpipe and in a tract of short tubes, one step of
 * time long each (Kelly and Lochbaum 1962), with the flow between them (Titze 1984; both from
 * memory). Lungs and lips reflect in part; every tube loses a little. */

#include <stddef.h>

#define TUBES_RATE_HZ 96000.0 /* a tube is 3.6 mm */

enum { TUBES_MOST = 64 };

typedef struct tubes {
    size_t n_tract, n_windpipe;
    double area_m2[TUBES_MOST];                /* of the tract from the folds up */
    double up[TUBES_MOST], down[TUBES_MOST];   /* waves of pressure (Pa) in the tract */
    double rise[TUBES_MOST], fall[TUBES_MOST]; /* in the windpipe: towards the folds; away */
    double lip, lip_flow;                      /* states of the lips */
    double coupled;                            /* 0: the folds do not feel the waves; 1: do */
} tubes;

typedef struct tubes_air {
    double flow_m3_s, below_pa, above_pa; /* through the folds, and the pressures that they feel */
    double heard;                         /* radiated: the change of the flow at the lips */
} tubes_air;

/* At rest. Tract of `length_m`, its area (cm2) at n equal distances from folds to lips. */
tubes tubes_rest(double length_m, double windpipe_m, const double *area_cm2, size_t n,
                 double coupled);

/* One step with the folds' jet at jet_m2, lungs_pa below it; hiss_pa is added above. */
tubes_air tubes_step(tubes *t, double jet_m2, double lungs_pa, double hiss_pa);

#endif
