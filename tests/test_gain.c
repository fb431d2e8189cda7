/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A gain that turns itself. Oracle: noise, voice and gain that are made here. */
#include "base/array.h"
#include "fit/gain.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>
#include <gsl/gsl_randist.h>

enum { FRAMES = 2000, STRETCHES = 4 };
static const double STEP_S = 0.005;

typedef struct room {
    double press_db;  /* how far the voice presses the gain down; 0: it stays */
    double release_s; /* time constant with which it comes back */
    double echo_s;    /* time constant of the room's echo; 0: none */
    bool breath;      /* half a second of breath, 15 dB over the noise, before each stretch */
    double noise_db;
} room;

typedef struct tape {
    double time_s[FRAMES], pitch_st[FRAMES], level_db[FRAMES];
    unsigned char reg[FRAMES];
} tape;

static double sum_db(double a, double b)
{
    return 10 * log10(pow(10, a / 10) + pow(10, b / 10));
}

/* Ten seconds: voice for 1 s after 1.5 s of pause, four times over. */
static void record(const room *r, gsl_rng *random, tape *t)
{
    double gain = 0, echo = -200;
    for (int i = 0; i < FRAMES; i++) {
        double in_turn = fmod(STEP_S * i, 2.5);
        bool sings = in_turn >= 1.5;
        double level = r->noise_db + gsl_ran_gaussian(random, 1);
        if (r->breath && !sings && in_turn > 0.9)
            level = sum_db(level, r->noise_db + 15);
        echo = sings ? -20 : r->echo_s > 0 ? echo - 8.686 * STEP_S / r->echo_s : -200;
        level = sum_db(level, sings ? -20 : echo);
        gain += sings ? (-r->press_db - gain) * 0.1 : -gain * STEP_S / fmax(r->release_s, 0.01);
        t->time_s[i] = STEP_S * i;
        t->pitch_st[i] = sings ? 60 : (double)NAN;
        t->level_db[i] = level + gain;
        t->reg[i] = sings;
    }
}

static gain_signs heard(const room *r)
{
    tape *t = xcalloc(1, sizeof *t);
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    record(r, random, t);
    path p = {"take", FRAMES, t->time_s, t->pitch_st, t->level_db, t->reg, NULL};
    gain_signs s = gain_heard(&p, 1);
    printf("press %.0f dB, back in %.1f s, echo %.2f s: drop %.1f dB over %zu stretches\n",
           r->press_db, r->release_s, r->echo_s, s.drop_db, s.stretches);
    gsl_rng_free(random);
    free(t);
    return s;
}

static void test_gain_that_turns(void **state)
{
    (void)state;
    assert_true(heard(&(room){12, 0.3, 0, false, -60}).automatic);
    assert_true(heard(&(room){20, 0.5, 0, true, -60}).automatic);
    assert_true(heard(&(room){20, 0.3, 0.03, true, -55}).automatic);
}

static void test_gain_that_stays(void **state)
{
    (void)state;
    assert_false(heard(&(room){0, 1, 0, false, -60}).automatic);
    assert_false(heard(&(room){0, 1, 0.15, false, -60}).automatic);
    assert_false(heard(&(room){0, 1, 0.15, true, -40}).automatic);
    assert_false(heard(&(room){2, 1, 0, false, -60}).automatic);
    gain_signs s = heard(&(room){0, 1, 0, false, -60});
    assert_int_equal(s.stretches, STRETCHES - 1); /* the last has no pause after it */
    assert_true(fabs(s.drop_db) < 0.5);
}

/* Too little to tell: one stretch, digital silence, nothing. */
static void test_too_little(void **state)
{
    (void)state;
    tape *t = xcalloc(1, sizeof *t);
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    room turning = {20, 1, 0, false, -60};
    record(&turning, random, t);
    path p = {"take", 800, t->time_s, t->pitch_st, t->level_db, t->reg, NULL};
    gain_signs s = gain_heard(&p, 1);
    assert_true(s.stretches == 1 && !s.automatic);
    for (int i = 0; i < FRAMES; i++)
        if (isnan(t->pitch_st[i]))
            t->level_db[i] = -INFINITY;
    p.n = FRAMES;
    s = gain_heard(&p, 1);
    assert_true(s.stretches == 0 && !s.automatic && isnan(s.drop_db));
    assert_false(gain_heard(NULL, 0).automatic);
    gsl_rng_free(random);
    free(t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_gain_that_turns),
        cmocka_unit_test(test_gain_that_stays),
        cmocka_unit_test(test_too_little),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
