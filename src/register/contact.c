/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/contact.h"

#include "base/array.h"
#include "register/contact_level.h"
#include "voice/egg.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { J = CONTACT_FIGURES, ROUNDS = 8, STARTS = 4 };

/* Contact quotients of 0.40-0.60 in M1 and 0.20-0.40 in M2 are usual (25-35 % criterion, from
 * memory). A closing peak of pi is that of a sine; M1 closes in 0.05-0.15 of a period and parts in
 * twice that. From experience, without a source: how far singers differ, and how much a register's
 * frames scatter. */
static const double usual_mid[J] = {0.40, 1.95, 0.45}, mid_sd[J] = {0.06, 0.2, 0.2};
static const double usual_step[J] = {-0.18, -0.6, -0.55}, step_sd[J] = {0.06, 0.2, 0.2};
static const double scatter[J] = {0.05, 0.15, 0.2};
static const double noise[J] = {0.1, 1, 1.5}; /* adds to the variance where clarity is 0 */
static const double prior_trust = 25;         /* the priors are true of this much more singers */
/* A step is at least and at most so much of the usual one (which is negative): else one register's
 * own drift would make two of it. */
static const double least_step = 0.5, most_step = 2;
/* Contact strays less than the harmonics do, and slower: a seam of a quarter of a second steps. In
 * usual steps, and at most so much of the singer's own: else short ones go for drift. */
static const double drift_sd = 0.22, most_drift = 0.25, drift_s = 1;
static const double student_df = 6, frame_s = 0.005, least_s = 0.5;
/* For each semitone beyond what a register is sung at. */
static const double odds_a_st = 1.5, most_odds = 12;
static const double place_share = 0.05; /* of these log odds, in each frame */
/* Of the usual: a finer look is for steps of about so much, and at least so much scatter. */
static const double finer = 0.4, least_finer = 0.2, least_scatter = 0.3;

typedef struct fit {
    double mid[J], step[J];
    contact_fall fall; /* of the amplitude */
    double score;      /* log-likelihood and log prior, up to a constant */
} fit;

typedef struct work {
    const evidence *ev;
    chain_settings chain;
    double grain;              /* steps are so much of the usual ones */
    double mid[J], scatter[J]; /* what is usual, or for a finer look the singer's own */
    double (*x)[J], (*v)[J];   /* [n] figures and their variances; NaN where not known */
    bool *usable;              /* [n] */
    size_t known;              /* of these, with a quotient */
    contact_levels levels;
    saying *says;
    double *up, *down, *place, *p2, *weights;
} work;

static bool read_frame(const egg_frame *f, double x[J], double v[J])
{
    x[0] = (double)f->quotient; /* NaN where it is not known which way contact counts */
    x[1] = log((double)f->closing);
    x[2] = x[1] - log((double)f->opening);
    for (int j = 0; j < J; j++)
        v[j] = noise[j] * (1 - (double)f->clarity);
    return f->clarity >= EGG_USABLE && f->opening > 0 && f->closing > 0;
}

/* Log odds of M2 where one register alone has the pitch. */
static double odds_of(double pitch_st)
{
    double below = fmax(CONTACT_M2_FROM_ST - pitch_st, 0),
           above = fmax(pitch_st - CONTACT_M1_TO_ST, 0);
    return fmin(odds_a_st * above, most_odds) - fmin(odds_a_st * below, most_odds);
}

static size_t read_frames(work *w, track *const *tracks)
{
    size_t n = 0, takes = 0;
    for (size_t i = 0; i < w->ev->n; i++) {
        const track *t = tracks[w->ev->take[i]];
        w->usable[i] = t->egg && read_frame(&t->egg[w->ev->frame[i]], w->x[i], w->v[i]);
        takes = w->ev->take[i] + 1; /* in order */
    }
    w->levels = contact_levels_new(w->ev, tracks, takes, w->usable);
    for (size_t i = 0; i < w->ev->n; i++) {
        w->usable[i] = w->usable[i] && !isnan(w->levels.x_db[i]);
        w->x[i][0] = w->usable[i] ? w->x[i][0] : (double)NAN;
        n += w->usable[i];
        w->known += isnan(w->x[i][0]) ? 0 : 1;
        w->place[i] = w->usable[i] ? odds_of(w->ev->pitch_st[i]) : 0;
    }
    contact_levels_hazard(&w->levels, w->ev, w->up, w->down);
    return n;
}

/* The registers that the tracks hold, as a start. */
static void read_registers(work *w, track *const *tracks)
{
    for (size_t i = 0; i < w->ev->n; i++) {
        unsigned char reg = tracks[w->ev->take[i]]->reg[w->ev->frame[i]];
        w->p2[i] = reg ? reg - 1 : 0.5;
        w->says[i].weight = reg != 0;
    }
}

