/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/recording.h"

#include "base/array.h"
#include "sound/channels.h"
#include "sound/counter.h"
#include "sound/digest.h"
#include "sound/ffmpeg.h"
#include "sound/source.h"

#include <assert.h>
#include <fcntl.h>
#include <math.h>
#include <sndfile.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { BLOCK_FRAMES = 4096, RATE_LOWEST_HZ = 8000, RATE_HIGHEST_HZ = 192000 };

/* Tables round times; a stretch may end this much after the file does. */
static const double STRETCH_SLACK_S = 0.01;

struct recording {
    source from;
    SNDFILE *sound;
    SF_INFO info;
    int channel, egg;         /* from 1; egg 0 for none */
    sf_count_t position, end; /* frames from the start of the file; read up to `end` */
    float *frames;            /* [BLOCK_FRAMES * channels] as they lie in the file */
    counter seen;
    struct sha256_ctx hash;
    bool hashes;
};

recording_settings recording_defaults(void)
{
    return (recording_settings){.channel = 0, .egg = 0};
}

/* Integers reach one step less than 1.0 above zero; those of ITU-T G.711 stop lower still. */
static double largest_sample(int format)
{
    switch (format & SF_FORMAT_SUBMASK) {
    case SF_FORMAT_PCM_S8:
    case SF_FORMAT_PCM_U8:
        return 127.0 / 128;
    case SF_FORMAT_ULAW:
        return 32124.0 / 32768;
    case SF_FORMAT_ALAW:
        return 32256.0 / 32768;
    default:
        return 32767.0 / 32768;
    }
}

/* (Re)opens the decoder at the first frame. The file's name stays unknown to libsndfile, which
 * would otherwise take headerless bytes for sound on the strength of an ending. */
static bool decoder_open(recording *r, err *e)
{
    if (r->sound)
        sf_close(r->sound);
    r->info = (SF_INFO){0};
    r->position = 0;
    lseek(r->from.fd, 0, SEEK_SET);
    /* A duplicate, since libsndfile closes what it cannot read, whatever it was told. */
    int fd = fcntl(r->from.fd, F_DUPFD_CLOEXEC, 3);
    r->sound = sf_open_fd(fd, SFM_READ, &r->info, SF_TRUE);
    if (r->sound)
        return true;
    const char *reason = sf_strerror(NULL);
    size_t length = strlen(reason);
    while (length && strchr(" .\n", reason[length - 1]))
        length--;
    return err_set(e, "%s is not a sound file that libsndfile reads: %.*s.", r->from.shown,
                   (int)length, reason);
}

/* The first time: what libsndfile does not read, ffmpeg may. */
static bool decoder_open_any(recording *r, err *e)
{
    err unread;
    if (decoder_open(r, &unread))
        return true;
    ffmpeg_end end = ffmpeg_decode(&r->from);
    if (end == FFMPEG_DONE)
        return decoder_open(r, e);
    size_t length = strlen(unread.text) - 1;
    return err_set(e, "%.*s%s", (int)length, unread.text,
                   end == FFMPEG_MISSING
                       ? "; if it is a phone's or a video's, install ffmpeg to have it read."
                       : ", and ffmpeg finds no sound in it.");
}

static sf_count_t read_frames(recording *r, sf_count_t want)
{
    if (want > BLOCK_FRAMES)
        want = BLOCK_FRAMES;
    sf_count_t got = want > 0 ? sf_readf_float(r->sound, r->frames, want) : 0;
    r->position += got;
    return got;
}

/* Of several channels one; what is not finite becomes 0, in a single one when it is counted. */
static void take_channel(const recording *r, int channel, float *to, size_t n)
{
    size_t step = (size_t)r->info.channels;
    const float *from = r->frames + channel - 1;
    if (step == 1)
        memcpy(to, from, n * sizeof *to);
    for (size_t i = 0; step > 1 && i < n; i++)
        to[i] = isfinite(from[i * step]) ? from[i * step] : 0;
}

static bool length_known(const recording *r)
{
    return r->info.frames >= 0 && r->info.frames < SF_COUNT_MAX;
}

