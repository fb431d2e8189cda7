/* SPDX-License-Identifier: GPL-3.0-or-later */
/* add --split: a lesson in one recording becomes takes, which a table names, declares and drops.
 * Oracles: a made-up lesson whose takes' times are known; what the command split says of it; the
 * table's own cells. */
#include "voice/lesson.h"

#include <math.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

#include "run_program.h"

enum { RATE = 24000, TAKES = 4 };
static const char lesson_wav[] = "Übung \"eins\" @home.wav";

static lesson made;

/* `second`: with a channel of silence before it, so that the microphone has to be guessed. */
static void write_lesson(const char *path, bool second)
{
    SF_INFO info = {
        .samplerate = RATE, .channels = second ? 2 : 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_16};
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    assert_non_null(f);
    sf_set_string(f, SF_STR_DATE, "2025-03-04");
    for (size_t i = 0; i < made.x.n; i++) {
        double both[2] = {second ? 0 : made.x.samples[i], made.x.samples[i]};
        assert_int_equal(sf_writef_double(f, both, 1), 1);
    }
    sf_close(f);
}

static int make_lesson(void **state)
{
    if (enter_new_folder(state) != 0)
        return -1;
    made = lesson_make(1, "clear", 11, TAKES, 0, RATE, NULL);
    write_lesson(lesson_wav, false);
    write_lesson("stereo.wav", true);
    return 0;
}

static int leave_lesson(void **state)
{
    lesson_clear(&made);
    return leave_folder(state);
}

static table *ask(int code, const char *const *args)
{
    said s = run_list(args);
    check_sentences(s.err);
    if (s.code != code)
        fail_msg("exit %d: %s", s.code, s.err);
    table *t = table_of(&s);
    said_clear(&s);
    return t;
}

#define ASK(...) ask(EXIT_DONE, (const char *const[]){__VA_ARGS__, NULL})

/* The takes in their order are those that were sung, and those of the table that split prints. */
static void test_takes(void **state)
{
    (void)state;
    table *t = ASK("add", "wren", "--split", lesson_wav), *s = ASK("split", lesson_wav);
    assert_int_equal(t->n_rows, TAKES);
    assert_int_equal(s->n_rows, TAKES);
    for (size_t i = 0; i < TAKES; i++) {
        char *name = xformat("%s@%s-%s", lesson_wav, cell(s, i, "start_s"), cell(s, i, "end_s"));
        assert_string_equal(cell(t, i, "file"), name);
        assert_string_equal(cell(t, i, "date"), "2025-03-04");
        assert_string_equal(cell(t, i, "date_from"), "recorded");
        assert_string_equal(cell(t, i, "state"), "new");
        assert_true(fabs(number(s, i, "start_s") - made.takes[i].start_s) < 0.3);
        free(name);
    }
    table_free(s);
    s = ASK("takes", "wren");
    for (size_t i = 0; i < TAKES; i++) /* in the journal's order as in the lesson's */
        assert_string_equal(cell(s, i, "take"), cell(t, i, "take"));
    table_free(s);
    table_free(t);
    t = ASK("add", "wren", "--split", lesson_wav); /* nothing is there twice */
    s = ASK("takes", "wren");
    assert_int_equal(s->n_rows, TAKES);
    for (size_t i = 0; i < TAKES; i++)
        assert_string_equal(cell(t, i, "state"), "known");
    table_free(s);
    table_free(t);
}

/* A recording that stops in the midst of a take: its stretch ends with the file. */
static void test_cut_short(void **state)
{
    (void)state;
    size_t all = made.x.n;
    made.x.n = (size_t)((made.takes[1].start_s + 3) * RATE);
    write_lesson("cut.wav", false);
    double seconds = (double)made.x.n / RATE;
    made.x.n = all;
    table *t = ASK("add", "wren", "--split", "cut.wav");
    assert_int_equal(t->n_rows, 2);
    double end_s = strtod(strrchr(cell(t, 1, "file"), '-') + 1, NULL);
    assert_true(end_s > seconds - 0.05 && end_s < seconds + 0.006);
    table_free(t);
}

/* A lesson that is itself a stretch of a file gives stretches of the file. */
static void test_stretch_of_a_file(void **state)
{
    (void)state;
    double end_s = made.takes[TAKES - 1].end_s; /* in voice, as good as */
    char *from_second =
        xformat("%s@%.2f-%.2f", lesson_wav, made.takes[1].start_s - 0.6, end_s - 0.1);
    table *t = ASK("add", "wren", "--split", from_second), *s = ASK("split", lesson_wav);
    assert_int_equal(t->n_rows, TAKES - 1);
    for (size_t i = 0; i < TAKES - 1; i++) {
        const char *stretch = strrchr(cell(t, i, "file"), '@') + 1;
        assert_true(fabs(strtod(stretch, NULL) - number(s, i + 1, "start_s")) < 0.1);
        assert_true(strtod(strchr(stretch, '-') + 1, NULL) <= end_s);
    }
    table_free(s);
    table_free(t);
    free(from_second);
}