/* How far a figure moves in a tenth of a second, in the median: flips and onsets are rare. */
static double moves(const work *w, int j)
{
    double *step = xmalloc(w->ev->n, sizeof *step);
    size_t n = 0;
    for (size_t i = 0; i < w->ev->n; i++) {
        size_t k = w->ev->before[i];
        if (k != EVIDENCE_NONE && !isnan(w->x[i][0]) && !isnan(w->x[k][0]))
            step[n++] = fabs(w->x[i][j] - w->x[k][j]);
    }
    double median = array_median(step, n);
    free(step);
    return n ? median : scatter[j];
}

/* The middle of the registers' means, by those that the tracks hold, and the singer's scatter. */
static void find_own(work *w)
{
    for (int j = 0; j < J; j++) {
        double n[2] = {0, 0}, sum[2] = {0, 0};
        for (size_t i = 0; i < w->ev->n; i++)
            if (!isnan(w->x[i][0]) && w->says[i].weight > 0) {
                n[w->p2[i] > 0.5]++;
                sum[w->p2[i] > 0.5] += w->x[i][j];
            }
        if (n[0] > 0 && n[1] > 0)
            w->mid[j] = (sum[0] / n[0] + sum[1] / n[1]) / 2;
        w->scatter[j] = fmin(fmax(1.5 * moves(w, j), least_scatter * scatter[j]), scatter[j]);
    }
}

static void take_scatter(work *w)
{
    for (size_t i = 0; i < w->ev->n; i++)
        for (int j = 0; j < J; j++)
            w->v[i][j] += w->scatter[j] * w->scatter[j];
}

static work work_new(const evidence *ev, double grain)
{
    work w = {.ev = ev, .chain = chain_defaults(), .grain = grain};
    w.chain.drift_s = drift_s;
    w.chain.place = place_share;
    w.x = xmalloc(ev->n, sizeof *w.x);
    w.v = xmalloc(ev->n, sizeof *w.v);
    w.usable = xcalloc(ev->n, sizeof *w.usable);
    w.says = xcalloc(ev->n, sizeof *w.says);
    w.up = xmalloc(ev->n, sizeof *w.up);
    w.down = xmalloc(ev->n, sizeof *w.down);
    w.place = xmalloc(ev->n, sizeof *w.place);
    w.p2 = array_filled(ev->n, 0.5);
    w.weights = array_filled(ev->n, 0);
    return w;
}

static void work_clear(work *w)
{
    free(w->x);
    free(w->usable);
    free(w->v);
    free(w->up);
    free(w->down);
    free(w->place);
    free(w->weights);
    contact_levels_clear(&w->levels);
}

/* A frame's coordinate along the step, Student's weight where it fits neither register. Returns
 * its log density midway between the registers. */
static double say(const work *w, const fit *f, size_t i, saying *out)
{
    const double *x = w->x[i], *v = w->v[i];
    double z = 0, mass = 0, off = 0, density = 0, fall_db, fall_var;
    for (int j = 0; j < J; j++) {
        double r = x[j] - f->mid[j];
        if (isnan(r))
            continue;
        z += f->step[j] * r / v[j];
        mass += f->step[j] * f->step[j] / v[j];
        off += r * r / v[j];
        density -= 0.5 * (r * r / v[j] + log(v[j]));
    }
    if (contact_fall_says(&f->fall, &w->levels, w->ev, i, &fall_db, &fall_var)) {
        z += f->fall.step_db * fall_db / fall_var;
        mass += f->fall.step_db * f->fall.step_db / fall_var;
        off += fall_db * fall_db / fall_var;
        density -= 0.5 * fall_db * fall_db / fall_var;
    }
    off = fmax(0, off - z * z / mass);
    *out = (saying){z, mass, (student_df + J - 1) / (student_df + off)};
    return fmax(density, -30) * out->weight;
}

static double prior(const work *w, const fit *f)
{
    double sum = 0;
    for (int j = 0; j < J; j++) {
        double a = (f->mid[j] - w->mid[j]) / mid_sd[j];
        double b = (f->step[j] / w->grain - usual_step[j]) / step_sd[j];
        sum -= 0.5 * (a * a + b * b);
    }
    return sum;
}

/* Length of a step, in standard deviations of the frames. */
static double length_of(const work *w, const double step[J])
{
    double sum = 0;
    for (int j = 0; j < J; j++)
        sum += step[j] * step[j] / (w->scatter[j] * w->scatter[j]);
    return sqrt(sum);
}

static void tell(work *w, fit *f)
{
    double density = 0;
    double usual = w->grain * length_of(w, usual_step);
    w->chain.drift_sd = fmin(drift_sd * usual / length_of(w, f->step), most_drift);
    for (size_t i = 0; i < w->ev->n; i++) {
        w->says[i] = (saying){0, 0, 0};
        if (w->usable[i])
            density += say(w, f, i, &w->says[i]);
    }
    chain_inputs in = {.says = w->says, .up = w->up, .down = w->down, .place = w->place};
    f->score = chain_run(w->ev, &in, &w->chain, w->p2, NULL) + w->chain.temper * density +
               prior_trust * prior(w, f);
}

