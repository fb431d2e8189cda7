/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/listen.h"

#include "base/array.h"
#include "base/note.h"
#include "sound/signal.h"
#include "voice/cycles.h"
#include "voice/egg_hear.h"
#include "voice/level.h"
#include "voice/loudness.h"
#include "voice/measures.h"
#include "voice/tone.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

static const double shortest_s = 0.060;
static const double stated_cm = 30;
static const double same_st = 0.01;  /* what two blocks hear alike */
enum { OVERLAP_S = 2, BESIDE = 60 }; /* beside a border; frames beside a cut */

voice_settings voice_defaults(void)
{
    return (voice_settings){.hop_s = 0.005,
                            .block_s = 60,
                            .full_scale_db = (double)NAN,
                            .distance_cm = stated_cm,
                            .pitch = pitch_defaults(),
                            .recording = recording_defaults()};
}

bool voice_check(const voice_settings *s, err *e)
{
    double rate = 1 / s->hop_s;
    if (!(s->hop_s >= 0.001 && s->hop_s <= 0.02 && fabs(rate - round(rate)) < 1e-6))
        return err_set(e, "Frames must be 1-20 ms apart, a whole number of them to the second.");
    if (!(s->block_s >= 10 && s->block_s <= 3600 && s->block_s == floor(s->block_s)))
        return err_set(e, "Blocks must last a whole number of seconds from 10 to 3600.");
    if (!(s->distance_cm >= 1 && s->distance_cm <= 1000))
        return err_set(e, "The distance of the microphone must be 1-1000 cm, not %g.",
                       s->distance_cm);
    if (s->full_scale_db < 60 || s->full_scale_db > 200)
        return err_set(e, "The level of full scale must be 60-200 dB SPL, not %g.",
                       s->full_scale_db);
    return pitch_check(&s->pitch, e);
}

/* dB SPL at 30 cm of RMS 1.0; NaN: not calibrated. */
static double full_scale_db(const voice_settings *s)
{
    return level_at_distance(s->full_scale_db, s->distance_cm, stated_cm);
}

static void calibrate(track *t, const voice_settings *s)
{
    if (isnan(s->full_scale_db))
        return;
    t->full_scale_db = full_scale_db(s);
    for (size_t i = 0; i < t->n; i++)
        t->level_db[i] += t->full_scale_db;
    if (t->measures)
        measures_shift(t->measures, t->full_scale_db);
}

/* `first` is the track's first frame's number in the take. */
static void add_measures(const signal *x, const meter *m, size_t first, track *t)
{
    double *hz = xmalloc(t->n, sizeof *hz);
    for (size_t i = 0; i < t->n; i++)
        hz[i] = note_to_hz(t->pitch_st[i]);
    t->measures = measures_of(x, t->hop_s, t->n, hz);
    measures_meter(t->measures, m, first);
    free(hz);
}

/* Where listening has come to. Block k covers seconds k block_s - 2 to (k + 1) block_s + 2. */
typedef struct listener {
    const char *name;
    const voice_settings *s;
    signal_window *sound;
    meter *meter;   /* NULL when nothing is metered */
    companion *egg; /* NULL without an EGG channel */
    egg_shape shape;
    egg_way contact;
    size_t start_s, end_s; /* of the block, end 0 for the take's end */
    bool last;
} listener;

/* n frames of the sound, the first at its beginning, `first` the number it has in the take. */
static track *hear(const listener *l, double loud_db, size_t first, size_t n)
{
    const voice_settings *s = l->s;
    const signal *x = signal_window_sound(l->sound);
    track *t = track_new(l->name, n, s->hop_s, 0);
    pitch_settings pitch = s->pitch;
    double *folds_st = egg_hear_pitch(l->egg, s->hop_s, n, &s->pitch);
    pitch.loud_db = loud_db;
    pitch.opt_folds_st = folds_st;
    for (size_t i = 0; i < n; i++)
        t->time_s[i] = (double)(first + i) * s->hop_s;
    level_measure(x, s->hop_s, n, t->level_db);
    tone_hear(x, s->hop_s, &pitch, t);
    free(folds_st);
    cycles_measure(x, s->hop_s, n, t->pitch_st, t->irregular);
    if (s->measures)
        add_measures(x, l->meter, first, t);
    if (l->egg)
        egg_hear_contact(l->egg, l->contact ? l->contact : egg_shape_guess(&l->shape), !l->contact,
                         t);
    calibrate(t, s);
    return t;
}

