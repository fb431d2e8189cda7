/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lesson/sheet_tones.h"

#include "base/array.h"
#include "base/note.h"
#include "base/whole_file.h"
#include "lesson/sheet_words.h"

#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { HARMONICS = 8 };
static const double REFERENCE_S = 1.5, PAUSE_S = 0.6, NOTE_S = 2, FADE_S = 0.03;
static const double LOUDEST_DB = -20, MOST_BELOW_DB = 15, SLOPE_DB = 9;

typedef struct tone {
    size_t n, room;
    float *samples;
    double phase; /* of the fundamental, cycles */
} tone;

/* The note that is named for this pitch. */
static double tuned_hz(double st, double a4_hz)
{
    double off = 12 * log2(a4_hz / 440);
    return note_to_hz(round(st - off) + off);
}

/* RMS 1. */
static double waveform(double phase)
{
    double sum = 0, power = 0;
    for (int h = 1; h <= HARMONICS; h++) {
        double size = pow(10, -SLOPE_DB / 20 * log2(h));
        sum += size * sin(2 * M_PI * h * phase);
        power += size * size / 2;
    }
    return sum / sqrt(power);
}

static void silence(tone *t, double seconds)
{
    size_t n = (size_t)lround(seconds * TONES_RATE_HZ);
    array_reserve((void **)&t->samples, &t->room, t->n + n, sizeof *t->samples);
    memset(t->samples + t->n, 0, n * sizeof *t->samples);
    t->n += n;
}

/* Pitch goes evenly in semitones, level evenly in dB re full scale. */
static void glide(tone *t, double from_hz, double to_hz, double from_db, double to_db,
                  double seconds)
{
    size_t n = (size_t)lround(seconds * TONES_RATE_HZ);
    array_reserve((void **)&t->samples, &t->room, t->n + n, sizeof *t->samples);
    for (size_t i = 0; i < n; i++) {
        double part = ((double)i + 0.5) / (double)n;
        double db = from_db + (to_db - from_db) * part;
        t->phase += from_hz * pow(to_hz / from_hz, part) / TONES_RATE_HZ;
        t->phase -= floor(t->phase);
        t->samples[t->n++] = (float)(pow(10, db / 20) * waveform(t->phase));
    }
}

/* A raised cosine at both ends of what sounds since `from`. */
static void fade(tone *t, size_t from)
{
    size_t n = (size_t)lround(FADE_S * TONES_RATE_HZ);
    for (size_t i = 0; i < n && from + i < t->n; i++) {
        float gain = (float)(0.5 - 0.5 * cos(M_PI * (double)i / (double)n));
        t->samples[from + i] *= gain;
        t->samples[t->n - 1 - i] *= gain;
    }
}

static void note(tone *t, double hz, double seconds)
{
    size_t from = t->n;
    t->phase = 0;
    glide(t, hz, hz, LOUDEST_DB, LOUDEST_DB, seconds);
    fade(t, from);
}

static double loudest(const sheet_line *l)
{
    double db = -INFINITY;
    for (size_t i = 0; i < l->n_strokes; i++)
        db = fmax(db, fmax(l->strokes[i].from_db, l->strokes[i].to_db));
    return db;
}

size_t sheet_tone(const sheet_line *l, double a4_hz, float **samples)
{
    tone t = {0};
    double top = loudest(l);
    *samples = NULL;
    if (!l->n_strokes)
        return 0;
    note(&t, tuned_hz(l->strokes[0].from_st, a4_hz), REFERENCE_S);
    silence(&t, PAUSE_S);
    size_t from = t.n;
    t.phase = 0;
    for (size_t i = 0; i < l->n_strokes; i++) {
        const sheet_stroke *k = &l->strokes[i];
        if (k->breath) {
            fade(&t, from);
            silence(&t, PAUSE_S);
            from = t.n;
        }
        glide(&t, tuned_hz(k->from_st, a4_hz), tuned_hz(k->to_st, a4_hz),
              LOUDEST_DB - fmin(top - k->from_db, MOST_BELOW_DB),
              LOUDEST_DB - fmin(top - k->to_db, MOST_BELOW_DB), k->seconds);
    }
    fade(&t, from);
    *samples = t.samples;
    return t.n;
}

static bool write_wav(const char *file, const float *samples, size_t n, err *e)
{
    SF_INFO info = {
        .samplerate = TONES_RATE_HZ, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_16};
    whole_file f;
    if (!whole_file_begin(&f, file, "tone", e))
        return false;
    SNDFILE *sound = sf_open_fd(f.fd, SFM_WRITE, &info, SF_FALSE);
    bool fine = sound && sf_write_float(sound, samples, (sf_count_t)n) == (sf_count_t)n;
    if (sound)
        fine = sf_close(sound) == 0 && fine;
    if (!fine)
        err_set(e, "The tone \"%s\" could not be written.", file);
    return whole_file_end(&f, fine, e);
}

/* "04-vary-pitch-hold-level.wav", "note-F-sharp-4.wav". */
static char *line_path(const char *folder, size_t number, const char *title)
{
    char *file = xformat("%s/%02zu-%s.wav", folder, number, title);
    char *to = file + strlen(folder) + 1;
    for (const char *c = to; *c; c++)
        if (*c != ',')
            *to++ = *c == ' ' ? '-' : *c;
    *to = '\0';
    return file;
}

static char *note_path(const char *folder, double st, double a4_hz)
{
    char name[NOTE_NAME_SIZE];
    note_nearest(st, a4_hz, name);
    bool sharp = name[1] == '#';
    return xformat("%s/note-%c%s-%s.wav", folder, name[0], sharp ? "-sharp" : "", name + 1 + sharp);
}

static bool write_note(const char *folder, int st, double a4_hz, err *e)
{
    tone t = {0};
    note(&t, tuned_hz(st, a4_hz), NOTE_S);
    char *file = note_path(folder, st, a4_hz);
    bool fine = write_wav(file, t.samples, t.n, e);
    free(file);
    free(t.samples);
    return fine;
}

static bool write_notes(const sheet *s, double a4_hz, const char *folder, err *e)
{
    bool wanted[SUNG_NOTES] = {false};
    for (size_t i = 0; i < SHEET_LINES; i++)
        for (size_t k = 0; k < s->lines[i].n_strokes; k++) {
            wanted[s->lines[i].strokes[k].from_st - SUNG_LOW_ST] = true;
            wanted[s->lines[i].strokes[k].to_st - SUNG_LOW_ST] = true;
        }
    for (int st = 0; st < SUNG_NOTES; st++)
        if (wanted[st] && !write_note(folder, st + SUNG_LOW_ST, a4_hz, e))
            return false;
    return true;
}

static bool write_line(const sheet *s, size_t i, double a4_hz, const char *folder, err *e)
{
    float *samples;
    size_t n = sheet_tone(&s->lines[i], a4_hz, &samples);
    char *file = line_path(folder, i + 1, sheet_title(&s->lines[i]));
    bool fine = !n || write_wav(file, samples, n, e);
    free(file);
    free(samples);
    return fine;
}

bool sheet_tones_write(const sheet *s, double a4_hz, const char *folder, err *e)
{
    if (!folder_make(folder, e))
        return false;
    for (size_t i = 0; i < SHEET_LINES; i++)
        if (!write_line(s, i, a4_hz, folder, e))
            return false;
    return write_notes(s, a4_hz, folder, e);
}
