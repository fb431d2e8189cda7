/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/trust.h"

#include "register/trust_table.h"

#include <math.h>

const trust_term trust_terms[TRUST_TERMS] = {
    {CUE_CHAIN, 0, 6},         {CUE_LEAP, 0, 1.5},
    {CUE_LEAP, 1.5, 4.5},      {CUE_SPEED, -1, 4},
    {CUE_SLOW, 0.5, 5},        {CUE_STEP, -3, 6},
    {CUE_STEP, 6, 20},         {CUE_ODD, -1.2, 3},
    {CUE_DIP, -1, 3},          {CUE_FALL, 0, 3},
    {CUE_FAR, -0.5, 1},        {CUE_FAR, 1, 2.5},
    {CUE_NEAR, -0.5, 1},       {CUE_STAY_BEFORE, -3.5, 0},
    {CUE_STAY_AFTER, -3.5, 0}, {CUE_EDGE_AFTER, -3.5, -0.7},
    {CUE_PLACE, -3, 3},        {CUE_BRIEF, 0, 1},
    {CUE_GAIN, 0, 8},          {CUE_SOURCE, -1, 1},
    {CUE_SIZE, 0, 4},          {CUE_LEAPS, -1, 3},
    {CUE_WRONG, 0, 0.5},       {CUE_PITCH, 0, 1}};

double trust_term_value(int k, const double cues[CUES])
{
    const trust_term *t = &trust_terms[k];
    return fmax(t->lo, fmin(cues[t->from], t->hi));
}

double trust_weigh(const double cues[CUES], double nats[TRUST_TERMS])
{
    double sum = intercept;
    for (int k = 0; k < TRUST_TERMS; k++) {
        nats[k] = weights[k] * (trust_term_value(k, cues) - means[k]);
        sum += nats[k];
    }
    return sum;
}

double trust_of(const double cues[CUES])
{
    double nats[TRUST_TERMS];
    return 1 / (1 + exp(-trust_weigh(cues, nats)));
}