static size_t per_second(const voice_settings *s)
{
    return (size_t)lround(1 / s->hop_s);
}

/* Fills the window with the k-th block. A little sound beyond is read, too, so that what is left
 * over at the end is never less than a block can cut. */
static bool next_block(listener *l, size_t k, err *e)
{
    size_t block = (size_t)l->s->block_s, start = k ? k * block - OVERLAP_S : 0;
    signal_window_drop(l->sound, start - l->start_s);
    meter_drop(l->meter, start * per_second(l->s));
    l->start_s = start;
    l->end_s = (k + 1) * block + OVERLAP_S;
    if (!signal_window_fill(l->sound, (double)(l->end_s + 1 - start), e))
        return false;
    l->last = signal_window_ended(l->sound) &&
              signal_window_sound(l->sound)->seconds < (double)(l->end_s + 1);
    return true;
}

/* Frames from the beginning of the block to its end. */
static size_t frames_of(const listener *l)
{
    double seconds = signal_window_sound(l->sound)->seconds;
    size_t first = l->start_s * per_second(l->s);
    if (!l->last)
        return l->end_s * per_second(l->s) - first;
    return seconds < shortest_s ? 0 : (size_t)(seconds / l->s->hop_s) + 1 - first;
}

/* What the block's EGG says of the way in which contact counts. */
static void look_at_shape(listener *l)
{
    if (!l->egg)
        return;
    size_t n;
    const float *x = companion_samples(l->egg, &n);
    egg_shape_add(&l->shape, x, n, companion_rate_hz(l->egg));
}

/* The first pass over a take of more than one block. */
static bool find_loud(listener *l, double *loud_db, err *e)
{
    loudness *heard = loudness_new();
    bool good = true;
    for (size_t k = 0; good && !l->last; k++) {
        good = next_block(l, k, e);
        if (!good)
            break;
        look_at_shape(l);
        size_t n = frames_of(l), skip = k ? OVERLAP_S * per_second(l->s) : 0;
        size_t until = l->last ? n : n - OVERLAP_S * per_second(l->s);
        double *level_db = xmalloc(n, sizeof *level_db);
        level_measure(signal_window_sound(l->sound), l->s->hop_s, n, level_db);
        loudness_add(heard, level_db + skip, until - skip);
        free(level_db);
    }
    *loud_db = loudness_of(heard, 0.95);
    loudness_free(heard);
    return good;
}

typedef struct heard { /* a block's frames, of which those before `first` are handed on */
    track *t;
    size_t start, first; /* numbers in the take: of the block's first frame, of the next to go */
} heard;

static bool same(const track *a, size_t i, const track *b, size_t k)
{
    bool voiced = !isnan(a->pitch_st[i]);
    if (voiced != !isnan(b->pitch_st[k]))
        return false;
    return !voiced || fabs(a->pitch_st[i] - b->pitch_st[k]) < same_st;
}

/* The frame of the take, between the beginning of b and the end of a, from which on b is heard. */
static size_t find_cut(const heard *a, const heard *b)
{
    size_t skip = b->start - a->start, n = a->t->n - skip, middle = n / 2, cut = middle;
    size_t run = 0, nearest = SIZE_MAX;
    for (size_t k = 0; k < n; k++) {
        run = same(a->t, skip + k, b->t, k) ? run + 1 : 0;
        if (run < 2 * BESIDE + 1)
            continue;
        size_t at = k - BESIDE, off = at > middle ? at - middle : middle - at;
        if (off < nearest) {
            nearest = off;
            cut = at;
        }
    }
    return b->start + cut;
}

static bool hand_on(heard *h, size_t until, voice_sink *sink, void *context, err *e)
{
    if (until <= h->first)
        return true;
    track *piece = track_part(h->t, h->first - h->start, until - h->first);
    bool good = sink(context, piece, e);
    track_free(piece);
    h->first = until;
    return good;
}

