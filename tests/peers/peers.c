/* SPDX-License-Identifier: GPL-3.0-or-later */

/* Pitch beside that of others, on the same files in the same run. Prints docs/pitch.md on stdout.
 *
 *   peers [--programs DIR] [--seeds A-B] [--family NAME] [--takes DIR] [--real DIR] [--ours]
 *         [--dump FILE]
 *
 * Seeds from 1000 on are for reporting, below for tuning. --real names a folder of recordings
 * NAME.wav with NAME_f0.csv beside them (seconds, Hz; 0 is unvoiced); --ours leaves the others out;
 * --dump writes every frame of the test voice. */

#include "base/array.h"
#include "base/note.h"
#include "peers/hear.h"
#include "voice/files.h"
#include "voice/marks.h"
#include "voice/sing.h"
#include "voice/studio.h"

#include <errno.h>
#include <glob.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { SHIFT_MS = 40, SHIFTS = 2 * SHIFT_MS + 1, BINS = 10, RATES = 4 };

typedef struct plan {
    unsigned long first_seed, last_seed;
    const char *programs, *takes, *real, *dump;
    int trackers;
    family only; /* FAMILIES: all */
} plan;

typedef enum place { PLACE_AWAY, PLACE_NEAR, PLACE_SILENT, PLACE_UNSURE } place;

typedef struct file { /* one take and its truth, a row a frame */
    char *path;
    family family;
    size_t n;
    double *time_s, *pitch_st, *mean_st; /* as sung at that time; over 25 ms of pulses, or NaN */
    unsigned char *place;
    hearing heard[TRACKERS];
} file;

typedef struct files {
    size_t n, room;
    file *items;
} files;

/* Frames and gross errors away from and near a transition, false voice, fine errors. */
typedef struct score_card {
    size_t frames[2], gross[2], absent[2], silent, false_voiced;
    numbers cents;
} score_card;

#define NEAR_S 0.02
#define SAME_S 1e-9
#define MEAN_S 0.025

static double from_transition(const truth_take *t, double time_s)
{
    double nearest = INFINITY;
    for (size_t i = 0; i < t->n_flips; i++)
        nearest = fmin(nearest, fabs(time_s - t->flips[i].time_s) - t->flips[i].span_ms / 2000);
    return nearest;
}

static bool voice_around(const truth_take *t, size_t frame)
{
    size_t reach = (size_t)(MARKS_TAIL_S / TRUTH_HOP_S);
    for (size_t i = frame > reach ? frame - reach : 0; i <= frame + reach && i < t->n; i++)
        if (t->reg[i])
            return true;
    return false;
}

/* Periods since the first pulse; NaN outside the voice and across its gaps. */
static double periods_at(const double *pulse_s, size_t n, double time_s)
{
    size_t lo = 0, hi = n;
    while (hi - lo > 1) {
        size_t middle = (lo + hi) / 2;
        if (pulse_s[middle] <= time_s)
            lo = middle;
        else
            hi = middle;
    }
    if (lo + 1 >= n || time_s < pulse_s[0] || pulse_s[lo + 1] - pulse_s[lo] > MEAN_S)
        return (double)NAN;
    return (double)lo + (time_s - pulse_s[lo]) / (pulse_s[lo + 1] - pulse_s[lo]);
}

/* What the pulses that were sung have for a pitch over 25 ms, jitter included. */
static double mean_pitch(const double *pulse_s, size_t n, double time_s)
{
    double from = periods_at(pulse_s, n, time_s - MEAN_S / 2);
    double to = periods_at(pulse_s, n, time_s + MEAN_S / 2);
    for (size_t i = 0; i + 1 < n; i++)
        if (pulse_s[i + 1] - pulse_s[i] > MEAN_S && fabs(pulse_s[i] - time_s) < MEAN_S)
            return (double)NAN;
    return to > from ? note_from_hz((to - from) / MEAN_S) : (double)NAN;
}

