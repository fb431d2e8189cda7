/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/comparison.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const course *comparison_course(const comparison *c, size_t singer, size_t level)
{
    return &c->courses[singer * COMPARE_LEVELS + level];
}

void comparison_clear(comparison *c)
{
    for (size_t i = 0; i < c->n; i++)
        plane_clear(&c->planes[i]);
    for (size_t i = 0; i < c->n * COMPARE_LEVELS; i++)
        course_clear(&c->courses[i]);
    free(c->names);
    free(c->planes);
    free(c->courses);
}

bool comparison_difference(const comparison *c, size_t other, size_t level, boundary_row row,
                           double assumed, scatter_fit *out)
{
    const course *both[2] = {comparison_course(c, 0, level), comparison_course(c, other, level)};
    scatter_point *points = xcalloc(both[0]->n + both[1]->n, sizeof *points);
    size_t n = 0;
    for (int k = 0; k < 2; k++) {
        scatter_point *own = course_points(both[k], row, NULL);
        for (size_t i = 0; i < both[k]->n; i++) {
            points[n] = own[i];
            points[n++].x[1] = k;
        }
        free(own);
    }
    bool told = scatter_regress(points, n, 2, assumed, out);
    free(points);
    return told;
}

static void swap_singers(comparison *c, size_t i, size_t k)
{
    const char *name = c->names[i];
    plane p = c->planes[i];
    course levels[COMPARE_LEVELS];
    memcpy(levels, &c->courses[i * COMPARE_LEVELS], sizeof levels);
    c->names[i] = c->names[k];
    c->planes[i] = c->planes[k];
    memcpy(&c->courses[i * COMPARE_LEVELS], &c->courses[k * COMPARE_LEVELS], sizeof levels);
    c->names[k] = name;
    c->planes[k] = p;
    memcpy(&c->courses[k * COMPARE_LEVELS], levels, sizeof levels);
}

static double up_from_first(const comparison *c, size_t other, double assumed)
{
    scatter_fit f;
    bool told = comparison_difference(c, other, c->middle, BOUNDARY_UP_PITCH, assumed, &f);
    return told ? scatter_figure(&f, 1).estimate : INFINITY;
}

void comparison_sort(comparison *c, double assumed)
{
    for (size_t i = 2; i < c->n; i++)
        for (size_t k = i; k > 1 && up_from_first(c, k, assumed) < up_from_first(c, k - 1, assumed);
             k--)
            swap_singers(c, k, k - 1);
}
