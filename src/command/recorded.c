/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/recorded.h"

#include <math.h>

voice_settings recorded_settings(const recorded *r)
{
    voice_settings s = voice_defaults();
    s.full_scale_db = r->full_scale_db;
    if (!isnan(r->distance_cm))
        s.distance_cm = r->distance_cm;
    s.recording.channel = r->microphone;
    s.recording.egg = r->egg;
    return s;
}
