/* SPDX-License-Identifier: GPL-3.0-or-later */

/* The yardstick: every family of test voices through the program's own stages, as files, and the
 * answers held against the truth. Prints docs/accuracy.md on stdout.
 *
 *   accuracy [--seeds A-B] [--family NAME] [--takes DIR] [--dump DIR] [--each]
 *
 * Seeds from 1000 on are for reporting, below for tuning. Takes are rendered once into --takes
 * (default build/accuracy-takes) and kept. --dump writes what was found beside what is true, for a
 * look at what went wrong; --each prints a line for each singer on stderr. */

#include "base/array.h"
#include "fit/boundary.h"
#include "register/decode.h"
#include "voice/files.h"
#include "voice/listen.h"
#include "voice/marks.h"
#include "voice/studio.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

typedef struct plan {
    unsigned long first_seed, last_seed;
    family only; /* FAMILIES: all */
    const char *takes, *dump;
    bool each;
} plan;

typedef struct heard { /* one singer, as the program heard it */
    size_t n;
    track **tracks;
    flips *flips;
    register_summary summary;
    boundary *boundary; /* NULL when there is none */
} heard;

static bool rendered(family f, unsigned long seed, const plan *p, char **folder, err *e)
{
    *folder = xformat("%s/%s-%lu", p->takes, family_get(f)->name, seed);
    char *stamp = xformat("%s/whole", *folder);
    bool ok = access(stamp, F_OK) == 0;
    if (!ok && files_folder(p->takes, e) && studio_family(f, seed, *folder, e)) {
        FILE *out = NULL;
        ok = files_create(*folder, "whole", &out, e) && fclose(out) == 0;
    }
    free(stamp);
    return ok;
}

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

