/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Leaps away for a moment and back. Oracles: curves whose leaps are put in by hand; what has leaps
 * as large but slower, or none that a voice sings in one breath, is no trip. */
#include "base/array.h"
#include "register/cues.h"
#include "register/hazard.h"
#include "register/refine.h"
#include "register/world.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { FRAMES = 400, AT = 200 };
static const double hop_s = 0.005, pi = 3.14159265358979;

/* From 0 to 1 over so long, as half a period of a sine. */
static double ramp(double s, double over_s)
{
    return 0.5 + 0.5 * sin(pi * fmax(-0.5, fmin(s / over_s, 0.5)));
}

typedef struct sung {
    double leap_st, stay_s, over_s; /* away for so long; each change takes so long */
    double every_s;                 /* the same again after so long, as in a trill; 0: once */
    double dip_db;                  /* of the level at both changes */
    double vibrato_st;
    int holes[2]; /* so many frames unvoiced at each change */
} sung;

static evidence *sing(const sung *s, track **t)
{
    *t = track_new("made", FRAMES, hop_s, 0);
    for (size_t i = 0; i < FRAMES; i++) {
        double x = hop_s * ((double)i - AT), away = 0, dip = 0;
        for (int k = s->every_s > 0 ? -3 : 0; k <= (s->every_s > 0 ? 3 : 0); k++) {
            double y = x - k * s->every_s;
            away += ramp(y, s->over_s) - ramp(y - s->stay_s, s->over_s);
            dip += exp(-0.5 * pow(y / 0.02, 2)) + exp(-0.5 * pow((y - s->stay_s) / 0.02, 2));
        }
        bool silent =
            fabs(x) < 0.5 * hop_s * s->holes[0] || fabs(x - s->stay_s) < 0.5 * hop_s * s->holes[1];
        (*t)->time_s[i] = hop_s * (double)i;
        (*t)->pitch_st[i] =
            silent ? (double)NAN
                   : 60 + s->leap_st * away + s->vibrato_st * sin(2 * pi * 5.5 * hop_s * (double)i);
        (*t)->level_db[i] = -30 - s->dip_db * dip;
        for (size_t h = 0; h < 4; h++) {
            (*t)->harmonic_db[i * HARMONICS + h] = -40;
            (*t)->noise_db[i * HARMONICS + h] = -90;
        }
    }
    return evidence_new(t, 1);
}

/* The frame of the surest trip whose leap goes up (1) or down (-1); ev->n where there is none. */
static size_t trip_of(const evidence *ev, int way)
{
    size_t best = ev->n;
    for (size_t i = 0; i < ev->n; i++)
        if (ev->trip[i] > 0 && way * ev->leap_st[i] > 0 &&
            (best == ev->n || ev->trip[i] > ev->trip[best]))
            best = i;
    return best;
}

static void test_a_short_trip_leaps_twice(void **state)
{
    (void)state;
    static const sung trips[] = {{5, 0.06, 0.025, 0, 0, 0, {0}},
                                 {5, 0.1, 0.025, 0, 3, 0, {0}},
                                 {-4, 0.15, 0.03, 0, 0, 0.3, {0}},
                                 {3, 0.2, 0.02, 0, 0, 0, {5, 5}},
                                 {12, 0.12, 0.03, 0, 6, 0, {0}}};
    for (size_t k = 0; k < sizeof trips / sizeof *trips; k++) {
        const sung *s = &trips[k];
        track *t;
        evidence *ev = sing(s, &t);
        int way = s->leap_st > 0 ? 1 : -1;
        size_t out = trip_of(ev, way), back = trip_of(ev, -way);
        assert_true(out < ev->n && back < ev->n);
        double out_s = t->time_s[ev->frame[out]], back_s = t->time_s[ev->frame[back]];
        print_message("%g st for %g ms: %.2f at %.3f s, %.2f at %.3f s, %.2f sure\n", s->leap_st,
                      1000 * s->stay_s, ev->leap_st[out], out_s, ev->leap_st[back], back_s,
                      ev->trip[out]);
        assert_true(fabs(out_s - AT * hop_s) < 0.016); /* half of the hole, and a frame */
        assert_true(fabs(back_s - AT * hop_s - s->stay_s) < 0.016);
        assert_true(fabs(ev->leap_st[out] - s->leap_st) < 0.1 * fabs(s->leap_st) + s->vibrato_st);
        assert_true(fabs(ev->leap_st[back] + s->leap_st) < 0.1 * fabs(s->leap_st) + s->vibrato_st);
        assert_true(ev->trip[out] > 0.5 && ev->trip[out] <= 1);
        assert_true(ev->trip[back] == ev->trip[out]);
        evidence_free(ev);
        track_free(t);
    }
}

