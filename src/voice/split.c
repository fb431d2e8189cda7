/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/split.h"

#include "base/array.h"
#include "voice/listen.h"
#include "voice/run.h"
#include "voice/track_store.h"

#include <math.h>
#include <stdlib.h>

static const double sung_least_s = 0.7;
static const double apart_s = 0.7, margin_s = 0.05, least_voice_s = 1;
/* A swell begins softly, and talk beside the microphone is loud: more than within one take. */
static const double gate_db = 60;

typedef struct splitter {
    split_take *takes;
    size_t n, room;
    double end_s, voice_s; /* of the voice in the last of them */
} splitter;

static void add_run(splitter *s, const track *t, const run *r)
{
    double start_s = t->time_s[r->first], end_s = t->time_s[r->first + r->n - 1];
    if (s->n && start_s - s->end_s < apart_s) {
        split_take *last = &s->takes[s->n - 1];
        if (r->voice_s > s->voice_s) /* the longer run names the take */
            last->kind = run_kind(t, r);
        last->end_s = end_s + margin_s;
        s->voice_s += r->voice_s;
    } else {
        if (s->n && s->voice_s < least_voice_s)
            s->n--;
        array_reserve((void **)&s->takes, &s->room, s->n + 1, sizeof *s->takes);
        s->takes[s->n++] =
            (split_take){fmax(0, start_s - margin_s), end_s + margin_s, run_kind(t, r)};
        s->voice_s = r->voice_s;
    }
    s->end_s = end_s;
}

static bool split_stretch(splitter *s, const track_store *store, const stretch *of, err *e)
{
    track *t;
    if (!track_store_read(store, 0, of->first, of->n, &t, e))
        return false;
    run r = {.n = 0};
    size_t before = 0; /* the end of what is not sung */
    while (run_next(t, &r)) {
        bool may = run_may_sing(t, &r);
        if (may && r.voice_s >= sung_least_s) {
            run_widen(t, &r, before);
            add_run(s, t, &r);
        } else if (!may) {
            before = r.first + r.n;
        }
    }
    track_free(t);
    return true;
}

static bool keep(void *context, const track *piece, err *e)
{
    return track_store_append(context, piece, e);
}

bool split_recording(const char *name, const recording_settings *rs, split_take **takes, size_t *n,
                     err *e)
{
    voice_settings v = voice_defaults();
    track_store *store = track_store_new();
    splitter s = {.n = 0};
    v.recording = *rs;
    v.pitch.gate_db = gate_db;
    track_store_begin(store, name, v.hop_s, DECLARED_NONE);
    voice_whole whole;
    bool fine = voice_listen_pieces(name, &v, keep, store, &whole, e);
    if (fine) {
        size_t stretches;
        track_store_end(store);
        const stretch *all = track_store_stretches(store, &stretches);
        for (size_t i = 0; fine && i < stretches; i++)
            fine = split_stretch(&s, store, &all[i], e);
    }
    if (s.n && s.voice_s < least_voice_s)
        s.n--;
    if (fine && s.n) /* nothing lies beyond the recording */
        s.takes[s.n - 1].end_s = fmin(s.takes[s.n - 1].end_s, whole.counts.seconds);
    track_store_free(store);
    *takes = s.takes;
    *n = s.n;
    return fine;
}

const char *split_kind_name(split_kind k)
{
    static const char *const names[] = {"slide", "swell", "hold", "other"};
    return names[k];
}