static void file_fill(file *f, const truth_take *t, const double *pulse_s, size_t pulses)
{
    f->n = t->n;
    f->time_s = xmalloc(t->n, sizeof *f->time_s);
    f->pitch_st = xmalloc(t->n, sizeof *f->pitch_st);
    f->mean_st = xmalloc(t->n, sizeof *f->mean_st);
    f->place = xmalloc(t->n, sizeof *f->place);
    for (size_t i = 0; i < t->n; i++) {
        double time_s = f->time_s[i] = (double)i * TRUTH_HOP_S;
        bool voiced = t->reg[i] != 0;
        f->pitch_st[i] = t->pitch_st[i];
        f->mean_st[i] = voiced ? mean_pitch(pulse_s, pulses, time_s) : (double)NAN;
        f->place[i] = voiced
                          ? from_transition(t, time_s) < NEAR_S - SAME_S ? PLACE_NEAR : PLACE_AWAY
                      : voice_around(t, i) ? PLACE_UNSURE
                                           : PLACE_SILENT;
    }
}

static bool rendered(family f, unsigned long seed, const plan *p, char **folder, err *e)
{
    *folder = xformat("%s/%s-%lu", p->takes, family_get(f)->name, seed);
    char *stamp = xformat("%s/whole", *folder);
    bool ok = access(stamp, F_OK) == 0;
    if (!ok && files_folder(p->takes, e) && studio_family(f, seed, STUDIO_ALL, *folder, e)) {
        FILE *out = NULL;
        ok = files_create(*folder, "whole", &out, e) && fclose(out) == 0;
    }
    free(stamp);
    return ok;
}

static file *files_add(files *all)
{
    array_reserve((void **)&all->items, &all->room, all->n + 1, sizeof *all->items);
    all->items[all->n] = (file){.family = FAMILIES};
    return &all->items[all->n++];
}

static bool add_singer(family f, unsigned long seed, const plan *p, files *all, err *e)
{
    char *folder = NULL;
    truth t = {0};
    singer s = singer_draw(f, seed);
    bool ok = rendered(f, seed, p, &folder, e) && truth_read(folder, &t, e);
    for (size_t i = 0; ok && i < t.n; i++) {
        score sc = score_plan(&s, (int)i);
        performance sung = perform(&s, &sc, (int)i);
        double *pulse_s;
        size_t pulses = sing_pulse_times(&s, &sung, (int)i, &pulse_s);
        file *one = files_add(all);
        one->path = xformat("%s/%s", folder, t.takes[i].name);
        one->family = f;
        file_fill(one, &t.takes[i], pulse_s, pulses);
        free(pulse_s);
        performance_clear(&sung);
    }
    truth_clear(&t);
    free(folder);
    return ok;
}

/* A recording whose F0 was corrected by hand. */
static bool add_real(const char *csv, files *all, err *e)
{
    FILE *in = fopen(csv, "r");
    if (!in)
        return err_set(e, "%s could not be opened.", csv);
    file *one = files_add(all);
    one->path = xformat("%.*s.wav", (int)(strlen(csv) - strlen("_f0.csv")), csv);
    size_t room[4] = {0};
    double time_s, hz;
    while (fscanf(in, "%lf,%lf", &time_s, &hz) == 2) {
        array_reserve((void **)&one->time_s, &room[0], one->n + 1, sizeof *one->time_s);
        array_reserve((void **)&one->pitch_st, &room[1], one->n + 1, sizeof *one->pitch_st);
        array_reserve((void **)&one->mean_st, &room[2], one->n + 1, sizeof *one->mean_st);
        array_reserve((void **)&one->place, &room[3], one->n + 1, sizeof *one->place);
        one->time_s[one->n] = time_s;
        one->pitch_st[one->n] = one->mean_st[one->n] = hz > 0 ? note_from_hz(hz) : (double)NAN;
        one->place[one->n++] = hz > 0 ? PLACE_AWAY : PLACE_SILENT;
    }
    fclose(in);
    return true;
}

