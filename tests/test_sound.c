/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Recordings. Oracle: what was written with libsndfile comes back sample by sample; clipped runs,
 * mean and peak in closed form; every way of reading (whole, stretch, pipe, any block) agrees. */
#include "base/array.h"
#include "sound/recording.h"

#include <math.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

enum { SECONDS = 2 };

typedef struct sound {
    float *x;
    size_t n;
    int rate, channels, channel;
    recording_counts counts;
} sound;

static void write_bytes(const char *path, const char *bytes, size_t n)
{
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(bytes, 1, n, f), n);
    assert_int_equal(fclose(f), 0);
}

static char *read_bytes(const char *path, size_t *n)
{
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    fseek(f, 0, SEEK_END);
    *n = (size_t)ftell(f);
    rewind(f);
    char *bytes = xmalloc(*n, 1);
    assert_int_equal(fread(bytes, 1, *n, f), *n);
    fclose(f);
    return bytes;
}

static void write_sound(const char *path, int format, int rate, int channels, const float *x,
                        size_t frames)
{
    SF_INFO info = {.samplerate = rate, .channels = channels, .format = format};
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    if (!f)
        fail_msg("%s: %s", path, sf_strerror(NULL));
    sf_command(f, SFC_SET_CLIPPING, NULL, SF_TRUE);
    assert_int_equal(sf_writef_float(f, x, (sf_count_t)frames), frames);
    assert_int_equal(sf_close(f), 0);
}

/* Two partials that fit no block, quieter than full scale. */
static double tone(size_t i, int rate)
{
    double t = (double)i / rate;
    return 0.4 * sin(2 * M_PI * 220.3 * t) + 0.2 * sin(2 * M_PI * 661.7 * t + 0.5);
}

static float *tone_new(int rate, size_t n)
{
    float *x = xmalloc(n, sizeof *x);
    for (size_t i = 0; i < n; i++)
        x[i] = (float)tone(i, rate);
    return x;
}

/* Reads to the end in blocks of `block` samples. */
static sound read_sound(const char *name, recording_settings s, size_t block)
{
    recording *r = NULL;
    err e = {""};
    sound a = {0};
    size_t got, room = 0;
    if (!recording_open(name, &s, &r, &e))
        fail_msg("%s", e.text);
    do {
        array_reserve((void **)&a.x, &room, a.n + block, sizeof *a.x);
        if (!recording_read(r, a.x + a.n, block, &got, &e))
            fail_msg("%s", e.text);
        a.n += got;
    } while (got);
    a.rate = recording_rate_hz(r);
    a.channels = recording_channels(r);
    a.channel = recording_channel(r);
    a.counts = recording_count(r);
    recording_close(r);
    return a;
}

static sound read_plain(const char *name)
{
    return read_sound(name, recording_defaults(), 1000);
}

/* Root mean square of the difference, re that of the reference, in dB. */
static double error_db(const float *reference, const float *x, size_t n)
{
    double d2 = 0, r2 = 0;
    for (size_t i = 0; i < n; i++) {
        double r = (double)reference[i], d = (double)x[i] - r;
        d2 += d * d;
        r2 += r * r;
    }
    return 10 * log10(d2 / r2);
}

static void refuse(const char *name, recording_settings s, const char *sentence)
{
    recording *r = NULL;
    err e = {""};
    assert_false(recording_open(name, &s, &r, &e));
    assert_null(r);
    assert_string_equal(e.text, sentence);
}

typedef struct format_case {
    const char *name;
    int format, rate;
    double
        worst_db; /* error re the signal: half a step of the integers, or what the codec leaves */
} format_case;

/* libsndfile scales by 32767 when it writes and by 32768 when it reads: -90 dB in 16 bits. The
 * codecs' errors are bounds on what they do to two partials at their default quality. */