static void test_what_is_slower_repeats_or_rests_is_no_trip(void **state)
{
    (void)state;
    static const struct {
        const char *name;
        sung s;
    } others[] = {{"mordent", {3, 0.11, 0.06, 0, 0, 0, {0}}},
                  {"turned portamento", {7, 0.2, 0.12, 0, 0, 0, {0}}},
                  {"trill", {3, 0.09, 0.03, 0.18, 0, 0, {0}}},
                  {"staccato", {4, 0.2, 0.02, 0, 14, 0, {0}}},
                  {"note of a melody", {4, 0.4, 0.02, 0, 0, 0, {0}}},
                  {"octave and fifth misheard", {19, 0.08, 0.02, 0, 0, 0, {0}}},
                  {"vibrato", {0, 0.1, 0.02, 0, 0, 1.5, {0}}}};
    for (size_t k = 0; k < sizeof others / sizeof *others; k++) {
        track *t;
        evidence *ev = sing(&others[k].s, &t);
        double most = 0;
        for (size_t i = 0; i < ev->n; i++)
            most = fmax(most, ev->trip[i]);
        print_message("%s: %.2f\n", others[k].name, most);
        assert_true(most == 0);
        evidence_free(ev);
        track_free(t);
    }
}

static void test_its_leaps_gain_whatever_the_others_say(void **state)
{
    (void)state;
    static const sung s = {4, 0.1, 0.025, 0, 0, 0, {0}};
    track *t;
    evidence *ev = sing(&s, &t);
    double none[FRAMES] = {0}, up[FRAMES], down[FRAMES];
    hazard_settings hazard = hazard_defaults();
    hazard.leap_most = 0; /* of a singer no leap of whom is a flip */
    size_t out = trip_of(ev, 1), back = trip_of(ev, -1);
    hazard_measure(ev, none, none, &hazard, up, down, NULL);
    print_message("up %.4f, down %.4f\n", up[out], down[back]);
    assert_true(up[out] > 0.9 && down[back] > 0.9);
    ev->trip[out] = ev->trip[back] = 0;
    hazard_measure(ev, none, none, &hazard, up, down, NULL);
    assert_true(up[out] < 0.01 && down[back] < 0.01);
    evidence_free(ev);
    track_free(t);
}

/* Where refine_turns() places changes of which only pitch and level tell. */
static void place_all(const evidence *ev, track *const *t, const turns *c, refined *places)
{
    saying *says = xcalloc(ev->n, sizeof *says);
    double *time_s = evidence_times(ev, t);
    turns placed = refine_turns(ev, time_s, says, c, places);
    turns_clear(&placed);
    free(time_s);
    free(says);
}

/* A hole hides the leap back: the leap away is not taken for it. */
static void test_a_change_is_placed_on_its_own_half(void **state)
{
    (void)state;
    static const sung s = {5, 0.1, 0.02, 0, 0, 0, {0, 8}};
    enum { STAY = 20, HALF_HOLE = 4 };
    track *t;
    evidence *ev = sing(&s, &t);
    size_t back = AT + STAY - HALF_HOLE;
    turn both[] = {{.first = 0, .at = AT, .last = back - 1, .up = true},
                   {.first = AT, .at = back, .last = ev->n - 1, .up = false}};
    refined places[2];
    place_all(ev, &t, &(turns){2, 2, both}, places);
    for (int k = 0; k < 2; k++) {
        print_message("at %.3f s\n", places[k].time_s);
        assert_true(fabs(places[k].time_s - hop_s * AT - k * s.stay_s) < 0.025);
    }
    evidence_free(ev);
    track_free(t);
}

/* The chain changes 20 ms late, both leaps near: each change is told by its own. */
static void test_each_change_has_its_own_leap(void **state)
{
    (void)state;
    static const sung s = {4, 0.06, 0.02, 0, 0, 0, {0}};
    enum { OFF = 4, STAY = 12 };
    track *t;
    evidence *ev = sing(&s, &t);
    double cues[2][CUES];
    world w = world_new(FRAMES);
    memset(w.m.beta, 0, sizeof w.m.beta);
    memset(w.steps, 0, FRAMES * sizeof *w.steps);
    memset(w.says, 0, FRAMES * sizeof *w.says);
    turn both[] = {{.first = 0, .at = AT + OFF, .last = AT + STAY - 1, .up = true},
                   {.first = AT + OFF, .at = AT + STAY, .last = FRAMES - 1, .up = false}};
    turns c = {2, 2, both};
    cues_of of = {ev, &w.m, &w.where, w.says, w.steps, w.p2, 0};
    cues_measure(&of, &c, cues);
    for (int k = 0; k < 2; k++) {
        print_message("leap %.2f, trip %.2f\n", cues[k][CUE_LEAP], cues[k][CUE_TRIP]);
        assert_true(fabs(cues[k][CUE_LEAP] - 4) < 0.4);
        assert_true(cues[k][CUE_TRIP] > 0.5);
    }
    world_clear(&w);
    evidence_free(ev);
    track_free(t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_short_trip_leaps_twice),
        cmocka_unit_test(test_what_is_slower_repeats_or_rests_is_no_trip),
        cmocka_unit_test(test_its_leaps_gain_whatever_the_others_say),
        cmocka_unit_test(test_a_change_is_placed_on_its_own_half),
        cmocka_unit_test(test_each_change_has_its_own_leap),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
