/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is known of a singer, kept as numbers and used to guess registers. Oracles: the numbers come
 * back as they were; the registers that a test voice was made in. */
#include "base/array.h"
#include "register/decode.h"
#include "register/starts.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "heard_singer.h"

static void test_numbers_come_back(void **state)
{
    (void)state;
    known k = {.m = {.lo = 0.25, .hi = 3.5, .pitch_mid = 61}, .where = {60, 0.5, 0.3, 0.1}}, back;
    double v[KNOWN_SIZE];
    for (int i = 0; i < MODEL_SIZE; i++)
        k.m.beta[i] = 0.1 * i - 3;
    for (int i = 0; i < HARMONICS * HARMONICS; i++)
        k.m.sigma[i] = 1 + 0.01 * i;
    known_pack(&k, v);
    assert_true(known_unpack(v, KNOWN_SIZE, &back));
    assert_memory_equal(&k, &back, sizeof k);
    assert_false(known_unpack(v, KNOWN_SIZE - 1, &back));
    assert_true(back.m.hi <= back.m.lo);
    v[7] = (double)NAN;
    assert_false(known_unpack(v, KNOWN_SIZE, &back));
    k.m.hi = k.m.lo;
    known_pack(&k, v);
    assert_false(known_unpack(v, KNOWN_SIZE, &back));
}

/* The share of frames that the guess by `k` puts in the register that was heard in them. */
static double guessed(const heard_singer *h, const known *k)
{
    evidence *ev = evidence_new(h->tracks, h->t.n);
    double *p2 = xmalloc(ev->n, sizeof *p2), right = 0;
    chain_settings chain = chain_defaults();
    hazard_settings hazard = hazard_defaults();
    start_by_known(ev, k, &chain, &hazard, p2);
    for (size_t i = 0; i < ev->n; i++)
        right += (p2[i] > 0.5 ? 2 : 1) == h->tracks[ev->take[i]]->reg[ev->frame[i]];
    double share = right / (double)ev->n;
    free(p2);
    evidence_free(ev);
    return share;
}

static void test_what_some_takes_told_guesses_all(void **state)
{
    (void)state;
    heard_singer h = hear_singer(1, "clear", 43, "build/test_known-takes");
    register_settings s = register_defaults();
    register_summary summary;
    known of_some, of_all, nothing = {.m = {.hi = 0}};
    s.opt_learnt = &of_some;
    register_decode(h.tracks, 5, &s, h.found, &summary);
    assert_true(of_some.m.hi > of_some.m.lo);
    for (size_t k = 0; k < 5; k++)
        flips_clear(&h.found[k]);
    s.opt_learnt = &of_all;
    s.opt_known = &of_some;
    register_decode(h.tracks, h.t.n, &s, h.found, &summary);
    assert_int_equal(summary.answer, REGISTER_BOTH);
    double by_some = guessed(&h, &of_some);
    print_message("%.3f of the frames as guessed from five takes\n", by_some);
    assert_true(by_some > 0.9); /* by chance 0.5 */
    track *silence = track_new("silence", 400, 0.005, 0);
    s.opt_known = &nothing;
    register_decode(&silence, 1, &s, h.found, &summary);
    assert_true(of_all.m.hi <= of_all.m.lo);
    track_free(silence);
    heard_singer_clear(&h);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numbers_come_back),
        cmocka_unit_test(test_what_some_takes_told_guesses_all),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
