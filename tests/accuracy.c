/* SPDX-License-Identifier: GPL-3.0-or-later */

/* The yardstick: families of test voices through the program's own stages, as files, and the
 * answers held against the truth. Prints tables on stdout: docs/accuracy.md unless asked for less.
 *
 *   accuracy [--seeds A-B] [--voice 1|2|3] [--family NAME]... [--egg] [--takes DIR] [--dump DIR]
 *            [--each]
 *
 * The first two voices and all families unless given; with --egg the takes have an EGG channel,
 * which is named. Seeds from 1000 on are for reporting, below for tuning. Takes are rendered once
 * into --takes (default build/accuracy-takes) and kept. --dump writes what was found beside what is
 * true, for a look at what went wrong; --each prints a line for each singer on stderr. */

#include "base/array.h"
#include "fit/boundary.h"
#include "register/decode.h"
#include "voice/files.h"
#include "voice/listen.h"
#include "voice/marks.h"
#include "voice/report.h"
#include "voice2/choir.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct plan {
    unsigned long first_seed, last_seed;
    int voice;                                     /* 0: the first two */
    bool some, only[CHOIR_VOICES + 1][CHOIR_MOST]; /* some: those marked alone */
    const char *takes, *dump;
    bool each, egg;
} plan;

typedef struct band { /* one family */
    int voice, family;
} band;

typedef struct heard { /* one singer, as the program heard it */
    size_t n;
    track **tracks;
    flips *flips;
    register_summary summary;
    boundary *boundary; /* NULL when there is none */
} heard;

/* Flips made at will are none of the boundary's. */
static void fit(heard *h, const truth *t)
{
    path *paths = xcalloc(h->n, sizeof *paths);
    size_t n = 0;
    for (size_t i = 0; i < h->n; i++) {
        const track *k = h->tracks[i];
        if (strcmp(t->takes[i].kind, "atwill") != 0)
            paths[n++] =
                (path){k->take, k->n, k->time_s, k->pitch_st, k->level_db, k->reg, k->p_m2};
    }
    boundary_settings s = boundary_defaults();
    err ignored;
    if (!boundary_fit(paths, n, &s, &h->boundary, &ignored))
        h->boundary = NULL;
    free(paths);
}

static bool listen(const truth *t, const char *folder, heard *h, err *e)
{
    voice_settings voice = voice_defaults();
    register_settings settings = register_defaults();
    if (t->egg_channel)
        voice.recording =
            (recording_settings){.channel = 3 - t->egg_channel, .egg = t->egg_channel};
    h->tracks = xcalloc(t->n, sizeof *h->tracks);
    h->flips = xcalloc(t->n, sizeof *h->flips);
    for (size_t i = 0; i < t->n; i++, h->n++) {
        char *name = xformat("%s/%s", folder, t->takes[i].name);
        bool ok = voice_listen(name, &voice, &h->tracks[i], NULL, e);
        free(name);
        if (!ok)
            return false;
    }
    register_decode(h->tracks, h->n, &settings, h->flips, &h->summary);
    fit(h, t);
    return true;
}

static void heard_clear(heard *h)
{
    for (size_t i = 0; i < h->n; i++) {
        track_free(h->tracks[i]);
        flips_clear(&h->flips[i]);
    }
    free(h->tracks);
    free(h->flips);
    boundary_free(h->boundary);
}

static void mark(const truth *t, const heard *h, marks *m)
{
    for (size_t i = 0; i < h->n; i++)
        marks_take(m, &t->takes[i], h->tracks[i], &h->flips[i], FLIP_ASSERTED);
    marks_single(m, t, h->tracks);
    m->contact.agreed = h->summary.egg;
    figure none = {(double)NAN, (double)NAN, (double)NAN};
    double at = h->boundary ? boundary_at_db(h->boundary) : (double)NAN;
    figure up = h->boundary ? boundary_figure(h->boundary, BOUNDARY_UP_PITCH) : none;
    figure down = h->boundary ? boundary_figure(h->boundary, BOUNDARY_DOWN_PITCH) : none;
    marks_boundary(m, truth_boundary_st(t, FLIP_UP, at), up.estimate, up.lo95, up.hi95);
    marks_boundary(m, truth_boundary_st(t, FLIP_DOWN, at), down.estimate, down.lo95, down.hi95);
}

