/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Notes, numbers, words, options, tables and processes. Oracles: ISO 16 and the MIDI note scale,
 * what was written comes back when read (by our reader, and by jansson for JSON), distances counted
 * by hand. */
#include "base/array.h"
#include "base/note.h"
#include "base/number.h"
#include "base/options.h"
#include "base/process.h"
#include "base/table.h"
#include "base/text.h"
#include "base/ticker.h"

#include <fcntl.h>
#include <jansson.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static void test_notes(void **state)
{
    (void)state;
    /* A4 = 440 Hz (ISO 16); twelve semitones an octave; middle C by equal temperament. */
    assert_true(note_from_hz(440) == 69);
    assert_true(note_from_hz(880) == 81);
    assert_true(fabs(note_to_hz(60) - 261.6256) < 5e-5);
    /* The table of equal temperament, from memory: A0, E2, G3, F#4, C6, C8. */
    static const double rows[][2] = {{21, 27.5},     {40, 82.4069},   {55, 195.9977},
                                     {66, 369.9944}, {84, 1046.5023}, {108, 4186.0090}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_true(fabs(note_to_hz(rows[i][0]) - rows[i][1]) < 5e-5);
    assert_true(isnan(note_from_hz(0)) && isnan(note_from_hz(-1)) && isnan(note_from_hz(NAN)));
    assert_true(isnan(note_to_hz((double)NAN)));
    for (int i = 0; i < 200; i++) {
        double st = 20 + 0.37 * i;
        assert_true(fabs(note_from_hz(note_to_hz(st)) - st) < 1e-12);
    }
}

static void check_name(double st, double a4_hz, const char *name, const char *nearest)
{
    char text[NOTE_NAME_SIZE];
    note_name(st, a4_hz, text);
    assert_string_equal(text, name);
    note_nearest(st, a4_hz, text);
    assert_string_equal(text, nearest);
}

static void test_note_names(void **state)
{
    (void)state;
    check_name(69, 440, "A4", "A4");
    check_name(60, 440, "C4", "C4");
    check_name(59, 440, "B3", "B3");
    check_name(66.23, 440, "F#4+23c", "F#4");
    check_name(65.77, 440, "F#4-23c", "F#4");
    check_name(66.004, 440, "F#4", "F#4");
    check_name(0, 440, "C-1", "C-1");
    check_name(-1, 440, "B-2", "B-2");
    check_name(-13, 440, "B-3", "B-3");
    /* 440 Hz is 31.77 cents above A4 where that is 432 Hz: 1200 log2(440 / 432). */
    check_name(69, 432, "A4+32c", "A4");
    check_name((double)NAN, 440, "", "");
}

static void test_numbers_read(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double value;
    } good[] = {{"0", 0},        {"-3", -3}, {"0.5", 0.5},  {".5", 0.5},   {"5.", 5},
                {"1e-3", 0.001}, {"+2", 2},  {"1E3", 1000}, {"0.1", 1e-1}, {"440", 440}};
    static const char *const bad[] = {"",    " 1",    "1 ", "abc", "1,5", "0x10", "inf",
                                      "nan", "1e999", "-",  ".",   "1e",  "--1",  "1.2.3"};
    double value;
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        assert_true(number_read(good[i].text, &value));
        assert_true(value == good[i].value);
    }
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        value = 7;
        assert_false(number_read(bad[i], &value));
        assert_true(value == 7);
    }
}

static void test_numbers_written(void **state)
{
    (void)state;
    char text[NUMBER_SIZE];
    number_fixed(1.005, 1, text);
    assert_string_equal(text, "1.0");
    number_fixed(-0.04, 1, text);
    assert_string_equal(text, "0.0");
    number_fixed(-0.06, 1, text);
    assert_string_equal(text, "-0.1");
    number_fixed((double)NAN, 3, text);
    assert_string_equal(text, "");
    number_fixed(-(double)INFINITY, 3, text);
    assert_string_equal(text, "-inf");
    number_short(0.005, text);
    assert_string_equal(text, "0.005");
    number_short(94, text);
    assert_string_equal(text, "94");
    number_fixed(-1.7e308, 17, text);
    assert_int_equal(strlen(text), 1 + 309 + 1 + 17);
}

