/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_VOWELS_H
#define REGISTER_VOWELS_H

/* What the mouth does where vowels change: in each frame it makes one of a few vowels, and each
 * moves the harmonics by a shape along frequency of its own, beside the model's tract. A chain over
 * the vowels stays in one for some 0.4 s. A vowel lies where the frequency is, a register at the
 * number of the harmonic: a melody tells them apart. */

#include "register/design.h"

#include <stdbool.h>

/* r[d->ev->n]: residuals of m at the registers, as design_residuals() has them. */

/* For a model without vowels: by how many dB the harmonics move together along frequency (root mean
 * square over frames and harmonics). Where vowels change it is 2.2 and more, and where one is held,
 * less than 2.5. */
static const double VOWELS_LEAST_DB = 2.2, VOWELS_SURE_DB = 2.5;
double vowels_move(const model *m, const design *d, float (*r)[HARMONICS]);

/* y[d->ev->n]: the evidence's harmonics less what m's vowels do. With `may_learn` m->mouth is
 * learnt from r before: begun where it has no vowels yet, which leaves it so where they do not
 * change, else carried on. */
void vowels_take_out(model *m, bool may_learn, const design *d, float (*r)[HARMONICS],
                     float (*y)[HARMONICS]);

#endif