static void dump_frames(FILE *out, const truth_take *t, const track *k)
{
    for (size_t i = 0; i < t->n && i < k->n; i++)
        fprintf(out, "%s\t%.3f\t%.3f\t%.3f\t%.2f\t%.2f\t%d\t%d\t%.3f\n", t->name, k->time_s[i],
                t->pitch_st[i], k->pitch_st[i], t->level_db[i], k->level_db[i], t->reg[i],
                k->reg[i], k->p_m2[i]);
}

static const char *arrow(flip_direction d)
{
    return d == FLIP_UP ? "up" : "down";
}

static void dump_found(FILE *out, const flip *f)
{
    fprintf(out, "%.3f\t%s\t%.0f\t%.2f\t%.2f\n", f->time_s, arrow(f->direction), f->span_ms,
            f->pitch_after_st - f->pitch_before_st, f->confidence);
}

static void dump_flips(FILE *out, const truth_take *t, const flips *found)
{
    long *match = xmalloc(t->n_flips, sizeof *match);
    bool *used = xcalloc(found->n, sizeof *used);
    marks_match(t, found, 0, match);
    for (size_t i = 0; i < t->n_flips; i++) {
        const truth_flip *f = &t->flips[i];
        fprintf(out, "%s\t%s\t%.3f\t%s\t%.0f\t%.2f\t", t->name, t->kind, f->time_s,
                arrow(f->direction), f->span_ms, truth_heard_leap(t, f));
        if (match[i] < 0) {
            fputs("\t\t\t\t\n", out);
            continue;
        }
        used[match[i]] = true;
        dump_found(out, &found->items[match[i]]);
    }
    for (size_t j = 0; j < found->n; j++)
        if (!used[j]) {
            fprintf(out, "%s\t%s\t\t\t\t\t", t->name, t->kind);
            dump_found(out, &found->items[j]);
        }
    free(match);
    free(used);
}

static bool dump(const plan *p, band b, unsigned long seed, const truth *t, const heard *h, err *e)
{
    FILE *frames = NULL, *changes = NULL;
    char *name = choir_singer(b.voice, b.family, seed), *folder = xformat("%s/%s", p->dump, name);
    free(name);
    bool ok = files_folder(p->dump, e) && files_folder(folder, e) &&
              files_create(folder, "frames.tsv", &frames, e) &&
              files_create(folder, "flips.tsv", &changes, e);
    if (ok) {
        fputs("take\ttime_s\ttrue_st\tfound_st\ttrue_db\tfound_db\ttrue_reg\tfound_reg\tp_m2\n",
              frames);
        fputs("take\tkind\ttrue_s\ttrue_dir\ttrue_span\ttrue_leap\tfound_s\tfound_dir\tfound_span\t"
              "found_leap\tconfidence\n",
              changes);
    }
    for (size_t i = 0; ok && i < h->n; i++) {
        dump_frames(frames, &t->takes[i], h->tracks[i]);
        dump_flips(changes, &t->takes[i], &h->flips[i]);
    }
    if (frames && fclose(frames) != 0)
        ok = err_set(e, "The tables in %s could not be written whole.", folder);
    if (changes && fclose(changes) != 0)
        ok = err_set(e, "The tables in %s could not be written whole.", folder);
    free(folder);
    return ok;
}

static void each(band b, unsigned long seed, const marks *m, const heard *h)
{
    fprintf(stderr,
            "%d\t%s\t%lu\tflips %zu found %zu matched %zu F1 %.2f\tregister %.3f\tgross %.4f\t"
            "boundary %.2f %.2f\t%s\n",
            b.voice, choir_name(b.voice, b.family), seed, m->true_flips, m->found_flips, m->matched,
            marks_f1(m), (double)m->reg_right / (double)m->reg_frames,
            (double)(m->gross[0] + m->gross[1]) / (double)(m->voiced[0] + m->voiced[1]),
            numbers_quantile(&m->boundary_st, 0), numbers_quantile(&m->boundary_st, 1),
            h->summary.text);
}

