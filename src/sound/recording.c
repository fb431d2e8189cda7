/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/recording.h"

#include "base/array.h"
#include "sound/source.h"

#include <assert.h>
#include <math.h>
#include <nettle/sha2.h>
#include <sndfile.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum {
    BLOCK_FRAMES = 4096,
    RATE_LOWEST_HZ = 8000,
    RATE_HIGHEST_HZ = 192000,
    CHANNEL_CHOICE_S = 10, /* how much of the file is heard to choose the microphone */
    CLIPPED_RUN = 3        /* samples at full scale in a row that are no longer a mere peak */
};

/* Tables round times; a stretch may end this much after the file does. */
static const double STRETCH_SLACK_S = 0.01;

struct recording {
    source from;
    SNDFILE *sound;
    SF_INFO info;
    int channel;
    sf_count_t position, end; /* frames from the start of the file; read up to `end` */
    float *frames;            /* [BLOCK_FRAMES * channels] as they lie in the file */
    double full_scale;        /* the largest positive sample that the file can hold */
    recording_counts counts;
    double sum;
    int run_sign;
    size_t run; /* samples at full scale up to now, all of one sign */
    struct sha256_ctx hash;
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
    r->sound = sf_open_fd(r->from.fd, SFM_READ, &r->info, SF_FALSE);
    if (r->sound)
        return true;
    const char *reason = sf_strerror(NULL);
    size_t length = strlen(reason);
    while (length && strchr(" .\n", reason[length - 1]))
        length--;
    return err_set(e, "%s is not a sound file that libsndfile reads: %.*s.", r->from.shown,
                   (int)length, reason);
}

static sf_count_t read_frames(recording *r, sf_count_t want)
{
    if (want > BLOCK_FRAMES)
        want = BLOCK_FRAMES;
    sf_count_t got = want > 0 ? sf_readf_float(r->sound, r->frames, want) : 0;
    r->position += got;
    return got;
}

static float sample_of(const recording *r, sf_count_t frame, int channel)
{
    float x = r->frames[frame * r->info.channels + channel - 1];
    return isfinite(x) ? x : 0.0f;
}

/* The channel with the largest variance (a constant offset is no sound) at the file's beginning. */
static int loudest_channel(recording *r, int egg)
{
    size_t channels = (size_t)r->info.channels;
    double *sum = array_filled(channels, 0), *square = array_filled(channels, 0);
    sf_count_t got, limit = (sf_count_t)CHANNEL_CHOICE_S * r->info.samplerate;
    while ((got = read_frames(r, limit - r->position)) > 0)
        for (size_t c = 0; c < channels; c++)
            for (sf_count_t i = 0; i < got; i++) {
                double x = (double)sample_of(r, i, (int)c + 1);
                sum[c] += x;
                square[c] += x * x;
            }
    int best = 0;
    double loudest = -1, n = r->position > 0 ? (double)r->position : 1;
    for (size_t c = 0; c < channels; c++) {
        double variance = fmax(square[c] / n - sum[c] / n * (sum[c] / n), 0);
        if ((int)c + 1 != egg && variance > loudest) {
            loudest = variance;
            best = (int)c + 1;
        }
    }
    free(sum);
    free(square);
    return best;
}

static bool channel_choose(recording *r, const recording_settings *s, err *e)
{
    int channels = r->info.channels, highest = s->channel > s->egg ? s->channel : s->egg;
    assert(s->channel >= 0 && s->egg >= 0);
    if (highest > channels)
        return err_set(e, "%s has %d channel%s, so there is no channel %d.", r->from.shown,
                       channels, channels == 1 ? "" : "s", highest);
    if (channels == 1 && s->egg == 1)
        return err_set(e, "%s has only the EGG channel: no microphone channel is left.",
                       r->from.shown);
    if (s->channel && s->channel == s->egg)
        return err_set(e, "Channel %d of %s cannot be both the microphone and the EGG channel.",
                       s->egg, r->from.shown);
    r->channel = s->channel ? s->channel : 1;
    if (s->channel || channels == 1)
        return true;
    r->channel = loudest_channel(r, s->egg);
    return decoder_open(r, e);
}

static bool length_known(const recording *r)
{
    return r->info.frames >= 0 && r->info.frames < SF_COUNT_MAX;
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

static void hash_words(recording *r, const uint32_t *words, size_t n)
{
    unsigned char bytes[4 * 256];
    for (size_t i = 0; i < n;) {
        size_t here = n - i < 256 ? n - i : 256;
        for (size_t k = 0; k < here; k++, i++)
            for (int b = 0; b < 4; b++)
                bytes[4 * k + (size_t)b] = (unsigned char)(words[i] >> (8 * b) & 0xFF);
        sha256_update(&r->hash, 4 * here, bytes);
    }
}

static void count_from_here(recording *r)
{
    const uint32_t form[] = {(uint32_t)r->info.samplerate, (uint32_t)r->info.channels};
    r->counts = (recording_counts){.samples = 0};
    r->sum = 0;
    r->run_sign = 0;
    r->run = 0;
    sha256_init(&r->hash);
    hash_words(r, form, 2);
}

/* Floats by their bits, lowest byte first, so that every machine gives the same digest. */
static void hash_frames(recording *r, sf_count_t frames)
{
    uint32_t words[256];
    size_t n = (size_t)frames * (size_t)r->info.channels;
    for (size_t i = 0; i < n; i += 256) {
        size_t here = n - i < 256 ? n - i : 256;
        memcpy(words, r->frames + i, here * sizeof *words);
        hash_words(r, words, here);
    }
}

bool recording_open(const char *name, const recording_settings *s, recording **out, err *e)
{
    recording *r = xcalloc(1, sizeof *r);
    r->from.fd = -1;
    bool good = source_open(name, &r->from, e) && decoder_open(r, e) && rate_check(r, e);
    if (good) {
        r->frames = xmalloc((size_t)BLOCK_FRAMES * (size_t)r->info.channels, sizeof *r->frames);
        r->full_scale = largest_sample(r->info.format);
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

static void count_sample(recording *r, double x)
{
    recording_counts *c = &r->counts;
    c->samples++;
    c->peak = fmax(c->peak, fabs(x));
    r->sum += x;
    int sign = x >= r->full_scale ? 1 : x <= -r->full_scale ? -1 : 0;
    r->run = sign && sign == r->run_sign ? r->run + 1 : sign != 0;
    r->run_sign = sign;
    c->clipped_runs += r->run == CLIPPED_RUN;
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

bool recording_read(recording *r, float *block, size_t n, size_t *got, err *e)
{
    *got = 0;
    while (*got < n && r->position < r->end) {
        sf_count_t want = r->end - r->position, room = (sf_count_t)(n - *got);
        want = want < room ? want : room;
        want = want < BLOCK_FRAMES ? want : BLOCK_FRAMES;
        sf_count_t here = read_frames(r, want);
        hash_frames(r, here);
        for (sf_count_t i = 0; i < here; i++) {
            float x = sample_of(r, i, r->channel);
            count_sample(r, (double)x);
            block[(*got)++] = x;
        }
        if (here < want && !ended_early(r, e))
            return false;
    }
    return true;
}

recording_counts recording_count(const recording *r)
{
    recording_counts c = r->counts;
    c.seconds = (double)c.samples / r->info.samplerate;
    c.dc = c.samples ? r->sum / (double)c.samples : (double)NAN;
    struct sha256_ctx so_far = r->hash;
    sha256_digest(&so_far, sizeof c.sound, c.sound);
    return c;
}
