/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/simpath.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_randist.h>

/* After a leap the singer finds back to the intended pitch with this time constant. */
static const double LEAP_S = 0.5;

/* 0 at the ends, 1 in the middle: straight up and straight down. */
static double there_and_back(const simtake *t, double time_s)
{
    double u = time_s / t->seconds;
    return t->one_way ? u : 1.0 - fabs(2.0 * u - 1.0);
}

static double intended_pitch(const simtake *t, double time_s)
{
    double part = t->kind == SIM_SLIDE ? there_and_back(t, time_s) : 0;
    return t->from_st + part * (t->to_st - t->from_st);
}

static double sung_level(const simtake *t, double time_s)
{
    double part = t->kind == SIM_SWELL ? there_and_back(t, time_s) : 0;
    return t->from_db + part * (t->to_db - t->from_db) + t->drift_db * time_s / t->seconds;
}

double simpath_boundary(const simsinger *s, flip_direction d, double level_db)
{
    double x = level_db - s->at_db;
    return (d == FLIP_UP ? s->up_st + s->up_slope * x : s->down_st + s->down_slope * x) +
           s->curve * x * x;
}

/* How far beyond the boundary of this register, in its own direction. */
static double beyond(const simsinger *s, int reg, double pitch_st, double level_db, double offset)
{
    double past = pitch_st - offset - simpath_boundary(s, reg == 1 ? FLIP_UP : FLIP_DOWN, level_db);
    return reg == 1 ? past : -past;
}

/* One draw given that it lies beyond z. GSL's tail generator wants z > 0. */
static double threshold(const simsinger *s, int reg, double z, gsl_rng *r)
{
    double spread = reg == 1 ? s->up_spread : s->down_spread, draw;
    if (z > 0)
        return gsl_ran_gaussian_tail(r, z, spread);
    do
        draw = gsl_ran_gaussian(r, spread);
    while (draw <= z);
    return draw;
}

/* Which part of the step before a frame lies after the moment at which `limit` was passed: a leap
 * falls between frames, and has been found back from for so long. */
static double part_after(double past_before, double past, double limit)
{
    return past_before < limit ? (past - limit) / (past - past_before) : 1;
}

static void burst(const simsinger *s, path *p, unsigned char *reg, double step_s, gsl_rng *r)
{
    if (gsl_rng_uniform(r) >= s->false_share)
        return;
    size_t length = (size_t)(gsl_ran_flat(r, 0.06, 0.3) / step_s);
    size_t at = (size_t)(gsl_rng_uniform(r) * (double)p->n);
    unsigned char wrong = reg[at] == 1 ? 2 : 1;
    for (size_t i = at; i < p->n && i < at + length; i++)
        reg[i] = wrong;
}

path simpath_new(const simsinger *s, const simtake *t, const char *take, gsl_rng *r)
{
    size_t n = (size_t)(t->seconds / t->step_s) + 1;
    double *time = xmalloc(n, sizeof *time), *pitch = xmalloc(n, sizeof *pitch);
    double *level = xmalloc(n, sizeof *level), shift = 0;
    unsigned char *label = xmalloc(n, 1);
    double offset = gsl_ran_gaussian(r, s->offset_st);
    double start_st = intended_pitch(t, 0), start_db = sung_level(t, 0);
    int reg = beyond(s, 1, start_st, start_db, 0) < 0 ? 1 : 2;
    double past_before = beyond(s, reg, start_st, start_db, offset);
    double limit = threshold(s, reg, past_before, r);
    for (size_t i = 0; i < n; i++) {
        time[i] = t->step_s * (double)i;
        level[i] = sung_level(t, time[i]);
        shift *= exp(-t->step_s / LEAP_S);
        pitch[i] = intended_pitch(t, time[i]) + shift;
        double past = beyond(s, reg, pitch[i], level[i], offset);
        if (past > limit) {
            double leap = reg == 1 ? s->up_leap_st : s->down_leap_st;
            if (s->leap_sd_st > 0)
                leap += gsl_ran_gaussian(r, s->leap_sd_st);
            leap *= exp(-part_after(past_before, past, limit) * t->step_s / LEAP_S);
            shift += leap;
            pitch[i] += leap;
            reg = reg == 1 ? 2 : 1;
            past = beyond(s, reg, pitch[i], level[i], offset);
            limit = threshold(s, reg, past, r);
        }
        past_before = past;
        label[i] = (unsigned char)reg;
    }
    path p = {
        .take = take, .n = n, .time_s = time, .pitch_st = pitch, .level_db = level, .reg = label};
    burst(s, &p, label, t->step_s, r);
    return p;
}

void simpath_free(path *p)
{
    free((void *)p->time_s);
    free((void *)p->pitch_st);
    free((void *)p->level_db);
    free((void *)p->reg);
    *p = (path){0};
}
