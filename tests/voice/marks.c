/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/marks.h"

#include "base/array.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

void numbers_append(numbers *l, double value)
{
    array_reserve((void **)&l->items, &l->room, l->n + 1, sizeof *l->items);
    l->items[l->n++] = value;
}

double numbers_quantile(const numbers *l, double q)
{
    if (l->n == 0)
        return (double)NAN;
    double *sorted = xmalloc(l->n, sizeof *sorted);
    memcpy(sorted, l->items, l->n * sizeof *sorted);
    gsl_sort(sorted, 1, l->n);
    double value = gsl_stats_quantile_from_sorted_data(sorted, 1, l->n, q);
    free(sorted);
    return value;
}

#define SAME_S 1e-9 /* times that differ by rounding alone */

/* Seconds from t to the nearest true span; 0 inside one. */
static double to_transition(const truth_take *t, double time_s)
{
    double nearest = INFINITY;
    for (size_t i = 0; i < t->n_flips; i++) {
        double off = fabs(time_s - t->flips[i].time_s) - t->flips[i].span_ms / 2000;
        nearest = fmin(nearest, fmax(off, 0));
    }
    return nearest;
}

static bool voice_around(const truth_take *t, size_t frame)
{
    size_t reach = (size_t)(MARKS_TAIL_S / TRUTH_HOP_S);
    size_t lo = frame > reach ? frame - reach : 0;
    for (size_t i = lo; i <= frame + reach && i < t->n; i++)
        if (t->reg[i])
            return true;
    return false;
}

/* The found frame nearest in time, -1 when none is within a hop. */
static long frame_at(const track *t, double time_s)
{
    if (t->n == 0)
        return -1;
    long i = lround((time_s - t->time_s[0]) / t->hop_s);
    return i < -1 || i > (long)t->n ? -1 : i < 0 ? 0 : i < (long)t->n ? i : (long)t->n - 1;
}

static void mark_voiced(marks *m, const truth_take *true_take, size_t i, const track *found, long j)
{
    double away_s = to_transition(true_take, (double)i * TRUTH_HOP_S);
    double pitch = j < 0 ? (double)NAN : found->pitch_st[j];
    double off = fabs(pitch - true_take->pitch_st[i]);
    bool near = away_s < 0.02 - SAME_S, gross = !(off <= MARKS_GROSS_ST);
    m->voiced[near]++;
    m->gross[near] += gross;
    if (!gross)
        numbers_append(&m->cents, 100 * off);
    if (j >= 0)
        numbers_append(&m->level_db, fabs(found->level_db[j] - true_take->level_db[i]));
    if (away_s > SAME_S) {
        m->reg_frames++;
        m->reg_right += j >= 0 && found->reg[j] == true_take->reg[i];
    }
}

static void mark_frames(marks *m, const truth_take *true_take, const track *found)
{
    for (size_t i = 0; i < true_take->n; i++) {
        long j = frame_at(found, (double)i * TRUTH_HOP_S);
        if (true_take->reg[i]) {
            m->minutes += TRUTH_HOP_S / 60;
            mark_voiced(m, true_take, i, found, j);
        } else if (!voice_around(true_take, i)) {
            m->silent++;
            m->false_voiced += j >= 0 && !isnan(found->pitch_st[j]);
        }
    }
}

void marks_match(const truth_take *true_take, const flips *found, double assert_at, long *match)
{
    bool *taken = xcalloc(found->n, sizeof *taken);
    for (size_t i = 0; i < true_take->n_flips; i++)
        match[i] = -1;
    for (;;) {
        double best = MARKS_MATCH_S;
        size_t at = true_take->n_flips, with = 0;
        for (size_t i = 0; i < true_take->n_flips; i++)
            for (size_t j = 0; j < found->n; j++) {
                const flip *f = &found->items[j];
                double off = fabs(f->time_s - true_take->flips[i].time_s);
                bool free_pair = match[i] < 0 && !taken[j] && f->confidence >= assert_at;
                if (free_pair && f->direction == true_take->flips[i].direction && off <= best) {
                    best = off;
                    at = i;
                    with = j;
                }
            }
        if (at == true_take->n_flips)
            break;
        match[at] = (long)with;
        taken[with] = true;
    }
    free(taken);
}

