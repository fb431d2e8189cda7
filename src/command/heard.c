/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/heard.h"

#include "base/array.h"
#include "base/ticker.h"
#include "voice/measures.h"

#include <stdlib.h>

static bool keep(void *context, const track *piece, err *e)
{
    heard *h = context;
    for (size_t i = 0; piece->measures && i < piece->n; i++)
        if (piece->measures->harmonics[i] > h->harmonics)
            h->harmonics = piece->measures->harmonics[i];
    return track_store_append(h->store, piece, e);
}

static size_t voiced_frames(const track_store *store, size_t take)
{
    size_t n, voiced = 0;
    const stretch *all = track_store_stretches(store, &n);
    while (n-- && all[n].take == take)
        voiced += all[n].voiced;
    return voiced;
}

typedef struct electrodes { /* what is known of them */
    egg_way contact;
    int *channel; /* of each file; 0: to be found */
    bool again;   /* the files were heard, and what there is to warn of was said */
} electrodes;

/* The takes that could be read; the others have their sentence on stderr. */
static void listen_once(const command_call *call, const hearing *as, const electrodes *egg,
                        heard *h)
{
    voice_settings s = recorded_settings(as->how);
    s.recording.without_digest = true;
    s.measures = as->measures;
    s.contact = egg->contact;
    ticker *t = ticker_new("recordings", call->n, call->shared->quiet);
    for (size_t i = 0; i < call->n; i++) {
        err e;
        voice_whole whole;
        ticker_show(t, i);
        s.recording.egg = egg->channel[i];
        track_store_begin(h->store, call->operands[i], s.hop_s, as->declared);
        if (!voice_listen_pieces(call->operands[i], &s, keep, h, &whole, &e)) {
            ticker_hide(t);
            if (!egg->again)
                message_warn("%s", e.text);
            track_store_drop(h->store);
            h->failed++;
            continue;
        }
        track_store_end(h->store);
        size_t take = track_store_takes(h->store) - 1;
        h->levels[take] = whole.levels;
        h->channels[i] = whole.channels;
        egg_hear(&h->egg, &whole);
        ticker_hide(t);
        if (!egg->again && !voiced_frames(h->store, take))
            message_warn("%s: no voice was heard in it.", call->operands[i]);
    }
    ticker_free(t);
}

static heard heard_new(size_t n)
{
    return (heard){.store = track_store_new(),
                   .levels = xcalloc(n, sizeof(meter_levels)),
                   .channels = xcalloc(n, sizeof(int))};
}

void heard_clear(heard *h)
{
    track_store_free(h->store);
    free(h->levels);
    free(h->channels);
}

static bool has_pipe(const command_call *call)
{
    for (size_t i = 0; i < call->n; i++)
        if (call->operands[i][0] == '-')
            return true;
    return false;
}

static void warn_unclear(const heard *h)
{
    if (egg_unclear(&h->egg))
        message_warn("In %zu of %zu takes with an EGG it could not be told which way contact "
                     "counts; --contact up or --contact down says it.",
                     h->egg.takes - h->egg.up - h->egg.down, h->egg.takes);
}

/* One singer's electrodes stay as they are: takes in which no EGG channel was found, or whose EGG
 * does not tell which way contact counts, are heard again by what the others tell. */
heard heard_takes(const command_call *call, const hearing *as)
{
    electrodes egg = {as->contact, xcalloc(call->n, sizeof *egg.channel), false};
    for (size_t i = 0; i < call->n; i++)
        egg.channel[i] = as->how->egg;
    heard h = heard_new(call->n);
    listen_once(call, as, &egg, &h);
    egg_way others = egg_agreed(&h.egg);
    int channel = egg_elsewhere(&h.egg);
    bool by_others = egg_unclear(&h.egg) && others != EGG_UNKNOWN;
    if ((channel || by_others) && !has_pipe(call)) {
        for (size_t i = 0; channel && i < call->n; i++)
            egg.channel[i] = h.channels[i] >= channel ? channel : 0;
        egg.contact = egg.contact ? egg.contact : others;
        egg.again = true;
        heard_clear(&h);
        h = heard_new(call->n);
        listen_once(call, as, &egg, &h);
    }
    free(egg.channel);
    warn_unclear(&h);
    return h;
}
