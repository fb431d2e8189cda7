/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/plane_scale.h"

#include "base/message.h"
#include "command/plane_gain.h"

#include <math.h>

/* Levels re each session's own median, as if nothing were calibrated. */
static void own_scale(plane *p)
{
    for (size_t s = 0; p->calibrated && s < p->n_sessions; s++)
        for (size_t i = p->sessions[s].first; i < p->sessions[s].first + p->sessions[s].n; i++)
            for (size_t k = 0; isfinite(p->sessions[s].median_db) && k < p->paths[i].n; k++)
                p->levels[i][k] -= p->sessions[s].median_db;
    p->calibrated = false;
}

void plane_scale(plane *planes, size_t n)
{
    size_t calibrated = 0, pitch_only = 0;
    for (size_t i = 0; i < n; i++) {
        calibrated += planes[i].calibrated;
        pitch_only += planes[i].pitch_only;
    }
    for (size_t i = 0; pitch_only && i < n; i++)
        plane_gain(&planes[i], GAIN_AUTOMATIC);
    if (pitch_only)
        return;
    if (calibrated == n)
        return;
    if (calibrated)
        message_warn("Not all of these singers are calibrated: levels are compared as dB re each "
                     "session's own median, which is not the same loudness for everybody.");
    for (size_t i = 0; i < n; i++)
        own_scale(&planes[i]);
}