static bool hear_blocks(listener *l, double loud_db, voice_sink *sink, void *context, err *e)
{
    heard before = {.t = NULL};
    bool good = true;
    for (size_t k = 0; good && !l->last; k++) {
        good = next_block(l, k, e);
        if (!good)
            break;
        size_t start = l->start_s * per_second(l->s), n = frames_of(l);
        heard now = {hear(l, loud_db, start, n), start, start};
        if (before.t) {
            now.first = find_cut(&before, &now);
            good = hand_on(&before, now.first, sink, context, e);
        }
        track_free(before.t);
        before = now;
    }
    if (good && before.t)
        good = hand_on(&before, before.start + before.t->n, sink, context, e);
    track_free(before.t);
    return good;
}

static void end(listener *l)
{
    signal_window_free(l->sound);
    meter_free(l->meter);
    companion_free(l->egg);
    *l = (listener){.name = l->name, .s = l->s, .shape = l->shape, .contact = l->contact};
}

/* From the recording's first sample. */
static bool begin(listener *l, recording *r, bool powers_only, err *e)
{
    unsigned curves = l->s->measures ? METER_ALL : l->s->curves;
    end(l);
    if (!signal_window_new(r, powers_only, &l->sound, e))
        return false;
    if (recording_egg(r)) {
        if (!companion_new(recording_rate_hz(r), &l->egg, e))
            return false;
        signal_window_accompany(l->sound, l->egg);
    }
    if (curves && !powers_only) {
        l->meter = meter_new(recording_rate_hz(r), curves, l->s->hop_s, l->s->measures);
        signal_window_meter(l->sound, l->meter);
    }
    return true;
}

static bool hear_recording(listener *l, recording *r, voice_sink *sink, void *context, err *e)
{
    double loud_db = (double)NAN;
    if (!begin(l, r, false, e) || !next_block(l, 0, e))
        return false;
    if (!l->last && !(recording_rewind(r, e) && begin(l, r, true, e) && find_loud(l, &loud_db, e) &&
                      recording_rewind(r, e) && begin(l, r, false, e)))
        return false;
    if (l->last)
        look_at_shape(l);
    l->contact = l->s->contact ? l->s->contact : egg_shape_way(&l->shape);
    l->last = false;
    return hear_blocks(l, loud_db, sink, context, e);
}

static meter_levels take_levels(const listener *l)
{
    double scale_db = full_scale_db(l->s);
    meter_levels levels = meter_read(l->meter);
    return isnan(scale_db) ? levels : meter_shift(levels, scale_db);
}

bool voice_listen_pieces(const char *name, const voice_settings *s, voice_sink *sink, void *context,
                         voice_whole *opt_whole, err *e)
{
    recording *r;
    if (!recording_open(name, &s->recording, &r, e))
        return false;
    listener l = {.name = name, .s = s};
    bool good = hear_recording(&l, r, sink, context, e);
    if (good && opt_whole) {
        opt_whole->counts = signal_window_sound(l.sound)->counts;
        opt_whole->levels = take_levels(&l);
        opt_whole->channels = recording_channels(r);
        opt_whole->egg = recording_egg(r);
        opt_whole->contact = l.contact;
    }
    end(&l);
    recording_close(r);
    return good;
}

static bool keep(void *context, const track *piece, err *e)
{
    track *t = context;
    (void)e;
    t->full_scale_db = piece->full_scale_db;
    track_append(t, piece, 0, piece->n);
    return true;
}

bool voice_listen(const char *name, const voice_settings *s, track **out, voice_whole *opt_whole,
                  err *e)
{
    track *t = track_new(name, 0, s->hop_s, 0);
    bool good = voice_listen_pieces(name, s, keep, t, opt_whole, e);
    if (good)
        *out = t;
    else
        track_free(t);
    return good;
}

double voice_seconds(const track *t)
{
    size_t voiced = 0;
    for (size_t i = 0; i < t->n; i++)
        if (!isnan(t->pitch_st[i]))
            voiced++;
    return (double)voiced * t->hop_s;
}
