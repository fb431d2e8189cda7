/* SPDX-License-Identifier: GPL-3.0-or-later */

/* Learns how far cues of a flip are to be trusted, from the first test voice's tuning seeds, and
 * prints src/register/trust_table.h on stdout; on stderr how well the answers are calibrated on
 * singers that were left out.
 *
 *   trust --takes DIR
 *
 * Each singer is heard five times: all takes; the same, of a third of which the registers are
 * stated (their changes do not count); a third of them; and two takes alone. A found change is a
 * flip when a true one of the same direction lies within 60 ms. The regression is penalised (a unit
 * of weight on standardised terms costs half a nat times `ridge`). It is learnt three times: each
 * change alone, then twice with what the singer's other changes come to (CUE_COMPANY) when weighed
 * by the regression before, learnt without that singer. Two weights are held, and what is printed
 * is half way from the table in use. */

#include "base/array.h"
#include "register/decode.h"
#include "register/trust.h"
#include "register/trust_table.h"
#include "voice/files.h"
#include "voice/listen.h"
#include "voice/marks.h"
#include "voice2/choir.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FIRST_SEED = 1, LAST_SEED = 12, UNKNOWNS = TRUST_TERMS + 1, ROUNDS = 40, FOLDS = 6 };
static const double ridge = 10, untold_s = 0.3;

typedef struct example {
    double x[TRUST_TERMS];
    bool flip;
    unsigned long who;
    size_t hearing; /* heard together with others of the same */
} example;

typedef struct examples {
    size_t n, room, hearings;
    example *items;
} examples;

static void add_example(examples *all, const flip *f, bool is_flip, unsigned long who)
{
    array_reserve((void **)&all->items, &all->room, all->n + 1, sizeof *all->items);
    example *e = &all->items[all->n++];
    *e = (example){.flip = is_flip, .who = who, .hearing = all->hearings};
    for (int k = 0; k < TRUST_TERMS; k++)
        e->x[k] = trust_term_value(k, f->cues);
}

/* What a teacher says of a take: the registers, but near a flip. */
static void tell(track *t, const truth_take *of)
{
    t->stated = xcalloc(t->n, sizeof *t->stated);
    for (size_t f = 0; f < t->n; f++) {
        size_t at = (size_t)fmax(0, round(t->time_s[f] / TRUTH_HOP_S));
        bool near = false;
        for (size_t k = 0; k < of->n_flips; k++)
            near = near || fabs(of->flips[k].time_s - t->time_s[f]) < untold_s;
        if (at < of->n && !near)
            t->stated[f] = of->reg[at] == 1 ? STATED_M1 : of->reg[at] == 2 ? STATED_M2 : 0;
    }
}

static void unsay(track *t)
{
    free(t->stated);
    t->stated = NULL;
}

/* Decodes the takes for which take % every == rest % every, and labels what was found in those of
 * which nothing is stated. */
static void study(const truth *t, track *const *tracks, size_t every, size_t rest, examples *all,
                  unsigned long who)
{
    track **some = xcalloc(t->n, sizeof *some);
    size_t *take = xcalloc(t->n, sizeof *take), n = 0;
    for (size_t i = 0; i < t->n; i++)
        if (i % every == rest % every) {
            take[n] = i;
            some[n++] = tracks[i];
        }
    flips *found = xcalloc(t->n, sizeof *found);
    register_settings settings = register_defaults();
    register_summary ignored;
    settings.least_listed = 0;
    register_decode(some, n, &settings, found, &ignored);
    for (size_t i = 0; i < n; i++) {
        const truth_take *truth_of = &t->takes[take[i]];
        if (some[i]->stated) {
            flips_clear(&found[i]);
            continue;
        }
        long *match = xmalloc(truth_of->n_flips, sizeof *match);
        marks_match(truth_of, &found[i], 0, match);
        for (size_t j = 0; j < found[i].n; j++) {
            bool is_flip = false;
            for (size_t k = 0; k < truth_of->n_flips; k++)
                is_flip = is_flip || match[k] == (long)j;
            add_example(all, &found[i].items[j], is_flip, who);
        }
        free(match);
        flips_clear(&found[i]);
    }
    all->hearings++;
    free(found);
    free(take);
    free(some);
}

static bool one_singer(int family_at, unsigned long seed, const char *takes, examples *all, err *e)
{
    char *folder = NULL;
    truth t = {0};
    voice_settings voice = voice_defaults();
    bool ok = choir_render(1, family_at, seed, takes, &folder, e) && truth_read(folder, &t, e);
    track **tracks = xcalloc(t.n, sizeof *tracks);
    for (size_t i = 0; ok && i < t.n; i++) {
        char *name = xformat("%s/%s", folder, t.takes[i].name);
        ok = voice_listen(name, &voice, &tracks[i], NULL, e);
        free(name);
    }
    unsigned long who = (unsigned long)family_at * 100 + seed;
    if (ok) {
        study(&t, tracks, 1, 0, all, who);
        for (size_t i = seed % 3; i < t.n; i += 3)
            tell(tracks[i], &t.takes[i]);
        study(&t, tracks, 1, 0, all, who);
        for (size_t i = 0; i < t.n; i++)
            unsay(tracks[i]);
        study(&t, tracks, 3, seed, all, who);
        study(&t, tracks, t.n, seed, all, who);
        study(&t, tracks, t.n, seed + 4, all, who);
    }
    for (size_t i = 0; i < t.n; i++)
        track_free(tracks[i]);
    free(tracks);
    truth_clear(&t);
    free(folder);
    return ok;
}

