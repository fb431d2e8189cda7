/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is known of a singer, kept as numbers and used to guess registers. Oracles: the numbers come
 * back as they were; the registers that a test voice was made in. */
#include "base/array.h"
#include "register/decode.h"
#include "register/starts.h"
#include "voice/listen.h"
#include "voice/truth.h"
#include "voice2/choir.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

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

typedef struct heard {
    truth t;
    track **tracks;
    flips *found;
} heard;

static heard hear(const char *family, uint64_t seed)
{
    char *folder = NULL;
    err e = {""};
    heard h = {.tracks = NULL};
    voice_settings v = voice_defaults();
    if (!choir_render(1, choir_by_name(1, family), seed, "build/test_known-takes", &folder, &e) ||
        !truth_read(folder, &h.t, &e))
        fail_msg("%s", e.text);
    h.tracks = xcalloc(h.t.n, sizeof *h.tracks);
    h.found = xcalloc(h.t.n, sizeof *h.found);
    for (size_t k = 0; k < h.t.n; k++) {
        char *path = xformat("%s/%s", folder, h.t.takes[k].name);
        if (!voice_listen(path, &v, &h.tracks[k], NULL, &e))
            fail_msg("%s", e.text);
        free(path);
    }
    free(folder);
    return h;
}

static void clear(heard *h)
{
    for (size_t k = 0; k < h->t.n; k++) {
        flips_clear(&h->found[k]);
        track_free(h->tracks[k]);
    }
    free(h->found);
    free(h->tracks);
    truth_clear(&h->t);
}

/* The share of frames that the guess by `k` puts in the register that was heard in them. */
static double guessed(const heard *h, const known *k)
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
    heard h = hear("clear", 43);
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
    clear(&h);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numbers_come_back),
        cmocka_unit_test(test_what_some_takes_told_guesses_all),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