static const format_case formats[] = {
    {"16.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, -80},
    {"24.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_24, 96000, -130},
    {"float.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 44100, -INFINITY},
    {"double.wav", SF_FORMAT_WAV | SF_FORMAT_DOUBLE, 44100, -INFINITY},
    {"low.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 8000, -80},
    {"high.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_24, 192000, -130},
    {"16.aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_16, 44100, -80},
    {"16.caf", SF_FORMAT_CAF | SF_FORMAT_PCM_16, 44100, -80},
    {"16.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 44100, -80},
    {"24.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 48000, -130},
    {"vorbis.ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS, 44100, -25},
    {"opus.ogg", SF_FORMAT_OGG | SF_FORMAT_OPUS, 48000, -25},
    {"layer3.mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III, 44100, -25},
};
enum { FORMATS = sizeof formats / sizeof *formats };

static void test_formats(void **state)
{
    (void)state;
    for (size_t k = 0; k < FORMATS; k++) {
        const format_case *f = &formats[k];
        size_t n = (size_t)SECONDS * (size_t)f->rate;
        float *x = tone_new(f->rate, n);
        write_sound(f->name, f->format, f->rate, 1, x, n);
        sound a = read_plain(f->name);
        assert_int_equal(a.rate, f->rate);
        assert_int_equal(a.channels, 1);
        assert_int_equal(a.channel, 1);
        assert_int_equal(a.n, n);
        double db = error_db(x, a.x, n);
        print_message("%s: error %.1f dB re the signal\n", f->name, db);
        assert_true(db <= f->worst_db);
        free(a.x);
        free(x);
    }
}

/* A stretch is the same samples as that part of the whole, in every format of test_formats. */
static void test_stretch_is_part_of_whole(void **state)
{
    (void)state;
    for (size_t k = 0; k < FORMATS; k++) {
        const format_case *f = &formats[k];
        char *name = xformat("%s@0.5-1.25", f->name);
        sound whole = read_plain(f->name), part = read_plain(name);
        size_t start = (size_t)f->rate / 2;
        assert_int_equal(part.n, (size_t)f->rate * 3 / 4);
        double db = error_db(whole.x + start, part.x, part.n);
        print_message("%s: stretch against whole %.1f dB\n", f->name, db);
        assert_true(isinf(db));
        free(whole.x);
        free(part.x);
        free(name);
    }
}

static void test_stretch_limits(void **state)
{
    (void)state;
    recording_settings s = recording_defaults();
    sound rounded = read_plain("16.wav@1-2.005");
    assert_int_equal(rounded.n, 48000);
    free(rounded.x);
    refuse("16.wav@1-2.02", s, "The stretch 1-2.02 s is not within 16.wav, which lasts 2.000 s.");
    refuse("16.wav@2-3", s, "The stretch 2-3 s is not within 16.wav, which lasts 2.000 s.");
    refuse("16.wav@1.5-1", s, "The stretch 1.5-1 s of 16.wav does not end after its start.");
    refuse("16.wav@a-1", s, "There is no file 16.wav@a-1.");
    refuse("16.wav@1-2x", s, "There is no file 16.wav@1-2x.");
    refuse("none.wav@0-1", s, "There is no file none.wav.");
}

static void test_file_of_that_name_goes_first(void **state)
{
    (void)state;
    float x[100];
    for (size_t i = 0; i < 100; i++)
        x[i] = 0.5f;
    write_sound("16.wav@0-1", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 8000, 1, x, 100);
    sound a = read_plain("16.wav@0-1");
    assert_int_equal(a.n, 100);
    assert_memory_equal(a.x, x, sizeof x);
    free(a.x);
    assert_int_equal(remove("16.wav@0-1"), 0);
}

static void test_name_with_a_sign_of_its_own(void **state)
{
    (void)state;
    size_t n;
    char *bytes = read_bytes("16.wav", &n);
    write_bytes("me@1-home.wav", bytes, n);
    free(bytes);
    sound a = read_plain("me@1-home.wav"), b = read_plain("me@1-home.wav@0.5-1");
    assert_int_equal(a.n, 96000);
    assert_int_equal(b.n, 24000);
    assert_memory_equal(a.x + 24000, b.x, b.n * sizeof *b.x);
    free(a.x);
    free(b.x);
}

static void test_any_block_gives_the_same(void **state)
{
    (void)state;
    static const size_t blocks[] = {1, 7, 4095, 4096, 4097, 200000};
    sound a = read_plain("float.wav");
    for (size_t k = 0; k < sizeof blocks / sizeof *blocks; k++) {
        sound b = read_sound("float.wav", recording_defaults(), blocks[k]);
        assert_int_equal(a.n, b.n);
        assert_memory_equal(a.x, b.x, a.n * sizeof *a.x);
        assert_memory_equal(&a.counts.dc, &b.counts.dc, sizeof a.counts.dc);
        free(b.x);
    }
    free(a.x);
}

/* Channel c of 8 holds its own values, none of which another channel or a mixture has. */
static void test_channels_are_never_mixed(void **state)
{
    (void)state;
    enum { CHANNELS = 8, N = 10000 };
    float *x = xmalloc((size_t)CHANNELS * N, sizeof *x);
    for (size_t i = 0; i < N; i++)
        for (size_t c = 0; c < CHANNELS; c++)
            x[i * CHANNELS + c] = (float)(c + 1) / 100 * (i % 2 ? 1.0f : -1.0f) + (float)i * 1e-7f;
    write_sound("eight.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, CHANNELS, x, N);
    for (int c = 1; c <= CHANNELS; c++) {
        sound a = read_sound("eight.wav", (recording_settings){.channel = c}, 333);
        assert_int_equal(a.channels, CHANNELS);
        assert_int_equal(a.channel, c);
        assert_int_equal(a.n, N);
        for (size_t i = 0; i < N; i++)
            assert_true(a.x[i] == x[i * CHANNELS + (size_t)c - 1]);
        free(a.x);
    }
    free(x);
}

/* Oracle: sha256sum of rate, channels and three floats, lowest byte first. */
/* Rewound in the middle, a stretch is read again from its first sample and counted anew. */
static void test_rewind(void **state)
{
    (void)state;
    static const char *const names[] = {"16.wav", "16.wav@0.5-1.25", "16.flac",
                                        "layer3.mp3@0.5-1.25"};
    for (size_t k = 0; k < sizeof names / sizeof *names; k++) {
        recording_settings s = recording_defaults();
        recording *r = NULL;
        err e = {""};
        sound a = read_plain(names[k]);
        float block[5000];
        size_t got, n = 0;
        assert_true(recording_open(names[k], &s, &r, &e));
        assert_true(recording_read(r, block, 4321, &got, &e) && got == 4321);
        assert_true(recording_rewind(r, &e));
        while (recording_read(r, block, 5000, &got, &e) && got) {
            assert_memory_equal(block, a.x + n, got * sizeof *block);
            n += got;
        }
        recording_counts c = recording_count(r);
        assert_int_equal(n, a.n);
        assert_memory_equal(c.sound, a.counts.sound, RECORDING_DIGEST);
        assert_true(c.peak == a.counts.peak && c.samples == a.n);
        recording_close(r);
        free(a.x);
    }
}

static void test_digest_of_known_bytes(void **state)
{
    (void)state;
    static const char expected[] =
        "bdd6c0a7067a5af34ebb2175bdb63bcbfd8915d59f47c958ffc771ba7210c00a";
    const float x[] = {0, 0.5f, -0.25f};
    write_sound("three.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 8000, 1, x, 3);
    sound a = read_plain("three.wav");
    char hex[2 * RECORDING_DIGEST + 1];
    for (size_t i = 0; i < RECORDING_DIGEST; i++)
        snprintf(hex + 2 * i, 3, "%02x", a.counts.sound[i]);
    assert_string_equal(hex, expected);
    free(a.x);
}

static bool same_sound(const char *name_a, recording_settings a, const char *name_b,
                       recording_settings b)
{
    sound first = read_sound(name_a, a, 1000), second = read_sound(name_b, b, 777);
    free(first.x);
    free(second.x);
    return memcmp(first.counts.sound, second.counts.sound, RECORDING_DIGEST) == 0;
}

static void write_integers(const char *path, int format)
{
    short x[5000];
    for (size_t i = 0; i < 5000; i++)
        x[i] = (short)(i * 13 % 20000) - 10000;
    SF_INFO info = {.samplerate = 44100, .channels = 1, .format = format | SF_FORMAT_PCM_16};
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    assert_non_null(f);
    assert_int_equal(sf_writef_short(f, x, 5000), 5000);
    assert_int_equal(sf_close(f), 0);
}

/* The same samples in three containers are one sound, whichever channel is heard; another rate,
 * another stretch or another loudness is another. */
static void test_digest_is_of_the_sound(void **state)
{
    (void)state;
    const recording_settings s = recording_defaults();
    const recording_settings second = {.channel = 2}, third = {.channel = 3};
    write_integers("same.wav", SF_FORMAT_WAV);
    write_integers("same.flac", SF_FORMAT_FLAC);
    write_integers("same.aiff", SF_FORMAT_AIFF);
    assert_true(same_sound("same.wav", s, "same.flac", s));
    assert_true(same_sound("same.wav", s, "same.aiff", s));
    assert_true(same_sound("eight.wav", second, "eight.wav", third));
    assert_false(same_sound("16.wav", s, "16.flac", s));
    assert_false(same_sound("16.flac", s, "24.flac", s));
    assert_false(same_sound("16.flac@0-1", s, "16.flac@0-1.5", s));
    assert_false(same_sound("16.flac@0-1", s, "16.flac@0.5-1.5", s));
}

/* Which channel is chosen when channel c is a square wave of `level[c]` about `offset[c]`, and
 * channel `late` becomes loud after 10 s. */
static int chosen(const double level[4], const double offset[4], size_t late, int egg)
{
    enum { CHANNELS = 4, RATE = 8000, N = 11 * RATE };
    float *x = xmalloc((size_t)CHANNELS * N, sizeof *x);
    for (size_t i = 0; i < N; i++)
        for (size_t c = 0; c < CHANNELS; c++) {
            double a = c + 1 == late && i >= 10 * RATE ? 0.9 : level[c];
            x[i * CHANNELS + c] = (float)(offset[c] + (i % 2 ? a : -a));
        }
    write_sound("choice.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE, CHANNELS, x, N);
    sound a = read_sound("choice.wav", (recording_settings){.egg = egg}, 4096);
    for (size_t i = 0; i < N; i++)
        assert_true(a.x[i] == x[i * CHANNELS + (size_t)a.channel - 1]);
    free(a.x);
    free(x);
    return a.channel;
}

static void test_loudest_channel_is_chosen(void **state)
{
    (void)state;
    static const double none[4] = {0}, rising[4] = {0.01, 0.02, 0.03, 0.04},
                        tie[4] = {0.01, 0.25, 0.25, 0.1}, third[4] = {0.01, 0, 0.03, 0.02},
                        offset[4] = {0, 0.9, 0, 0};
    assert_int_equal(chosen(rising, none, 0, 0), 4);
    assert_int_equal(chosen(rising, none, 0, 4), 3);
    assert_int_equal(chosen(rising, none, 1, 0), 1);
    assert_int_equal(chosen(tie, none, 0, 0), 2);
    assert_int_equal(chosen(third, offset, 0, 0), 3);
    assert_int_equal(chosen(none, none, 0, 0), 1);
    assert_int_equal(chosen(none, none, 0, 1), 2);
}

/* Of three minutes, looks all over tell: the second channel is the louder one, but not in the first
 * and last 40 s. */
static void test_long_file_is_heard_all_over(void **state)
{
    (void)state;
    enum { RATE = 8000, LONG_S = 180, N = LONG_S * RATE };
    float *x = xmalloc((size_t)2 * N, sizeof *x);
    for (size_t i = 0; i < N; i++) {
        float sign = i % 2 ? 1.0f : -1.0f;
        x[2 * i] = 0.2f * sign;
        x[2 * i + 1] = i > 40 * RATE && i < (LONG_S - 40) * RATE ? 0.5f * sign : 0;
    }
    static const char *const names[] = {"looks.wav", "looks.flac"};
    static const int formats_of[] = {SF_FORMAT_WAV, SF_FORMAT_FLAC};
    for (size_t k = 0; k < 2; k++) {
        write_sound(names[k], formats_of[k] | SF_FORMAT_PCM_16, RATE, 2, x, N);
        sound a = read_plain(names[k]);
        assert_int_equal(a.channel, 2);
        assert_int_equal(a.n, N);
        free(a.x);
        remove(names[k]);
    }
    free(x);
}

static void test_channel_that_is_not_there(void **state)
{
    (void)state;
    refuse("eight.wav", (recording_settings){.channel = 9},
           "eight.wav has 8 channels, so there is no channel 9.");
    refuse("16.wav", (recording_settings){.egg = 2},
           "16.wav has 1 channel, so there is no channel 2.");
    refuse("16.wav", (recording_settings){.egg = 1},
           "16.wav has only the EGG channel: no microphone channel is left.");
    refuse("eight.wav", (recording_settings){.channel = 3, .egg = 3},
           "Channel 3 of eight.wav cannot be both the microphone and the EGG channel.");
}

/* Standard input becomes a pipe into which another process writes the file. */
static pid_t pipe_in(const char *path, int *kept)
{
    int ends[2];
    size_t n;
    char *bytes = read_bytes(path, &n);
    assert_int_equal(pipe(ends), 0);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        close(ends[0]);
        for (size_t done = 0; done < n;) {
            ssize_t put = write(ends[1], bytes + done, n - done < 5000 ? n - done : 5000);
            if (put <= 0)
                _exit(1);
            done += (size_t)put;
        }
        _exit(0);
    }
    free(bytes);
    *kept = dup(STDIN_FILENO);
    dup2(ends[0], STDIN_FILENO);
    close(ends[0]);
    close(ends[1]);
    return child;
}

static void pipe_end(pid_t child, int kept)
{
    int status;
    dup2(kept, STDIN_FILENO);
    close(kept);
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_int_equal(status, 0);
}

static void check_pipe(const char *path, const char *name, const char *stretch)
{
    int kept;
    char *same = xformat("%s%s", path, stretch);
    sound a = read_plain(same);
    pid_t child = pipe_in(path, &kept);
    sound b = read_plain(name);
    pipe_end(child, kept);
    assert_int_equal(a.n, b.n);
    assert_int_equal(a.channel, b.channel);
    assert_memory_equal(a.x, b.x, a.n * sizeof *a.x);
    free(a.x);
    free(b.x);
    free(same);
}

static void test_pipe_reads_as_the_file(void **state)
{
    (void)state;
    for (size_t k = 0; k < FORMATS; k++)
        check_pipe(formats[k].name, "-", "");
    check_pipe("choice.wav", "-", "");
    check_pipe("24.flac", "-@0.5-1.25", "@0.5-1.25");
    check_pipe("16.wav", "-@0.5-1.25", "@0.5-1.25");
}

/* Every rate from 8 to 192 kHz with every kind of sample and 1 to 8 channels: each channel, named,
 * gives its own samples and no other's, and a pipe the same as the file. Channel c holds a constant
 * c / 16 and on it a tone of its own; integers are wrong by half a step and by libsndfile's 32767
 * for 32768. */
static void test_every_kind(void **state)
{
    (void)state;
    static const int all_rates[] = {8000, 11025, 16000, 22050, 44100, 48000, 96000, 192000};
    static const struct {
        int format;
        double step;
    } kinds[] = {{SF_FORMAT_PCM_16, 4e-5},
                 {SF_FORMAT_PCM_24, 3e-7},
                 {SF_FORMAT_PCM_32, 6e-8},
                 {SF_FORMAT_FLOAT, 0}};
    double worst[4] = {0};
    for (size_t k = 0; k < 4; k++)
        for (size_t q = 0; q < 8; q++) {
            size_t channels = 1 + (q + 3 * k) % 8, n = (size_t)all_rates[q] / 20;
            float *x = xmalloc(n * channels, sizeof *x);
            for (size_t i = 0; i < n * channels; i++) {
                size_t c = i % channels;
                x[i] =
                    (float)((double)c / 16 + 0.3 * sin(0.01 * (double)((c + 1) * (i / channels))));
            }
            write_sound("kind.wav", SF_FORMAT_WAV | kinds[k].format, all_rates[q], (int)channels, x,
                        n);
            for (size_t c = 0; c < channels; c++) {
                sound a = read_sound("kind.wav", (recording_settings){.channel = (int)c + 1}, 999);
                assert_int_equal(a.n, n);
                assert_int_equal(a.rate, all_rates[q]);
                assert_int_equal(a.channels, channels);
                for (size_t i = 0; i < n; i++)
                    worst[k] = fmax(worst[k], fabs((double)a.x[i] - (double)x[i * channels + c]));
                free(a.x);
            }
            check_pipe("kind.wav", "-", "");
            free(x);
        }
    print_message("worst sample: %.1e of 16 bits, %.1e of 24, %.1e of 32, %.1e of floats\n",
                  worst[0], worst[1], worst[2], worst[3]);
    for (size_t k = 0; k < 4; k++)
        assert_true(worst[k] <= kinds[k].step);
    remove("kind.wav");
}

static void test_pipe_with_nothing_in_it(void **state)
{
    (void)state;
    int kept;
    pid_t child = pipe_in("empty.wav", &kept);
    refuse("-", recording_defaults(), "Standard input is empty.");
    pipe_end(child, kept);
}

static void test_what_is_no_recording(void **state)
{
    (void)state;
    recording_settings s = recording_defaults();
    refuse("none.wav", s, "There is no file none.wav.");
    refuse("16.wav/none.wav", s, "There is no file 16.wav/none.wav.");
    refuse("folder", s, "folder is a folder, not a recording: name the recordings in it.");
    refuse("empty.wav", s, "empty.wav is empty.");
    refuse("/dev/zero", s, "/dev/zero is a device, not a recording.");
    char *paths = xstrdup(getenv("PATH"));
    setenv("PATH", "/nowhere", 1); /* no ffmpeg: tests/test_ffmpeg.c has it */
    refuse("text.wav", s,
           "text.wav is not a sound file that libsndfile reads: Format not recognised; if it is a "
           "phone's or a video's, install ffmpeg to have it read.");
    /* Endings that would make libsndfile take any bytes for sound. */
    static const char *const bare[] = {"bare.raw", "bare.vox", "bare.gsm", "bare.au", "bare.snd"};
    for (size_t k = 0; k < sizeof bare / sizeof *bare; k++) {
        char *sentence = xformat("%s is not a sound file that libsndfile reads: "
                                 "Format not recognised; if it is a phone's or a video's, install "
                                 "ffmpeg to have it read.",
                                 bare[k]);
        char bytes[4000];
        for (size_t i = 0; i < sizeof bytes; i++)
            bytes[i] = (char)(7 * i + 1);
        write_bytes(bare[k], bytes, sizeof bytes);
        refuse(bare[k], s, sentence);
        free(sentence);
    }
    setenv("PATH", paths, 1);
    free(paths);
}

static void test_rates(void **state)
{
    (void)state;
    float x[10] = {0};
    write_sound("slow.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 7999, 1, x, 10);
    write_sound("fast.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 192001, 1, x, 10);
    refuse("slow.wav", recording_defaults(),
           "slow.wav has 7999 samples a second; 8000 to 192000 can be read.");
    refuse("fast.wav", recording_defaults(),
           "fast.wav has 192001 samples a second; 8000 to 192000 can be read.");
}

static void test_no_samples(void **state)
{
    (void)state;
    float x[1] = {0};
    write_sound("nothing.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 2, x, 0);
    sound a = read_plain("nothing.wav");
    assert_int_equal(a.n, 0);
    assert_int_equal(a.counts.samples, 0);
    assert_true(isnan(a.counts.dc));
    assert_true(a.counts.peak == 0);
    free(a.x);
}

static void test_samples_that_are_not_finite(void **state)
{
    (void)state;
    float x[9] = {0.5f, NAN, 0.25f, INFINITY, -0.25f, -INFINITY, NAN, NAN, 0.5f};
    write_sound("nan.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 1, x, 9);
    sound a = read_plain("nan.wav");
    assert_int_equal(a.n, 9);
    for (size_t i = 0; i < 9; i++)
        assert_true(a.x[i] == (isfinite(x[i]) ? x[i] : 0.0f));
    assert_true(a.counts.dc == 1.0 / 9);
    assert_true(a.counts.peak == 0.5);
    assert_int_equal(a.counts.clipped_runs, 0);
    free(a.x);
}

/* A sine of 100 Hz driven to four times full scale is cut once in every half period: 2 * 100 * 2 s.
 * In 8 bits and in A-law and mu-law the largest sample lies well below 1. */
static void test_clipped_runs(void **state)
{
    (void)state;
    static const int kinds[] = {SF_FORMAT_PCM_16, SF_FORMAT_PCM_24, SF_FORMAT_PCM_U8,
                                SF_FORMAT_ULAW,   SF_FORMAT_ALAW,   SF_FORMAT_FLOAT};
    enum { RATE = 48000, N = SECONDS * RATE };
    float *x = xmalloc(N, sizeof *x);
    for (size_t i = 0; i < N; i++)
        x[i] = (float)fmax(-1, fmin(1, 4 * sin(2 * M_PI * 100 * ((double)i + 0.5) / RATE)));
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++) {
        write_sound("clipped.wav", SF_FORMAT_WAV | kinds[k], RATE, 1, x, N);
        sound a = read_sound("clipped.wav", recording_defaults(), 100 + k);
        assert_int_equal(a.counts.clipped_runs, 400);
        assert_int_equal(a.counts.samples, N);
        free(a.x);
    }
    free(x);
}

/* Two samples at full scale, or full scale of either sign in turn, are no run; one of any length
 * is one run. 0.999 is not full scale. */
static void test_what_is_a_run(void **state)
{
    (void)state;
    static const float x[] = {1, 1,  0,  1,  -1, 1, -1, 0, 1, -1, 1, 0, 1,      1,      1,
                              0, -1, -1, -1, -1, 1, 1,  1, 1, 1,  1, 1, 0.999f, 0.999f, 0.999f};
    enum { N = sizeof x / sizeof *x };
    write_sound("runs.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 1, x, N);
    for (size_t block = 1; block < 8; block++) {
        sound a = read_sound("runs.wav", recording_defaults(), block);
        assert_int_equal(a.counts.clipped_runs, 3);
        free(a.x);
    }
}

/* Whole periods of a sine about -0.25: the mean is -0.25 and the largest magnitude 0.75, to float's
 * precision. */
static void test_offset_and_peak(void **state)
{
    (void)state;
    enum { RATE = 48000, N = SECONDS * RATE };
    float *x = xmalloc(N, sizeof *x);
    for (size_t i = 0; i < N; i++)
        x[i] = (float)(-0.25 + 0.5 * sin(2 * M_PI * 100 * (double)i / RATE));
    write_sound("offset.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE, 1, x, N);
    sound a = read_plain("offset.wav");
    print_message("offset wrong by %.1e, peak by %.1e\n", fabs(a.counts.dc + 0.25),
                  fabs(a.counts.peak - 0.75));
    assert_true(fabs(a.counts.dc + 0.25) <= 1e-7);
    assert_true(fabs(a.counts.peak - 0.75) <= 1e-7);
    free(a.x);
    free(x);
}

/* White noise from a linear congruential generator, between -0.5 and 0.5; it takes many bytes in
 * every format. */
static float *noise_new(size_t n)
{
    float *x = xmalloc(n, sizeof *x);
    uint32_t seed = 1;
    for (size_t i = 0; i < n; i++) {
        seed = seed * 1664525u + 1013904223u;
        x[i] = (float)((double)seed / UINT32_MAX - 0.5);
    }
    return x;
}

/* The first half of the bytes: what is there is read, and is the beginning of the whole. Pages of
 * Ogg are long, so that up to a second may be missing there. */
static void test_cut_off(void **state)
{
    (void)state;
    static const int kinds[] = {SF_FORMAT_WAV | SF_FORMAT_PCM_16, SF_FORMAT_WAV | SF_FORMAT_FLOAT,
                                SF_FORMAT_FLAC | SF_FORMAT_PCM_16, SF_FORMAT_OGG | SF_FORMAT_VORBIS,
                                SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III};
    enum { RATE = 48000, N = 6 * RATE };
    float *x = noise_new(N);
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++) {
        size_t n;
        write_sound("whole", kinds[k], RATE, 1, x, N);
        char *bytes = read_bytes("whole", &n);
        write_bytes("cut", bytes, n / 2);
        sound whole = read_plain("whole"), cut = read_plain("cut");
        print_message("%#x cut in half: %zu of %zu samples\n", (unsigned)kinds[k], cut.n, whole.n);
        assert_int_equal(whole.n, N);
        assert_in_range(cut.n, 2 * RATE, 4 * RATE);
        assert_true(error_db(whole.x, cut.x, cut.n) <= -60);
        free(whole.x);
        free(cut.x);
        free(bytes);
    }
    free(x);
}

/* A part of the middle overwritten: not read as if whole. */
static void test_damaged(void **state)
{
    (void)state;
    enum { RATE = 48000, N = 5 * RATE };
    float *x = noise_new(N);
    write_sound("noise.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, RATE, 1, x, N);
    size_t n, got;
    char *bytes = read_bytes("noise.flac", &n);
    memset(bytes + n / 2, 0x55, 5000);
    write_bytes("damaged.flac", bytes, n);
    recording_settings s = recording_defaults();
    recording *r = NULL;
    err e = {""};
    bool good = true;
    assert_true(recording_open("damaged.flac", &s, &r, &e));
    do
        good = recording_read(r, x, N, &got, &e);
    while (good && got);
    assert_false(good);
    assert_non_null(strstr(e.text, "damaged.flac is damaged at 2."));
    recording_close(r);
    free(bytes);
    free(x);
}

static sound read_block(const char *name, int channel, size_t block)
{
    sound a = read_sound(name, (recording_settings){.channel = channel}, block);
    free(a.x);
    return a;
}

#define assert_same_sound(a, b, same)                                                              \
    assert_int_equal(memcmp((a).counts.sound, (b).counts.sound, RECORDING_DIGEST) == 0, same)

/* The digest is that of the sound, not of the file: no lossless format, channel or block size
 * changes it, the smallest change of the sound does. */
static void test_digest(void **state)
{
    (void)state;
    enum { N = 20000 };
    float *x = noise_new(N);
    write_sound("d.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 2, x, N / 2);
    write_sound("d.aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_16, 48000, 2, x, N / 2);
    write_sound("d.caf", SF_FORMAT_CAF | SF_FORMAT_PCM_16, 48000, 2, x, N / 2);
    write_sound("mono.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 1, x, N);
    write_sound("rate.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 44100, 2, x, N / 2);
    x[N - 1] += 1.0f / 16384;
    write_sound("other.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 2, x, N / 2);
    free(x);
    sound d = read_block("d.wav", 1, 1000);
    assert_same_sound(d, read_block("d.aiff", 1, 1000), 1);
    assert_same_sound(d, read_block("d.caf", 1, 1000), 1);
    assert_same_sound(d, read_block("d.wav", 2, 1000), 1);
    assert_same_sound(d, read_block("d.wav", 1, 777), 1);
    assert_same_sound(d, read_block("mono.wav", 1, 1000), 0);
    assert_same_sound(d, read_block("rate.wav", 1, 1000), 0);
    assert_same_sound(d, read_block("other.wav", 1, 1000), 0);
    assert_same_sound(d, read_block("d.wav@0-0.1", 1, 1000), 0);
}

/* SHA-256 of rate 8000, one channel and the samples 0.5 and -0.25, by coreutils' sha256sum 9.1 from
 * the bytes: printf '\x40\x1f\0\0\1\0\0\0\0\0\0\x3f\0\0\x80\xbe' | sha256sum */
static void test_digest_by_hand(void **state)
{
    (void)state;
    float x[2] = {0.5f, -0.25f};
    write_sound("two.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 8000, 1, x, 2);
    sound a = read_block("two.wav", 1, 10);
    char hex[2 * RECORDING_DIGEST + 1];
    for (size_t i = 0; i < RECORDING_DIGEST; i++)
        snprintf(hex + 2 * i, 3, "%02x", a.counts.sound[i]);
    assert_string_equal(hex, "14e0a8ec2b054be344f37c1095bedd929fd4c3952d7a130266b8669222cf3528");
}

static int folder_enter(void **state)
{
    static char folder[] = "/tmp/seamline-test-XXXXXX";
    *state = mkdtemp(folder);
    if (!*state || chdir(folder) != 0 || mkdir("folder", 0777) != 0)
        return 1;
    write_bytes("empty.wav", "", 0);
    write_bytes("text.wav", "This is a text.\nIt goes on for a line or two.\n", 46);
    return 0;
}

static int folder_remove(void **state)
{
    char *command = xformat("rm -r '%s'", (char *)*state);
    int status = chdir("/") || system(command);
    free(command);
    return status;
}

int main(void)
{
    recording_close(NULL);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_formats),
        cmocka_unit_test(test_stretch_is_part_of_whole),
        cmocka_unit_test(test_stretch_limits),
        cmocka_unit_test(test_file_of_that_name_goes_first),
        cmocka_unit_test(test_name_with_a_sign_of_its_own),
        cmocka_unit_test(test_any_block_gives_the_same),
        cmocka_unit_test(test_channels_are_never_mixed),
        cmocka_unit_test(test_rewind),
        cmocka_unit_test(test_digest_of_known_bytes),
        cmocka_unit_test(test_digest_is_of_the_sound),
        cmocka_unit_test(test_loudest_channel_is_chosen),
        cmocka_unit_test(test_long_file_is_heard_all_over),
        cmocka_unit_test(test_channel_that_is_not_there),
        cmocka_unit_test(test_pipe_reads_as_the_file),
        cmocka_unit_test(test_every_kind),
        cmocka_unit_test(test_pipe_with_nothing_in_it),
        cmocka_unit_test(test_what_is_no_recording),
        cmocka_unit_test(test_rates),
        cmocka_unit_test(test_no_samples),
        cmocka_unit_test(test_samples_that_are_not_finite),
        cmocka_unit_test(test_clipped_runs),
        cmocka_unit_test(test_what_is_a_run),
        cmocka_unit_test(test_offset_and_peak),
        cmocka_unit_test(test_cut_off),
        cmocka_unit_test(test_damaged),
        cmocka_unit_test(test_digest),
        cmocka_unit_test(test_digest_by_hand),
    };
    return cmocka_run_group_tests_name("sound", tests, folder_enter, folder_remove);
}