typedef struct learnt {
    double mean[TRUST_TERMS], sd[TRUST_TERMS], b[UNKNOWNS]; /* b: standardised, intercept first */
} learnt;

static bool left_out(const example *e, int fold)
{
    return fold >= 0 && (int)(e->who * 7 % FOLDS) == fold;
}

static void standardise(const examples *all, learnt *l)
{
    for (int k = 0; k < TRUST_TERMS; k++) {
        double sum = 0, squares = 0, n = (double)all->n;
        for (size_t i = 0; i < all->n; i++)
            sum += all->items[i].x[k];
        l->mean[k] = sum / n;
        for (size_t i = 0; i < all->n; i++)
            squares += pow(all->items[i].x[k] - l->mean[k], 2);
        l->sd[k] = sqrt(squares / n) + 1e-6;
    }
}

static double log_odds(const learnt *l, const example *e)
{
    double odds = l->b[0];
    for (int k = 0; k < TRUST_TERMS; k++)
        odds += l->b[k + 1] * (e->x[k] - l->mean[k]) / l->sd[k];
    return odds;
}

static double probability(const learnt *l, const example *e)
{
    return 1 / (1 + exp(-log_odds(l, e)));
}

static int term_of(cue c)
{
    int k = 0;
    while (trust_terms[k].from != c)
        k++;
    return k;
}

/* Weights that are not learnt. What glides say are log odds already, so that a nat is a nat; few
 * singers have any, and to learn their weight would be to learn chance. A kink is ten times as
 * frequent in flips as in other leaps, but what would show it is mostly told by other cues in much
 * voice. */
static const struct {
    cue of;
    double weight;
} held[] = {{CUE_GLIDES, 1}, {CUE_KINK, 3}, {CUE_TRIP, 3.5}};
enum { HELD = sizeof held / sizeof *held };

/* A step of Newton's method for all other weights. */
static void improve(const examples *all, int fold, learnt *l)
{
    double g[UNKNOWNS] = {0}, h[UNKNOWNS * UNKNOWNS] = {0};
    for (int a = 1; a < UNKNOWNS; a++) {
        g[a] = -ridge * l->b[a];
        h[a * UNKNOWNS + a] = ridge;
    }
    for (size_t i = 0; i < all->n; i++) {
        const example *e = &all->items[i];
        if (left_out(e, fold))
            continue;
        double p = probability(l, e), v[UNKNOWNS] = {1};
        for (int k = 0; k < TRUST_TERMS; k++)
            v[k + 1] = (e->x[k] - l->mean[k]) / l->sd[k];
        for (int a = 0; a < UNKNOWNS; a++) {
            g[a] += (e->flip - p) * v[a];
            for (int b = 0; b < UNKNOWNS; b++)
                h[a * UNKNOWNS + b] += fmax(p * (1 - p), 1e-4) * v[a] * v[b];
        }
    }
    for (int k = 0; k < HELD; k++) {
        int a = term_of(held[k].of) + 1;
        g[a] = 0;
        for (int b = 0; b < UNKNOWNS; b++)
            h[a * UNKNOWNS + b] = h[b * UNKNOWNS + a] = a == b;
    }
    gsl_matrix_view hv = gsl_matrix_view_array(h, UNKNOWNS, UNKNOWNS);
    gsl_vector_view gv = gsl_vector_view_array(g, UNKNOWNS);
    gsl_linalg_HH_svx(&hv.matrix, &gv.vector);
    for (int a = 0; a < UNKNOWNS; a++)
        l->b[a] += g[a];
}

static learnt learn(const examples *all, int fold)
{
    learnt l = {.b = {0}};
    standardise(all, &l);
    for (int k = 0; k < HELD; k++) {
        int at = term_of(held[k].of);
        l.b[at + 1] = held[k].weight * l.sd[at];
    }
    for (int round = 0; round < ROUNDS; round++)
        improve(all, fold, &l);
    return l;
}

/* Each by its own cues, and not those of its singer. */
static learnt learn_own(const examples *all)
{
    examples own = {all->n, all->n, all->hearings, xmalloc(all->n, sizeof *own.items)};
    memcpy(own.items, all->items, all->n * sizeof *own.items);
    for (size_t i = 0; i < own.n; i++)
        for (int k = 0; k < TRUST_TERMS; k++)
            if (trust_terms[k].from >= CUE_GAIN)
                own.items[i].x[k] = 0;
    learnt l = learn(&own, -1);
    l.b[term_of(CUE_GLIDES) + 1] = 0;
    free(own.items);
    return l;
}

/* The log odds of each by a regression that was learnt without its singer, and the one learnt from
 * all. */
