/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rigs: calibrations that are kept, and takes that go by them. Oracles: tones of closed form, whose
 * level re full scale is 20 lg of amplitude / sqrt 2; the rule by which a take's day chooses. */
#include <math.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

#include "run_program.h"

enum { RATE = 24000 };

static void write_tone(const char *path, double hz, double amplitude, double seconds)
{
    SF_INFO info = {.samplerate = RATE, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_24};
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    assert_non_null(f);
    for (size_t i = 0; i < (size_t)(seconds * RATE); i++) {
        double x = amplitude * sin(2 * M_PI * hz * (double)i / RATE);
        assert_int_equal(sf_writef_double(f, &x, 1), 1);
    }
    sf_close(f);
}

static int make_tones(void **state)
{
    if (enter_new_folder(state) != 0)
        return -1;
    write_tone("loud.wav", 1000, 0.5, 2);
    write_tone("soft.wav", 1000, 0.35, 2); /* 3.1 dB less */
    write_tone("near.wav", 1000, 0.45, 2); /* 0.9 dB less */
    write_tone("short.wav", 1000, 0.5, 0.5);
    write_tone("take.wav", 220, 0.1, 1);
    return 0;
}

/* What full scale is when the tone of that amplitude was 94 dB. */
static double full_scale(double amplitude)
{
    return 94 - 20 * log10(amplitude / sqrt(2));
}

static void calibrate(const char *file, const char *date)
{
    check_done(run("calibrate", file, "--reads", "94", "--rig", "my \"desk\"", "--date", date));
}

/* A take added on that day: full scale is what the tone of that amplitude gave, NaN for none; what
 * is said of the rig holds `part`, or nothing is where that is NULL. */
static void level_goes_by(const char *date, double amplitude, double distance_cm, const char *part)
{
    said s = run("add", "wren", "take.wav", "--rig", "my \"desk\"", "--date", date);
    check_sentences(s.err);
    assert_int_equal(s.code, EXIT_DONE);
    if (part ? !strstr(s.err, part) : strstr(s.err, "The rig") != NULL)
        fail_msg("%s: %s", date, s.err);
    said_clear(&s);
    s = run("export", "--records", "take");
    table *t = table_of(&s);
    assert_int_equal(t->n_rows, 1);
    assert_string_equal(cell(t, 0, "date"), date);
    double got = number(t, 0, "full_scale_db"), want = full_scale(amplitude);
    printf("%s: %.3f, expected %.3f within 0.02\n", date, got, want);
    assert_true(isnan(want) ? isnan(got) : fabs(got - want) < 0.02);
    assert_true(number(t, 0, "distance_cm") == distance_cm);
    table_free(t);
    said_clear(&s);
}

static void test_day_chooses(void **state)
{
    (void)state;
    level_goes_by("2025-01-01", (double)NAN, 30, NULL);
    check_done(run("calibrate", "loud.wav", "--reads", "94", "--rig", "my \"desk\"", "--date",
                   "2025-03-01", "--distance", "45"));
    calibrate("near.wav", "2025-05-01");
    level_goes_by("2025-02-01", 0.5, 45, "first calibrated on 2025-03-01");
    level_goes_by("2025-03-01", 0.5, 45, NULL);
    level_goes_by("2025-04-30", 0.5, 45, NULL);
    level_goes_by("2025-05-01", 0.45, 45, NULL); /* the distance stays */
    level_goes_by("2025-06-01", 0.45, 45, NULL);
}

/* A level that is stated goes before the rig's, and no rig, no calibration. */
static void test_stated_goes_first(void **state)
{
    (void)state;
    calibrate("loud.wav", "2025-03-01");
    check_done(run("add", "wren", "take.wav", "--rig", "my \"desk\"", "--full-scale", "101",
                   "--distance", "20"));
    said s = run("export", "--records", "take");
    table *t = table_of(&s);
    assert_true(number(t, 0, "full_scale_db") == 101 && number(t, 0, "distance_cm") == 20);
    assert_string_equal(cell(t, 0, "calibration"), "");
    table_free(t);
    said_clear(&s);
}

