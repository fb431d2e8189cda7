/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice3/cover.h"

#include <math.h>
#include <stdbool.h>

#define JET 1.2 /* gap where the jet leaves over the narrowest one */
#define END_GAP_M 0.018
#define COLLISION 3.0 /* stiffness of a collision over that of the mass */

enum { NODES = COVER_MASSES + 2 };

/* Height of the masses and the ends above the lower end. */
static const double height_m[NODES] = {0, 0.0005, 0.002, 0.00275, 0.003};

static double rest(const cover *c, int i, double tension)
{
    return c->rest_m[i] + c->parting_m * log(tension);
}

/* The narrowest of the masses' gaps, the lowest of those that are closed. */
static int throat(const cover_gaps *g)
{
    int at = 1;
    for (int i = 2; i <= COVER_MASSES && g->gap_m[at] > 0; i++)
        if (g->gap_m[i] < g->gap_m[at])
            at = i;
    return at;
}

cover_gaps cover_measure(const cover *c, const cover_state *s, double tension)
{
    cover_gaps g = {.gap_m = {[0] = END_GAP_M, [NODES - 1] = END_GAP_M}};
    for (int i = 0; i < COVER_MASSES; i++) {
        g.gap_m[i + 1] = 2 * (rest(c, i, tension) + s->x_m[i]);
        if (g.gap_m[i + 1] < 0)
            g.contact += (height_m[i + 2] - height_m[i]) / 2;
    }
    g.contact /= (height_m[4] + height_m[3] - height_m[1] - height_m[0]) / 2;
    g.area_m2 = COVER_LENGTH_M * fmax(g.gap_m[throat(&g)], 0);
    g.jet_m2 = JET * g.area_m2;
    return g;
}

/* Integrals of 1 / gap^2 and of z / gap^2 from 0 to `to` along a plate. */
static void plate_integrals(double gap, double slope, double to, double *plain, double *lever)
{
    double u = slope * to / gap;
    *plain = to / (gap * (gap + slope * to));
    *lever = fabs(u) < 1e-3 ? to * to / (gap * gap) * (0.5 - 2 * u / 3 + 0.75 * u * u)
                            : (log1p(u) - u / (1 + u)) / (slope * slope);
}

/* Adds what the pressure on plate i, over `to` of its length, does to its two ends. With a jet (m;
 * 0: the air stands) the pressure falls as the air speeds up. */
static void push(const cover_gaps *g, int i, double to, double jet_m, double pa, double *force)
{
    double length = height_m[i + 1] - height_m[i], plain = 0, lever = 0;
    if (jet_m > 0)
        plate_integrals(g->gap_m[i], (g->gap_m[i + 1] - g->gap_m[i]) / length, to, &plain, &lever);
    double all = pa * COVER_LENGTH_M * (to - jet_m * jet_m * plain);
    double upper = pa * COVER_LENGTH_M * (to * to / 2 - jet_m * jet_m * lever) / length;
    force[i] += all - upper;
    force[i + 1] += upper;
}

static void air_force(const cover_gaps *g, double below_pa, double above_pa, double *force)
{
    int at = throat(g);
    double jet = g->jet_m2 / COVER_LENGTH_M;
    bool attached = true;
    for (int i = 0; i < NODES - 1; i++) {
        double length = height_m[i + 1] - height_m[i];
        double rise = (g->gap_m[i + 1] - g->gap_m[i]) / length;
        push(g, i, length, 0, above_pa, force);
        if (!attached)
            continue;
        attached = jet > 0 ? i < at || g->gap_m[i + 1] < jet : i + 1 < at;
        double to = attached ? length : (jet - g->gap_m[i]) / rise;
        push(g, i, to, jet, below_pa - above_pa, force);
    }
}

void cover_step(const cover *c, cover_state *s, const cover_gaps *g, double tension,
                double below_pa, double above_pa, double step_s)
{
    double force[NODES] = {0}, a[COVER_MASSES];
    air_force(g, below_pa, above_pa, force);
    for (int i = 0; i < COVER_MASSES; i++) {
        bool touches = g->gap_m[i + 1] < 0;
        double k = c->stiffness_n_m[i] * pow(tension, c->stretch[i]);
        double damping = c->damping[i] + (touches ? c->contact_damping : 0);
        double f =
            force[i + 1] - k * s->x_m[i] - 2 * damping * sqrt(c->mass_kg[i] * k) * s->v_m_s[i];
        if (i > 0)
            f -= c->between_n_m[i - 1] * tension * (s->x_m[i] - s->x_m[i - 1]);
        if (i < COVER_MASSES - 1)
            f -= c->between_n_m[i] * tension * (s->x_m[i] - s->x_m[i + 1]);
        if (touches)
            f -= COLLISION * k * g->gap_m[i + 1] / 2;
        a[i] = f / c->mass_kg[i];
    }
    for (int i = 0; i < COVER_MASSES; i++) {
        s->v_m_s[i] += step_s * a[i];
        s->x_m[i] += step_s * s->v_m_s[i];
    }
}
