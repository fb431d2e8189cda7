/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/decode.h"

#include "base/array.h"
#include "register/evidence.h"
#include "register/search.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static const double least_voice_s = 2; /* less does not determine tract and source */
static const double beside_s = 0.050;  /* before and after are means over this */

register_settings register_defaults(void)
{
    return (register_settings){.assert_at = 0.5};
}

/* Mean of v over frames lo..hi of a track that are voiced and of the register; NaN for none. */
static double mean_of(const track *t, const double *v, double from_s, double to_s)
{
    double sum = 0, n = 0;
    for (size_t f = 0; f < t->n; f++)
        if (t->time_s[f] >= from_s - 1e-9 && t->time_s[f] <= to_s + 1e-9 &&
            !isnan(t->pitch_st[f]) && isfinite(v[f])) {
            sum += v[f];
            n++;
        }
    return n > 0 ? sum / n : (double)NAN;
}

/* Time from which p2 crosses `level` between frames i - 1 and i. */
static double crossing(const evidence *ev, track *const *tracks, const double *p2, size_t i)
{
    const track *t = tracks[ev->take[i]];
    double a = p2[i - 1] - 0.5, b = p2[i] - 0.5, w = a == b ? 0.5 : a / (a - b);
    return t->time_s[ev->frame[i - 1]] +
           w * (t->time_s[ev->frame[i]] - t->time_s[ev->frame[i - 1]]);
}

/* How sure: the posterior on both sides, over the 100 ms beside. */
static double confidence(const evidence *ev, const double *p2, size_t i, bool up)
{
    double before = 0, after = 0;
    size_t nb = 0, na = 0;
    for (size_t j = i; j-- > 0 && nb < 20 && !isinf(ev->gap_s[j + 1]);) {
        before = fmax(before, up ? 1 - p2[j] : p2[j]);
        nb++;
    }
    for (size_t j = i; j < ev->n && na < 20 && (j == i || !isinf(ev->gap_s[j])); j++) {
        after = fmax(after, up ? p2[j] : 1 - p2[j]);
        na++;
    }
    return before * after;
}

static flip flip_at(const evidence *ev, track *const *tracks, const double *p2, size_t i)
{
    const track *t = tracks[ev->take[i]];
    bool up = p2[i] > 0.5;
    flip f = {.direction = up ? FLIP_UP : FLIP_DOWN, .span_ms = 40};
    f.time_s = crossing(ev, tracks, p2, i);
    f.confidence = confidence(ev, p2, i, up);
    double half = f.span_ms / 2000;
    f.pitch_before_st = mean_of(t, t->pitch_st, f.time_s - half - beside_s, f.time_s - half);
    f.pitch_after_st = mean_of(t, t->pitch_st, f.time_s + half, f.time_s + half + beside_s);
    f.level_before_db = mean_of(t, t->level_db, f.time_s - half - beside_s, f.time_s - half);
    f.level_after_db = mean_of(t, t->level_db, f.time_s + half, f.time_s + half + beside_s);
    return f;
}

static void tell(track *const *tracks, const evidence *ev, const double *p2, flips *found)
{
    for (size_t i = 0; i < ev->n; i++) {
        track *t = tracks[ev->take[i]];
        t->p_m2[ev->frame[i]] = p2[i];
        t->reg[ev->frame[i]] = p2[i] > 0.5 ? 2 : 1;
        if (i && !isinf(ev->gap_s[i]) && (p2[i] > 0.5) != (p2[i - 1] > 0.5))
            flips_append(&found[ev->take[i]], flip_at(ev, tracks, p2, i));
    }
}

void register_decode(track *const *tracks, size_t n, const register_settings *s, flips *found,
                     register_summary *summary)
{
    (void)s;
    evidence *ev = evidence_new(tracks, n);
    world best = {.p2 = NULL};
    search_settings settings = search_defaults();
    *summary = (register_summary){.answer = REGISTER_TOO_LITTLE};
    summary->voiced_s = (double)ev->n * 0.005;
    if (summary->voiced_s >= least_voice_s && search_run(ev, &settings, &best)) {
        summary->answer = REGISTER_BOTH;
        tell(tracks, ev, best.p2, found);
    }
    free(best.p2);
    evidence_free(ev);
}
