/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/checkup.h"

#include "base/array.h"
#include "base/note.h"
#include "sound/band.h"
#include "sound/gaps.h"
#include "sound/peaks.h"
#include "voice/duet.h"
#include "voice/echo.h"
#include "voice/listen.h"
#include "voice/loudness.h"
#include "voice/moment.h"
#include "voice/quiet.h"
#include "voice/track_store.h"
#include "voice/verdict.h"

#include <math.h>
#include <stdlib.h>

/* Sound this far under the voice's loud parts is none that samples could be missing from. */
static const double hole_floor_db = -30;
static const double hum_st = 0.15, hum_db = 1, over_hum_db = 3;
enum { A_SECOND = 200, A_MINUTE = 60 * A_SECOND };
enum { BESIDE = 20, LEAST_BESIDE = 8, HUM_FRAMES = 60 }; /* frames of 5 ms, as above */

typedef struct listening {
    track_store *store;
    loudness *loud;    /* levels of voiced frames */
    double softest_db; /* of what was like hum so far, INFINITY for nothing */
} listening;

/* The level of frames from..from + HUM_FRAMES - 1 where they have the pitch of mains hum, and pitch
 * and level stand stiller than any voice's; NaN elsewhere. */
static double hum_level(const track *t, size_t from)
{
    static const double hum_hz[] = {60, 100, 120};
    double lowest = INFINITY, highest = -INFINITY;
    for (size_t i = from; i < from + HUM_FRAMES; i++) {
        bool hum = false;
        for (size_t k = 0; k < sizeof hum_hz / sizeof *hum_hz; k++)
            hum = hum || fabs(t->pitch_st[i] - note_from_hz(hum_hz[k])) < hum_st;
        lowest = fmin(lowest, t->level_db[i]);
        highest = fmax(highest, t->level_db[i]);
        if (!hum || highest - lowest > hum_db)
            return (double)NAN;
    }
    return highest;
}

/* Hum is a tone, and is heard as one: here it is to count as none. A voice along with it may be
 * heard at its pitch, too, but is louder than hum alone. */
static void leave_out_hum(const track *heard, track *t, double *softest_db)
{
    for (size_t i = 0; i + HUM_FRAMES <= t->n; i++)
        *softest_db = fmin(*softest_db, hum_level(heard, i));
    for (size_t i = 0; i + HUM_FRAMES <= t->n; i++)
        if (hum_level(heard, i) <= *softest_db + over_hum_db)
            for (size_t k = i; k < i + HUM_FRAMES; k++)
                t->pitch_st[k] = (double)NAN;
}

/* Frames first..first + n - 1 of a piece, of which the others tell whether there is hum. */
static bool keep_part(listening *l, const track *piece, size_t first, size_t n, err *e)
{
    track *whole = track_part(piece, 0, piece->n);
    leave_out_hum(piece, whole, &l->softest_db);
    track *t = track_part(whole, first, n);
    track_free(whole);
    for (size_t i = 0; i < n && !isnan(piece->full_scale_db); i++)
        t->level_db[i] -= piece->full_scale_db;
    for (size_t i = 0; i < n; i++)
        if (!isnan(t->pitch_st[i]))
            loudness_add(l->loud, &t->level_db[i], 1);
    bool fine = track_store_append(l->store, t, e);
    track_free(t);
    return fine;
}

static bool keep(void *context, const track *piece, err *e)
{
    return keep_part(context, piece, 0, piece->n, e);
}

/* Frames first..first + n - 1 of what was heard. */
static bool keep_heard(listening *l, const track_store *heard, size_t first, size_t n, err *e)
{
    size_t from = first > HUM_FRAMES ? first - HUM_FRAMES : 0, all = track_store_frames(heard, 0);
    size_t until = first + n + HUM_FRAMES < all ? first + n + HUM_FRAMES : all;
    track *piece;
    if (!track_store_read(heard, 0, from, until - from, &piece, e))
        return false;
    bool fine = keep_part(l, piece, first - from, n, e);
    track_free(piece);
    return fine;
}

/* What looks at the sound a second time, with the voice known. */
typedef struct probes {
    peaks *tops;
    gaps *missing;
    band *in_pauses, *in_voice;
    quiet *pauses;
    duet *second;
} probes;

static void probes_clear(probes *p)
{
    peaks_free(p->tops);
    gaps_free(p->missing);
    band_free(p->in_pauses);
    band_free(p->in_voice);
    quiet_free(p->pauses);
    duet_free(p->second);
}

/* Where the band ends is told best by noise, which has no formants: in tenths of a second. */
static void add_to_bands(probes *p, const moment *m)
{
    size_t tenth = (size_t)m->rate_hz / 10;
    for (size_t k = 0; k < 10 && (k + 1) * tenth <= m->n; k++) {
        double at_s = (double)k * 0.1;
        bool pause = moment_unvoiced(m, at_s - 0.1, at_s + 0.2);
        band_add(pause ? p->in_pauses : p->in_voice, m->x + k * tenth, tenth);
    }
}

static bool probe_second(probes *p, moment *m, const track_store *store, err *e)
{
    size_t n = track_store_frames(store, 0), a_second = A_SECOND;
    size_t at = m->second * a_second, before = MOMENT_BEFORE_S * a_second;
    size_t from = at > before ? at - before : 0;
    size_t to = at + (1 + MOMENT_AFTER_S) * a_second;
    to = to < n ? to : n;
    from = from < to ? from : to;
    track *heard;
    if (!track_store_read(store, 0, from, to - from, &heard, e))
        return false;
    m->heard = heard;
    m->first = at - from;
    peaks_add(p->tops, m->x, m->n);
    gaps_add(p->missing, m->x, m->n);
    add_to_bands(p, m);
    quiet_add(p->pauses, m);
    duet_add(p->second, m);
    track_free(heard);
    return true;
}

