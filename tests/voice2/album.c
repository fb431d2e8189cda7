/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/album.h"

#include "base/array.h"
#include "voice/files.h"
#include "voice2/electrodes.h"
#include "voice2/render.h"

#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>

enum { FRAME_STEPS = 5 };

typedef struct tables {
    FILE *takes, *frames, *flips, *boundary;
} tables;

/* One channel, or two of the same length and rate. */
static bool wav_write(const char *path, const clip *const channels[2], int n_channels, int bits,
                      err *e)
{
    const clip *c = channels[0];
    size_t width = (size_t)n_channels;
    double *all = xmalloc(c->n * width, sizeof *all);
    for (size_t i = 0; i < c->n * width; i++) {
        all[i] = channels[i % width]->samples[i / width];
        if (fabs(all[i]) >= 1) {
            free(all);
            return err_set(e, "The take %s is too loud: it would clip %.2f s in.", path,
                           (double)(i / width) / c->rate_hz);
        }
    }
    SF_INFO info = {.samplerate = c->rate_hz, .channels = n_channels};
    info.format = SF_FORMAT_WAV | (bits == 32   ? SF_FORMAT_FLOAT
                                   : bits == 24 ? SF_FORMAT_PCM_24
                                                : SF_FORMAT_PCM_16);
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    sf_count_t written = file ? sf_writef_double(file, all, (sf_count_t)c->n) : 0;
    free(all);
    if (!file)
        return err_set(e, "%s could not be written: %s.", path, sf_strerror(NULL));
    if (sf_close(file) != 0 || written != (sf_count_t)c->n)
        return err_set(e, "%s could not be written whole.", path);
    return true;
}

static void contact_write(FILE *out, const contacts *egg, size_t k)
{
    if (isnan(egg->contact_share[k]))
        fprintf(out, "\t\t\t%d", egg->lost[k]);
    else
        fprintf(out, "\t%.4f\t%.4f\t%d", egg->contact_share[k], egg->peaks_share[k], egg->lost[k]);
}

static void frames_write(FILE *out, const char *take, const act *a, const contacts *egg)
{
    for (size_t k = 0; k < a->n; k += FRAME_STEPS) {
        double t = (double)k * CHART_STEP_S;
        if (a->reg[k])
            fprintf(out, "%s\t%.3f\t%.4f\t%.3f\t%d", take, t, a->pitch_st[k], a->level_db[k],
                    a->reg[k]);
        else
            fprintf(out, "%s\t%.3f\t\t-inf\t0", take, t);
        if (egg)
            contact_write(out, egg, k);
        fputc('\n', out);
    }
}

static void flips_write(FILE *out, const char *take, const act *a)
{
    for (size_t i = 0; i < a->n_turns; i++) {
        const turn *f = &a->turns[i];
        if (f->unheard)
            continue;
        fprintf(out, "%s\t%.4f\t%s\t%.1f\t%.3f\t%.3f\t%.2f\n", take, f->time_s,
                f->up ? "up" : "down", f->span_ms, f->to_st - f->from_st, f->pitch_st, f->level_db);
    }
}

static void boundary_write(FILE *out, const vocalist *v)
{
    double step = vocalist_h1h2_db(v, 1, v->edge_st, v->middle_db) -
                  vocalist_h1h2_db(v, 0, v->edge_st, v->middle_db);
    fputs("parameter\tvalue\n", out);
    fprintf(out, "up_st\t%.4f\ndown_st\t%.4f\n", v->edge_st, v->edge_st - v->lag_st);
    fprintf(out, "slope\t%.4f\nlevel_db\t%.3f\n", v->slope, v->middle_db);
    fprintf(out, "spread\t%.4f\nhysteresis\t%.4f\n", v->scatter_st, v->lag_st);
    fprintf(out, "leap_st\t%.3f\nh1h2_step_db\t%.2f\n", v->leap_st, step);
    fprintf(out, "noise_m1_db\t%.1f\nnoise_m2_db\t%.1f\n", v->source[0].air_db,
            v->source[1].air_db);
    fprintf(out, "woman\t%d\nrate_hz\t%d\nsnr_db\t%.1f\ndry\t%d\n", v->woman, v->rate_hz, v->snr_db,
            v->dry);
    fprintf(out, "vibrato_st\t%.2f\ntune\t%d\nshorter_m2\t%.3f\n", v->vibrato_st, v->tune,
            v->shorter_m2);
    for (int i = 0; i < 2; i++)
        fprintf(out, "open_m%d\t%.3f\ntilt_m%d_hz\t%.0f\n", i + 1,
                vocalist_open(v, i, v->edge_st, v->middle_db, 0), i + 1, v->source[i].tilt_hz);
    fprintf(out, "gain_m2_db\t%.1f\ndip_db\t%.1f\nparallel\t%d\n", v->source[1].gain_db, v->dip_db,
            v->throat.parallel);
}

