/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What add makes of recordings besides takes: their checks. Oracles: faults planted in sessions of
 * a test voice; what the command check says of the same files. */
#include "voice/faults.h"

#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

#include "run_program.h"

enum { RATE = 48000 };

static void write_sound(const char *path, const sound *x)
{
    SF_INFO info = {
        .samplerate = x->rate_hz, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_16};
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    assert_non_null(f);
    sf_command(f, SFC_SET_CLIPPING, NULL, SF_TRUE);
    assert_int_equal(sf_writef_double(f, x->samples, (sf_count_t)x->n), x->n);
    sf_close(f);
}

/* A session without a fault, one with clipping and DC, one in noise. */
static int make_sessions(void **state)
{
    if (enter_new_folder(state) != 0)
        return -1;
    sound x = fault_free_session(1, "clear", 5, 3, 1.5, 50, RATE);
    double by = 0.5 / fault_peak(&x);
    for (size_t i = 0; i < x.n; i++)
        x.samples[i] *= by;
    write_sound("good.wav", &x);
    fault_clip(&x, 6);
    fault_dc(&x, 0.02);
    write_sound("cut.wav", &x);
    sound_clear(&x);
    x = fault_free_session(1, "clear", 6, 3, 1.5, 50, RATE);
    by = 0.5 / fault_peak(&x);
    for (size_t i = 0; i < x.n; i++)
        x.samples[i] *= by;
    fault_noise(&x, sound_rms(&x) * 0.3, 3);
    write_sound("noisy.wav", &x);
    sound_clear(&x);
    return 0;
}

static table *ask(const char *const *args)
{
    said s = run_list(args);
    check_sentences(s.err);
    assert_int_equal(s.code, EXIT_DONE);
    table *t = table_of(&s);
    said_clear(&s);
    return t;
}

#define ASK(...) ask((const char *const[]){__VA_ARGS__, NULL})

static void test_faults_are_told(void **state)
{
    (void)state;
    said s = run("add", "wren", "good.wav", "cut.wav", "noisy.wav", "--full-scale", "120");
    check_sentences(s.err);
    assert_int_equal(s.code, EXIT_DONE);
    assert_null(strstr(s.err, "good.wav: check"));
    assert_non_null(strstr(s.err, "cut.wav: check clipping: fail"));
    if (!strstr(s.err, "cut.wav: check dc: warn, 1.98 %"))
        fail_msg("%s", s.err);
    assert_non_null(strstr(s.err, "noisy.wav: check noise: fail"));
    table *t = table_of(&s);
    said_clear(&s);
    static const char *const failed[] = {"none", "clipping", "noise"}, *const warned[] = {"none",
                                                                                          "dc"};
    for (size_t i = 0; i < 3; i++) {
        assert_string_equal(cell(t, i, "failed"), failed[i]);
        if (i < 2)
            assert_string_equal(cell(t, i, "warned"), warned[i]);
    }
    table_free(t);
    t = ASK("export", "--records", "check");
    size_t cut = 0;
    for (size_t i = 0; i < t->n_rows; i++)
        cut += strcmp(cell(t, i, "check"), "clipping") == 0 &&
               strcmp(cell(t, i, "result"), "fail") == 0 && number(t, i, "figure") > 1000;
    assert_int_equal(cut, 1);
    table_free(t);
    s = run("add", "wren", "cut.wav"); /* nothing new */
    assert_null(strstr(s.err, "check"));
    t = table_of(&s);
    assert_string_equal(cell(t, 0, "failed"), "clipping");
    table_free(t);
    said_clear(&s);
}

/* The journal's checks are those that check makes of the file by itself, whatever full scale is;
 * only what could not be judged is left out. */
static void test_as_check_says(void **state)
{
    (void)state;
    static const char *const files[] = {"good.wav", "cut.wav", "noisy.wav"};
    for (size_t i = 0; i < 3; i++) {
        fresh(NULL);
        table_free(i == 1 ? ASK("add", "wren", files[i], "--full-scale", "120")
                          : ASK("add", "wren", files[i]));
        table *kept = ASK("takes", "wren", "--checks"), *own = ASK("check", files[i]);
        size_t same = 0, judged = 0;
        for (size_t k = 0; k < own->n_rows; k++) {
            judged += *cell(own, k, "result") != '\0';
            for (size_t r = 0; r < kept->n_rows; r++)
                if (strcmp(cell(kept, r, "check"), cell(own, k, "check")) == 0) {
                    static const char *const columns[] = {"result", "figure", "unit", "remedy"};
                    for (size_t c = 0; c < 4; c++)
                        assert_string_equal(cell(kept, r, columns[c]), cell(own, k, columns[c]));
                    same++;
                }
        }
        assert_true(judged >= 8);
        assert_int_equal(same, judged);
        assert_int_equal(kept->n_rows, judged);
        table_free(kept);
        table_free(own);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_faults_are_told, fresh),
        cmocka_unit_test_setup(test_as_check_says, fresh),
    };
    return cmocka_run_group_tests(tests, make_sessions, leave_folder);
}