static size_t asserted(const flips *found, double assert_at)
{
    size_t n = 0;
    for (size_t j = 0; j < found->n; j++)
        n += found->items[j].confidence >= assert_at;
    return n;
}

static void mark_flips(marks *m, const truth_take *true_take, const flips *found, double assert_at)
{
    long *match = xmalloc(true_take->n_flips, sizeof *match);
    marks_match(true_take, found, assert_at, match);
    m->true_flips += true_take->n_flips;
    m->found_flips += asserted(found, assert_at);
    for (size_t i = 0; i < true_take->n_flips; i++) {
        if (match[i] < 0)
            continue;
        const flip *f = &found->items[match[i]];
        double leap = f->pitch_after_st - f->pitch_before_st;
        double off = fabs(leap - truth_heard_leap(true_take, &true_take->flips[i]));
        m->matched++;
        numbers_append(&m->time_ms, 1000 * fabs(f->time_s - true_take->flips[i].time_s));
        if (!isnan(off))
            numbers_append(&m->leap_st, off);
    }
    free(match);
}

static void mark_confidence(marks *m, const truth_take *true_take, const flips *found)
{
    long *match = xmalloc(true_take->n_flips, sizeof *match);
    marks_match(true_take, found, 0, match);
    for (size_t j = 0; j < found->n; j++) {
        double p = found->items[j].confidence;
        bool right = false;
        for (size_t i = 0; i < true_take->n_flips; i++)
            right = right || match[i] == (long)j;
        confidence_tenth *t = &m->tenths[p < 1 ? (int)(MARKS_TENTHS * p) : MARKS_TENTHS - 1];
        t->listed++;
        t->matched += right;
        t->confidence += p;
        m->squares += (p - right) * (p - right);
    }
    free(match);
}

void marks_take(marks *m, const truth_take *true_take, const track *found, const flips *found_flips,
                double assert_at)
{
    m->takes++;
    mark_frames(m, true_take, found);
    contact_marks_take(&m->contact, true_take, found);
    mark_flips(m, true_take, found_flips, assert_at);
    mark_confidence(m, true_take, found_flips);
    if (true_take->n_flips > 0)
        return;
    m->still_takes++;
    m->still_false += asserted(found_flips, assert_at);
    for (size_t i = 0; i < true_take->n; i++)
        m->still_minutes += true_take->reg[i] ? TRUTH_HOP_S / 60 : 0;
}

/* The register of all voiced frames, 0 when there are two or none. */
static unsigned char only_register(const truth *t)
{
    size_t frames[3] = {0};
    for (size_t i = 0; i < t->n; i++)
        for (size_t k = 0; k < t->takes[i].n; k++)
            frames[t->takes[i].reg[k]]++;
    return frames[1] && frames[2] ? 0 : frames[1] ? 1 : frames[2] ? 2 : 0;
}

void marks_single(marks *m, const truth *t, track *const *found)
{
    unsigned char only = only_register(t);
    size_t given[3] = {0}; /* without a name, as M1, as M2 */
    for (size_t i = 0; only && i < t->n; i++)
        for (size_t k = 0; k < t->takes[i].n; k++) {
            long j = t->takes[i].reg[k] ? frame_at(found[i], (double)k * TRUTH_HOP_S) : -1;
            if (j >= 0 && !isnan(found[i]->pitch_st[j]))
                given[found[i]->reg[j] <= 2 ? found[i]->reg[j] : 0]++;
        }
    if (!only)
        return;
    size_t best = given[1] >= given[2] ? 1 : 2;
    best = given[0] > given[best] ? 0 : best;
    m->reg_right = given[best];
    m->singles++;
    m->misnamed += best == (size_t)(3 - only);
}

