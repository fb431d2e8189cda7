/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/gaps.h"

#include "base/array.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum { ORDER = 4, LEAST_RUN = 12, CELLS = 64, AROUND = 20, BESIDE = 2, ROUGH_RATE_HZ = 16000 };
static const double least_run_s = 0.001, edge_s = 0.003, outstanding = 10;

typedef struct cell { /* a millisecond */
    double rough;     /* largest fourth difference */
    double power;     /* mean square */
} cell;

struct gaps {
    double rate_hz, floor_power, share; /* share: of a sample in the mean of edge_s */
    size_t seen;
    double power; /* mean over edge_s before this sample */
    float value;  /* of the run */
    size_t run;
    double power_before; /* the run */
    bool waiting;        /* a hole has ended and waits for sound */
    gap hole;
    size_t sound_due; /* sample at which it must have come */
    double past[ORDER];
    cell now, ring[CELLS];
    size_t in_cell, cells;
    gap found[GAPS_KEPT];
    size_t n;
};

gaps *gaps_new(int rate_hz, double floor_db)
{
    gaps *g = xcalloc(1, sizeof *g);
    g->rate_hz = rate_hz;
    g->floor_power = pow(10, floor_db / 10);
    g->share = -expm1(-1 / (edge_s * g->rate_hz));
    return g;
}

void gaps_free(gaps *g)
{
    free(g);
}

static void keep(gaps *g, gap found)
{
    if (g->n < GAPS_KEPT)
        g->found[g->n++] = found;
}

static void end_run(gaps *g)
{
    double value = (double)g->value, span_s = (double)g->run / g->rate_hz;
    if (g->run < LEAST_RUN || span_s < least_run_s || g->power_before < g->floor_power ||
        value * value > g->power_before / 4)
        return;
    g->waiting = true;
    g->hole = (gap){(double)(g->seen - g->run) / g->rate_hz, span_s, GAP_HOLE};
    g->sound_due = g->seen + (size_t)(edge_s * g->rate_hz);
    g->power = 0;
}

static void look_for_hole(gaps *g, float x)
{
    if (g->run && x == g->value) {
        g->run++;
    } else {
        end_run(g);
        g->run = 1;
        g->value = x;
        g->power_before = g->power;
    }
    g->power += g->share * ((double)x * (double)x - g->power);
    if (g->waiting && g->seen >= g->sound_due) {
        g->waiting = false;
        if (g->power > g->floor_power)
            keep(g, g->hole);
    }
}

static const cell *back(const gaps *g, size_t cells)
{
    return &g->ring[(g->cells - 1 - cells) % CELLS];
}

/* Looks at the cell AROUND back, now that all about it is there. */
static void look_for_splice(gaps *g)
{
    if (g->cells < 2 * AROUND + 1)
        return;
    double around = 0, before = 0, after = 0;
    const cell *here = back(g, AROUND);
    for (size_t k = 0; k <= 2 * AROUND; k++) {
        size_t off = k > AROUND ? k - AROUND : AROUND - k;
        if (off > BESIDE)
            around = fmax(around, back(g, k)->rough);
        if (off && k > AROUND)
            before += back(g, k)->power / AROUND;
        if (off && k < AROUND)
            after += back(g, k)->power / AROUND;
    }
    if (here->rough > outstanding * around && before > g->floor_power && after > g->floor_power &&
        around > 0)
        keep(g, (gap){(double)(g->cells - 1 - AROUND) * 0.001, 0, GAP_SPLICE});
}

static void add_to_cell(gaps *g, double x)
{
    double d = x - 4 * g->past[0] + 6 * g->past[1] - 4 * g->past[2] + g->past[3];
    for (int k = ORDER - 1; k > 0; k--)
        g->past[k] = g->past[k - 1];
    g->past[0] = x;
    if (g->seen >= ORDER)
        g->now.rough = fmax(g->now.rough, fabs(d));
    g->now.power += x * x;
    g->in_cell++;
    if ((double)(g->seen + 1) < (double)(g->cells + 1) * 0.001 * g->rate_hz)
        return;
    g->now.power /= (double)g->in_cell;
    g->ring[g->cells++ % CELLS] = g->now;
    g->now = (cell){0, 0};
    g->in_cell = 0;
    look_for_splice(g);
}

void gaps_add(gaps *g, const float *x, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        look_for_hole(g, x[i]);
        if (g->rate_hz >= ROUGH_RATE_HZ)
            add_to_cell(g, (double)x[i]);
        g->seen++;
    }
}

const gap *gaps_found(const gaps *g, size_t *n)
{
    *n = g->n;
    return g->found;
}
