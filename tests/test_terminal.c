/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What people type and see: pitches, aligned tables, bold and progress on a terminal and nowhere
 * else. Oracles: ISO 16 and the MIDI note scale, tables set by hand, a pseudo-terminal. */
#include "base/note.h"
#include "base/terminal.h"
#include "base/text.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/wait.h>

#include <cmocka.h>

#include "run_program.h"

static void check_pitch(const char *text, double want)
{
    note_typed n;
    bool read = note_read(text, &n);
    double got = read ? note_meant(&n, 440) : (double)NAN;
    if (isnan(want) ? read : !(fabs(got - want) < 1e-9))
        fail_msg("%s is read as %g, not %g", text, got, want);
}

static void test_pitches(void **state)
{
    (void)state;
    check_pitch("A4", 69);
    check_pitch("F#4", 66);
    check_pitch("Gb4", 66);
    check_pitch("f#4", 66);
    check_pitch("b4", 71);
    check_pitch("bb4", 70);
    check_pitch("Cb4", 59);
    check_pitch("B#3", 60);
    check_pitch("C-1", 0);
    check_pitch("G\xE2\x99\xAD"
                "4",
                66);
    check_pitch("F\xE2\x99\xAF"
                "4",
                66);
    check_pitch("F#4+23c", 66.23);
    check_pitch("C5-50c", 71.5);
    check_pitch("66.0", 66);
    check_pitch("66st", 66);
    check_pitch("440Hz", 69);
    check_pitch("880 hz", 81);
    check_pitch("370Hz", 69 + 12 * log2(370.0 / 440));
    static const char *const bad[] = {"",     "H4",     "F#",    "#4",   "4F",   "F##4",
                                      "F4x",  "370kHz", "0Hz",   "-5Hz", "Hz",   "66 Hz x",
                                      "C-2",  "F4+c",   "F4+23", "E4 ",  "1e2x", "F4+1234567c",
                                      "fis4", "nan",    "inf",   "66,5"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        check_pitch(bad[i], (double)NAN);
    /* A name goes with the tuning, semitones and hertz do not: A4 at 432 Hz is 31.77 cents low. */
    note_typed name, hz;
    assert_true(note_read("A4", &name) && note_read("440Hz", &hz));
    assert_true(fabs(note_meant(&name, 432) - 69 - 12 * log2(432.0 / 440)) < 1e-12);
    assert_true(note_meant(&hz, 432) == 69);
}

/* What note_name prints, note_read reads, to half a cent. */
static void test_names_come_back(void **state)
{
    (void)state;
    double worst = 0;
    for (int i = 0; i < 1000; i++) {
        double st = 0.1273 * i;
        char text[NOTE_NAME_SIZE];
        note_typed n;
        note_name(st, 443, text);
        assert_true(note_read(text, &n));
        worst = fmax(worst, fabs(note_meant(&n, 443) - st));
    }
    print_message("off by %.4f st at the most\n", worst);
    assert_true(worst < 0.00501);
}

#define BIRD "\xF0\x9F\x90\xA6"

static void test_columns(void **state)
{
    (void)state;
    assert_int_equal(text_columns(""), 0);
    assert_int_equal(text_columns("robin"), 5);
    assert_int_equal(text_columns("Bj\xC3\xB6rk"), 5);
    assert_int_equal(text_columns("e\xCC\x81"), 1);    /* e and a combining accent */
    assert_int_equal(text_columns("\xE6\x9D\x8E"), 2); /* a Chinese character */
    assert_int_equal(text_columns(BIRD), 2);
    assert_int_equal(text_columns("a\xFF\xFE"), 3);
}

/* As many characters as asked for, the ellipsis among them; what fits is not cut. */
static void test_shown(void **state)
{
    (void)state;
    char *cut = text_shown("a" BIRD "cde", 4), *whole = text_shown("a" BIRD "c\n", 5);
    assert_string_equal(cut, "a" BIRD "c\xE2\x80\xA6");
    assert_string_equal(whole, "a" BIRD "c\\n");
    free(cut);
    free(whole);
}

/* Three birds take as much room as six letters. */
static void test_wrapped(void **state)
{
    (void)state;
    char *text = NULL;
    size_t size;
    FILE *to = xmemstream(&text, &size);
    text_wrap_at(to, 9, "- ", 2, BIRD BIRD " abcdef " BIRD BIRD BIRD " x\nabcdefghijk");
    fclose(to);
    assert_string_equal(text,
                        "- " BIRD BIRD "\n  abcdef\n  " BIRD BIRD BIRD "\n  x\n- abcdefghijk\n");
    free(text);
}

static void write_rows(FILE *out)
{
    err e;
    table_writer *w = table_writer_new(out, TABLE_TEXT, "singer takes note");
    table_note(w, "says", "two\nlines");
    table_text(w, "Bj\xC3\xB6rk");
    table_count(w, 7);
    table_text(w, "x");
    table_text(w, "\xE6\x9D\x8E");
    table_number(w, -12.5, 1);
    table_text(w, NULL);
    table_text(w, "a\tb\x1b[1m");
    table_number(w, (double)NAN, 1);
    table_text(w, "long");
    assert_true(table_writer_close(w, &e));
}

static void test_aligned(void **state)
{
    (void)state;
    FILE *f = fopen("text", "w");
    write_rows(f);
    fclose(f);
    char *text = read_file("text");
    assert_string_equal(text, "# says two\\nlines\n"
                              "singer       takes  note\n"
                              "Bj\xC3\xB6rk            7  x\n"
                              "\xE6\x9D\x8E           -12.5  \n"
                              "a\\tb\\x1B[1m         long\n");
    free(text);
}

/* What the program prints on a pseudo-terminal that is its stdout, its stderr or both. */
static char *on_terminal(bool out, bool errors, const char *const *args)
{
    int master = posix_openpt(O_RDWR | O_NOCTTY), code = -1;
    if (master < 0 || grantpt(master) != 0 || unlockpt(master) != 0) {
        print_message("no pseudo-terminals here\n");
        skip();
    }
    int slave = open(ptsname(master), O_RDWR | O_NOCTTY), null = open("/dev/null", O_RDWR);
    const char *argv[MOST_ARGS] = {program()};
    for (size_t i = 0; args[i]; i++)
        argv[i + 1] = args[i];
    assert_int_equal(process_run(argv, "", 0, out ? slave : null, errors ? slave : null, &code),
                     PROCESS_DONE);
    assert_int_equal(code, 0);
    static char text[65536]; /* static: larger than a stack frame should be */
    size_t n = 0;
    ssize_t got;
    fcntl(master, F_SETFL, O_NONBLOCK);
    while (n < sizeof text - 1 && (got = read(master, text + n, sizeof text - 1 - n)) > 0)
        n += (size_t)got;
    text[n] = '\0';
    close(slave);
    close(master);
    close(null);
    return xstrdup(text);
}

#define shown(out, errors, ...) on_terminal(out, errors, (const char *const[]){__VA_ARGS__, NULL})

static void check_has(char *text, const char *part, bool has)
{
    if ((strstr(text, part) != NULL) != has)
        fail_msg("%s \"%s\" in: %s", has ? "no" : "there is", part, text);
    free(text);
}

static void test_table_on_a_terminal(void **state)
{
    (void)state;
    setenv("TERM", "xterm", 1);
    unsetenv("NO_COLOR");
    check_has(shown(true, false, "singers"), "\033[1msinger ", true);
    check_has(shown(true, false, "singers"), "\t", false);
    check_has(shown(true, false, "singers", "--format", "tsv"), "singer\tsessions", true);
    check_has(shown(true, false, "singers", "--format", "tsv"), "\033", false);
    setenv("NO_COLOR", "1", 1);
    check_has(shown(true, false, "singers"), "\033", false);
    setenv("NO_COLOR", "", 1);
    check_has(shown(true, false, "singers"), "\033", true);
    setenv("TERM", "dumb", 1);
    check_has(shown(true, false, "singers"), "\033", false);
    said piped = run("singers"), text = run("singers", "--format", "text");
    assert_non_null(strstr(piped.out, "singer\tsessions\t"));
    assert_null(strchr(text.out, '\t'));
    assert_null(strchr(text.out, '\033'));
    said_clear(&piped);
    said_clear(&text);
}

/* On a narrow screen no line is wider, and every block begins with the first column. */
static void test_narrow_screen(void **state)
{
    (void)state;
    setenv("COLUMNS", "40", 1);
    char *text = shown(true, false, "takes", "robin"), *rest = text;
    size_t headers = 0;
    for (char *line; (line = strtok_r(rest, "\r\n", &rest));) {
        headers += strncmp(line, "take ", 5) == 0;
        if (*line != '#' && text_columns(line) > 40)
            fail_msg("wider than 40: %s", line);
    }
    print_message("%zu blocks\n", headers);
    assert_true(headers >= 3);
    free(text);
    unsetenv("COLUMNS");
}

static void test_progress(void **state)
{
    (void)state;
    setenv("COLUMNS", "80", 1);
    check_has(shown(false, true, "check", "a.wav", "b.wav"), "] 0 of 2 recordings", true);
    check_has(shown(false, true, "check", "a.wav", "b.wav", "--quiet"), "recordings", false);
    check_has(shown(false, true, "analyse", "a.wav"), "] 0 of 1 recordings", true);
    check_has(shown(true, false, "check", "a.wav", "b.wav"), "recordings", false);
    said s = run("check", "a.wav", "b.wav");
    assert_string_equal(s.err, "");
    said_clear(&s);
    setenv("COLUMNS", "20", 1);
    check_has(shown(false, true, "check", "a.wav"), "[>                ]", false);
    check_has(shown(false, true, "check", "a.wav"), "[>", true);
    unsetenv("COLUMNS");
}

static void test_suggestions(void **state)
{
    (void)state;
    check_refused(run("map", "robbin"), EXIT_INPUT, "did you mean robin?");
    check_refused(run("journal", "verfy"), EXIT_USAGE, "did you mean verify?");
    check_refused(run("correct", "x", "conform", "1"), EXIT_USAGE, "did you mean confirm?");
    check_refused(run("next", "robin", "--highest", "H4"), EXIT_USAGE, "F#4, Gb4, 66.0");
    check_refused(run("next", "robin", "--highest", "C9"), EXIT_USAGE, "from C1 to C8");
}

/* Nothing is proposed beyond what --lowest and --highest say, in whatever way they say it. */
static void test_next_within(void **state)
{
    (void)state;
    static const char *const ways[] = {"C#4", "Db4", "61", "277.1826309769Hz"};
    char *first = NULL;
    for (size_t i = 0; i < 4; i++) {
        said s = run("next", "robin", "--highest", ways[i]);
        assert_int_equal(s.code, EXIT_DONE);
        table *t = table_of(&s);
        assert_true(t->n_rows > 0);
        for (size_t row = 0; row < t->n_rows; row++)
            assert_true(number(t, row, "from_st") <= 61 && number(t, row, "to_st") <= 61);
        table_free(t);
        char *rows = xstrdup(strstr(s.out, "\nrank"));
        if (first)
            assert_string_equal(rows, first);
        free(first);
        first = rows;
        said_clear(&s);
    }
    free(first);
    check_refused(run("next", "robin", "--lowest", "C7"), EXIT_NO_ANSWER, "nothing of that");
    check_refused(run("next", "robin", "--lowest", "A4"), EXIT_NO_ANSWER, "No slide or swell");
}

static int enter(void **state)
{
    char *voice = from_environment("TESTVOICE", "build/testvoice");
    if (!voice || enter_new_folder(state) != 0)
        return -1;
    const char *const family[] = {voice, "family", "clear", "3", "sung", NULL};
    int code = -1, null = open("/dev/null", O_RDWR);
    process_run(family, "", 0, null, null, &code);
    close(null);
    free(voice);
    setenv("SEAMLINE_JOURNAL", "j.db", 1);
    if (code != 0 || rename("sung/take-00.wav", "a.wav") || rename("sung/take-01.wav", "b.wav"))
        return -1;
    check_done(run("add", "robin", "a.wav", "b.wav"));
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_pitches),
        cmocka_unit_test(test_names_come_back),
        cmocka_unit_test(test_columns),
        cmocka_unit_test(test_shown),
        cmocka_unit_test(test_wrapped),
        cmocka_unit_test(test_aligned),
        cmocka_unit_test(test_table_on_a_terminal),
        cmocka_unit_test(test_narrow_screen),
        cmocka_unit_test(test_progress),
        cmocka_unit_test(test_suggestions),
        cmocka_unit_test(test_next_within),
    };
    return cmocka_run_group_tests_name("terminal", tests, enter, leave_folder);
}
