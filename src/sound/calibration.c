/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/calibration.h"

#include "base/array.h"
#include "sound/peaks.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 4096 };
static const double hop_s = 0.01, within_db = 3, end_s = 0.1, least_s = 0.5;
static const double settle_s[METER_SPEEDS] = {0.5, 4};

calibration_settings calibration_defaults(void)
{
    return (calibration_settings){.reads_db = (double)NAN,
                                  .meter_cm = (double)NAN,
                                  .distance_cm = 30,
                                  .curve = WEIGHTING_C,
                                  .speed = METER_FAST,
                                  .steady_db = 1};
}

typedef struct metered { /* levels at every hop_s */
    size_t n;
    float *fast_db, *asked_db;
    size_t cut;
} metered;

static bool meter_all(recording *r, const calibration_settings *s, metered *out,
                      unsigned char sound[RECORDING_DIGEST], err *e)
{
    float block[BLOCK];
    size_t got = BLOCK;
    bool fine = true;
    meter *m = meter_new(recording_rate_hz(r), 1u << s->curve, hop_s, true);
    peaks *p = peaks_new();
    while (fine && got) {
        fine = recording_read(r, block, BLOCK, &got, e);
        meter_add(m, block, got);
        peaks_add(p, block, got);
    }
    recording_counts counts = recording_count(r);
    memcpy(sound, counts.sound, RECORDING_DIGEST);
    out->n = (size_t)(counts.seconds / hop_s);
    out->fast_db = xmalloc(out->n, sizeof *out->fast_db);
    out->asked_db = xmalloc(out->n, sizeof *out->asked_db);
    meter_frames(m, s->curve, METER_FAST, 0, out->n, out->fast_db);
    meter_frames(m, s->curve, s->speed, 0, out->n, out->asked_db);
    out->cut = peaks_cut(p) > counts.clipped_runs ? peaks_cut(p) : counts.clipped_runs;
    peaks_free(p);
    meter_free(m);
    return fine;
}

static void find_tone(const metered *m, size_t *from, size_t *to)
{
    double top = -(double)INFINITY;
    size_t begun = 0;
    *from = *to = 0;
    for (size_t i = 0; i < m->n; i++)
        top = fmax(top, (double)m->fast_db[i]);
    for (size_t i = 0; isfinite(top) && i < m->n; i++) {
        if (!((double)m->fast_db[i] >= top - within_db))
            begun = i + 1;
        else if (i + 1 - begun > *to - *from) {
            *from = begun;
            *to = i + 1;
        }
    }
}

/* The mean power from from_s to to_s, read anew. */
static bool mean_level(recording *r, const calibration_settings *s, calibration *c, err *e)
{
    double rate = recording_rate_hz(r), sum = 0, weighted[BLOCK];
    size_t from = (size_t)(c->from_s * rate), to = (size_t)(c->to_s * rate), seen = 0;
    float block[BLOCK];
    size_t got = BLOCK;
    bool fine = recording_rewind(r, e);
    weighting *w = weighting_new(s->curve, recording_rate_hz(r));
    while (fine && got && seen < to) {
        fine = recording_read(r, block, BLOCK, &got, e);
        for (size_t i = 0; i < got; i++)
            weighted[i] = (double)block[i];
        weighting_process(w, weighted, got);
        for (size_t i = 0; i < got; i++, seen++)
            if (seen >= from && seen < to)
                sum += weighted[i] * weighted[i];
    }
    weighting_free(w);
    c->level_db = 10 * log10(sum / (double)(to - from));
    return fine;
}

/* What of the tone counts, and how steady it was. */
static bool choose(const char *name, const metered *m, const calibration_settings *s,
                   calibration *c, err *e)
{
    size_t from, to, skip = (size_t)(settle_s[s->speed] / hop_s), end = (size_t)(end_s / hop_s);
    find_tone(m, &from, &to);
    if (to == from)
        return err_set(e, "%s holds no sound to calibrate by.", name);
    if (to - from < skip + end + (size_t)(least_s / hop_s))
        return err_set(
            e, "The tone in %s stays level for %.1f s; %.1f s are needed for the meter to settle.",
            name, (double)(to - from) * hop_s, settle_s[s->speed] + end_s + least_s);
    from += skip;
    to -= end;
    double lowest = INFINITY, highest = -INFINITY;
    for (size_t i = from; i < to; i++) {
        lowest = fmin(lowest, (double)m->asked_db[i]);
        highest = fmax(highest, (double)m->asked_db[i]);
    }
    c->from_s = (double)from * hop_s;
    c->to_s = (double)to * hop_s;
    c->steady_db = (highest - lowest) / 2;
    if (m->cut)
        return err_set(e, "The tone in %s is clipped %zu times: turn the recording level down.",
                       name, m->cut);
    return c->steady_db <= s->steady_db ||
           err_set(e,
                   "The tone in %s is not steady: it moves by %.2f dB to either side, and %g are "
                   "allowed.",
                   name, c->steady_db, s->steady_db);
}

bool calibrate_recording(const char *name, const recording_settings *rs,
                         const calibration_settings *s, calibration *out, bool *answer, err *e)
{
    recording *r;
    metered m = {0};
    *answer = true;
    if (!recording_open(name, rs, &r, e))
        return false;
    bool fine = meter_all(r, s, &m, out->sound, e);
    if (fine) {
        *answer = fine = choose(name, &m, s, out, e);
        fine = fine && mean_level(r, s, out, e);
    }
    double nearer_db = isnan(s->meter_cm) ? 0 : 20 * log10(s->meter_cm / s->distance_cm);
    out->full_scale_db = s->reads_db + nearer_db - out->level_db;
    recording_close(r);
    free(m.fast_db);
    free(m.asked_db);
    return fine;
}
