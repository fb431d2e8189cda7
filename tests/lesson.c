/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whole lessons of a quarter of an hour, split: talk by espeak-ng, a synthetic piano, breaths,
 * pauses and 25 takes of a test voice whose times are known (tests/voice/lesson.h). Prints the
 * table of docs/split.md; fails below 95 % found with edges within 0.3 s, or where anything else is
 * called a take.
 *
 * Usage: lesson FIRST-SEED LAST-SEED; seeds choose voice and family in turn. */
#include "base/array.h"
#include "base/process.h"
#include "voice/lesson.h"
#include "voice/split.h"

#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

enum { RATE = 22050, TAKES = 25 }; /* espeak-ng's rate */
static const double lesson_s = 15 * 60, edge_s = 0.3;

static void die(const char *why)
{
    fprintf(stderr, "lesson: %s\n", why);
    exit(1);
}

/* Said by a man and a woman in two languages. */
static const char *const speeches[][2] = {
    {"en-gb",
     "Good. Now let us take that again a little softer, and do not push the top note. Shall we try "
     "it on a different vowel? I would rather you let it flip than hold it. Tell me when your "
     "throat feels tired. Here is the note. And breathe first, there is no hurry at all. Last week "
     "you did this one with the mouth more open, do you remember how that went?"},
    {"en-us+f3",
     "I think I was too loud in the middle. Can I do the slide once more? Sorry, I lost the note, "
     "where was it? Okay, I am ready now. That felt easier than the one before. Wait, let me drink "
     "some water. Was it the same as yesterday, or is it just me?"},
    {"de+m3",
     "Sehr schön. Jetzt bitte dasselbe noch einmal, aber leiser, und lass die Stimme ruhig "
     "umschlagen. Hast du gehört, wo es passiert ist? Wir nehmen einen halben Ton höher."},
    {"de+f2",
     "Ich weiß nicht, ob das richtig war. Soll ich es noch einmal auf einem anderen Vokal singen? "
     "Einen Augenblick, ich muss kurz Luft holen. Jetzt bin ich so weit."},
};

static void read_whole(const char *path, sound *out)
{
    SF_INFO info = {0};
    SNDFILE *f = sf_open(path, SFM_READ, &info);
    if (!f || info.samplerate != RATE || info.channels != 1)
        die("espeak-ng wrote no sound of 22050 Hz");
    size_t n = (size_t)info.frames;
    out->samples = xrealloc(out->samples, out->n + n, sizeof *out->samples);
    if (sf_readf_double(f, out->samples + out->n, info.frames) != info.frames)
        die("the talk cannot be read");
    out->n += n;
    sf_close(f);
}

static sound speak(void)
{
    sound all = {.rate_hz = RATE};
    char path[] = "/tmp/lesson-talk-XXXXXX";
    close(mkstemp(path));
    for (size_t k = 0; k < sizeof speeches / sizeof *speeches; k++) {
        const char *const argv[] = {"espeak-ng", "-v", speeches[k][0], "-w",
                                    path,        "--", speeches[k][1], NULL};
        int code = -1;
        if (process_run(argv, "", 0, STDERR_FILENO, STDERR_FILENO, &code) != PROCESS_DONE || code)
            die("espeak-ng is missing or fails");
        read_whole(path, &all);
    }
    remove(path);
    return all;
}

static split_take *split(const sound *x, size_t *n)
{
    char path[] = "/tmp/lesson-XXXXXX";
    SF_INFO info = {
        .samplerate = x->rate_hz, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_16};
    SNDFILE *f = sf_open_fd(mkstemp(path), SFM_WRITE, &info, SF_TRUE);
    if (!f || sf_writef_double(f, x->samples, (sf_count_t)x->n) != (sf_count_t)x->n)
        die("no room for a lesson");
    sf_close(f);
    recording_settings s = recording_defaults();
    split_take *takes;
    err e = {""};
    if (!split_recording(path, &s, &takes, n, &e))
        die(e.text);
    remove(path);
    return takes;
}

typedef struct tally {
    size_t takes, found, none;
    double worst_s; /* of those found */
} tally;

static tally compare(const lesson *l, const split_take *found, size_t n)
{
    tally t = {.takes = l->n};
    for (size_t k = 0; k < l->n; k++) {
        const lesson_take *of = &l->takes[k];
        double least = INFINITY;
        for (size_t i = 0; i < n; i++)
            least = fmin(least, fmax(fabs(found[i].start_s - of->start_s),
                                     fabs(found[i].end_s - of->end_s)));
        t.found += least <= edge_s;
        if (least <= edge_s)
            t.worst_s = fmax(t.worst_s, least);
        else
            fprintf(stderr, "missed: %.2f-%.2f s, off by %.2f s\n", of->start_s, of->end_s, least);
    }
    for (size_t i = 0; i < n; i++) {
        bool sung = false;
        for (size_t k = 0; k < l->n; k++)
            sung |= found[i].start_s < l->takes[k].end_s && found[i].end_s > l->takes[k].start_s;
        t.none += !sung;
        if (!sung)
            fprintf(stderr, "none: %.2f-%.2f s\n", found[i].start_s, found[i].end_s);
    }
    return t;
}

static void row(const char *what, double seconds, const tally *t)
{
    printf("| %s | %.1f | %zu of %zu | %.2f | %zu |\n", what, seconds / 60, t->found, t->takes,
           t->worst_s, t->none);
    fflush(stdout);
}

int main(int argc, char **argv)
{
    if (argc != 3)
        die("usage: lesson FIRST-SEED LAST-SEED");
    long first = strtol(argv[1], NULL, 10), last = strtol(argv[2], NULL, 10);
    sound talk = speak();
    tally all = {0};
    double seconds = 0;
    printf("| voice, family, seed | minutes | found | worst edge, s | others called a take |\n"
           "|---|---|---|---|---|\n");
    for (long seed = first; seed <= last; seed++) {
        static const char *const families[] = {"clear", "vibrato", "smooth", "woman-low"};
        int voice = 1 + (int)(seed % 2);
        const char *named = families[seed / 2 % 4];
        lesson l = lesson_make(voice, named, (uint64_t)seed, TAKES, lesson_s, RATE, &talk);
        size_t n;
        split_take *found = split(&l.x, &n);
        tally t = compare(&l, found, n);
        char *what = xformat("%d, %s, %ld", voice, named, seed);
        row(what, (double)l.x.n / RATE, &t);
        seconds += (double)l.x.n / RATE;
        all = (tally){all.takes + t.takes, all.found + t.found, all.none + t.none,
                      fmax(all.worst_s, t.worst_s)};
        free(what);
        free(found);
        lesson_clear(&l);
    }
    row("all", seconds, &all);
    sound_clear(&talk);
    return !((double)all.found >= 0.95 * (double)all.takes && !all.none);
}
