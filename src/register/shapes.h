/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_SHAPES_H
#define REGISTER_SHAPES_H

/* Frames as the shapes of vowels (register/vowels.h) are fitted to them. A shape lies at
 * VOWEL_NODES nodes along frequency and is linear between them. */

#include "register/design.h"

typedef struct seen { /* a frame; nothing counts where sum is 0 */
    float left[HARMONICS], w[HARMONICS], sum;
    float part[HARMONICS];         /* of the way to the next node */
    unsigned char node[HARMONICS]; /* the last at or below each harmonic */
} seen;

/* out[d->ev->n]: residuals r, NaN for none, of variance var beside that of their noise. */
void shapes_see(const design *d, const float var[HARMONICS], float (*r)[HARMONICS], seen *out);

/* left -= by times what the shape does, where a harmonic counts. */
void shapes_leave(seen *s, const float shape[VOWEL_NODES], float by);
/* The same of y, where var is finite. */
void shapes_take(const seen *s, const float shape[VOWEL_NODES], float by,
                 const float var[HARMONICS], float y[HARMONICS]);

/* What a frame that counts has of a shape, its weighted mean taken out as the gain is free. */
typedef struct shape_share {
    float mean;        /* of the shape at its harmonics */
    float along, mass; /* weighted sums of the shape times what is left, and of its square */
    float square;      /* mean square over harmonics */
} shape_share;
shape_share shapes_share(const seen *s, const float shape[VOWEL_NODES]);

/* Weighted least squares for a shape: for each node, of the harmonics from there to the next. */
typedef struct shape_sums {
    float at[VOWEL_NODES][LANES];
} shape_sums;
/* A frame that has x of the shape, on average, and xx of its square; mean: of the shape before. */
void shapes_add(shape_sums *to, const seen *s, float x, float xx, float mean);
/* With `small` on the shape's squares and `smooth` on its squared second differences, 1 / dB^2. */
void shapes_solve(const shape_sums *sums, double small, double smooth, float shape[VOWEL_NODES]);

/* Several shapes, those of one node together. */
enum { SHAPES_ROOM = (VOWELS_MOST + LANES - 1) / LANES * LANES };
typedef struct shapes {
    int n;
    float at[VOWEL_NODES][SHAPES_ROOM];
} shapes;
shapes shapes_of(const vowels *v);
/* p[n][SHAPES_ROOM]: exp(-by / 2 times the weighted sum of squares that each shape leaves), the
 * best of a frame 1; 0 for no shape. */
void shapes_likely(const shapes *all, const seen *s, size_t n, float by, float (*p)[SHAPES_ROOM]);

#endif
