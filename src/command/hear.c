/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/hear.h"

#include "base/array.h"
#include "base/number.h"
#include "command/describe.h"
#include "command/recorded.h"
#include "command/rig.h"
#include "journal/store.h"
#include "sound/source.h"
#include "voice/checkup.h"
#include "voice/listen.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Reads the sound for its digest alone, in a hundredth of the time that listening takes. */
static bool count_sound(const char *name, const recording_settings *s, recording_counts *counts,
                        int *channels, err *e)
{
    float block[4096];
    recording *r;
    size_t got;
    bool fine;
    if (!recording_open(name, s, &r, e))
        return false;
    do
        fine = recording_read(r, block, sizeof block / sizeof *block, &got, e);
    while (fine && got);
    *counts = recording_count(r);
    *channels = recording_channels(r);
    recording_close(r);
    return fine;
}

static voice_settings settings_of(const journal_take *t)
{
    const recorded how = {t->full_scale_db, t->distance_cm, t->microphone, t->egg};
    voice_settings s = recorded_settings(&how);
    s.curves = METER_ALL;
    return s;
}

/* At the end of the settings' text: the EGG's channel where other takes told it, as ":2", and which
 * way contact counts where it was said, or they told it. */
static const char before_egg[] = " egg";
static const char *const ways[] = {[EGG_UNKNOWN] = "", [EGG_UP] = "=up", [EGG_DOWN] = "=down"};

static electrodes electrodes_before(const journal_take *was)
{
    electrodes known = {0, EGG_UNKNOWN};
    const char *text = was ? strstr(was->settings, before_egg) : NULL;
    if (!text)
        return known;
    text += strlen(before_egg);
    if (*text == ':') {
        char *end;
        known.channel = (int)strtol(text + 1, &end, 10);
        text = end;
    }
    for (int way = EGG_UP; way <= EGG_DOWN; way++)
        if (strcmp(text, ways[way]) == 0)
            known.contact = (egg_way)way;
    return known;
}

/* As said now, else as it was said when the take was heard before, else as other takes tell. A
 * channel that is named, as the EGG's or the microphone's, goes before one that others told. */
static electrodes electrodes_of(const statement *said, const electrodes *others,
                                const journal_take *t, const journal_take *was)
{
    electrodes known = electrodes_before(was);
    known.channel = others->channel ? others->channel : known.channel;
    known.contact = known.contact ? known.contact : others->contact;
    if (said->contact)
        known.contact = (egg_way)said->contact;
    if (t->egg || t->microphone == known.channel)
        known.channel = 0;
    return known;
}

static char *settings_text(const voice_settings *s, int others_egg)
{
    char hop[NUMBER_SIZE], lo[NUMBER_SIZE], hi[NUMBER_SIZE], channel[NUMBER_SIZE] = "";
    if (others_egg)
        snprintf(channel, sizeof channel, ":%d", others_egg);
    number_short(s->hop_s, hop);
    number_short(s->pitch.lo_hz, lo);
    number_short(s->pitch.hi_hz, hi);
    return xformat("hop_s=%s lo_hz=%s hi_hz=%s leq=C,A,Z checks%s%s%s", hop, lo, hi, before_egg,
                   channel, ways[s->contact]);
}

static double voiced_seconds(const track_store *heard, double hop_s)
{
    size_t n, voiced = 0;
    const stretch *all = track_store_stretches(heard, &n);
    for (size_t i = 0; i < n; i++)
        voiced += all[i].voiced;
    return (double)voiced * hop_s;
}

static void fill(journal_take *t, double voiced_s, const voice_whole *whole)
{
    const recording_counts *counts = &whole->counts;
    const meter_levels *levels = &whole->levels;
    t->seconds = counts->seconds;
    t->voiced_s = voiced_s;
    t->clipped_runs = counts->clipped_runs;
    t->dc = counts->dc;
    t->peak = counts->peak;
    t->leq_db = levels->leq_db[WEIGHTING_C];
    t->laeq_db = levels->leq_db[WEIGHTING_A];
    t->lzeq_db = levels->leq_db[WEIGHTING_Z];
    t->lcfmax_db = levels->max_db[METER_FAST][WEIGHTING_C];
    t->lcsmax_db = levels->max_db[METER_SLOW][WEIGHTING_C];
}