static bool gather(const plan *p, files *all, err *e)
{
    bool ok = true;
    for (int f = 0; f < FAMILY_BESIDE; f++)
        for (unsigned long seed = p->first_seed; ok && seed <= p->last_seed; seed++)
            if (p->only == FAMILIES || p->only == (family)f)
                ok = add_singer((family)f, seed, p, all, e);
    if (!ok || !p->real)
        return ok;
    glob_t found;
    char *pattern = xformat("%s/*_f0.csv", p->real);
    if (glob(pattern, 0, NULL, &found) != 0)
        ok = err_set(e, "There is no NAME_f0.csv in %s.", p->real);
    else {
        for (size_t i = 0; ok && i < found.gl_pathc; i++)
            ok = add_real(found.gl_pathv[i], all, e);
        globfree(&found);
    }
    free(pattern);
    return ok;
}

static bool hear_all(const plan *p, files *all, err *e)
{
    for (size_t i = 0; i < all->n; i++)
        for (int t = 0; t < p->trackers; t++) {
            peer_settings s = hear_settings(t);
            if (!hear(t, &s, p->programs, all->items[i].path, &all->items[i].heard[t], e))
                return false;
        }
    return true;
}

static void mark(const file *f, int tracker, double later_s, score_card *c)
{
    const hearing *h = &f->heard[tracker];
    for (size_t i = 0; i < f->n; i++) {
        double st = hearing_at(h, h->st, f->time_s[i] - later_s), off = fabs(st - f->pitch_st[i]);
        if (f->place[i] == PLACE_SILENT) {
            c->silent++;
            c->false_voiced += isnan(st) ? 0 : 1;
        }
        if (f->place[i] > PLACE_NEAR)
            continue;
        bool gross = !(off <= MARKS_GROSS_ST);
        c->frames[f->place[i]]++;
        c->gross[f->place[i]] += gross;
        c->absent[f->place[i]] += isnan(st) ? 1 : 0;
        if (!gross && !isnan(f->mean_st[i]))
            numbers_append(&c->cents, 100 * fabs(st - f->mean_st[i]));
    }
}

static size_t gross_of(const score_card *c)
{
    return c->gross[0] + c->gross[1];
}

/* How much later than its stamp a tracker's pitch belongs, so that the fewest frames are gross, and
 * of those that tie the one with the smallest median: of all files of one rate. */
static double best_shift(const files *all, int tracker, int rate_hz, bool real)
{
    double best = 0, least = INFINITY;
    for (int k = 0; k < SHIFTS; k++) {
        score_card c = {0};
        double later_s = 0.001 * (k - SHIFT_MS);
        for (size_t i = 0; i < all->n; i++)
            if (all->items[i].heard[tracker].rate_hz == rate_hz &&
                (all->items[i].family == FAMILIES) == real)
                mark(&all->items[i], tracker, later_s, &c);
        double cost = (double)gross_of(&c) + 1e-3 * numbers_quantile(&c.cents, 0.5);
        if (cost < least) {
            least = cost;
            best = later_s;
        }
        free(c.cents.items);
    }
    return best;
}

static double share(size_t part, size_t of)
{
    return of ? 100 * (double)part / (double)of : (double)NAN;
}

typedef struct results {
    score_card by[FAMILIES + 1][TRACKERS]; /* the last: recordings */
    score_card pooled[TRACKERS];
    double shift_s[TRACKERS][RATES + 1]; /* the last: recordings */
} results;

static const int rates[RATES] = {16000, 22050, 44100, 48000};

static int rate_index(const file *f, int tracker)
{
    int r = 0;
    while (f->family != FAMILIES && r < RATES && rates[r] != f->heard[tracker].rate_hz)
        r++;
    return f->family == FAMILIES ? RATES : r;
}

static void mark_all(const plan *p, const files *all, results *r)
{
    for (int t = 0; t < p->trackers; t++) {
        for (int k = 0; t != OURS && k < RATES; k++)
            r->shift_s[t][k] = best_shift(all, t, rates[k], false);
        if (t != OURS && p->real)
            r->shift_s[t][RATES] = best_shift(all, t, 44100, true);
        for (size_t i = 0; i < all->n; i++) {
            const file *f = &all->items[i];
            double later_s = r->shift_s[t][rate_index(f, t)];
            mark(f, t, later_s, &r->by[f->family][t]);
            if (f->family != FAMILIES)
                mark(f, t, later_s, &r->pooled[t]);
        }
    }
}

