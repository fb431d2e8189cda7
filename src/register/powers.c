/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/powers.h"

enum { KNOTS = MODEL_SPLINES - 3 };
/* Of each power, in each of the four splines. */
static const float cubic[4][4] = {{1 / 6.0F, 2 / 3.0F, 1 / 6.0F, 0},
                                  {-0.5F, 0, 0.5F, 0},
                                  {0.5F, -1, 0.5F, 0},
                                  {-1 / 6.0F, 0.5F, -0.5F, 1 / 6.0F}};

powers powers_of_splines(const float *beta)
{
    powers p = {{{0}}};
    for (int first = 0; first < KNOTS; first++)
        for (int j = 0; j < 4; j++)
            for (int k = 0; k < 4; k++)
                p.of[first][j] += cubic[j][k] * beta[first + k];
    return p;
}

void powers_to_splines(const powers *p, double *g)
{
    for (int k = 0; k < MODEL_SPLINES; k++)
        g[k] = 0;
    for (int first = 0; first < KNOTS; first++)
        for (int j = 0; j < 4; j++)
            for (int k = 0; k < 4; k++)
                g[first + k] += (double)(cubic[j][k] * p->of[first][j]);
}
