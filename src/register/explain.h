/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_EXPLAIN_H
#define REGISTER_EXPLAIN_H

/* Why registers and flips were told as they were: what the model of the singer holds, what named
 * the registers, and what spoke for and against each flip. docs/flips.md lists the rows. */

#include "register/figures.h"
#include "register/search.h"

typedef enum explain_about {
    EXPLAIN_TRACT,     /* the curve: at Hz, dB re its mean */
    EXPLAIN_SOURCE,    /* at harmonic, dB re the mean of harmonics 1 to 8 */
    EXPLAIN_NAMING,    /* what named M2: nats for the names given over the two exchanged */
    EXPLAIN_REGISTERS, /* two registers over one */
    EXPLAIN_FLIP       /* nats for the flip, below 0 against it */
} explain_about;
const char *explain_about_name(explain_about a); /* as in the table */

typedef struct explain_row {
    explain_about about;
    char *take; /* EXPLAIN_FLIP alone, else NULL */
    double time_s;
    flip_direction direction;
    const char *item; /* what it is, static */
    double at;        /* where, or how large; NaN without */
    const char *at_unit;
    double value;
    const char *unit;
} explain_row;

typedef struct explanation {
    size_t n, room;
    explain_row *rows; /* in the order of explain_about, flips by take and time */
} explanation;

/* found[n_tracks]: the flips that were told. Appends to `out`. */
void explain_world(const figures_of *of, size_t n_tracks, const world *w, const search_settings *s,
                   const flips *found, explanation *out);
void explanation_clear(explanation *x);

#endif
