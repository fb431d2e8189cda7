/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_FIGURES_H
#define REGISTER_FIGURES_H

/* The figures of one flip: where it lies, what pitch, level and source do at it. */

#include "register/evidence.h"
#include "register/flip.h"
#include "register/model.h"
#include "register/refine.h"

/* What is known of all voice when a flip is told. */
typedef struct figures_of {
    const evidence *ev;
    track *const *tracks;
    const model *m;
    const saying *says;        /* [ev->n] */
    const double *time_s;      /* [ev->n] */
    const struct contact *egg; /* tells the place of a flip where it can; or NULL */
} figures_of;

/* The flip on entering frame `at`, the first of the new register; nothing else happens in frames
 * first..last. `placed`: what refine_flip() tells of it; NULL, or time_s NaN, where that is not
 * known. Everything but the confidence, which is NaN, and the kind. Without voice on a side its
 * figures are NaN. */
flip figures_measure(const figures_of *of, size_t first, size_t last, size_t at,
                     flip_direction direction, const refined *placed);

#endif