typedef struct session { /* what is the same over the takes */
    const vocalist *v;
    const electrodes *g; /* NULL without an EGG */
    const char *folder;
    int takes; /* the first ones */
} session;

static bool take_write(const session *s, int take, const tables *t, err *e)
{
    const vocalist *v = s->v;
    char name[32];
    snprintf(name, sizeof name, "take-%02d.wav", take);
    chart c = chart_plan(v, take);
    act a = enact(v, &c, take);
    clip heard = render_clean(v, &a, take);
    render_place(v, &heard, take);
    contacts egg = {.lost = NULL};
    if (s->g)
        egg = electrodes_render(s->g, v, &a, take);
    bool first = s->g && s->g->first;
    const clip *channels[2] = {first ? &egg.egg : &heard, first ? &heard : &egg.egg};
    char *path = xformat("%s/%s", s->folder, name);
    bool ok = wav_write(path, channels, s->g ? 2 : 1, v->bits, e);
    fprintf(t->takes, "%s\t%s\n", name, chart_name(c.kind));
    frames_write(t->frames, name, &a, s->g ? &egg : NULL);
    flips_write(t->flips, name, &a);
    free(path);
    contacts_clear(&egg);
    clip_clear(&heard);
    act_clear(&a);
    return ok;
}

static bool tables_open(const char *folder, bool egg, tables *t, err *e)
{
    if (!files_create(folder, "takes.tsv", &t->takes, e) ||
        !files_create(folder, "frames.tsv", &t->frames, e) ||
        !files_create(folder, "flips.tsv", &t->flips, e) ||
        !files_create(folder, "boundary.tsv", &t->boundary, e))
        return false;
    fputs("take\tkind\n", t->takes);
    fprintf(t->frames, "take\ttime_s\tpitch_st\tlevel_db\tregister%s\n",
            egg ? "\tcontact_quotient\tcontact_peaks\tegg_lost" : "");
    fputs("take\ttime_s\tdirection\tspan_ms\tleap_st\tpitch_before_st\tlevel_db\n", t->flips);
    return true;
}

static void electrodes_write(FILE *out, const electrodes *g)
{
    fprintf(out, "egg_channel\t%d\negg_turned\t%d\negg_noise_db\t%.1f\n", g->first ? 1 : 2,
            g->turned, g->noise_db);
}

static bool album(const session *s, err *e)
{
    const vocalist *v = s->v;
    tables t = {0};
    bool ok = files_folder(s->folder, e) && tables_open(s->folder, s->g != NULL, &t, e);
    for (int take = 0; ok && take < s->takes && take < chart_count(v); take++)
        ok = take_write(s, take, &t, e);
    if (t.boundary)
        boundary_write(t.boundary, v);
    if (t.boundary && s->g)
        electrodes_write(t.boundary, s->g);
    FILE *all[] = {t.takes, t.frames, t.flips, t.boundary};
    for (size_t i = 0; i < 4; i++)
        if (all[i] && fclose(all[i]) != 0)
            ok = err_set(e, "The truth in %s could not be written whole.", s->folder);
    return ok;
}

bool album_write(cast_family f, uint64_t seed, int takes, const char *folder, err *e)
{
    vocalist v = vocalist_draw(f, seed);
    session s = {.v = &v, .folder = folder, .takes = takes};
    return album(&s, e);
}

bool album_write_egg(cast_family f, uint64_t seed, int takes, const char *folder, err *e)
{
    vocalist v = vocalist_draw(f, seed);
    electrodes g = electrodes_draw(&v);
    session s = {.v = &v, .g = &g, .folder = folder, .takes = takes};
    return album(&s, e);
}