/* Which channels are heard, named or guessed. */
static bool note_channels(const char *name, const recording_settings *s, journal_take *t, err *e)
{
    recording *r;
    if (!recording_open(name, s, &r, e))
        return false;
    t->channel = recording_channel(r);
    t->egg_channel = recording_egg(r);
    recording_close(r);
    return true;
}

static bool keep(void *context, const track *piece, err *e)
{
    return track_store_append(context, piece, e);
}

static hear_outcome check_and_store(journal *j, const char *name, const voice_settings *s,
                                    const journal_take *t, const track_store *heard,
                                    const voice_whole *whole, err *e)
{
    checkup found;
    if (!checkup_heard(name, &s->recording, heard, &found, e))
        return HEAR_UNREADABLE;
    if (memcmp(t->sound, whole->counts.sound, JOURNAL_DIGEST) != 0) {
        err_set(e, "%s changed while it was read: add it again.", name);
        return HEAR_UNREADABLE;
    }
    return journal_store_heard(j, t, heard, &found, e) ? HEAR_NEW : HEAR_UNSTORED;
}

static hear_outcome listen(journal *j, const char *name, const voice_settings *s, journal_take *t,
                           hear_result *out, err *e)
{
    voice_whole whole;
    hear_outcome outcome = HEAR_UNREADABLE;
    track_store *heard = track_store_new();
    track_store_begin(heard, name, s->hop_s, DECLARED_NONE);
    if (note_channels(name, &s->recording, t, e) &&
        voice_listen_pieces(name, s, keep, heard, &whole, e)) {
        track_store_end(heard);
        fill(t, voiced_seconds(heard, s->hop_s), &whole);
        out->contact = whole.contact;
        out->unclear = whole.egg && whole.contact == EGG_UNKNOWN;
        outcome = check_and_store(j, name, s, t, heard, &whole, e);
    }
    track_store_free(heard);
    return outcome;
}

/* t: as stated now; was: as the journal has it, or NULL. A take that was heard and not judged when
 * an earlier run was stopped is not heard again. */
static hear_outcome hear_what_is_new(journal *j, const intake *in, const electrodes *others,
                                     journal_take *t, const journal_take *was, hear_result *out,
                                     err *e)
{
    if (was && was->removed)
        return HEAR_REMOVED;
    if (was)
        describe_keep(t, was);
    if (!rig_apply(j, &in->said, t, e))
        return HEAR_UNSTORED;
    describe_default(t);
    voice_settings s = settings_of(t);
    electrodes egg = electrodes_of(&in->said, others, t, was);
    s.recording.egg = t->egg ? t->egg : egg.channel;
    s.contact = egg.contact;
    t->settings = settings_text(&s, egg.channel);
    if (was && describe_same(t, was))
        return was->judged ? HEAR_KNOWN : HEAR_NEW;
    hear_outcome outcome = listen(j, in->file, &s, t, out, e);
    return outcome == HEAR_NEW && was && was->judged ? HEAR_AGAIN : outcome;
}

static hear_outcome look_up(journal *j, const intake *in, const electrodes *others, journal_take *t,
                            hear_result *out, err *e)
{
    journal_take was;
    bool found;
    if (!journal_find(j, t->code, &was, &found, e))
        return HEAR_UNSTORED;
    hear_outcome outcome = hear_what_is_new(j, in, others, t, found ? &was : NULL, out, e);
    if (found)
        journal_take_clear(&was);
    return outcome;
}

void hear_recording(journal *j, const intake *in, const electrodes *others, hear_result *out,
                    err *e)
{
    recording_settings s = recording_defaults();
    recording_counts counts;
    *out = (hear_result){.outcome = HEAR_UNREADABLE};
    s.channel = in->said.how.microphone;
    s.egg = in->said.how.egg;
    if (!source_settle(in->file, e) || !count_sound(in->file, &s, &counts, &out->channels, e))
        return;
    journal_take t = describe_take(in);
    memcpy(t.sound, counts.sound, JOURNAL_DIGEST);
    journal_code(t.singer, t.sound, t.start_s, t.end_s, out->code);
    t.code = xstrdup(out->code);
    out->outcome = look_up(j, in, others, &t, out, e);
    journal_take_clear(&t);
}
