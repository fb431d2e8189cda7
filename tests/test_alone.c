/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Takes that tell more by themselves. Oracle: flips of the test voices, which are known; what all
 * takes are to have told of a take is made by hand. */
#include "register/alone.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "heard_singer.h"

static const char takes[] = "build/test_alone-takes";
static const double least_listed = 0.05;

/* True flips of a take that are asserted. */
static size_t count_right(const truth_take *t, const flips *found)
{
    size_t right = 0;
    for (size_t k = 0; k < t->n_flips; k++)
        for (size_t i = 0; i < found->n; i++)
            right += found->items[i].confidence >= FLIP_ASSERTED &&
                     found->items[i].direction == t->flips[k].direction &&
                     fabs(found->items[i].time_s - t->flips[k].time_s) < 0.06;
    return right;
}

/* What all takes are to have told: the take's true flip `kept`, at `off_s` from where it is. */
static void tell_one(track *t, const truth_take *of, size_t kept, double off_s, double confidence,
                     flips *found)
{
    track_forget_registers(t);
    flips_clear(found);
    flips_append(found, (flip){.time_s = of->flips[kept].time_s + off_s,
                               .direction = of->flips[kept].direction,
                               .confidence = confidence});
}

static void test_a_take_tells_what_all_passed_over(void **state)
{
    (void)state;
    heard_singer h = hear_singer(2, "yodel", 3, takes);
    size_t k = 0;
    while (h.t.takes[k].n_flips < 4)
        k++;
    const truth_take *sung = &h.t.takes[k];
    track *t = h.tracks[k];
    flips *found = &h.found[k];
    tell_one(t, sung, 1, 0, 0.9, found);
    alone_mend(&t, 1, least_listed, NULL, found);
    print_message("%zu of %zu flips\n", count_right(sung, found), sung->n_flips);
    assert_int_equal(count_right(sung, found), sung->n_flips);
    size_t m2 = 0;
    for (size_t i = 0; i < t->n; i++)
        m2 += t->reg[i] == 2;
    assert_true(m2 > 0);

    /* So where all tell none, but not where they tell one that it does not know of. */
    tell_one(t, sung, 1, 0, 0.4, found);
    alone_mend(&t, 1, least_listed, NULL, found);
    assert_int_equal(count_right(sung, found), sung->n_flips);
    tell_one(t, sung, 1, 0.3, 0.9, found);
    alone_mend(&t, 1, least_listed, NULL, found);
    assert_int_equal(found->n, 1);
    for (size_t i = 0; i < t->n; i++)
        assert_true(t->reg[i] == 0 && isnan(t->p_m2[i]));

    /* Nor what is declared or corrected, nor after somebody has stopped it. */
    tell_one(t, sung, 1, 0, 0.9, found);
    t->declared = DECLARED_M1;
    alone_mend(&t, 1, least_listed, NULL, found);
    assert_int_equal(found->n, 1);
    t->declared = DECLARED_NONE;
    t->stated = xcalloc(t->n, 1);
    alone_mend(&t, 1, least_listed, NULL, found);
    assert_int_equal(found->n, 1);
    free(t->stated);
    t->stated = NULL;
    const bool stop = true;
    effort stopped = {.to = 1, .opt_stop = &stop};
    alone_mend(&t, 1, least_listed, &stopped, found);
    assert_int_equal(found->n, 1);
    alone_mend(NULL, 0, least_listed, NULL, NULL);
    heard_singer_clear(&h);
}

/* Its M2 heard so far above its M1 as no voice leaps, as a harmonic or a formant may be, a take is
 * sure of flips by itself all the same. */
static void test_no_voice_leaps_so_far(void **state)
{
    (void)state;
    heard_singer h = hear_singer(2, "yodel", 3, takes);
    register_settings s = register_defaults();
    register_summary summary;
    size_t sure = 0;
    for (size_t k = 0; k < h.t.n; k++) {
        track *t = h.tracks[k];
        const truth_take *sung = &h.t.takes[k];
        for (size_t i = 0; i < t->n && i < sung->n; i++)
            t->pitch_st[i] += sung->reg[i] == 2 ? 11 : 0;
        register_decode(&t, 1, &s, &h.found[k], &summary);
        bool is_sure = false;
        for (size_t i = 0; i < h.found[k].n; i++)
            is_sure = is_sure || (h.found[k].items[i].confidence > 0.95 &&
                                  fabs(h.found[k].items[i].leap_cents) > 1350);
        sure += is_sure;
        track_forget_registers(t);
        flips_clear(&h.found[k]);
        alone_mend(&t, 1, least_listed, NULL, &h.found[k]);
        assert_true(!is_sure || h.found[k].n == 0);
    }
    print_message("%zu takes of such leaps\n", sure);
    assert_true(sure > 0);
    heard_singer_clear(&h);
}

/* Two flips of this yodel on syllables were lost among all takes, in which the vowel goes with the
 * register. */
static void test_a_yodel_on_syllables(void **state)
{
    (void)state;
    heard_singer h = hear_singer(1, "syllables", 13, takes);
    register_settings s = register_defaults();
    register_summary summary;
    register_decode(h.tracks, h.t.n, &s, h.found, &summary);
    const truth_take *sung = &h.t.takes[5];
    print_message("%zu of %zu flips\n", count_right(sung, &h.found[5]), sung->n_flips);
    assert_int_equal(count_right(sung, &h.found[5]), sung->n_flips);
    heard_singer_clear(&h);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_take_tells_what_all_passed_over),
        cmocka_unit_test(test_no_voice_leaps_so_far),
        cmocka_unit_test(test_a_yodel_on_syllables),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