static void test_change_is_told(void **state)
{
    (void)state;
    calibrate("loud.wav", "2025-03-01");
    said s = run("calibrate", "soft.wav", "--reads", "94", "--rig", "my \"desk\"", "--date",
                 "2025-05-01");
    assert_non_null(strstr(s.err, "has probably changed between 2025-03-01 and 2025-05-01"));
    table *t = table_of(&s);
    assert_true(fabs(number(t, 0, "change_db") - 20 * log10(0.5 / 0.35)) < 0.02);
    table_free(t);
    said_clear(&s);
    level_goes_by("2025-04-01", 0.5, 30, "has probably changed");
    level_goes_by("2025-05-01", 0.35, 30, NULL);
    /* Before both, and by less than 2 dB: nothing to say. */
    s = run("calibrate", "near.wav", "--reads", "94", "--rig", "my \"desk\"", "--date",
            "2025-02-01");
    assert_string_equal(s.err, "");
    said_clear(&s);
    s = run("add", "wren", "take.wav", "--rig", "another");
    assert_non_null(
        strstr(s.err, "The rig another has no calibration, though the rig my \"desk\""));
    said_clear(&s);
}

/* Measured again on the same day: the last counts, both are kept, and again is not twice. */
static void test_again(void **state)
{
    (void)state;
    calibrate("soft.wav", "2025-03-01");
    calibrate("loud.wav", "2025-03-01");
    level_goes_by("2025-03-01", 0.5, 30, NULL);
    calibrate("soft.wav", "2025-03-01");
    level_goes_by("2025-03-01", 0.35, 30, NULL);
    said s = run("export", "--records", "calibration");
    assert_int_equal(rows_of(&s), 2);
    said_clear(&s);
    s = run("calibrate");
    table *t = table_of(&s);
    assert_int_equal(t->n_rows, 1);
    assert_string_equal(cell(t, 0, "rig"), "my \"desk\"");
    assert_string_equal(cell(t, 0, "file"), "soft.wav");
    table_free(t);
    said_clear(&s);
}

/* Two journals' calibrations join alike whichever takes the other in, and however often. */
static void test_merge(void **state)
{
    (void)state;
    calibrate("loud.wav", "2025-03-01");
    check_done(run("journal", "backup", "b.db"));
    calibrate("soft.wav", "2025-03-01");
    calibrate("loud.wav", "2025-03-01");
    setenv("SEAMLINE_JOURNAL", "b.db", 1);
    calibrate("near.wav", "2025-05-01");
    check_done(run("journal", "backup", "c.db"));
    check_done(run("merge", "j.db"));
    check_done(run("merge", "j.db"));
    said mine = run("export", "--records", "calibration");
    setenv("SEAMLINE_JOURNAL", "j.db", 1);
    check_done(run("merge", "c.db"));
    said theirs = run("export", "--records", "calibration");
    assert_int_equal(rows_of(&mine), 3);
    assert_string_equal(mine.out, theirs.out);
    said_clear(&mine);
    said_clear(&theirs);
    unlink("b.db");
    unlink("c.db");
}

static void test_refused(void **state)
{
    (void)state;
    check_refused(run("calibrate", "loud.wav"), EXIT_USAGE, "--reads");
    check_refused(run("calibrate", "--reads", "94"), EXIT_USAGE, "recording of the tone");
    check_refused(run("calibrate", "loud.wav", "--reads", "94", "--date", "2025-03-01"), EXIT_USAGE,
                  "--rig");
    check_refused(run("calibrate", "loud.wav", "--reads", "94", "--rig", "d", "--date", "May"),
                  EXIT_USAGE, "May");
    check_refused(run("calibrate", "loud.wav", "--reads", "94", "--rig", ""), EXIT_USAGE, "--rig");
    check_refused(run("calibrate", "short.wav", "--reads", "94", "--rig", "d"), EXIT_NO_ANSWER,
                  "stays level");
    check_refused(run("calibrate"), EXIT_INPUT, "j.db"); /* nothing was kept: no journal yet */
    check_done(run("calibrate", "loud.wav", "--reads", "94"));
    assert_int_equal(access("j.db", F_OK), -1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_day_chooses, fresh),
        cmocka_unit_test_setup(test_stated_goes_first, fresh),
        cmocka_unit_test_setup(test_change_is_told, fresh),
        cmocka_unit_test_setup(test_again, fresh),
        cmocka_unit_test_setup(test_merge, fresh),
        cmocka_unit_test_setup(test_refused, fresh),
    };
    return cmocka_run_group_tests(tests, make_tones, leave_folder);
}