static bool probe(probes *p, recording *r, const track_store *store, err *e)
{
    size_t rate = (size_t)recording_rate_hz(r), got = rate;
    float *x = xmalloc(rate, sizeof *x);
    bool fine = true;
    for (size_t second = 0; fine && got == rate; second++) {
        moment m = {.x = x, .rate_hz = (int)rate, .second = second};
        fine = recording_read(r, x, rate, &got, e);
        m.n = got;
        fine = fine && (!got || probe_second(p, &m, store, e));
    }
    free(x);
    return fine;
}

/* Those beside which there is voice: elsewhere a click is a click. */
static bool count_gaps(const gaps *missing, const track_store *store, size_t *count, err *e)
{
    size_t n, frames = track_store_frames(store, 0);
    const gap *all = gaps_found(missing, &n);
    *count = 0;
    for (size_t i = 0; i < n; i++) {
        size_t at = (size_t)(all[i].time_s * A_SECOND);
        size_t end = (size_t)((all[i].time_s + all[i].span_s) * A_SECOND);
        size_t from = at > BESIDE ? at - BESIDE : 0,
               to = end + BESIDE < frames ? end + BESIDE : frames;
        track *t;
        if (from >= to)
            continue;
        if (!track_store_read(store, 0, from, to - from, &t, e))
            return false;
        size_t before = 0, after = 0;
        for (size_t k = 0; k < t->n; k++) {
            bool voiced = !isnan(t->pitch_st[k]);
            before += voiced && from + k < at;
            after += voiced && from + k > end;
        }
        *count += before >= LEAST_BESIDE && after >= LEAST_BESIDE;
        track_free(t);
    }
    return true;
}

static bool read_probes(const probes *p, const listening *l, verdict_figures *f, err *e)
{
    quiet_figures q = quiet_read(p->pauses);
    f->pause_s = q.pause_s;
    f->noise_db = q.noise_db;
    f->softest_db = q.softest_db;
    f->hum_db = q.hum_db;
    f->hum_hz = q.hum_hz;
    f->gain_db = q.gain_db;
    f->cut_peaks = peaks_cut(p->tops);
    f->second_share = duet_share(p->second);
    f->band_hz = fmax(band_end_hz(p->in_pauses), band_end_hz(p->in_voice));
    return count_gaps(p->missing, l->store, &f->gaps, e) &&
           echo_measure(l->store, 0, &f->decay_s, &f->endings, e);
}

static bool look_again(const char *name, const recording_settings *s, const listening *l,
                       verdict_figures *f, err *e)
{
    recording *r;
    if (!recording_open(name, s, &r, e))
        return false;
    int rate = recording_rate_hz(r);
    double loud_db = loudness_of(l->loud, 0.95);
    probes p = {peaks_new(),     gaps_new(rate, isnan(loud_db) ? 0 : loud_db + hole_floor_db),
                band_new(rate),  band_new(rate),
                quiet_new(rate), duet_new(rate, loud_db)};
    bool fine = probe(&p, r, l->store, e) && read_probes(&p, l, f, e);
    recording_counts counts = recording_count(r);
    f->rate_hz = rate;
    f->dc = counts.dc;
    f->full_runs = counts.clipped_runs;
    probes_clear(&p);
    recording_close(r);
    return fine;
}

static void listening_begin(listening *l, const char *name, double hop_s)
{
    *l = (listening){track_store_new(), loudness_new(), INFINITY};
    track_store_begin(l->store, name, hop_s, DECLARED_NONE);
}

/* The rest, when all frames are in. */
static bool judge(const char *name, const recording_settings *s, const listening *l, double hop_s,
                  checkup *out, err *e)
{
    verdict_figures f = {.voiced_s = 0};
    size_t n;
    track_store_end(l->store);
    const stretch *all = track_store_stretches(l->store, &n);
    while (n--)
        f.voiced_s += (double)all[n].voiced * hop_s;
    if (!look_again(name, s, l, &f, e))
        return false;
    verdict_of(&f, out);
    return true;
}

static void listening_clear(listening *l)
{
    loudness_free(l->loud);
    track_store_free(l->store);
}

bool checkup_recording(const char *name, const recording_settings *s, checkup *out, err *e)
{
    listening l;
    voice_settings v = voice_defaults();
    v.recording = *s;
    listening_begin(&l, name, v.hop_s);
    bool fine =
        voice_listen_pieces(name, &v, keep, &l, NULL, e) && judge(name, s, &l, v.hop_s, out, e);
    listening_clear(&l);
    return fine;
}

bool checkup_heard(const char *name, const recording_settings *s, const track_store *heard,
                   checkup *out, err *e)
{
    listening l;
    size_t n = track_store_frames(heard, 0);
    const double hop_s = 1.0 / A_SECOND;
    bool fine = true;
    listening_begin(&l, name, hop_s);
    for (size_t first = 0, here; fine && first < n; first += here) {
        here = n - first < A_MINUTE ? n - first : A_MINUTE;
        fine = keep_heard(&l, heard, first, here, e);
    }
    fine = fine && judge(name, s, &l, hop_s, out, e);
    listening_clear(&l);
    return fine;
}