/* Rows a second off, one that drops, one that overlaps another's take by less, one of nothing. */
static void write_rows(void)
{
    char text[1024];
    const lesson_take *k = made.takes;
    snprintf(text, sizeof text,
             "start_s\tend_s\tname\thold\tvary\tregister\tvowel\tdrop\n"
             "%.1f\t%.1f\tfirst \"ü\"\tlevel\tpitch\t\to\t\n"
             "%.1f\t%.1f\tlate\t\t\t\t\t\n"
             "%.1f\t%.1f\t\t\t\tM1\t\t\n"
             "%.1f\t%.1f\t\t\t\t\t\tteacher\n"
             "0\t0.2\tearly\t\t\t\t\t\n",
             k[0].start_s - 1, k[0].end_s - 1, k[0].end_s - 0.5, k[0].end_s + 0.2, k[1].start_s + 1,
             k[1].end_s + 1, k[2].start_s, k[2].end_s);
    write_file("rows.tsv", text);
}

static void test_table(void **state)
{
    (void)state;
    write_rows();
    said said_of = run("add", "wren", "--split", lesson_wav, "--table", "rows.tsv", "--vowel", "a",
                       "--date", "2025-06-07");
    assert_int_equal(said_of.code, EXIT_DONE);
    check_sentences(said_of.err);
    assert_non_null(strstr(said_of.err, "rows.tsv line 3: another row has more"));
    assert_non_null(strstr(said_of.err, "rows.tsv line 6: no take was found there"));
    said_clear(&said_of);
    table *t = ASK("takes", "wren");
    assert_int_equal(t->n_rows, TAKES - 1);
    assert_string_equal(cell(t, 0, "name"), "first \"ü\"");
    assert_string_equal(cell(t, 0, "hold"), "level");
    assert_string_equal(cell(t, 0, "vary"), "pitch");
    assert_string_equal(cell(t, 0, "vowel"), "o");
    assert_string_equal(cell(t, 1, "name"), "");
    assert_string_equal(cell(t, 1, "register"), "M1");
    assert_string_equal(cell(t, 1, "vowel"), "a");
    assert_string_equal(cell(t, 2, "register"), "");
    assert_string_equal(cell(t, 2, "date"), "2025-06-07");
    table_free(t);
}

/* The table that split prints is one of these, with columns put to it. */
static void test_table_of_split(void **state)
{
    (void)state;
    said s = run("split", lesson_wav);
    char *header = strstr(s.out, "\tkind\n");
    assert_non_null(header);
    char *more = xformat("%.*s\tkind\tsinger\n%.*s\trobin\n", (int)(header - s.out), s.out,
                         (int)strcspn(header + 6, "\n"), header + 6);
    write_file("split.tsv", more);
    free(more);
    said_clear(&s);
    table *t = ASK("add", "wren", "--split", lesson_wav, "--table", "split.tsv");
    assert_int_equal(t->n_rows, TAKES);
    for (size_t i = 0; i < TAKES; i++)
        assert_string_equal(cell(t, i, "singer"), i ? "wren" : "robin");
    table_free(t);
}

/* The channel is guessed once, from the whole lesson. */
static void test_channel(void **state)
{
    (void)state;
    table_free(ASK("add", "wren", "--split", "stereo.wav"));
    table *t = ASK("takes", "wren");
    assert_int_equal(t->n_rows, TAKES);
    for (size_t i = 0; i < TAKES; i++)
        assert_string_equal(cell(t, i, "microphone"), "2");
    table_free(t);
}

static void test_refused(void **state)
{
    (void)state;
    check_refused(run("add", "wren", "--split"), EXIT_USAGE, "--split");
    write_file("bad.tsv", "start_s\tend_s\n9\t4\n");
    check_refused(run("add", "wren", "--split", lesson_wav, "--table", "bad.tsv"), EXIT_INPUT,
                  "bad.tsv line 2");
    write_file("bad.tsv", "file\tstart_s\tend_s\nother.wav\t4\t9\n");
    said s = run("add", "wren", "--split", lesson_wav, "missing.wav", "--table", "bad.tsv");
    assert_int_equal(s.code, EXIT_INPUT); /* the other lesson is stored none the less */
    assert_int_equal(rows_of(&s), TAKES);
    assert_non_null(strstr(s.err, "names none of the lessons"));
    assert_non_null(strstr(s.err, "missing.wav"));
    said_clear(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_takes, fresh),
        cmocka_unit_test_setup(test_cut_short, fresh),
        cmocka_unit_test_setup(test_stretch_of_a_file, fresh),
        cmocka_unit_test_setup(test_table, fresh),
        cmocka_unit_test_setup(test_table_of_split, fresh),
        cmocka_unit_test_setup(test_channel, fresh),
        cmocka_unit_test_setup(test_refused, fresh),
    };
    return cmocka_run_group_tests(tests, make_lesson, leave_lesson);
}