static double figure_of(const score_card *c, int what)
{
    return what < 2 ? share(c->gross[what], c->frames[what]) : numbers_quantile(&c->cents, 0.5);
}

/* For sorting: a family without such frames comes last. */
static double worse(const score_card *c, int what)
{
    double figure = figure_of(c, what);
    return isnan(figure) ? -1 : figure;
}

static void print_row(const plan *p, const char *name, const score_card *c, int what)
{
    printf("| %s |", name);
    for (int t = 0; t < p->trackers; t++)
        printf(" %.2f |", figure_of(&c[t], what));
    if (what < 2)
        printf(" %zu |", c[0].frames[what]);
    puts("");
}

/* Worst of ours first. */
static void print_table(const plan *p, const results *r, int what, const char *title)
{
    int by[FAMILIES];
    printf("\n## %s\n\n| family |", title);
    for (int t = 0; t < p->trackers; t++)
        printf(" %s |", hear_settings(t).name);
    puts(what < 2 ? " frames |" : "");
    for (int t = -1; t < p->trackers + (what < 2); t++)
        printf("|---");
    puts("|");
    for (int i = 0; i < FAMILIES; i++) {
        by[i] = i;
        for (int j = i;
             j > 0 && worse(&r->by[by[j]][OURS], what) > worse(&r->by[by[j - 1]][OURS], what);
             j--) {
            int other = by[j];
            by[j] = by[j - 1];
            by[j - 1] = other;
        }
    }
    for (int i = 0; i < FAMILIES; i++)
        if (!isnan(figure_of(&r->by[by[i]][OURS], what)))
            print_row(p, family_get((family)by[i])->name, r->by[by[i]], what);
    print_row(p, "all", r->pooled, what);
}

static void print_others(const plan *p, const files *all, const results *r)
{
    puts("\n## Voice where there is none, times and speed\n\nProcessor time is that of the whole "
         "program, reading included, but for yinfft, of which it is the pitch alone; `make bench` "
         "compares the two on 48 kHz.\n\n| | frames of silence heard as voice, "
         "% | absent, % | times real time | moved by, ms (16, 22.05, 44.1, 48 kHz) |\n"
         "|---|---|---|---|---|");
    for (int t = 0; t < p->trackers; t++) {
        const score_card *c = &r->pooled[t];
        double spent_s = 0, sound_s = 0;
        for (size_t i = 0; i < all->n; i++) {
            spent_s += all->items[i].heard[t].spent_s;
            sound_s += all->items[i].heard[t].sound_s;
        }
        printf("| %s | %.1f | %.2f | %.0f |", hear_settings(t).name,
               share(c->false_voiced, c->silent),
               share(c->absent[0] + c->absent[1], c->frames[0] + c->frames[1]), sound_s / spent_s);
        for (int k = 0; k < RATES; k++)
            printf(" %.0f", 1000 * r->shift_s[t][k]);
        puts(" |");
    }
}

static void print_real(const plan *p, const files *all, const results *r)
{
    puts("\n## Recordings with F0 corrected by hand\n");
    for (size_t i = 0; i < all->n; i++)
        if (all->items[i].family == FAMILIES)
            printf("%s, %zu frames.\n", strrchr(all->items[i].path, '/') + 1, all->items[i].n);
    puts("\nvocadito_1, where it is among them, was looked at while the terms of voicing were "
         "weighed (method.md), and is no test of these; no pitch was tuned on it.\n\nAsked: at "
         "least 98.5 % within 50 cents.");
    puts("\n| | voiced frames within 50 cents, % | "
         "absent, % | median cents | frames of silence heard as voice, % | moved by, ms |\n"
         "|---|---|---|---|---|---|");
    for (int t = 0; t < p->trackers; t++) {
        const score_card *c = &r->by[FAMILIES][t];
        printf("| %s | %.2f | %.2f | %.2f | %.1f | %.0f |\n", hear_settings(t).name,
               100 - share(gross_of(c), c->frames[0]), share(c->absent[0], c->frames[0]),
               numbers_quantile(&c->cents, 0.5), share(c->false_voiced, c->silent),
               1000 * r->shift_s[t][RATES]);
    }
}