/* Hears a look's frames, or what there is of them. */
static bool hear_look(recording *r, channels *c, sf_count_t frames)
{
    sf_count_t got, end = r->position + frames;
    while ((got = read_frames(r, end - r->position)) > 0)
        channels_hear(c, r->frames, (size_t)got);
    channels_end_look(c);
    return r->position == end;
}

/* Looks all over the file; where it cannot be sought in, one after the other from its beginning. */
static void hear_channels(recording *r, channels *c)
{
    sf_count_t look = (sf_count_t)(CHANNELS_LOOK_S * r->info.samplerate);
    bool spread = length_known(r) && r->info.frames > CHANNELS_LOOKS * look;
    double step = (double)(r->info.frames - look) / (CHANNELS_LOOKS - 1);
    for (int i = 0; i < CHANNELS_LOOKS; i++) {
        spread = spread && sf_seek(r->sound, (sf_count_t)(i * step), SEEK_SET) >= 0;
        if (!hear_look(r, c, look))
            break;
    }
}

static bool channel_choose(recording *r, const recording_settings *s, err *e)
{
    int n = r->info.channels, highest = s->channel > s->egg ? s->channel : s->egg;
    assert(s->channel >= 0 && s->egg >= 0);
    if (highest > n)
        return err_set(e, "%s has %d channel%s, so there is no channel %d.", r->from.shown, n,
                       n == 1 ? "" : "s", highest);
    if (n == 1 && s->egg == 1)
        return err_set(e, "%s has only the EGG channel: no microphone channel is left.",
                       r->from.shown);
    if (s->channel && s->channel == s->egg)
        return err_set(e, "Channel %d of %s cannot be both the microphone and the EGG channel.",
                       s->egg, r->from.shown);
    r->channel = s->channel ? s->channel : 1;
    r->egg = s->egg;
    if ((s->channel && s->egg) || n == 1)
        return true;
    channels *c = channels_new(r->info.samplerate, n);
    hear_channels(r, c);
    channels_choose(c, s->channel, s->egg, &r->channel, &r->egg);
    channels_free(c);
    return decoder_open(r, e);
}

static double seconds_of(const recording *r, sf_count_t frames)
{
    return (double)frames / r->info.samplerate;
}

/* Goes to the start of the stretch; by reading where the decoder cannot seek, or, in MP3, lands
 * only near the frame it was sent to. */
static bool go_to(recording *r, sf_count_t start, err *e)
{
    if (start == 0)
        return true;
    bool exact = (r->info.format & SF_FORMAT_TYPEMASK) != SF_FORMAT_MPEG;
    if (exact && sf_seek(r->sound, start, SEEK_SET) == start) {
        r->position = start;
        return true;
    }
    if (!decoder_open(r, e))
        return false;
    while (r->position < start && read_frames(r, start - r->position) > 0)
        ;
    return r->position == start ||
           err_set(e, "%s cannot be read beyond %.3f s, so there is no stretch %g-%g s.",
                   r->from.shown, seconds_of(r, r->position), r->from.start_s, r->from.end_s);
}

static bool stretch_choose(recording *r, err *e)
{
    double rate = r->info.samplerate, length_s = seconds_of(r, r->info.frames);
    const source *from = &r->from;
    r->end = length_known(r) ? r->info.frames : SF_COUNT_MAX;
    if (isinf(from->end_s))
        return true;
    if (length_known(r) && (from->start_s >= length_s || from->end_s > length_s + STRETCH_SLACK_S))
        return err_set(e, "The stretch %g-%g s is not within %s, which lasts %.3f s.",
                       from->start_s, from->end_s, from->shown, length_s);
    double end = round(from->end_s * rate);
    if (end < (double)r->end)
        r->end = (sf_count_t)end;
    return go_to(r, (sf_count_t)round(from->start_s * rate), e);
}

static bool rate_check(const recording *r, err *e)
{
    int rate = r->info.samplerate;
    return (rate >= RATE_LOWEST_HZ && rate <= RATE_HIGHEST_HZ) ||
           err_set(e, "%s has %d samples a second; %d to %d can be read.", r->from.shown, rate,
                   RATE_LOWEST_HZ, RATE_HIGHEST_HZ);
}