/* Middle and step of each figure, by weighted least squares with the priors. */
static void refit(const work *w, fit *f)
{
    for (size_t i = 0; i < w->ev->n; i++)
        w->weights[i] = w->says[i].weight;
    contact_fall_fit(&f->fall, &w->levels, w->ev, w->p2, w->weights, prior_trust / w->chain.temper);
    for (int j = 0; j < J; j++) {
        double trust = prior_trust / w->chain.temper;
        double a = trust / (mid_sd[j] * mid_sd[j]), ya = a * w->mid[j], b = 0;
        double usual = w->grain * usual_step[j], sd = w->grain * step_sd[j];
        double c = trust / (sd * sd), yc = c * usual;
        for (size_t i = 0; i < w->ev->n; i++) {
            if (!w->usable[i] || isnan(w->x[i][j]))
                continue;
            double s = w->p2[i] - 0.5, k = w->says[i].weight / w->v[i][j];
            a += k;
            b += k * s;
            c += k * 0.25;
            ya += k * w->x[i][j];
            yc += k * s * w->x[i][j];
        }
        double det = a * c - b * b;
        f->mid[j] = (ya * c - yc * b) / det;
        f->step[j] = (yc * a - ya * b) / det;
        double most = most_step * usual, least = (w->grain < 1 ? least_finer : least_step) * usual;
        f->step[j] = fmin(fmax(f->step[j], most), least);
    }
}

static fit climb_on(work *w, fit *f)
{
    tell(w, f);
    for (int round = 0; round < ROUNDS; round++) {
        refit(w, f);
        tell(w, f);
    }
    return *f;
}

/* EM from the usual step about a middle `up` standard deviations from the usual one; NaN: from what
 * the amplitude alone tells. */
static fit climb(work *w, double up)
{
    bool by_level = isnan(up) && contact_levels_guess(&w->levels, w->ev, w->p2);
    up = isnan(up) ? 0 : up;
    fit f = {.fall = contact_fall_new(&w->levels)};
    for (int j = 0; j < J; j++) {
        f.mid[j] = usual_mid[j] + up * mid_sd[j];
        f.step[j] = usual_step[j];
    }
    for (size_t i = 0; by_level && i < w->ev->n; i++)
        w->says[i].weight = 1;
    if (by_level)
        refit(w, &f);
    return climb_on(w, &f);
}

static fit climb_best(work *w)
{
    static const double ups[STARTS] = {0, -1, 1, NAN};
    fit best = climb(w, ups[0]);
    for (int k = 1; k < STARTS; k++) {
        fit f = climb(w, ups[k]), *worse = f.score > best.score ? &best : &f;
        contact_fall_clear(&worse->fall);
        best = worse == &best ? f : best;
    }
    return best;
}

/* EM from the registers that the tracks hold. */
static fit climb_from(work *w, track *const *tracks)
{
    fit f = {.fall = contact_fall_new(&w->levels)};
    read_registers(w, tracks);
    refit(w, &f);
    return climb_on(w, &f);
}

static contact *look(const evidence *ev, track *const *tracks, double grain)
{
    work w = work_new(ev, grain);
    contact *c = NULL;
    size_t usable = read_frames(&w, tracks);
    memcpy(w.mid, usual_mid, sizeof w.mid);
    memcpy(w.scatter, scatter, sizeof w.scatter);
    if (grain < 1) {
        read_registers(&w, tracks);
        find_own(&w);
    }
    take_scatter(&w);
    if ((double)usable * frame_s >= least_s) {
        fit best = grain < 1 ? climb_from(&w, tracks) : climb_best(&w);
        tell(&w, &best);
        contact_fall_clear(&best.fall);
        c = xcalloc(1, sizeof *c);
        *c = (contact){.n = ev->n, .usable = usable, .p2 = w.p2, .says = w.says};
        c->told = xcalloc(ev->n, sizeof *c->told);
        for (int j = 0; j < J; j++) {
            c->m1[j] = best.mid[j] - best.step[j] / 2;
            c->m2[j] = best.mid[j] + best.step[j] / 2;
        }
        c->unclear = 2 * w.known < usable;
        contact_tell(c, ev, w.usable);
    } else {
        free(w.p2);
        free(w.says);
    }
    work_clear(&w);
    return c;
}

contact *contact_new(const evidence *ev, track *const *tracks)
{
    return look(ev, tracks, 1);
}

contact *contact_finer(const evidence *ev, track *const *tracks)
{
    return look(ev, tracks, finer);
}