/* How often there is voice where our probability of it is p. */
static void print_voicing(const files *all)
{
    size_t frames[BINS] = {0}, voiced[BINS] = {0}, takes[BINS] = {0}, n = 0;
    double said[BINS] = {0}, brier = 0;
    for (size_t i = 0; i < all->n; i++) {
        const file *f = &all->items[i];
        bool in[BINS] = {false};
        for (size_t k = 0; k < f->n && f->family != FAMILIES; k++) {
            double v = hearing_at(&f->heard[OURS], f->heard[OURS].voicing, f->time_s[k]);
            if (f->place[k] == PLACE_UNSURE || isnan(v))
                continue;
            bool there = f->place[k] <= PLACE_NEAR;
            int bin = (int)fmin(BINS - 1, floor(v * BINS));
            frames[bin]++;
            takes[bin] += !in[bin];
            in[bin] = true;
            voiced[bin] += there;
            said[bin] += v;
            brier += (v - there) * (v - there);
            n++;
        }
    }
    puts("\n## Probability of voice\n\nFrames by the probability that they have voice, as the "
         "program gives it, and how many of them have. Frames of a take go together: it is the "
         "takes that tell how sure a row is.\n\n| said, mean | voice there | frames | in takes "
         "|\n|---|---|---|---|");
    for (int b = 0; b < BINS; b++)
        if (frames[b])
            printf("| %.3f | %.3f | %zu | %zu |\n", said[b] / (double)frames[b],
                   (double)voiced[b] / (double)frames[b], frames[b], takes[b]);
    printf("\nMean squared error of the probability %.4f.\n", brier / (double)n);
}

static void dump(const plan *p, const files *all, const results *r)
{
    FILE *out = fopen(p->dump, "w");
    if (!out)
        return;
    for (size_t i = 0; i < all->n; i++) {
        const file *f = &all->items[i];
        for (size_t k = 0; k < f->n; k++) {
            fprintf(out, "%s\t%.3f\t%d\t%.3f\t%.3f", f->path, f->time_s[k], f->place[k],
                    f->pitch_st[k], f->mean_st[k]);
            fprintf(out, "\t%.2f", hearing_at(&f->heard[0], f->heard[0].voicing, f->time_s[k]));
            for (int t = 0; t < p->trackers; t++)
                fprintf(out, "\t%.3f",
                        hearing_at(&f->heard[t], f->heard[t].st,
                                   f->time_s[k] - r->shift_s[t][rate_index(f, t)]));
            fputc('\n', out);
        }
    }
    fclose(out);
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
    *p = (plan){1000, 1002, "build", "build/accuracy-takes", NULL, NULL, TRACKERS, FAMILIES};
    for (int i = 1; i < argc; i++) {
        const char *value = i + 1 < argc ? argv[i + 1] : "";
        if (strcmp(argv[i], "--ours") == 0) {
            p->trackers = 1;
            continue;
        }
        if (strcmp(argv[i], "--seeds") == 0 && seeds_read(value, p))
            i++;
        else if (strcmp(argv[i], "--family") == 0 && family_by_name(value) != FAMILIES)
            p->only = family_by_name(argv[++i]);
        else if (strcmp(argv[i], "--programs") == 0 && *value)
            p->programs = argv[++i];
        else if (strcmp(argv[i], "--takes") == 0 && *value)
            p->takes = argv[++i];
        else if (strcmp(argv[i], "--real") == 0)
            p->real = *value ? value : NULL, i++;
        else if (strcmp(argv[i], "--dump") == 0 && *value)
            p->dump = argv[++i];
        else
            return false;
    }
    return true;
}

/* What is asked of the pooled figures: half of the best of the others, or `least` where that is
 * larger; and of each family: no worse than the best of the others by more than `least`. */
