/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_EXPLAIN_H
#define REGISTER_EXPLAIN_H

/* Why registers and flips were told as they were: what the model of the singer holds, what named
 * the registers, and what spoke for and against each flip. docs/flips.md lists the rows. */

#include "register/figures.h"
#include "register/search.h"

typedef enum explain_about {
    EXPLAIN_TRACT,     /* how many vowels; the curve: at Hz, dB re its mean */
    EXPLAIN_SOURCE,    /* at harmonic, dB re the mean of harmonics 1 to 8 */
    EXPLAIN_NAMING,    /* what named M2: nats for the names given over the two exchanged */
    EXPLAIN_REGISTERS, /* two registers over one */
    EXPLAIN_FLIP       /* nats for the flip, below 0 against it */
} explain_about;
const char *explain_about_name(explain_about a); /* as in the table */

typedef struct explain_row {
    explain_about about;
    size_t part;  /* from 1 on, of those in which the takes were decoded (register/parts.h) */
    size_t track; /* EXPLAIN_FLIP alone: its number among those that were decoded together */
    char *take;   /* likewise, else NULL */
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
    explain_row *rows; /* by part, in the order of explain_about, flips by take and time */
} explanation;

/* found[n_tracks]: the flips that were told. Appends to `out`, as rows of part 1. */
void explain_world(const figures_of *of, size_t n_tracks, const world *w, const flips *found,
                   explanation *out);
/* The row's take is the explanation's from now on. */
void explanation_append(explanation *x, explain_row row);
void explanation_clear(explanation *x);

#endif