static bool one_singer(const plan *p, band b, unsigned long seed, marks *sum, err *e)
{
    char *folder = NULL;
    truth t = {0};
    heard h = {0};
    marks m = {0};
    bool ok =
        (p->egg ? choir_render_egg : choir_render)(b.voice, b.family, seed, p->takes, &folder, e) &&
        truth_read(folder, &t, e) && listen(&t, folder, &h, e);
    if (ok) {
        mark(&t, &h, &m);
        if (p->each)
            each(b, seed, &m, &h);
        if (p->dump)
            ok = dump(p, b, seed, &t, &h, e);
        marks_add(sum, &m);
    }
    marks_clear(&m);
    heard_clear(&h);
    truth_clear(&t);
    free(folder);
    return ok;
}

static bool seeds_read(const char *text, plan *p)
{
    char *end, *last;
    errno = 0;
    p->first_seed = strtoul(text, &end, 10);
    p->last_seed = *end == '-' ? strtoul(end + 1, &last, 10) : p->first_seed;
    if (*end != '-')
        last = end;
    return !errno && end != text && !*last && p->last_seed >= p->first_seed;
}

static bool family_read(const char *name, plan *p)
{
    bool known = false;
    for (int v = 1; v <= CHOIR_VOICES; v++) {
        int f = choir_by_name(v, name);
        if (f >= 0)
            known = p->some = p->only[v][f] = true;
    }
    return known;
}

static bool plan_read(int argc, char **argv, plan *p)
{
    *p = (plan){.first_seed = 1000, .last_seed = 1004, .takes = "build/accuracy-takes"};
    for (int i = 1; i < argc; i++) {
        const char *value = i + 1 < argc ? argv[i + 1] : "";
        bool wants_each = strcmp(argv[i], "--each") == 0, wants_egg = strcmp(argv[i], "--egg") == 0;
        p->each = p->each || wants_each;
        p->egg = p->egg || wants_egg;
        if (wants_each || wants_egg)
            continue;
        if (strcmp(argv[i], "--seeds") == 0 && seeds_read(value, p))
            i++;
        else if (strcmp(argv[i], "--voice") == 0 && strlen(value) == 1 && *value >= '1' &&
                 *value <= '0' + CHOIR_VOICES)
            p->voice = atoi(argv[++i]);
        else if (strcmp(argv[i], "--family") == 0 && family_read(value, p))
            i++;
        else if (strcmp(argv[i], "--takes") == 0 && *value)
            p->takes = argv[++i];
        else if (strcmp(argv[i], "--dump") == 0 && *value)
            p->dump = argv[++i];
        else
            return false;
    }
    return true;
}

static bool wanted(const plan *p, band b)
{
    return (p->voice ? p->voice == b.voice : b.voice < 3) &&
           (!p->some || p->only[b.voice][b.family]);
}

static bool one_voice(const plan *p, int voice, report *r, err *e)
{
    bool ok = true;
    for (int f = 0; ok && f < choir_families(voice); f++) {
        band b = {voice, f};
        if (!wanted(p, b))
            continue;
        marks m = {0};
        for (unsigned long seed = p->first_seed; ok && seed <= p->last_seed; seed++)
            ok = one_singer(p, b, seed, &m, e);
        report_add(r, choir_name(voice, f), choir_still(voice, f), &m);
    }
    return ok;
}

int main(int argc, char **argv)
{
    static const char *const voices[CHOIR_VOICES + 1] = {
        "", "The test voice", "The second test voice", "The third test voice"};
    plan p;
    if (!plan_read(argc, argv, &p)) {
        fputs("usage: accuracy [--seeds A-B] [--voice 1|2|3] [--family NAME]... [--egg] "
              "[--takes DIR] [--dump DIR] [--each]\n",
              stderr);
        return 2;
    }
    err e = {0};
    bool ok = true;
    report_head(p.first_seed, p.last_seed);
    for (int v = 1; ok && v <= CHOIR_VOICES; v++) {
        report r = {0};
        ok = one_voice(&p, v, &r, &e);
        if (ok)
            report_print(&r, voices[v]);
        report_clear(&r);
    }
    if (!ok)
        fprintf(stderr, "accuracy: %s\n", e.text);
    return ok && fflush(stdout) == 0 ? 0 : 1;
}