static void print_asked(const plan *p, const results *r, int what, double least)
{
    double best = INFINITY, worst = -INFINITY;
    const char *worst_name = "none";
    for (int t = 1; t < p->trackers; t++)
        best = fmin(best, figure_of(&r->pooled[t], what));
    for (int f = 0; f < FAMILIES; f++) {
        double family_best = INFINITY, own = figure_of(&r->by[f][OURS], what);
        for (int t = 1; t < p->trackers; t++)
            family_best = fmin(family_best, figure_of(&r->by[f][t], what));
        if (own - family_best > worst) {
            worst = own - family_best;
            worst_name = family_get((family)f)->name;
        }
    }
    printf("\nAsked: at most %.2f over all, and on no family more than %.1f over the best of the "
           "others. There is: %.2f over all, and %+.2f on %s.\n",
           fmax(best / 2, least), least, figure_of(&r->pooled[OURS], what), worst, worst_name);
}

/* The family that no take of is without a room is asked for less. */
static void print_medians(const results *r)
{
    const char *worst[2] = {"none", "none"};
    double most[2] = {0, 0};
    for (int f = 0; f < FAMILIES; f++) {
        const family_row *row = family_get((family)f);
        int room = row->room_share == 1;
        double cents = figure_of(&r->by[f][OURS], 2);
        if (cents > most[room]) {
            most[room] = cents;
            worst[room] = row->name;
        }
    }
    printf("\nAsked: at most 1.5 on every family, 4 in a room. There is: %.2f on %s, and in a room "
           "%.2f on %s.\n",
           most[0], worst[0], most[1], worst[1]);
}

static void print_head(const plan *p)
{
    printf("# Pitch\n\nOn the test voice (tests/voice), whose truth is known, beside others on the "
           "same files in the same run; printed by `make test-peers`. Seeds %lu-%lu, one singer a "
           "seed, worst family first.\n",
           p->first_seed, p->last_seed);
    puts("\nThe others are Debian's aubio (yinfft, the power of two of samples nearest to 43 ms) "
         "and SPTK (RAPT with threshold 0.3, SWIPE' with 0.1), every 5 ms from 55 to 1500 Hz. "
         "Buffer and thresholds are those with the fewest gross errors on tuning voices, and each "
         "of the others is moved in time, for each rate, so that it has the fewest on these; the "
         "shifts are below. Seamline is not moved: its stamps are the centres of its windows "
         "(tests/test_pitch.c).\n\n"
         "Gross: no pitch, or more than 50 cents from the pitch that is sung at that time. The "
         "median is of what is not gross, against the pulses that were sung, jitter and all, "
         "averaged over 25 ms: no estimator sees jitter faster than its window.");
}

static void print(const plan *p, const files *all, const results *r)
{
    print_head(p);
    print_table(p, r, PLACE_AWAY, "Gross errors away from flips, %");
    if (p->trackers > 1)
        print_asked(p, r, PLACE_AWAY, 0.1);
    print_table(p, r, PLACE_NEAR, "Gross errors in flips and within 20 ms of them, %");
    if (p->trackers > 1)
        print_asked(p, r, PLACE_NEAR, 1);
    print_table(p, r, 2, "Median error, cents");
    print_medians(r);
    print_others(p, all, r);
    if (p->real)
        print_real(p, all, r);
    print_voicing(all);
}

int main(int argc, char **argv)
{
    plan p;
    if (!plan_read(argc, argv, &p)) {
        fputs("usage: peers [--programs DIR] [--seeds A-B] [--family NAME] [--takes DIR] [--real "
              "DIR] "
              "[--ours] [--dump FILE]\n",
              stderr);
        return 2;
    }
    files all = {0};
    static results r;
    err e = {0};
    if (!gather(&p, &all, &e) || !hear_all(&p, &all, &e)) {
        fprintf(stderr, "peers: %s\n", e.text);
        return 1;
    }
    mark_all(&p, &all, &r);
    print(&p, &all, &r);
    if (p.dump)
        dump(&p, &all, &r);
    return fflush(stdout) == 0 ? 0 : 1;
}
