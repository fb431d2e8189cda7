/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/studio.h"

#include "base/array.h"
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

void studio_frames_write(FILE *out, const char *take, const performance *p)
{
    for (size_t k = 0; k < p->n; k += FRAME_STEPS) {
        double t = (double)k * SCORE_STEP_S;
        if (p->reg[k])
            fprintf(out, "%s\t%.3f\t%.4f\t%.3f\t%d\n", take, t, p->pitch_st[k], p->level_db[k],
                    p->reg[k]);
        else
            fprintf(out, "%s\t%.3f\t\t-inf\t0\n", take, t);
    }
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

/* Sings one take into a file; the performance is the caller's to clear. */
static bool record(const singer *s, const score *sc, int take, const char *path, performance *p,
                   err *e)
{
    *p = perform(s, sc, take);
    sound x = sing(s, p, take);
    sing_in_place(s, &x, take);
    bool ok = files_write_wav(path, &x, s->seed % 4 == 0 ? 24 : 16, e);
    sound_clear(&x);
    return ok;
}

typedef struct truth_files {
    FILE *takes, *frames, *flips;
} truth_files;

static bool family_take(const singer *s, int take, const char *folder, const truth_files *t, err *e)
{
    score sc = score_plan(s, take);
    char name[32];
    snprintf(name, sizeof name, "take-%02d.wav", take);
    char *path = xformat("%s/%s", folder, name);
    performance p;
    bool ok = record(s, &sc, take, path, &p, e);
    fprintf(t->takes, "%s\t%s\n", name, score_kind_name(sc.kind));
    studio_frames_write(t->frames, name, &p);
    flips_write(t->flips, name, &p);
    performance_clear(&p);
    free(path);
    return ok;
}

static bool truth_open(const char *folder, truth_files *t, err *e)
{
    if (!files_create(folder, "takes.tsv", &t->takes, e) ||
        !files_create(folder, "frames.tsv", &t->frames, e) ||
        !files_create(folder, "flips.tsv", &t->flips, e))
        return false;
    fputs("take\tkind\n", t->takes);
    fputs("take\ttime_s\tpitch_st\tlevel_db\tregister\n", t->frames);
    fputs("take\ttime_s\tdirection\tspan_ms\tleap_st\tpitch_before_st\tlevel_db\n", t->flips);
    return true;
}

bool studio_family(family f, uint64_t seed, const char *folder, err *e)
{
    singer s = singer_draw(f, seed);
    truth_files t = {0};
    FILE *boundary = NULL;
    bool ok = files_folder(folder, e) && truth_open(folder, &t, e);
    for (int take = 0; ok && take < score_count(&s); take++)
        ok = family_take(&s, take, folder, &t, e);
    if (ok && files_create(folder, "boundary.tsv", &boundary, e))
        boundary_write(boundary, &s);
    FILE *all[] = {t.takes, t.frames, t.flips, boundary};
    for (size_t i = 0; i < 4; i++)
        if (all[i] && fclose(all[i]) != 0)
            ok = err_set(e, "The truth in %s could not be written whole.", folder);
    return ok && boundary;
}
