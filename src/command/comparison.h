/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_COMPARISON_H
#define COMMAND_COMPARISON_H

/* Several singers' boundaries over their sessions at the same levels, and by how much each differs
 * from the first. */

#include "fit/course.h"
#include "journal/plane.h"
#include "show/compare_draw.h"

typedef struct comparison {
    size_t n, n_levels, middle; /* singers; levels, and which of them is the middle */
    const char **names;         /* [n] */
    plane *planes;              /* [n] */
    double at_db[COMPARE_LEVELS];
    course *courses; /* [n * COMPARE_LEVELS] */
} comparison;

const course *comparison_course(const comparison *c, size_t singer, size_t level);
/* The sessions of the first singer and of another on whether it is the other: coefficient 1 is the
 * difference. False where not both are told. */
bool comparison_difference(const comparison *c, size_t other, size_t level, boundary_row row,
                           double assumed_scatter_st, scatter_fit *out);
/* All but the first by where they flip going up, the lowest first, and those not told last. */
void comparison_sort(comparison *c, double assumed_scatter_st);
void comparison_clear(comparison *c);

#endif