static void test_utf8(void **state)
{
    (void)state;
    /* Table 3-7 of the Unicode standard: overlong forms, surrogates and what lies beyond U+10FFFF
     * are no characters. */
    static const struct {
        const char *bytes, *valid;
    } cases[] = {
        {"", ""},
        {"Zaunk\xC3\xB6nig", "Zaunk\xC3\xB6nig"},
        {"a\xFFz", "a\xEF\xBF\xBDz"},
        {"\xC0\x80", "\xEF\xBF\xBD\xEF\xBF\xBD"},
        {"\xE0\x80\x80", "\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD"},
        {"\xED\xA0\x80", "\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD"},
        {"\xF0\x9F\x8E\xB5", "\xF0\x9F\x8E\xB5"},
        {"\xF4\x90\x80\x80", "\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD"},
        {"\xE2\x82", "\xEF\xBF\xBD\xEF\xBF\xBD"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char *valid = text_utf8(cases[i].bytes);
        assert_string_equal(valid, cases[i].valid);
        free(valid);
    }
}

static void test_nearest_word(void **state)
{
    (void)state;
    static const char *const names[] = {"analyse", "add", "map", "singers", "takes", "fit"};
    static const struct {
        const char *typed, *meant;
    } cases[] = {
        {"analyze", "analyse"}, {"anlayse", "analyse"}, {"mpa", "map"},  {"singer", "singers"},
        {"fti", "fit"},         {"ad", "add"},          {"zebra", NULL}, {"", NULL},
        {"takes", "takes"}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const char *near = text_nearest(cases[i].typed, names, sizeof names / sizeof *names);
        assert_true((!near && !cases[i].meant) ||
                    (near && cases[i].meant && strcmp(near, cases[i].meant) == 0));
    }
    assert_null(text_nearest("map", names, 0));
}

static void test_word_sets(void **state)
{
    (void)state;
    static const char words[] = "pitch|level|register";
    for (int bits = 0; bits < 8; bits++) {
        int back = -1;
        char *list = text_set_write(words, bits);
        assert_true(text_set_read(list, words, &back));
        assert_int_equal(back, bits);
        free(list);
    }
    int bits = 5;
    static const char *const bad[] = {"", "pitch,", ",pitch", "pitch level", "all", "none,pitch"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_false(text_set_read(bad[i], words, &bits));
    assert_int_equal(bits, 5);
    assert_true(text_set_read("level,pitch,level", words, &bits));
    assert_int_equal(bits, 3);
}

typedef struct choice {
    bool flag;
    const char *text;
    double number;
    int whole, kind, set;
} choice;

static const option rows[] = {
    {"flag", 'f', OPTION_FLAG, NULL, NULL, 0, 0, offsetof(choice, flag), "a flag"},
    {"text", 't', OPTION_TEXT, "TEXT", NULL, 0, 0, offsetof(choice, text), "a text"},
    {"number", 0, OPTION_NUMBER, "DB", NULL, -10, 10, offsetof(choice, number), "a number"},
    {"whole", 0, OPTION_WHOLE, "N", NULL, 1, 8, offsetof(choice, whole), "a whole number"},
    {"kind", 0, OPTION_CHOICE, "tsv|json", "tsv|json", 0, 0, offsetof(choice, kind), "a choice"},
    {"set", 0, OPTION_SET, "LIST", "pitch|level", 0, 0, offsetof(choice, set), "a set"},
};

/* Reads the arguments, parted by blanks; the operands joined by blanks come back in `left`. */
static bool read_line(const char *line, options_stop stop, choice *c, char left[100], err *e)
{
    char copy[200], *args[20], *rest = copy;
    size_t n = 0;
    snprintf(copy, sizeof copy, "%s", line);
    for (char *word; (word = strtok_r(rest, " ", &rest));)
        args[n++] = word;
    *c = (choice){.set = -1};
    option_group group = {rows, sizeof rows / sizeof *rows, c};
    operands out = {0};
    bool good = options_read(&group, 1, n, args, stop, &out, e);
    left[0] = '\0';
    for (size_t i = 0; i < out.n; i++) {
        strcat(left, i ? " " : "");
        strcat(left, out.items[i]);
    }
    free(out.items);
    return good;
}

static void test_options_read(void **state)
{
    (void)state;
    err e = {""};
    choice c;
    char left[100];
    assert_true(read_line("a --number -2.5 b --whole=8 --kind json --set level,pitch -f - c",
                          OPTIONS_TO_END, &c, left, &e));
    assert_string_equal(left, "a b - c");
    assert_true(c.flag && c.number == -2.5 && c.whole == 8 && c.kind == 1 && c.set == 3);
    assert_true(read_line("--number 1 --number 2 -- --flag -x", OPTIONS_TO_END, &c, left, &e));
    assert_string_equal(left, "--flag -x");
    assert_true(!c.flag && c.number == 2);
    assert_true(read_line("-f map --nothing -x", OPTIONS_TO_OPERAND, &c, left, &e));
    assert_string_equal(left, "map --nothing -x");
    assert_true(read_line("--number -10 --whole 1", OPTIONS_TO_END, &c, left, &e));
    assert_true(c.number == -10 && c.whole == 1);
    assert_true(read_line("--set none", OPTIONS_TO_END, &c, left, &e));
    assert_int_equal(c.set, 0);
}

static void test_options_refused(void **state)
{
    (void)state;
    static const char *const cases[][2] = {
        {"--number 11", "--number takes a number from -10 to 10, not \"11\"."},
        {"--number 1dB", "--number takes a number from -10 to 10, not \"1dB\"."},
        {"--whole 2.5", "--whole takes a whole number from 1 to 8, not \"2.5\"."},
        {"--whole 0", "--whole takes a whole number from 1 to 8, not \"0\"."},
        {"--kind xml", "--kind takes one of tsv, json, not \"xml\"."},
        {"--set loud",
         "--set takes a list, parted by commas, of pitch, level, or none, not \"loud\"."},
        {"--flag=1", "--flag takes no value, but \"1\" was given."},
        {"--number", "--number wants a value, DB."},
        {"--text=", "--text takes a text that is not empty."},
        {"--nubmer 1", "There is no option --nubmer here; did you mean --number?"},
        {"--zebra", "There is no option --zebra here."},
        {"-x", "There is no option -x here (a file of such a name is ./-x)."},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        err e = {""};
        choice c;
        char left[100];
        assert_false(read_line(cases[i][0], OPTIONS_TO_END, &c, left, &e));
        assert_string_equal(e.text, cases[i][1]);
    }
}

static const char awkward[] = "a\tb\nc\\d\re \"quoted\" \xC3\xA9";

static char *write_table(table_format format)
{
    char *text = NULL;
    size_t size;
    err e = {""};
    FILE *out = open_memstream(&text, &size);
    table_writer *w = table_writer_new(out, format, "name value count");
    table_note(w, "seamline", "%s", "1");
    table_note(w, "input", "%s", awkward);
    table_text(w, awkward);
    table_number(w, -1.25, 3);
    table_count(w, -7);
    table_text(w, NULL);
    table_number(w, (double)NAN, 1);
    table_count(w, 0);
    table_text(w, "");
    table_number(w, -(double)INFINITY, 1);
    table_count(w, 1);
    assert_true(table_writer_close(w, &e));
    fclose(out);
    return text;
}

static const char *table_path = "build/test_base.tsv";

static table *read_text(const char *text, size_t n, err *e)
{
    table *t = NULL;
    FILE *f = fopen(table_path, "wb");
    assert_non_null(f);
    fwrite(text, 1, n, f);
    fclose(f);
    bool good = table_read(table_path, &t, e);
    remove(table_path);
    return good ? t : NULL;
}

static void test_table_comes_back(void **state)
{
    (void)state;
    err e = {""};
    double value;
    char *text = write_table(TABLE_TSV);
    table *t = read_text(text, strlen(text), &e);
    free(text);
    assert_non_null(t);
    assert_int_equal(t->n_rows, 3);
    assert_int_equal(t->n_columns, 3);
    assert_string_equal(table_note_value(t, "seamline"), "1");
    assert_string_equal(table_note_value(t, "input"), awkward);
    assert_null(table_note_value(t, "output"));
    assert_string_equal(table_cell(t, 0, 0), awkward);
    int column = table_column(t, "value");
    assert_true(table_value(t, 0, column, &value, &e) && value == -1.25);
    assert_true(table_value(t, 1, column, &value, &e) && isnan(value));
    assert_true(table_value(t, 2, column, &value, &e) && isinf(value) && value < 0);
    assert_int_equal(table_column(t, "none"), -1);
    assert_true(table_value(t, 0, -1, &value, &e) && isnan(value));
    table_free(t);
}

static void test_json_says_the_same(void **state)
{
    (void)state;
    char *text = write_table(TABLE_JSON);
    json_error_t wrong;
    json_t *j = json_loads(text, 0, &wrong);
    free(text);
    assert_non_null(j);
    assert_string_equal(json_string_value(json_object_get(json_object_get(j, "notes"), "input")),
                        awkward);
    json_t *list = json_object_get(j, "rows"), *first = json_array_get(list, 0);
    assert_int_equal(json_array_size(list), 3);
    assert_string_equal(json_string_value(json_object_get(first, "name")), awkward);
    assert_true(json_number_value(json_object_get(first, "value")) == -1.25);
    assert_int_equal(json_integer_value(json_object_get(first, "count")), -7);
    assert_true(json_is_null(json_object_get(json_array_get(list, 1), "name")));
    assert_true(json_is_null(json_object_get(json_array_get(list, 1), "value")));
    assert_true(json_is_null(json_object_get(json_array_get(list, 2), "value")));
    json_decref(j);
}

static void test_table_from_elsewhere(void **state)
{
    (void)state;
    static const char text[] = "\xEF\xBB\xBF# from a spreadsheet\r\ntake\tpitch_st\r\n"
                               "a\t60\r\n\r\nb\r\nc\tNA\r\nd\tx\r\n";
    err e = {""};
    double value;
    table *t = read_text(text, sizeof text - 1, &e);
    assert_non_null(t);
    assert_int_equal(t->n_rows, 4);
    assert_int_equal(table_column(t, "pitch_st"), 1);
    assert_true(table_value(t, 0, 1, &value, &e) && value == 60);
    assert_true(table_value(t, 1, 1, &value, &e) && isnan(value));
    assert_true(table_value(t, 2, 1, &value, &e) && isnan(value));
    assert_false(table_value(t, 3, 1, &value, &e));
    assert_string_equal(e.text,
                        "build/test_base.tsv line 7: \"x\" in column pitch_st is no number.");
    table_free(t);
    t = read_text("one\ttwo\n", 8, &e);
    assert_non_null(t);
    assert_int_equal(t->n_rows, 0);
    table_free(t);
}

static void test_table_refused(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        size_t n;
        const char *sentence;
    } cases[] = {
        {"", 0, "build/test_base.tsv: the table has no header row with the names of its columns."},
        {"# a note\n", 9,
         "build/test_base.tsv: the table has no header row with the names of its columns."},
        {"a\tb\n1\t2\n1\t2\t3\n", 14,
         "build/test_base.tsv line 3: the row has more cells than the header's 2 columns."},
        {"a\nb\0c\n", 6, "build/test_base.tsv line 2: this is no text table, it holds a NUL byte."},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        err e = {""};
        assert_null(read_text(cases[i].text, cases[i].n, &e));
        assert_string_equal(e.text, cases[i].sentence);
    }
    table *t;
    err e = {""};
    assert_false(table_read("build/none.tsv", &t, &e));
    assert_string_equal(e.text,
                        "build/none.tsv: the table cannot be opened: No such file or directory.");
}

static void test_table_on_a_full_disk(void **state)
{
    (void)state;
    FILE *full = fopen("/dev/full", "w");
    assert_non_null(full);
    err e = {""};
    table_writer *w = table_writer_new(full, TABLE_TSV, "a");
    table_count(w, 1);
    assert_false(table_writer_close(w, &e));
    assert_string_equal(e.text, "The result could not be written: No space left on device.");
    fclose(full);
}

static void test_process(void **state)
{
    (void)state;
    FILE *kept = tmpfile();
    int out = fileno(kept), status = -1;
    static const char *const cat[] = {"cat", "$HOME; `exit`", "-", NULL};
    assert_int_equal(process_run(cat, "sung", 4, out, out, &status), PROCESS_DONE);
    assert_int_equal(status, 1);
    char said[200] = "";
    rewind(kept);
    assert_true(fread(said, 1, sizeof said - 1, kept) > 4);
    assert_non_null(strstr(said, "$HOME; `exit`"));
    assert_non_null(strstr(said, "sung"));
    fclose(kept);
}

static void test_process_ends(void **state)
{
    (void)state;
    int null = open("/dev/null", O_WRONLY), status = -1;
    static const char *const none[] = {"no-such-program-here", NULL}, *const no[] = {"false", NULL},
                             *const yes[] = {"true", NULL},
                             *const killed[] = {"sh", "-c", "kill -9 $$", NULL};
    size_t n = 1 << 20;
    char *much = xcalloc(n, 1);
    assert_int_equal(process_run(none, NULL, 0, null, null, &status), PROCESS_MISSING);
    assert_int_equal(process_run(yes, much, n, null, null, &status), PROCESS_DONE);
    assert_int_equal(status, 0);
    assert_int_equal(process_run(no, much, n, null, null, &status), PROCESS_DONE);
    assert_int_equal(status, 1);
    assert_int_equal(process_run(killed, NULL, 0, null, null, &status), PROCESS_FAILED);
    free(much);
    close(null);
}

static void check_line(ticker_state s, const char *want)
{
    char line[TICKER_LINE_SIZE];
    ticker_line(&s, line);
    assert_string_equal(line, want);
}

static void test_time_left(void **state)
{
    (void)state;
    check_line((ticker_state){"takes", 3, 12, 0.25, 20, 0},
               "[=====>              ] 3 of 12 takes, 1 min 0 s left");
    check_line((ticker_state){"takes", 3, 12, 0.25, 30, 10},
               "[=====>              ] 3 of 12 takes, 50 s left");
    check_line((ticker_state){"takes", 3, 12, 0.25, 120, 100},
               "[=====>              ] 3 of 12 takes, 0 s left");
    check_line((ticker_state){"takes", 0, 12, 0, 20, 20},
               "[>                   ] 0 of 12 takes, 20 s so far");
    check_line((ticker_state){"takes", 0, 12, 0, 0.5, 0.5}, "[>                   ] 0 of 12 takes");
    check_line((ticker_state){"takes", 12, 12, 1, 20, 0}, "[====================] 12 of 12 takes");
    check_line((ticker_state){"takes", 12, 12, 0.8, 20, 0},
               "[================>   ] 12 of 12 takes, 5 s left");
    check_line((ticker_state){"takes", 1, 2, 0.5, 7265, 0},
               "[==========>         ] 1 of 2 takes, 2 h 1 min left");
    check_line((ticker_state){"decoding", 0, 0, 0, 65, 65}, "decoding, 1 min 5 s so far");
    check_line((ticker_state){"decoding", 0, 0, 0.25, 20, 0},
               "[=====>              ] 25 % of decoding, 1 min 0 s left");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_notes),
        cmocka_unit_test(test_note_names),
        cmocka_unit_test(test_numbers_read),
        cmocka_unit_test(test_numbers_written),
        cmocka_unit_test(test_utf8),
        cmocka_unit_test(test_nearest_word),
        cmocka_unit_test(test_word_sets),
        cmocka_unit_test(test_options_read),
        cmocka_unit_test(test_options_refused),
        cmocka_unit_test(test_table_comes_back),
        cmocka_unit_test(test_json_says_the_same),
        cmocka_unit_test(test_table_from_elsewhere),
        cmocka_unit_test(test_table_refused),
        cmocka_unit_test(test_table_on_a_full_disk),
        cmocka_unit_test(test_process),
        cmocka_unit_test(test_process_ends),
        cmocka_unit_test(test_time_left),
    };
    return cmocka_run_group_tests_name("base", tests, NULL, NULL);
}
