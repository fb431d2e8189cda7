/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/listen.h"

#include "sound/signal.h"
#include "voice/harmonics.h"
#include "voice/level.h"

#include <math.h>

static const double shortest_s = 0.060;
static const double stated_cm = 30;

voice_settings voice_defaults(void)
{
    return (voice_settings){.hop_s = 0.005,
                            .full_scale_db = (double)NAN,
                            .distance_cm = stated_cm,
                            .pitch = pitch_defaults(),
                            .recording = recording_defaults()};
}

bool voice_check(const voice_settings *s, err *e)
{
    if (!(s->hop_s >= 0.001 && s->hop_s <= 0.02))
        return err_set(e, "Frames must be 1-20 ms apart.");
    if (!(s->distance_cm >= 1 && s->distance_cm <= 1000))
        return err_set(e, "The distance of the microphone must be 1-1000 cm, not %g.",
                       s->distance_cm);
    if (s->full_scale_db < 60 || s->full_scale_db > 200)
        return err_set(e, "The level of full scale must be 60-200 dB SPL, not %g.",
                       s->full_scale_db);
    return pitch_check(&s->pitch, e);
}

/* Free field: 20 log10 of the ratio of distances. */
static void calibrate(track *t, const voice_settings *s)
{
    if (isnan(s->full_scale_db))
        return;
    t->full_scale_db = s->full_scale_db + 20 * log10(s->distance_cm / stated_cm);
    for (size_t i = 0; i < t->n; i++)
        t->level_db[i] += t->full_scale_db;
}

bool voice_listen(const char *name, const voice_settings *s, track **out,
                  recording_counts *opt_counts, err *e)
{
    recording *r;
    signal x;
    if (!recording_open(name, &s->recording, &r, e))
        return false;
    bool good = signal_read(r, &x, e);
    recording_close(r);
    if (!good)
        return false;
    size_t n = x.seconds < shortest_s ? 0 : (size_t)(x.seconds / s->hop_s) + 1;
    track *t = track_new(name, n, s->hop_s, 0);
    level_measure(&x, s->hop_s, n, t->level_db);
    pitch_track(&x, s->hop_s, n, t->level_db, &s->pitch, t->pitch_st, t->voicing);
    harmonics_refine(&x, t);
    harmonics_measure(&x, t);
    calibrate(t, s);
    if (opt_counts)
        *opt_counts = x.counts;
    signal_clear(&x);
    *out = t;
    return true;
}

double voice_seconds(const track *t)
{
    size_t voiced = 0;
    for (size_t i = 0; i < t->n; i++)
        if (!isnan(t->pitch_st[i]))
            voiced++;
    return (double)voiced * t->hop_s;
}
