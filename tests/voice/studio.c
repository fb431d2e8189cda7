/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/studio.h"

#include "base/array.h"
#include "voice/contact.h"
#include "voice/files.h"
#include "voice/sing.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { FRAME_STEPS = 5 };

static const char *direction_name(flip_direction d)
{
    return d == FLIP_UP ? "up" : "down";
}

static void frame_write(FILE *out, const char *take, const performance *p, size_t k)
{
    double t = (double)k * SCORE_STEP_S;
    if (p->reg[k])
        fprintf(out, "%s\t%.3f\t%.4f\t%.3f\t%d", take, t, p->pitch_st[k], p->level_db[k],
                p->reg[k]);
    else
        fprintf(out, "%s\t%.3f\t\t-inf\t0", take, t);
}

static void contact_write(FILE *out, const contact_channel *c, size_t k)
{
    if (isnan(c->contact_share[k]))
        fprintf(out, "\t\t\t%d", c->lost[k]);
    else
        fprintf(out, "\t%.4f\t%.4f\t%d", c->contact_share[k], c->peaks_share[k], c->lost[k]);
}

/* c: NULL without an EGG. */
static void frames_write(FILE *out, const char *take, const performance *p,
                         const contact_channel *c)
{
    for (size_t k = 0; k < p->n; k += FRAME_STEPS) {
        frame_write(out, take, p, k);
        if (c)
            contact_write(out, c, k);
        fputc('\n', out);
    }
}

void studio_frames_write(FILE *out, const char *take, const performance *p)
{
    frames_write(out, take, p, NULL);
}

static void flips_write(FILE *out, const char *take, const performance *p)
{
    for (size_t i = 0; i < p->n_flips; i++) {
        const sung_flip *f = &p->flips[i];
        fprintf(out, "%s\t%.4f\t%s\t%.1f\t%.3f\t%.3f\t%.2f\n", take, f->time_s,
                direction_name(f->direction), f->span_ms, f->leap_st, f->pitch_before_st,
                f->level_db);
    }
}

static void boundary_write(FILE *out, const singer *s)
{
    const singer_boundary *b = &s->boundary;
    fputs("parameter\tvalue\n", out);
    fprintf(out, "up_st\t%.4f\ndown_st\t%.4f\n", b->pitch_st, b->pitch_st - b->hysteresis);
    fprintf(out, "slope\t%.4f\nlevel_db\t%.3f\n", b->slope, b->level_db);
    fprintf(out, "spread\t%.4f\nhysteresis\t%.4f\n", b->spread, b->hysteresis);
    fprintf(out, "leap_st\t%.3f\n", s->leap_st);
    fprintf(out, "h1h2_step_db\t%.2f\n", s->source[1].h1h2_db - s->source[0].h1h2_db);
    fprintf(out, "noise_m1_db\t%.1f\nnoise_m2_db\t%.1f\n", s->source[0].noise_db,
            s->source[1].noise_db);
    fprintf(out, "woman\t%d\nrate_hz\t%d\nsnr_db\t%.1f\ndry\t%d\n", s->woman, s->rate_hz, s->snr_db,
            s->dry);
    fprintf(out, "vibrato_st\t%.2f\n", s->vibrato_st);
}

static int bits_of(const singer *s)
{
    return s->seed % 4 == 0 ? 24 : 16;
}

static sound heard(const singer *s, const performance *p, int take)
{
    sound x = sing(s, p, take);
    sing_in_place(s, &x, take);
    return x;
}

/* Sings one take into a file; the performance is the caller's to clear. */
static bool record(const singer *s, const score *sc, int take, const char *path, performance *p,
                   err *e)
{
    *p = perform(s, sc, take);
    sound x = heard(s, p, take);
    bool ok = files_write_wav(path, &x, bits_of(s), e);
    sound_clear(&x);
    return ok;
}

/* The same with an EGG beside the microphone. */
static bool record_both(const singer *s, const score *sc, int take, const contact_wiring *w,
                        const char *path, performance *p, contact_channel *c, err *e)
{
    *p = perform(s, sc, take);
    sound x = heard(s, p, take);
    *c = contact_sing(w, s, p, take);
    const sound *channels[2] = {w->channel == 1 ? &c->egg : &x, w->channel == 1 ? &x : &c->egg};
    bool ok = files_write_channels(path, channels, 2, bits_of(s), e);
    sound_clear(&x);
    return ok;
}

typedef struct truth_files {
    FILE *takes, *frames, *flips;
} truth_files;

/* w: NULL without an EGG. */
static bool family_take(const singer *s, int take, const contact_wiring *w, const char *folder,
                        const truth_files *t, err *e)
{
    score sc = score_plan(s, take);
    char name[32];
    snprintf(name, sizeof name, "take-%02d.wav", take);
    char *path = xformat("%s/%s", folder, name);
    performance p;
    contact_channel c = {.lost = NULL};
    bool ok = w ? record_both(s, &sc, take, w, path, &p, &c, e) : record(s, &sc, take, path, &p, e);
    fprintf(t->takes, "%s\t%s\n", name, score_kind_name(sc.kind));
    frames_write(t->frames, name, &p, w ? &c : NULL);
    flips_write(t->flips, name, &p);
    contact_clear(&c);
    performance_clear(&p);
    free(path);
    return ok;
}

static bool truth_open(const char *folder, bool egg, truth_files *t, err *e)
{
    if (!files_create(folder, "takes.tsv", &t->takes, e) ||
        !files_create(folder, "frames.tsv", &t->frames, e) ||
        !files_create(folder, "flips.tsv", &t->flips, e))
        return false;
    fputs("take\tkind\n", t->takes);
    fprintf(t->frames, "take\ttime_s\tpitch_st\tlevel_db\tregister%s\n",
            egg ? "\tcontact_quotient\tcontact_peaks\tegg_lost" : "");
    fputs("take\ttime_s\tdirection\tspan_ms\tleap_st\tpitch_before_st\tlevel_db\n", t->flips);
    return true;
}

static bool family_session(const singer *s, int takes, const contact_wiring *w, const char *folder,
                           err *e)
{
    truth_files t = {0};
    FILE *boundary = NULL;
    bool ok = files_folder(folder, e) && truth_open(folder, w != NULL, &t, e);
    for (int take = 0; ok && take < takes && take < score_count(s); take++)
        ok = family_take(s, take, w, folder, &t, e);
    if (ok && files_create(folder, "boundary.tsv", &boundary, e))
        boundary_write(boundary, s);
    if (boundary && w)
        fprintf(boundary, "egg_channel\t%d\negg_turned\t%d\negg_noise_db\t%.1f\n", w->channel,
                w->turned, w->noise_db);
    FILE *all[] = {t.takes, t.frames, t.flips, boundary};
    for (size_t i = 0; i < 4; i++)
        if (all[i] && fclose(all[i]) != 0)
            ok = err_set(e, "The truth in %s could not be written whole.", folder);
    return ok && boundary;
}

bool studio_family(family f, uint64_t seed, int takes, const char *folder, err *e)
{
    singer s = singer_draw(f, seed);
    return family_session(&s, takes, NULL, folder, e);
}

bool studio_family_egg(family f, uint64_t seed, int takes, const char *folder, err *e)
{
    singer s = singer_draw(f, seed);
    contact_wiring w = contact_wire(&s);
    return family_session(&s, takes, &w, folder, e);
}