static bool dump(const plan *p, family f, unsigned long seed, const truth *t, const heard *h,
                 err *e)
{
    FILE *frames = NULL, *changes = NULL;
    char *folder = xformat("%s/%s-%lu", p->dump, family_get(f)->name, seed);
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

static void each(family f, unsigned long seed, const marks *m, const heard *h)
{
    fprintf(stderr,
            "%s\t%lu\tflips %zu found %zu matched %zu F1 %.2f\tregister %.3f\tgross %.4f\t"
            "boundary %.2f %.2f\t%s\n",
            family_get(f)->name, seed, m->true_flips, m->found_flips, m->matched, marks_f1(m),
            (double)m->reg_right / (double)m->reg_frames,
            (double)(m->gross[0] + m->gross[1]) / (double)(m->voiced[0] + m->voiced[1]),
            numbers_quantile(&m->boundary_st, 0), numbers_quantile(&m->boundary_st, 1),
            h->summary.text);
}

static bool one_singer(const plan *p, family f, unsigned long seed, marks *sum, err *e)
{
    char *folder = NULL;
    truth t = {0};
    heard h = {0};
    marks m = {0};
    bool ok =
        rendered(f, seed, p, &folder, e) && truth_read(folder, &t, e) && listen(&t, folder, &h, e);
    if (ok) {
        mark(&t, &h, &m);
        if (p->each)
            each(f, seed, &m, &h);
        if (p->dump)
            ok = dump(p, f, seed, &t, &h, e);
        marks_add(sum, &m);
    }
    marks_clear(&m);
    heard_clear(&h);
    truth_clear(&t);
    free(folder);
    return ok;
}

static double share(size_t part, size_t of)
{
    return of ? 100 * (double)part / (double)of : (double)NAN;
}

static void print_flips(const char *name, const marks *m)
{
    double wrong = (double)(m->found_flips - m->matched);
    printf("| %s | %zu | %zu | %.2f | %.2f | **%.2f** | %.1f | %.1f | %.2f | %.1f |\n", name,
           m->takes, m->true_flips, marks_precision(m), marks_recall(m), marks_f1(m),
           wrong / m->minutes, numbers_quantile(&m->time_ms, 0.5),
           numbers_quantile(&m->leap_st, 0.5), share(m->reg_right, m->reg_frames));
}

static void print_rest(const char *name, const marks *m)
{
    printf("| %s | %.2f | %.2f | %.1f | %.1f | %.2f | %.2f | %.2f | %.2f | %zu of %zu | %zu |\n",
           name, share(m->gross[0] + m->gross[1], m->voiced[0] + m->voiced[1]),
           share(m->gross[0], m->voiced[0]), share(m->gross[1], m->voiced[1]),
           share(m->false_voiced, m->silent), numbers_quantile(&m->cents, 0.5),
           numbers_quantile(&m->level_db, 0.5), numbers_quantile(&m->boundary_st, 0.5),
           numbers_quantile(&m->boundary_st, 1), m->told, m->boundaries, m->covered);
}

/* Worst F1 first; a family without any flip last. */
static void order(const marks *all, int *by)
{
    for (int i = 0; i < FAMILIES; i++)
        by[i] = i;
    for (int i = 1; i < FAMILIES; i++)
        for (int j = i; j > 0 && marks_f1(&all[by[j]]) < marks_f1(&all[by[j - 1]]); j--) {
            int other = by[j];
            by[j] = by[j - 1];
            by[j - 1] = other;
        }
}

static void print(const plan *p, const marks *all, const marks *sum)
{
    int by[FAMILIES];
    order(all, by);
    printf("# Accuracy\n\nOn the test voice (tests/voice), whose truth is known; printed by `make "
           "accuracy`. Seeds %lu-%lu, one singer a seed, worst family first.\n",
           p->first_seed, p->last_seed);
    puts("\n## Flips and registers\n\nA found flip is right when a true one of its direction lies "
         "within 60 ms; each is matched once; doubtful flips do not count.\n\n"
         "| family | takes | flips | precision | recall | F1 | false a minute | time, median ms | "
         "leap, median st | frames in the right register, % |\n"
         "|---|---|---|---|---|---|---|---|---|---|");
    for (int i = 0; i < FAMILIES; i++)
        if (all[by[i]].takes)
            print_flips(family_get((family)by[i])->name, &all[by[i]]);
    print_flips("all", sum);
    puts(
        "\n## Pitch, level and boundary\n\nGross: missed, or more than 50 cents off; apart for "
        "frames within 20 ms of a change of register. Boundary: found against true pitch, up and "
        "down, at the level at which the fit states it.\n\n"
        "| family | gross, % | away from flips, % | near flips, % | voiced in silence, % | pitch, "
        "median cents | level, median dB | boundary, median st | worst st | told | true one inside "
        "the interval |\n|---|---|---|---|---|---|---|---|---|---|---|");
    for (int i = 0; i < FAMILIES; i++)
        if (all[by[i]].takes)
            print_rest(family_get((family)by[i])->name, &all[by[i]]);
    print_rest("all", sum);
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

static bool plan_read(int argc, char **argv, plan *p)
{
    *p = (plan){1000, 1004, FAMILIES, "build/accuracy-takes", NULL, false};
    for (int i = 1; i < argc; i++) {
        const char *value = i + 1 < argc ? argv[i + 1] : "";
        if (strcmp(argv[i], "--each") == 0) {
            p->each = true;
            continue;
        }
        if (strcmp(argv[i], "--seeds") == 0 && seeds_read(value, p))
            i++;
        else if (strcmp(argv[i], "--family") == 0 && family_by_name(value) != FAMILIES)
            p->only = family_by_name(argv[++i]);
        else if (strcmp(argv[i], "--takes") == 0 && *value)
            p->takes = argv[++i];
        else if (strcmp(argv[i], "--dump") == 0 && *value)
            p->dump = argv[++i];
        else
            return false;
    }
    return true;
}

int main(int argc, char **argv)
{
    plan p;
    if (!plan_read(argc, argv, &p)) {
        fputs("usage: accuracy [--seeds A-B] [--family NAME] [--takes DIR] [--dump DIR] [--each]\n",
              stderr);
        return 2;
    }
    marks all[FAMILIES] = {0}, sum = {0};
    err e = {0};
    bool ok = true;
    for (int f = 0; ok && f < FAMILIES; f++) {
        for (unsigned long seed = p.first_seed; ok && seed <= p.last_seed; seed++)
            if (p.only == FAMILIES || p.only == (family)f)
                ok = one_singer(&p, (family)f, seed, &all[f], &e);
        marks_add(&sum, &all[f]);
    }
    if (ok)
        print(&p, all, &sum);
    else
        fprintf(stderr, "accuracy: %s\n", e.text);
    for (int f = 0; f < FAMILIES; f++)
        marks_clear(&all[f]);
    marks_clear(&sum);
    return ok && fflush(stdout) == 0 ? 0 : 1;
}