static learnt learn_nats(const examples *all, double *nats)
{
    for (int fold = 0; fold < FOLDS; fold++) {
        learnt l = learn(all, fold);
        for (size_t i = 0; i < all->n; i++)
            if (left_out(&all->items[i], fold))
                nats[i] = log_odds(&l, &all->items[i]);
    }
    return learn(all, -1);
}

/* Gives each what the others of its hearing come to. */
static void keep_company(examples *all, const double *nats)
{
    int at = term_of(CUE_COMPANY);
    for (size_t first = 0, end; first < all->n; first = end) {
        for (end = first; end < all->n && all->items[end].hearing == all->items[first].hearing;)
            end++;
        double(*cues)[CUES] = xcalloc(end - first, sizeof *cues);
        trust_company(end - first, nats + first, cues);
        for (size_t i = first; i < end; i++)
            all->items[i].x[at] = trust_term_value(at, cues[i - first]);
        free(cues);
    }
}

/* Tenths of probability: how many, and how many of them are flips. */
static void say_calibration(const examples *all)
{
    double n[10] = {0}, sum[10] = {0}, flips_in[10] = {0}, brier = 0, error = 0;
    for (int fold = 0; fold < FOLDS; fold++) {
        learnt l = learn(all, fold);
        for (size_t i = 0; i < all->n; i++) {
            const example *e = &all->items[i];
            if (!left_out(e, fold))
                continue;
            double p = probability(&l, e);
            int tenth = p < 1 ? (int)(10 * p) : 9;
            n[tenth]++;
            sum[tenth] += p;
            flips_in[tenth] += e->flip;
            brier += pow(p - e->flip, 2) / (double)all->n;
        }
    }
    for (int t = 0; t < 10; t++)
        if (n[t] > 0) {
            error += fabs(sum[t] - flips_in[t]) / (double)all->n;
            fprintf(stderr, "given %.2f: %.0f changes, %.2f of them flips\n", sum[t] / n[t], n[t],
                    flips_in[t] / n[t]);
        }
    fprintf(stderr, "Brier score %.3f, expected calibration error %.3f\n", brier, error);
}

static void print_array(const char *name, const double *v)
{
    printf("static const double %s[TRUST_TERMS] = {", name);
    for (int k = 0; k < TRUST_TERMS; k++)
        printf("%s%s%.4f", k ? "," : "", k % 8 ? " " : "\n    ", v[k]);
    puts("};");
}

/* The weights, half of what was learnt and half of those in use, and the log odds where each term
 * is at its mean in `about`. By the weights in use worlds are chosen, and other weights see others:
 * without that half one learning and the next go to and fro. */
static void print_weights(const char *suffix, const learnt *l, double in_use_from,
                          const double *in_use, const learnt *about)
{
    double by[TRUST_TERMS], from = (l->b[0] + in_use_from) / 2;
    for (int k = 0; k < TRUST_TERMS; k++) {
        double now = l->b[k + 1] / l->sd[k];
        from += now * (about->mean[k] - l->mean[k]) / 2;
        from += in_use[k] * (about->mean[k] - means[k]) / 2;
        by[k] = (now + in_use[k]) / 2;
    }
    char *name = xformat("weights%s", suffix);
    printf("static const double intercept%s = %.4f;\n", suffix, from);
    print_array(name, by);
    free(name);
}

static void print_table(const learnt *own, const learnt *alone, const learnt *first,
                        const learnt *l)
{
    puts("/* SPDX-License-Identifier: GPL-3.0-or-later */\n"
         "/* Written by `make trust`: weights of register/trust.c's terms. */\n");
    print_array("means", l->mean);
    print_weights("_own", own, intercept_own, weights_own, l);
    print_weights("_alone", alone, intercept_alone, weights_alone, l);
    print_weights("_first", first, intercept_first, weights_first, l);
    print_weights("", l, intercept, weights, l);
}

static void learn_all(examples *all)
{
    double *nats = xcalloc(all->n, sizeof *nats);
    learnt own = learn_own(all);
    for (size_t i = 0; i < all->n; i++)
        all->items[i].x[term_of(CUE_COMPANY)] = 0;
    learnt alone = learn_nats(all, nats);
    keep_company(all, nats);
    learnt first = learn_nats(all, nats);
    keep_company(all, nats);
    learnt l = learn(all, -1);
    say_calibration(all);
    print_table(&own, &alone, &first, &l);
    free(nats);
}

int main(int argc, char **argv)
{
    if (argc != 3 || strcmp(argv[1], "--takes") != 0) {
        fputs("usage: trust --takes DIR\n", stderr);
        return 2;
    }
    examples all = {0};
    err e = {0};
    bool ok = true;
    for (int f = 0; ok && f < choir_families(1); f++)
        for (unsigned long seed = FIRST_SEED; ok && seed <= LAST_SEED; seed++)
            ok = one_singer(f, seed, argv[2], &all, &e);
    if (!ok)
        fprintf(stderr, "trust: %s\n", e.text);
    if (ok && all.n)
        learn_all(&all);
    free(all.items);
    return ok && all.n ? 0 : 1;
}
