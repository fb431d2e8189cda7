/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/plane_gain.h"

#include "fit/gain.h"

#include <math.h>

bool plane_gain_at(const plane *p, double at_db, err *e)
{
    return isnan(at_db) || !p->pitch_only ||
           err_set(e, "Levels are not known where the gain turns by itself, so there is none to "
                      "state pitches --at: leave it out, or keep the levels by --gain fixed.");
}

void plane_gain(plane *p, int choice)
{
    gain_signs signs = {0};
    if (choice == GAIN_HEARD)
        signs = gain_heard(p->paths, p->n);
    if (choice == GAIN_FIXED || (choice == GAIN_HEARD && !signs.automatic))
        return;
    if (choice == GAIN_HEARD)
        message_warn("The recorder's gain seems to turn by itself: over %zu stretches of voice the "
                     "noise is %.0f dB quieter after than before. Levels are left out; --gain "
                     "fixed keeps them.",
                     signs.stretches, signs.drop_db);
    p->pitch_only = true;
    p->calibrated = false;
    for (size_t i = 0; i < p->n; i++)
        for (size_t k = 0; k < p->paths[i].n; k++)
            if (isfinite(p->levels[i][k]))
                p->levels[i][k] = 0;
}