static void count_from_here(recording *r)
{
    r->seen = (counter){.full_scale = largest_sample(r->info.format)};
    digest_begin(&r->hash, r->info.samplerate, r->info.channels);
}

bool recording_open(const char *name, const recording_settings *s, recording **out, err *e)
{
    recording *r = xcalloc(1, sizeof *r);
    r->from.fd = -1;
    bool good = source_open(name, &r->from, e) && decoder_open_any(r, e) && rate_check(r, e);
    if (good) {
        r->frames = xmalloc((size_t)BLOCK_FRAMES * (size_t)r->info.channels, sizeof *r->frames);
        r->hashes = !s->without_digest;
        good = channel_choose(r, s, e) && stretch_choose(r, e);
        count_from_here(r);
    }
    if (good)
        *out = r;
    else
        recording_close(r);
    return good;
}

bool recording_rewind(recording *r, err *e)
{
    bool whole = isinf(r->from.end_s);
    double start = whole ? 0 : round(r->from.start_s * r->info.samplerate);
    count_from_here(r);
    return decoder_open(r, e) && go_to(r, (sf_count_t)start, e);
}

void recording_close(recording *r)
{
    if (!r)
        return;
    if (r->sound)
        sf_close(r->sound);
    source_close(&r->from);
    free(r->frames);
    free(r);
}

int recording_rate_hz(const recording *r)
{
    return r->info.samplerate;
}

int recording_channels(const recording *r)
{
    return r->info.channels;
}

int recording_channel(const recording *r)
{
    return r->channel;
}

int recording_egg(const recording *r)
{
    return r->egg;
}

/* Fewer frames came than were asked for: nothing more is read. Sound that was cut off (a recorder
 * without power) counts up to there; sound that is damaged with more behind it does not pass. */
static bool ended_early(recording *r, err *e)
{
    struct stat st;
    bool cut = !sf_error(r->sound) ||
               (fstat(r->from.fd, &st) == 0 && lseek(r->from.fd, 0, SEEK_CUR) >= st.st_size);
    double at_s = seconds_of(r, r->position);
    if (!cut)
        return err_set(e, "%s is damaged at %.3f s and cannot be read beyond.", r->from.shown,
                       at_s);
    if (r->end == SF_COUNT_MAX)
        message_warn("%s was cut off at %.3f s.", r->from.shown, at_s);
    else
        message_warn("%s was cut off at %.3f s of %.3f s.", r->from.shown, at_s,
                     seconds_of(r, r->end));
    r->end = r->position;
    return true;
}

bool recording_read_both(recording *r, float *block, float *opt_egg, size_t n, size_t *got, err *e)
{
    assert(!opt_egg || r->egg);
    *got = 0;
    while (*got < n && r->position < r->end) {
        sf_count_t want = r->end - r->position, room = (sf_count_t)(n - *got);
        want = want < room ? want : room;
        want = want < BLOCK_FRAMES ? want : BLOCK_FRAMES;
        sf_count_t here = read_frames(r, want);
        if (r->hashes)
            digest_frames(&r->hash, r->frames, (size_t)here * (size_t)r->info.channels);
        take_channel(r, r->channel, block + *got, (size_t)here);
        if (opt_egg)
            take_channel(r, r->egg, opt_egg + *got, (size_t)here);
        counter_add(&r->seen, block + *got, (size_t)here);
        *got += (size_t)here;
        if (here < want && !ended_early(r, e))
            return false;
    }
    return true;
}

recording_counts recording_count(const recording *r)
{
    const counter *seen = &r->seen;
    recording_counts c = {.samples = seen->samples,
                          .seconds = (double)seen->samples / r->info.samplerate,
                          .clipped_runs = seen->clipped_runs,
                          .dc = seen->samples ? seen->sum / (double)seen->samples : (double)NAN,
                          .peak = seen->peak};
    struct sha256_ctx so_far = r->hash;
    if (r->hashes)
        sha256_digest(&so_far, sizeof c.sound, c.sound);
    return c;
}
