/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/trust.h"

#include "register/trust_table.h"

#include <math.h>

const trust_term trust_terms[TRUST_TERMS] = {
    {CUE_CHAIN, 0, 6, TRUST_ALWAYS},         {CUE_LEAP, 0, 1.5, TRUST_ALWAYS},
    {CUE_LEAP, 1.5, 4.5, TRUST_ALWAYS},      {CUE_SPEED, -1, 4, TRUST_ALWAYS},
    {CUE_SLIDE, 0, 24, TRUST_ALWAYS},        {CUE_STEP, -3, 6, TRUST_ALWAYS},
    {CUE_STEP, 6, 20, TRUST_ALWAYS},         {CUE_ODD, -1.2, 3, TRUST_ALWAYS},
    {CUE_DIP, -1, 3, TRUST_ALWAYS},          {CUE_DIP, 3, 9, TRUST_SLOW},
    {CUE_DIP, 3, 9, TRUST_ALWAYS},           {CUE_FALL, 0, 3, TRUST_ALWAYS},
    {CUE_FAR, -0.5, 1, TRUST_ALWAYS},        {CUE_FAR, 1, 2.5, TRUST_ALWAYS},
    {CUE_NEAR, -0.5, 1, TRUST_ALWAYS},       {CUE_STAY_BEFORE, -3.5, 0, TRUST_ALWAYS},
    {CUE_STAY_AFTER, -3.5, 0, TRUST_ALWAYS}, {CUE_EDGE_AFTER, -3.5, -0.7, TRUST_ALWAYS},
    {CUE_PLACE, -3, 3, TRUST_ALWAYS},        {CUE_BRIEF, 0, 1, TRUST_ALWAYS},
    {CUE_GAIN, 0, 8, TRUST_ALWAYS},          {CUE_SOURCE, -1, 1, TRUST_ALWAYS},
    {CUE_SIZE, 0, 4, TRUST_ALWAYS},          {CUE_LEAPS, -1, 3, TRUST_ALWAYS},
    {CUE_WRONG, 0, 0.5, TRUST_ALWAYS},       {CUE_PITCH, 0, 1, TRUST_ALWAYS},
    {CUE_VOICED, 0, 5, TRUST_ALWAYS},        {CUE_PAUSE, 0.015, 0.04, TRUST_ALWAYS},
    {CUE_TOLD, 0, 2, TRUST_ALWAYS},          {CUE_COMPANY, -4, 4, TRUST_ALWAYS},
    {CUE_STEP, -3, 6, TRUST_LEAPLESS},       {CUE_FAR, -0.5, 1, TRUST_LEAPLESS},
    {CUE_GAIN, 0, 8, TRUST_LEAPLESS},        {CUE_VOICED, 0, 5, TRUST_LEAPLESS},
    {CUE_PITCH, 0, 1, TRUST_LEAPLESS},       {CUE_PITCH_BREAK, 0, 4, TRUST_ALWAYS},
    {CUE_PITCH_BREAK, 0, 4, TRUST_LEAPLESS}, {CUE_LEVEL_BREAK, 0, 4, TRUST_ALWAYS},
    {CUE_LEVEL_BREAK, 0, 4, TRUST_LEAPLESS}, {CUE_LEFT, 0, 1, TRUST_ALWAYS},
    {CUE_LEFT, 0, 1, TRUST_LEAPLESS},        {CUE_GLIDES, -12, -2, TRUST_ALWAYS},
    {CUE_KINK, 0.2, 0.6, TRUST_ALWAYS},      {CUE_TRIP, 0, 1, TRUST_ALWAYS}};
static const double full_leap_st = 1.5, full_speed_st = 3;

double trust_term_value(int k, const double cues[CUES])
{
    const trust_term *t = &trust_terms[k];
    double none = t->where == TRUST_LEAPLESS ? cues[CUE_LEAP] / full_leap_st
                  : t->where == TRUST_SLOW   ? cues[CUE_SPEED] / full_speed_st
                                             : 0;
    return (1 - fmax(0, fmin(none, 1))) * fmax(t->lo, fmin(cues[t->from], t->hi));
}

static const double most_nats = 4, usual_company = 4;

static double weigh(const double cues[CUES], double from, const double *by, double *nats)
{
    double sum = from;
    for (int k = 0; k < TRUST_TERMS; k++) {
        nats[k] = by[k] * (trust_term_value(k, cues) - means[k]);
        sum += nats[k];
    }
    return sum;
}

double trust_weigh(const double cues[CUES], double nats[TRUST_TERMS])
{
    return weigh(cues, intercept, weights, nats);
}

void trust_company(size_t n, const double *nats, double (*cues)[CUES])
{
    double sum = 0;
    for (size_t k = 0; k < n; k++)
        sum += fmax(-most_nats, fmin(nats[k], most_nats));
    for (size_t k = 0; k < n; k++)
        cues[k][CUE_COMPANY] =
            (sum - fmax(-most_nats, fmin(nats[k], most_nats))) / ((double)n - 1 + usual_company);
}

void trust_all(size_t n, double (*cues)[CUES], double *p)
{
    double nats[TRUST_TERMS];
    for (size_t k = 0; k < n; k++)
        p[k] = weigh(cues[k], intercept_alone, weights_alone, nats);
    trust_company(n, p, cues);
    for (size_t k = 0; k < n; k++)
        p[k] = weigh(cues[k], intercept_first, weights_first, nats);
    trust_company(n, p, cues);
    for (size_t k = 0; k < n; k++)
        p[k] = 1 / (1 + exp(-trust_weigh(cues[k], nats)));
}

void trust_own(size_t n, double (*cues)[CUES], double *p)
{
    double nats[TRUST_TERMS];
    for (size_t k = 0; k < n; k++)
        p[k] = 1 / (1 + exp(-weigh(cues[k], intercept_own, weights_own, nats)));
}