void marks_boundary(marks *m, double true_st, double found_st, double lo_st, double hi_st)
{
    m->boundaries++;
    if (isnan(found_st))
        return;
    m->told++;
    m->covered += lo_st <= true_st && true_st <= hi_st;
    numbers_append(&m->boundary_st, fabs(found_st - true_st));
}

static void numbers_join(numbers *sum, const numbers *l)
{
    for (size_t i = 0; i < l->n; i++)
        numbers_append(sum, l->items[i]);
}

void marks_add(marks *sum, const marks *m)
{
    sum->takes += m->takes;
    contact_marks_add(&sum->contact, &m->contact);
    sum->minutes += m->minutes;
    for (int i = 0; i < 2; i++) {
        sum->voiced[i] += m->voiced[i];
        sum->gross[i] += m->gross[i];
    }
    sum->silent += m->silent;
    sum->false_voiced += m->false_voiced;
    sum->reg_frames += m->reg_frames;
    sum->reg_right += m->reg_right;
    sum->true_flips += m->true_flips;
    sum->found_flips += m->found_flips;
    sum->matched += m->matched;
    sum->still_takes += m->still_takes;
    sum->still_false += m->still_false;
    sum->still_minutes += m->still_minutes;
    for (int k = 0; k < MARKS_TENTHS; k++) {
        sum->tenths[k].listed += m->tenths[k].listed;
        sum->tenths[k].matched += m->tenths[k].matched;
        sum->tenths[k].confidence += m->tenths[k].confidence;
    }
    sum->squares += m->squares;
    sum->singles += m->singles;
    sum->misnamed += m->misnamed;
    sum->boundaries += m->boundaries;
    sum->told += m->told;
    sum->covered += m->covered;
    numbers_join(&sum->cents, &m->cents);
    numbers_join(&sum->time_ms, &m->time_ms);
    numbers_join(&sum->leap_st, &m->leap_st);
    numbers_join(&sum->level_db, &m->level_db);
    numbers_join(&sum->boundary_st, &m->boundary_st);
}

void marks_clear(marks *m)
{
    free(m->cents.items);
    free(m->time_ms.items);
    free(m->leap_st.items);
    free(m->level_db.items);
    free(m->boundary_st.items);
    *m = (marks){0};
}

static size_t listed(const marks *m)
{
    size_t n = 0;
    for (int k = 0; k < MARKS_TENTHS; k++)
        n += m->tenths[k].listed;
    return n;
}

double marks_brier(const marks *m)
{
    return listed(m) ? m->squares / (double)listed(m) : (double)NAN;
}

double marks_calibration_error(const marks *m)
{
    double sum = 0;
    for (int k = 0; k < MARKS_TENTHS; k++)
        sum += fabs(m->tenths[k].confidence - (double)m->tenths[k].matched);
    return listed(m) ? sum / (double)listed(m) : (double)NAN;
}

/* The mean distance of a binomial count from its mean in closed form: de Moivre, 1730 (Diaconis and
 * Zabell 1991, Closed form summation for classical distributions; from memory). */
static double mean_distance(double p, size_t n)
{
    double most_likely = floor((double)n * p) + 1;
    return 2 * most_likely * (1 - p) * gsl_ran_binomial_pdf((unsigned)most_likely, p, (unsigned)n);
}

double marks_calibration_by_chance(const marks *m)
{
    double sum = 0;
    for (int k = 0; k < MARKS_TENTHS; k++) {
        const confidence_tenth *t = &m->tenths[k];
        if (t->listed)
            sum += mean_distance(t->confidence / (double)t->listed, t->listed);
    }
    return listed(m) ? sum / (double)listed(m) : (double)NAN;
}

double marks_precision(const marks *m)
{
    return m->found_flips ? (double)m->matched / (double)m->found_flips : (double)NAN;
}

double marks_recall(const marks *m)
{
    return m->true_flips ? (double)m->matched / (double)m->true_flips : (double)NAN;
}

double marks_f1(const marks *m)
{
    size_t both = m->found_flips + m->true_flips;
    return both ? 2 * (double)m->matched / (double)both : (double)NAN;
}
