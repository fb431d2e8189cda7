/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The program as its users meet it: run as a process, judged by its exit code, the sentences on
 * stderr and the tables on stdout. Oracles: the command contract; what is added in any order, in
 * one batch or in many, whole or interrupted, gives the same journal. */
#include "base/array.h"
#include "base/process.h"
#include "base/table.h"
#include "sound/date.h"

#include <fcntl.h>
#include <jansson.h>
#include <math.h>
#include <setjmp.h>
#include <signal.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "run_program.h"

enum { RATE = 48000 };

static void write_sound(const char *path, int format, int channels, const float *x, size_t frames)
{
    SF_INFO info = {.samplerate = RATE, .channels = channels, .format = format};
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    assert_non_null(f);
    assert_int_equal(sf_writef_float(f, x, (sf_count_t)frames), frames);
    assert_int_equal(sf_close(f), 0);
}

/* A buzz of ten harmonics that slides an octave up, from `hz`, in `channel` of `channels`; the
 * others hold noise. Amplitude 0: silence, or noise alone. */
static void write_slide(const char *path, double seconds, double hz, double amplitude, double noise,
                        int channels, int channel)
{
    size_t n = (size_t)(seconds * RATE);
    float *x = xcalloc(n * (size_t)channels, sizeof *x);
    uint64_t seed = 1;
    double phase = 0;
    for (size_t i = 0; i < n; i++) {
        phase += hz * exp2((double)i / (double)n) / RATE;
        for (int c = 0; c < channels; c++) {
            seed = seed * 6364136223846793005u + 1442695040888963407u;
            double v = noise * ((double)(seed >> 40) / (1 << 23) - 1);
            for (int h = 1; c == channel && h <= 10; h++)
                v += amplitude / h * sin(2 * M_PI * h * phase);
            x[i * (size_t)channels + (size_t)c] = (float)v;
        }
    }
    write_sound(path, SF_FORMAT_WAV | SF_FORMAT_PCM_16, channels, x, n);
    free(x);
}

static int enter_folder(void **state)
{
    char *voice = from_environment("TESTVOICE", "build/testvoice");
    if (!voice || enter_new_folder(state) != 0)
        return -1;
    const char *const family[] = {voice, "family", "clear", "3", "sung", NULL};
    int code = -1;
    int null = open("/dev/null", O_RDWR);
    process_run(family, "", 0, null, null, &code);
    close(null);
    free(voice);
    write_slide("slide.wav", 1.5, 200, 0.1, 1e-4, 1, 0);
    write_slide("silence.wav", 1, 200, 0, 0, 1, 0);
    write_slide("noise.wav", 1, 200, 0, 0.05, 1, 0);
    write_slide("short.wav", 0.03, 200, 0.1, 0, 1, 0);
    write_slide("eight.wav", 1.5, 200, 0.1, 1e-4, 8, 5);
    write_file("empty.wav", "");
    write_file("text.wav", "This is no sound at all.\n");
    return code;
}

static const char *const commands[] = {"analyse", "fit",     "add",     "map",    "singers",
                                       "takes",   "correct", "journal", "export", "merge"};
enum { COMMANDS = sizeof commands / sizeof *commands };

static void test_help(void **state)
{
    (void)state;
    said all = run("--help");
    assert_int_equal(all.code, EXIT_DONE);
    for (size_t i = 0; i < COMMANDS; i++) {
        char *line = xformat("\n  %s ", commands[i]);
        assert_non_null(strstr(all.out, line));
        free(line);
        said one = run(commands[i], "--help");
        char *usage = xformat("Usage: seamline %s", commands[i]);
        assert_int_equal(one.code, EXIT_DONE);
        assert_non_null(strstr(one.out, usage));
        assert_non_null(strstr(one.out, "--journal FILE"));
        assert_string_equal(one.err, "");
        free(usage);
        said_clear(&one);
    }
    said_clear(&all);
    said version = run("--version"), of_one = run("takes", "--version");
    assert_int_equal(version.code, EXIT_DONE);
    assert_string_equal(version.out, of_one.out);
    assert_true(strncmp(version.out, "seamline ", 9) == 0);
    said_clear(&version);
    said_clear(&of_one);
}

static void test_usage_errors(void **state)
{
    (void)state;
    check_refused(run_list((const char *const[]){NULL}), EXIT_USAGE, "Name a command.");
    check_refused(run("analise", "x"), EXIT_USAGE, "\"analise\"; did you mean analyse?");
    check_refused(run("xyzzy"), EXIT_USAGE, "There is no command \"xyzzy\".");
    check_refused(run("--jornal", "x", "singers"), EXIT_USAGE, "did you mean --journal?");
    check_refused(run("takes", "--vowl", "a", "wren"), EXIT_USAGE, "did you mean --vowel?");
    check_refused(run("takes"), EXIT_USAGE, "takes wants SINGER.");
    check_refused(run("takes", "a", "b"), EXIT_USAGE, "2 operands were given");
    check_refused(run("singers", "x"), EXIT_USAGE, "singers takes no operands.");
    check_refused(run("singers", "--format", "xml"), EXIT_USAGE, "tsv, json");
    check_refused(run("singers", "--a4", "12"), EXIT_USAGE, "from 300 to 600");
    check_refused(run("singers", "--a4"), EXIT_USAGE, "--a4 wants a value, HZ.");
    check_refused(run("add", "wren"), EXIT_USAGE, "one operand was given: wren.");
    check_refused(run("add"), EXIT_USAGE, "--table");
    check_refused(run("add", "slide.wav", "noise.wav"), EXIT_USAGE,
                  "the singer's name comes first");
    check_refused(run("compare", "wren"), EXIT_USAGE, "compare wants SINGER SINGER... Try:");
    check_refused(run("add", "wren", "slide.wav", "--hold", "pich"), EXIT_USAGE,
                  "pitch, level, register, or none");
    check_refused(run("add", "wren", "slide.wav", "--date", "2023-02-29"), EXIT_USAGE,
                  "\"2023-02-29\"");
    check_refused(run("add", "wren", "slide.wav", "--full-scale", "11o"), EXIT_USAGE,
                  "from 60 to 200");
    check_refused(run("add", "wren", "slide.wav", "--egg", "1.5"), EXIT_USAGE, "whole number");
    check_refused(run("add", "wren", "slide.wav", "--register", "M3"), EXIT_USAGE, "M1, M2");
    check_refused(run("add", "wren", "slide.wav", "--hold", "pitch", "--vary", "pitch"), EXIT_USAGE,
                  "What is held cannot be varied");
    check_refused(run("next", "wren", "--lowest", "C5", "--highest", "C4"), EXIT_USAGE,
                  "--lowest is above --highest.");
    check_refused(run("map", "wren", "-o=x.png"), EXIT_USAGE, "without =: -o x.png.");
    check_refused(run("analyse", "--explain", "--tracks", "slide.wav"), EXIT_USAGE, "say one");
    check_refused(run("sheet", "-o", "sheet.txt"), EXIT_USAGE, "must end in .html");
    static const char *const operands[] = {"check",   "calibrate", "split",  "analyse", "fit",
                                           "takes",   "held",      "sheet",  "map",     "progress",
                                           "correct", "next",      "report", "merge",   "help"};
    for (size_t i = 0; i < sizeof operands / sizeof *operands; i++)
        check_refused(run(operands[i], ""), EXIT_USAGE, "is empty; it wants");
    assert_int_equal(access("j.db", F_OK), -1);
}

static void test_what_is_no_recording(void **state)
{
    (void)state;
    mkdir("folder", 0700);
    check_refused(run("analyse", "none.wav"), EXIT_INPUT, "There is no file none.wav.");
    check_refused(run("analyse", "empty.wav"), EXIT_INPUT, "empty.wav is empty.");
    check_refused(run("analyse", "text.wav"), EXIT_INPUT, "text.wav is not a sound file");
    check_refused(run("analyse", "folder"), EXIT_INPUT, "folder is a folder");
    check_refused(run("add", "wren", "none.wav"), EXIT_INPUT, "There is no file none.wav.");
    check_refused(run("add", "wren", "empty.wav"), EXIT_INPUT, "empty.wav is empty.");
    check_refused(run("add", "wren", "text.wav"), EXIT_INPUT, "text.wav is not a sound file");
    check_refused(run("add", "wren", "folder"), EXIT_INPUT, "no recording in the folder folder");
    check_refused(run("add", "wren", "slide.wav", "--egg", "2"), EXIT_INPUT, "no channel 2");
}

/* Exit 0, a table with its header and no rows, and a sentence. */
static void test_nothing_sung(void **state)
{
    (void)state;
    static const char *const files[] = {"silence.wav", "noise.wav", "short.wav"};
    for (size_t i = 0; i < 3; i++) {
        said s = run("analyse", files[i]);
        check_sentences(s.err);
        assert_int_equal(s.code, EXIT_DONE);
        assert_int_equal(rows_of(&s), 0);
        assert_true(lines(s.err) >= 1);
        said_clear(&s);
        s = run("add", "wren", files[i]);
        check_sentences(s.err);
        assert_int_equal(s.code, EXIT_DONE);
        assert_non_null(strstr(s.err, "check voice: fail"));
        assert_int_equal(rows_of(&s), 1);
        said_clear(&s);
    }
}

static void test_eight_channels(void **state)
{
    (void)state;
    said s = run("analyse", "eight.wav", "--tracks");
    assert_int_equal(s.code, EXIT_DONE);
    assert_true(rows_of(&s) > 200);
    said_clear(&s);
}

/* A folder stands for its recordings, by name; what is no recording in it is passed over. */
static void test_folder(void **state)
{
    (void)state;
    assert_int_equal(
        system("mkdir -p many/deeper; cp slide.wav many/b.WAV; cp eight.wav many/a.wav;"
               "cp text.wav many/notes.txt; cp slide.wav many/.hidden.wav;"
               "cp noise.wav many/deeper/c.wav"),
        0);
    said s = run("add", "wren", "many/", "short.wav");
    table *t = table_of(&s);
    assert_int_equal(s.code, EXIT_DONE);
    assert_int_equal(t->n_rows, 3);
    assert_string_equal(cell(t, 0, "file"), "many/a.wav");
    assert_string_equal(cell(t, 1, "file"), "many/b.WAV");
    table_free(t);
    said_clear(&s);
}

/* The microphone named is heard, stays named, and is the take's, not another take. */
static void test_microphone_of_a_take(void **state)
{
    (void)state;
    said s = run("add", "wren", "eight.wav", "--microphone", "1");
    assert_int_equal(s.code, EXIT_DONE);
    assert_non_null(strstr(s.err, "check voice: fail"));
    said_clear(&s);
    for (int again = 0; again < 2; again++) {
        s = again ? run("add", "wren", "eight.wav", "--name", "siren")
                  : run("add", "wren", "eight.wav", "--microphone", "6");
        table *t = table_of(&s);
        assert_int_equal(t->n_rows, 1);
        assert_string_equal(cell(t, 0, "state"), "heard again");
        assert_true(number(t, 0, "voiced_s") > 1);
        table_free(t);
        said_clear(&s);
        s = run("takes", "wren");
        t = table_of(&s);
        assert_int_equal(t->n_rows, 1);
        assert_string_equal(cell(t, 0, "microphone"), "6");
        table_free(t);
        said_clear(&s);
    }
    check_refused(run("add", "wren", "slide.wav", "--microphone", "2"), EXIT_INPUT, "no channel 2");
}

static void test_one_bad_file_among_many(void **state)
{
    (void)state;
    said s = run("add", "wren", "slide.wav", "text.wav", "eight.wav");
    assert_int_equal(s.code, EXIT_INPUT);
    assert_non_null(strstr(s.err, "text.wav is not a sound file"));
    assert_int_equal(rows_of(&s), 2);
    said_clear(&s);
    s = run("takes", "wren");
    assert_int_equal(rows_of(&s), 2);
    said_clear(&s);
    s = run("analyse", "--tracks", "slide.wav", "none.wav", "eight.wav");
    assert_int_equal(s.code, EXIT_INPUT);
    assert_non_null(strstr(s.err, "There is no file none.wav."));
    assert_non_null(strstr(s.out, "\neight.wav\t"));
    said_clear(&s);
}

static void test_journals_that_fail(void **state)
{
    (void)state;
    check_refused(run("singers"), EXIT_INPUT, "There is no journal j.db yet");
    check_refused(run("takes", "wren"), EXIT_INPUT, "There is no journal j.db yet");
    check_refused(run("map", "wren"), EXIT_INPUT, "There is no journal j.db yet");
    check_refused(run("add", "wren", "slide.wav", "--journal", "none/j.db"), EXIT_INPUT,
                  "The journal none/j.db cannot be written");
    check_refused(run("add", "wren", "slide.wav", "--journal", "/proc/j.db"), EXIT_INPUT,
                  "The journal /proc/j.db cannot be written");
    check_refused(run("add", "wren", "slide.wav", "--journal", "text.wav"), EXIT_INPUT,
                  "text.wav is no journal");
    check_refused(run("singers", "--journal", "text.wav"), EXIT_INPUT, "text.wav is no journal");
    check_done(run("add", "wren", "slide.wav", "--vowel", "a"));
    check_refused(run("takes", "wern"), EXIT_INPUT, "no singer wern; did you mean wren?");
    check_refused(run("map", "wern"), EXIT_INPUT, "no singer wern; did you mean wren?");
    said s = run("held", "wern");
    assert_string_equal(s.out, "");
    check_refused(s, EXIT_INPUT, "no singer wern; did you mean wren?");
}

/* A full disk on stdout is told; nothing is said to be done that is not. */
static void test_full_output(void **state)
{
    (void)state;
    check_done(run("add", "wren", "slide.wav"));
    int full = open("/dev/full", O_WRONLY), code;
    int errors = open("stderr", O_RDWR | O_CREAT | O_TRUNC, 0600);
    const char *const calls[][4] = {{program(), "singers", NULL},
                                    {program(), "takes", "wren", NULL},
                                    {program(), "sheet", "wren", NULL},
                                    {program(), "--help", NULL}};
    for (size_t i = 0; i < sizeof calls / sizeof *calls; i++) {
        assert_int_equal(ftruncate(errors, 0), 0);
        assert_int_equal(lseek(errors, 0, SEEK_SET), 0);
        assert_int_equal(process_run(calls[i], "", 0, full, errors, &code), PROCESS_DONE);
        char *text = read_file("stderr");
        assert_int_equal(code, EXIT_INPUT);
        assert_non_null(strstr(text, "could not be written: No space left on device."));
        assert_int_equal(lines(text), 1);
        free(text);
    }
    close(full);
    close(errors);
}

/* The rows that `takes` prints, without the lines before them. */
static char *takes_of(const char *singer)
{
    said s = run("takes", singer);
    if (s.code != EXIT_DONE)
        fail_msg("%s", s.err);
    char *rows = strstr(s.out, "take\tfile\t");
    assert_non_null(rows);
    rows = xstrdup(rows);
    said_clear(&s);
    return rows;
}

/* The same sound is one take: again, under another name, in another format, by a pipe. */
static void test_same_recording_twice(void **state)
{
    (void)state;
    check_done(run("add", "wren", "slide.wav", "--date", "2024-03-05"));
    char *first = takes_of("wren");
    said s = run("add", "wren", "slide.wav", "slide.wav");
    assert_int_equal(s.code, EXIT_DONE);
    check_sentences(s.err);
    assert_non_null(strstr(s.err, "it stays one take"));
    assert_int_equal(rows_of(&s), 1);
    said_clear(&s);
    assert_int_equal(system("cp slide.wav other-name.wav"), 0);
    check_done(run("add", "wren", "slide.wav", "--date", "2024-03-05"));
    char *again = takes_of("wren");
    assert_string_equal(first, again);
    check_done(run("add", "wren", "other-name.wav"));
    free(again);
    again = takes_of("wren");
    assert_int_equal(lines(again), 2);
    assert_non_null(strstr(again, "other-name.wav\t2024-03-05"));
    free(first);
    free(again);
    check_done(run("add", "wren", "slide.wav@0-1"));
    check_done(run("add", "wren", "slide.wav@0-1.0"));
    check_done(run("add", "robin", "slide.wav"));
    again = takes_of("wren");
    assert_int_equal(lines(again), 3);
    assert_non_null(strstr(again, "slide.wav@0-1\t"));
    free(again);
}

static void test_standard_input(void **state)
{
    (void)state;
    check_done(run("add", "wren", "slide.wav", "--date", "2024-03-05"));
    char *command = xformat("cat slide.wav | '%s' add wren - --date 2024-03-05 >piped", program());
    assert_int_equal(system(command), 0);
    free(command);
    char *piped = read_file("piped"), *rows = takes_of("wren");
    assert_non_null(strstr(piped, "\tknown\t"));
    assert_int_equal(lines(rows), 2);
    free(piped);
    free(rows);
}

/* What is not said again stays; what is said anew changes the one take. */
static void test_said_again(void **state)
{
    (void)state;
    check_done(run("add", "wren", "slide.wav", "--date", "2024-03-05", "--vowel", "a", "--hold",
                   "level,pitch", "--full-scale", "110"));
    check_done(run("add", "wren", "slide.wav", "--vary", "none", "--register", "M1"));
    said s = run("takes", "wren");
    table *t = table_of(&s);
    assert_int_equal(t->n_rows, 1);
    assert_string_equal(cell(t, 0, "vowel"), "a");
    assert_string_equal(cell(t, 0, "hold"), "pitch,level");
    assert_string_equal(cell(t, 0, "vary"), "none");
    assert_string_equal(cell(t, 0, "register"), "M1");
    assert_string_equal(cell(t, 0, "date"), "2024-03-05");
    assert_string_equal(cell(t, 0, "level_unit"), "dB SPL (C, 30 cm)");
    double calibrated, plain;
    err e;
    assert_true(table_value(t, 0, table_column(t, "level_db"), &calibrated, &e));
    table_free(t);
    said_clear(&s);
    check_done(run("add", "robin", "slide.wav"));
    s = run("takes", "robin");
    t = table_of(&s);
    assert_true(table_value(t, 0, table_column(t, "level_db"), &plain, &e));
    assert_string_equal(cell(t, 0, "level_unit"), "dB re full scale (C)");
    assert_true(fabs(calibrated - plain - 110) < 0.051);
    table_free(t);
    said_clear(&s);
    s = run("add", "wren", "slide.wav", "--vowel", "o");
    assert_non_null(strstr(s.out, "\theard again\t"));
    said_clear(&s);
    s = run("takes", "wren", "--vowel", "a");
    assert_int_equal(rows_of(&s), 0);
    said_clear(&s);
}

/* Ten seconds of a sine of 100 Hz and amplitude 0.5: RMS -9.03 dB re full scale; A -19.14, C -0.30
 * dB at 100 Hz (IEC 61672-1), Z -0.04 dB (a first-order high-pass at 10 Hz). Calibrated, and from
 * 60 to 30 cm, it is 110 + 6.02 dB more. Printed to 0.1 dB. */
static void test_levels_of_a_take(void **state)
{
    (void)state;
    size_t n = 10 * RATE;
    float *x = xcalloc(n, sizeof *x);
    for (size_t i = 0; i < n; i++)
        x[i] = (float)(0.5 * sin(2 * M_PI * 100 * (double)i / RATE));
    write_sound("tone.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 1, x, n);
    free(x);
    check_done(run("add", "wren", "tone.wav"));
    check_done(run("add", "robin", "tone.wav", "--full-scale", "110", "--distance", "60"));
    for (int calibrated = 0; calibrated < 2; calibrated++) {
        said s = run("takes", calibrated ? "robin" : "wren");
        table *t = table_of(&s);
        double rms = 20 * log10(0.5 / sqrt(2)) + (calibrated ? 110 + 20 * log10(2) : 0);
        assert_string_equal(cell(t, 0, "level_unit"),
                            calibrated ? "dB SPL (C, 30 cm)" : "dB re full scale (C)");
        assert_true(fabs(number(t, 0, "level_db") - rms + 0.30) <= 0.07);
        assert_true(fabs(number(t, 0, "laeq_db") - rms + 19.14) <= 0.07);
        assert_true(fabs(number(t, 0, "lzeq_db") - rms + 0.04) <= 0.07);
        assert_true(fabs(number(t, 0, "lcfmax_db") - rms + 0.30) <= 0.07);
        assert_true(fabs(number(t, 0, "lcsmax_db") - rms + 0.30) <= 0.07);
        table_free(t);
        said_clear(&s);
    }
}

/* Ten harmonics that fall by 6.02 dB an octave: what `analyse --tracks --measures` prints of them.
 */
static void test_measures(void **state)
{
    (void)state;
    check_refused(run("analyse", "--measures", "slide.wav"), EXIT_USAGE, "--tracks --measures");
    said plain = run("analyse", "--tracks", "slide.wav");
    said s = run("analyse", "--tracks", "--measures", "slide.wav", "silence.wav");
    assert_int_equal(s.code, EXIT_DONE);
    table *p = table_of(&plain), *t = table_of(&s);
    assert_int_equal(table_column(p, "h1_h2_db"), -1);
    assert_non_null(table_note_value(t, "take_levels"));
    assert_string_equal(table_note_value(t, "level_scale"), "dB re full scale");
    for (size_t c = 0; c < p->n_columns; c++) /* the plain columns, and others on the right */
        assert_string_equal(p->names[c], t->names[c]);
    size_t row = p->n_rows / 2;
    assert_string_equal(cell(t, row, "pitch_st"), cell(p, row, "pitch_st"));
    assert_true(fabs(number(t, row, "h1_h2_db") - 6.02) <= 0.05);
    assert_true(fabs(number(t, row, "slope_db_oct") + 6.02) <= 0.1);
    assert_true(fabs(number(t, row, "slope_low_db_oct") + 6.02) <= 0.05);
    assert_true(fabs(number(t, row, "h1_db") - 20 * log10(0.1 / sqrt(2))) <= 0.05);
    assert_true(fabs(number(t, row, "h10_db") - 20 * log10(0.01 / sqrt(2))) <= 0.05);
    assert_true(number(t, row, "hnr_db") > 40 && number(t, row, "cpps_db") > 10);
    assert_true(fabs(number(t, row, "lcf_db") - number(t, row, "lzf_db")) < 0.1);
    assert_string_equal(cell(t, t->n_rows - 1, "take"), "silence.wav");
    assert_string_equal(cell(t, t->n_rows - 1, "h1_db"), "");
    assert_string_equal(cell(t, t->n_rows - 1, "laf_db"), "-inf");
    table_free(p);
    table_free(t);
    said_clear(&plain);
    said_clear(&s);
}

/* The first of the files is drawn, and the table stays what it is. */
static void test_take_picture(void **state)
{
    (void)state;
    check_refused(run("analyse", "-o", "take.txt", "slide.wav"), EXIT_USAGE, ".png");
    said plain = run("analyse", "sung/take-00.wav", "sung/take-01.wav");
    said s = run("analyse", "-o", "take.svg", "sung/take-00.wav", "sung/take-01.wav");
    assert_int_equal(s.code, EXIT_DONE);
    assert_string_equal(s.out, plain.out);
    char *svg = read_file("take.svg");
    assert_non_null(strstr(svg, ">take-00.wav<"));
    assert_null(strstr(svg, "take-01"));
    assert_non_null(strstr(svg, "flips: "));
    free(svg);
    said_clear(&plain);
    said_clear(&s);
    said piped = run("analyse", "--draw", "slide.wav"); /* no terminal: the table alone */
    assert_int_equal(piped.code, EXIT_DONE);
    assert_null(strstr(piped.out, "time, s"));
    said_clear(&piped);
}

/* What registers were told from: one vowel, the curve, three spectra, three names' cues, one gain,
 * and 13 rows for each flip that `analyse` lists without it. */
static void test_explain(void **state)
{
    (void)state;
    static const char *const abouts[] = {"tract", "source", "naming", "registers", "flip"};
    check_refused(run("analyse", "--explain", "-o", "why.txt", "slide.wav"), EXIT_USAGE, ".png");
    said plain = run("analyse", "sung/take-00.wav", "sung/take-01.wav", "sung/take-05.wav");
    said s = run("analyse", "--explain", "-o", "why.png", "sung/take-00.wav", "sung/take-01.wav",
                 "sung/take-05.wav");
    assert_int_equal(s.code, EXIT_DONE);
    table *t = table_of(&s);
    size_t rows[5] = {0};
    for (size_t i = 0; i < t->n_rows; i++)
        for (int k = 0; k < 5; k++)
            rows[k] += strcmp(cell(t, i, "about"), abouts[k]) == 0;
    print_message("rows: %zu %zu %zu %zu %zu\n", rows[0], rows[1], rows[2], rows[3], rows[4]);
    assert_int_equal(rows[0], 1 + 96);
    assert_string_equal(cell(t, 0, "item"), "vowels");
    assert_true(atof(cell(t, 0, "value")) == 1);
    assert_int_equal(rows[1], 3 * 16);
    assert_int_equal(rows[2], 3);
    assert_int_equal(rows[3], 1);
    assert_true(rows[4] > 0);
    assert_int_equal(rows[4], 13 * rows_of(&plain));
    table_free(t);
    said_clear(&plain);
    said_clear(&s);
    char *picture = read_file("why.png");
    assert_memory_equal(picture + 1, "PNG", 3);
    free(picture);
    said silent = run("analyse", "--explain", "-o", "silent.png", "silence.wav");
    assert_int_equal(rows_of(&silent), 0);
    assert_int_equal(silent.code, EXIT_DONE);
    said_clear(&silent);
}

/* The scale of the levels goes with them; two scales together are warned of. */
static void test_scale_of_fit(void **state)
{
    (void)state;
    static const char rows[] = "take\ttime_s\tpitch_st\tlevel_db\tregister\n";
    char text[4096];
    static const char *const notes[] = {"# level_scale dB SPL (Z, 30 cm)\n",
                                        "# level_scale dB re full scale\n", ""};
    static const char *const scales[] = {"dB SPL (Z, 30 cm)", "dB re full scale",
                                         "as in the tables, which do not state it"};
    static const char *const names[] = {"spl.tsv", "fs.tsv", "none.tsv"};
    for (size_t k = 0; k < 3; k++) {
        size_t n = (size_t)snprintf(text, sizeof text, "%s%s", notes[k], rows);
        for (int i = 0; i < 100; i++)
            n += (size_t)snprintf(text + n, sizeof text - n, "t%zu\t%.2f\t%.1f\t70\t%d\n", k,
                                  0.02 * i, 55 + 0.2 * i, i < 50 ? 1 : 2);
        write_file(names[k], text);
        said s = run("fit", names[k]);
        table *t = table_of(&s);
        assert_int_equal(s.code, EXIT_DONE);
        assert_string_equal(table_note_value(t, "level_scale"), scales[k]);
        table_free(t);
        said_clear(&s);
    }
    said s = run("fit", "spl.tsv", "fs.tsv");
    check_sentences(s.err);
    assert_non_null(strstr(s.err, "fs.tsv: its level scale is \"dB re full scale\""));
    said_clear(&s);
}

static void test_table_of_recordings(void **state)
{
    (void)state;
    mkdir("studio", 0700);
    assert_int_equal(system("cp slide.wav studio/a.wav; cp eight.wav studio/b.wav"), 0);
    write_file(
        "studio/takes.tsv",
        "# from the teacher's notebook\n"
        "file\tsinger\tdate\tname\thold\tvary\tvowel\tregister\tdrop\tmicrophone\tfull_scale\n"
        "a.wav\twren\t2024-03-05\tsiren\tlevel\tpitch\ta\t\t\t\t\n"
        "b.wav\trobin\t2024-03-06\t\t\t\to\tM2\tno\t6\t110\n"
        "none.wav\trobin\t\t\t\t\t\t\tyes\t\t\n");
    said s = run("add", "--table", "studio/takes.tsv");
    assert_int_equal(s.code, EXIT_DONE);
    assert_int_equal(rows_of(&s), 2);
    said_clear(&s);
    s = run("takes", "wren");
    table *t = table_of(&s);
    assert_string_equal(cell(t, 0, "name"), "siren");
    assert_string_equal(cell(t, 0, "hold"), "level");
    assert_string_equal(cell(t, 0, "date"), "2024-03-05");
    table_free(t);
    said_clear(&s);
    s = run("takes", "robin");
    t = table_of(&s);
    assert_string_equal(cell(t, 0, "register"), "M2");
    assert_string_equal(cell(t, 0, "microphone"), "6");
    assert_string_equal(cell(t, 0, "level_unit"), "dB SPL (C, 30 cm)");
    table_free(t);
    said_clear(&s);
    write_file("bad.tsv", "file\tsinger\thold\nslide.wav\twren\tpich\n");
    check_refused(run("add", "--table", "bad.tsv"), EXIT_INPUT, "bad.tsv line 2: hold");
    write_file("bad.tsv", "file\tsinger\tdate\nslide.wav\twren\t5.3.2024\n");
    check_refused(run("add", "--table", "bad.tsv"), EXIT_INPUT, "bad.tsv line 2: \"5.3.2024\"");
    write_file("bad.tsv", "file\tdate\nslide.wav\t\n");
    check_refused(run("add", "--table", "bad.tsv"), EXIT_INPUT, "line 2: the row names no singer.");
    write_file("bad.tsv", "sound\tsinger\nslide.wav\twren\n");
    check_refused(run("add", "--table", "bad.tsv"), EXIT_INPUT, "no column file");
    check_refused(run("add", "--table", "none.tsv"), EXIT_INPUT, "none.tsv");
}

static void test_json(void **state)
{
    (void)state;
    check_done(run("add", "wren", "slide.wav"));
    said s = run("--format", "json", "takes", "wren");
    json_error_t where;
    json_t *j = json_loads(s.out, 0, &where);
    assert_non_null(j);
    assert_int_equal(json_array_size(json_object_get(j, "rows")), 1);
    json_t *row = json_array_get(json_object_get(j, "rows"), 0);
    assert_string_equal(json_string_value(json_object_get(row, "file")), "slide.wav");
    assert_true(json_is_null(json_object_get(row, "hold")));
    assert_true(fabs(json_number_value(json_object_get(row, "seconds")) - 1.5) < 1e-9);
    assert_string_equal(json_string_value(json_object_get(json_object_get(j, "notes"), "command")),
                        "takes");
    json_decref(j);
    said_clear(&s);
}

/* A name that is nobody's friend is text and nothing else. */
static void test_hostile_names(void **state)
{
    (void)state;
    static const char name[] = "'; DROP TABLE takes; -- \"`$(id)` </script>\t\n\xF0\x9F\x90\xA6";
    check_done(run("add", name, "slide.wav"));
    said s = run("singers");
    table *t = table_of(&s);
    assert_int_equal(t->n_rows, 1);
    assert_string_equal(cell(t, 0, "singer"), name);
    table_free(t);
    said_clear(&s);
    char *rows = takes_of(name);
    assert_int_equal(lines(rows), 2);
    free(rows);
}

static void test_days_of_the_calendar(void **state)
{
    (void)state;
    static const char *const days[] = {"2024-02-29", "2000-02-29", "2023-12-31", "1999-01-01"};
    static const char *const others[] = {"2023-02-29", "1900-02-29", "2024-13-01", "2024-00-10",
                                         "2024-04-31", "2024-1-1",   "",           "2024/01/01",
                                         "2024-01-1x", "0000-01-01", "2024-01-011"};
    for (size_t i = 0; i < sizeof days / sizeof *days; i++)
        assert_true(date_valid(days[i]));
    for (size_t i = 0; i < sizeof others / sizeof *others; i++)
        assert_false(date_valid(others[i]));
}

/* Where a file has its date: `tag` as its date string, `origination` as EBU Tech 3285 has it. */
static void write_dated(const char *path, const char *tag, const char *origination)
{
    SF_INFO info = {.samplerate = RATE, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_16};
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    assert_non_null(f);
    if (tag)
        assert_int_equal(sf_set_string(f, SF_STR_DATE, tag), 0);
    if (origination) {
        SF_BROADCAST_INFO broadcast = {0};
        memcpy(broadcast.origination_date, origination, sizeof broadcast.origination_date);
        assert_int_equal(sf_command(f, SFC_SET_BROADCAST_INFO, &broadcast, sizeof broadcast), 1);
    }
    static short x[RATE];
    for (size_t i = 0; i < RATE; i++)
        x[i] = (short)(i % 100 * strlen(path));
    assert_int_equal(sf_writef_short(f, x, RATE), RATE);
    assert_int_equal(sf_close(f), 0);
    assert_int_equal(
        utimensat(AT_FDCWD, path, (const struct timespec[]){{1688212800, 0}, {1688212800, 0}}, 0),
        0);
}

/* Written last on 2023-07-01 at noon UTC. */
static void test_dates_of_recordings(void **state)
{
    (void)state;
    static const struct {
        const char *file, *tag, *origination, *date, *from;
    } cases[] = {
        {"plain.wav", NULL, NULL, "2023-07-01", "modified"},
        {"tagged.wav", "2022-05-06T10:00:00Z", NULL, "2022-05-06", "recorded"},
        {"year.wav", "2022", NULL, "2023-07-01", "modified"},
        {"recorder.wav", NULL, "2021:04:03", "2021-04-03", "recorded"},
        {"impossible.wav", NULL, "2021-13-03", "2023-07-01", "modified"},
    };
    setenv("TZ", "UTC", 1);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        write_dated(cases[i].file, cases[i].tag, cases[i].origination);
        said s = run("add", "wren", cases[i].file);
        table *t = table_of(&s);
        assert_string_equal(cell(t, 0, "date"), cases[i].date);
        assert_string_equal(cell(t, 0, "date_from"), cases[i].from);
        table_free(t);
        said_clear(&s);
    }
    check_done(run("add", "wren", "plain.wav", "--date", "2024-03-05"));
    check_done(run("add", "wren", "plain.wav"));
    char *rows = takes_of("wren");
    assert_non_null(strstr(rows, "plain.wav\t2024-03-05"));
    free(rows);
}

enum { SUNG = 3 };
static const char *const sung[SUNG] = {"sung/take-00.wav", "sung/take-01.wav", "sung/take-03.wav"};

static void test_order_and_batches_do_not_matter(void **state)
{
    (void)state;
    said s = run("add", "wren", sung[0], sung[1], sung[2], "--vowel", "a");
    assert_int_equal(s.code, EXIT_DONE);
    assert_int_equal(rows_of(&s), SUNG);
    said_clear(&s);
    char *at_once = takes_of("wren");
    s = run("takes", "wren");
    table *t = table_of(&s);
    size_t with_flips = 0;
    for (size_t i = 0; i < t->n_rows; i++)
        with_flips += strcmp(cell(t, i, "flips"), "0") != 0;
    assert_true(with_flips > 0);
    table_free(t);
    said_clear(&s);
    fresh(state);
    for (size_t i = SUNG; i-- > 0;)
        check_done(run("add", "wren", sung[i], "--vowel", i % 2 ? "a" : "o"));
    for (size_t i = 0; i < SUNG; i += 2)
        check_done(run("add", "wren", sung[i], "--vowel", "a"));
    char *one_by_one = takes_of("wren");
    assert_string_equal(at_once, one_by_one);
    free(at_once);
    free(one_by_one);
}

/* The rows of `correct`, of which the first that lies within 30 ms of `time_s` is found. */
static table *corrected(const char *const *args, double time_s, size_t *row)
{
    said s = run_list(args);
    if (s.code != EXIT_DONE)
        fail_msg("%s", s.err);
    table *t = table_of(&s);
    said_clear(&s);
    for (*row = 0; *row < t->n_rows; ++*row)
        if (fabs(number(t, *row, "time_s") - time_s) <= 0.03)
            break;
    return t;
}
#define correct(time_s, row, ...)                                                                  \
    corrected((const char *const[]){"correct", __VA_ARGS__, NULL}, time_s, row)

/* sung/take-01.wav flips at a time that its table tells: removed, put back, moved, added; what is
 * said counts at once, in `takes` too, and after the take is heard anew. */
static void test_corrected_by_hand(void **state)
{
    (void)state;
    check_done(run("add", "wren", sung[0], sung[1], sung[2], "--vowel", "a"));
    char *rows = takes_of("wren"), *line = strstr(rows, "take-01.wav") - 11;
    char *take = xformat("%.10s", line), at[32], off[32];
    size_t row;
    table *t = correct(-1, &row, take);
    assert_true(t->n_rows > 0 && row == t->n_rows);
    double time_s = number(t, 0, "time_s");
    snprintf(at, sizeof at, "%.3f", time_s);
    snprintf(off, sizeof off, "%.3f", time_s - 0.2);
    assert_string_equal(cell(t, 0, "stated"), "");
    char *way = xstrdup(cell(t, 0, "direction"));
    table_free(t);
    t = correct(time_s, &row, take, "remove", at);
    assert_int_equal(row, t->n_rows);
    table_free(t);
    t = correct(time_s, &row, take, "withdraw", at);
    assert_string_equal(cell(t, row, "stated"), "");
    table_free(t);
    t = correct(time_s - 0.2, &row, take, "move", at, off);
    assert_string_equal(cell(t, row, "stated"), "move");
    assert_string_equal(cell(t, row, "direction"), way);
    assert_true(number(t, row, "confidence") == 1);
    table_free(t);
    t = correct(0.6, &row, take, "add", "0.6", "down");
    assert_string_equal(cell(t, row, "stated"), "add");
    table_free(t);
    char *before = takes_of("wren");
    check_done(run("add", "wren", sung[1], "--rig", "studio"));
    t = correct(0.6, &row, take);
    assert_string_equal(cell(t, row, "stated"), "add");
    table_free(t);
    assert_string_not_equal(before, rows);
    check_refused(run("correct", take, "remove", "0.1"), EXIT_INPUT, "no flip at 0.100 s");
    check_refused(run("correct", take, "add", "0", "up"), EXIT_INPUT, "no voice on both sides");
    check_refused(run("correct", take, "withdraw", "0.1"), EXIT_INPUT, "Nothing was said");
    check_refused(run("correct", take, "erase", "1"), EXIT_USAGE, "not \"erase\"");
    check_refused(run("correct", take, "add", "1", "left"), EXIT_USAGE, "not \"left\"");
    check_refused(run("correct", take, "move", "1"), EXIT_USAGE, "FROM and TO");
    check_refused(run("correct", take, "remove", "1s"), EXIT_USAGE, "not \"1s\"");
    check_refused(run("correct", "f00"), EXIT_INPUT, "no take f00");
    free(before);
    free(rows);
    free(take);
    free(way);
}

static char *exported(const char *file)
{
    said s = run("export", "--journal", file);
    if (s.code != EXIT_DONE)
        fail_msg("%s", s.err);
    char *text = xstrdup(strstr(s.out, "record\t"));
    said_clear(&s);
    return text;
}

/* Two shards that share a take, merged in either order and twice, export what one process does. */
static void test_merged(void **state)
{
    (void)state;
    static const char *const files[] = {"one.db", "left.db", "right.db", "lr.db", "rl.db"};
    for (size_t i = 0; i < 5; i++)
        unlink(files[i]);
    setenv("SEAMLINE_JOURNAL", "one.db", 1);
    check_done(run("add", "wren", sung[0], sung[1], sung[2], "--vowel", "a"));
    check_done(run("add", "robin", "slide.wav"));
    setenv("SEAMLINE_JOURNAL", "left.db", 1);
    check_done(run("add", "wren", sung[2], sung[0], "--vowel", "a"));
    setenv("SEAMLINE_JOURNAL", "right.db", 1);
    check_done(run("add", "wren", sung[1], sung[2], "--vowel", "a"));
    check_done(run("add", "robin", "slide.wav"));
    check_done(run("merge", "left.db", "right.db", "--journal", "lr.db"));
    check_done(run("merge", "right.db", "--journal", "rl.db"));
    check_done(run("merge", "left.db", "right.db", "left.db", "--journal", "rl.db"));
    char *one = exported("one.db"), *lr = exported("lr.db"), *rl = exported("rl.db");
    assert_true(lines(one) > 2000 && strstr(one, "\nflip\t") && strstr(one, "\nmodel\t"));
    assert_string_equal(one, lr);
    assert_string_equal(one, rl);
    said s = run("export", "--journal", "one.db", "--format", "json", "--records", "singer,take");
    json_error_t where;
    json_t *j = json_loads(s.out, 0, &where);
    assert_int_equal(json_array_size(json_object_get(j, "rows")), 2 + 4);
    json_decref(j);
    said_clear(&s);
    check_refused(run("merge", "one.db", "--journal", "one.db"), EXIT_INPUT, "journal itself");
    check_refused(run("merge", "none.db", "--journal", "one.db"), EXIT_INPUT, "no journal none.db");
    free(one);
    free(lr);
    free(rl);
}

/* The verbs of `journal` as they are typed. */
static void test_care(void **state)
{
    (void)state;
    unlink("copy.db");
    check_refused(run("journal", "verify"), EXIT_INPUT, "There is no journal j.db yet");
    check_refused(run("journal", "forget", "wren"), EXIT_INPUT, "There is no journal j.db yet");
    check_done(run("add", "wren", "slide.wav"));
    check_done(run("add", "robin", "eight.wav", "--microphone", "6"));
    check_done(run("journal", "verify"));
    check_done(run("journal", "backup", "copy.db"));
    check_refused(run("journal", "backup", "copy.db"), EXIT_INPUT, "not written over");
    unlink("saved.db");
    check_done(run("journal", "recover", "saved.db", "--journal", "copy.db"));
    char *copied = exported("copy.db"), *saved = exported("saved.db");
    assert_string_equal(copied, saved);
    free(copied);
    free(saved);
    check_refused(run("journal", "recover", "saved.db"), EXIT_INPUT, "a file saved.db already");
    check_done(run("journal", "rename", "wren", "jay"));
    char *rows = takes_of("jay"), *take = xformat("%.10s", strchr(rows, '\n') + 1);
    check_refused(run("journal", "remove", take), EXIT_INPUT, "slide.wav of jay? Say --yes.");
    check_done(run("journal", "remove", take, "--yes"));
    said s = run("takes", "jay");
    assert_int_equal(rows_of(&s), 0);
    said_clear(&s);
    s = run("add", "jay", "slide.wav");
    assert_int_equal(rows_of(&s), 0);
    assert_non_null(strstr(s.err, "was removed from the journal: \"journal restore"));
    said_clear(&s);
    check_done(run("journal", "restore", take));
    char *again = takes_of("jay");
    assert_string_equal(rows, again);
    check_refused(run("journal", "restore", take), EXIT_INPUT, "no removed take");
    check_refused(run("journal", "forget", "jay"), EXIT_INPUT, "Say --yes.");
    check_done(run("journal", "forget", "jay", "--yes"));
    s = run("singers");
    assert_int_equal(rows_of(&s), 1);
    said_clear(&s);
    s = run("singers", "--journal", "copy.db");
    assert_int_equal(rows_of(&s), 2);
    said_clear(&s);
    check_refused(run("journal", "burn"), EXIT_USAGE, "not \"burn\"");
    check_refused(run("journal", "rename", "x"), EXIT_USAGE, "rename wants SINGER NAME");
    check_refused(run("journal", "rename", "robin", ""), EXIT_USAGE, "operand of journal is empty");
    free(rows);
    free(again);
    free(take);
}

/* Interrupted after `ms`: rows that were printed are in the journal, and the same command goes on
 * to the same end. */
static void interrupt_after(long ms, int signal)
{
    write_file("printed", "");
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        int out = open("printed", O_RDWR);
        int null = open("/dev/null", O_RDWR);
        dup2(out, STDOUT_FILENO);
        dup2(null, STDERR_FILENO);
        execl(program(), "seamline", "add", "wren", sung[0], sung[1], sung[2], "--vowel", "a",
              (char *)NULL);
        _exit(99);
    }
    struct timespec t = {ms / 1000, ms % 1000 * 1000000};
    nanosleep(&t, NULL);
    kill(child, signal);
    int status;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status) ? WTERMSIG(status) == signal : WEXITSTATUS(status) < 2);
}

static void check_printed(void)
{
    char *text = read_file("printed"), *head = strstr(text, "take\tfile\t");
    char *rows = head && strchr(head, '\n')[1] ? takes_of("wren") : xstrdup("");
    for (char *row = head ? strchr(head, '\n') + 1 : text + strlen(text); *row;) {
        char *take = xformat("\n%.*s\t", (int)strcspn(row, "\t\n"), row);
        assert_non_null(strstr(rows, take));
        free(take);
        row += strcspn(row, "\n");
        row += *row == '\n';
    }
    free(rows);
    free(text);
}

static void test_interrupted(void **state)
{
    check_done(run("add", "wren", sung[0], sung[1], sung[2], "--vowel", "a"));
    char *whole = takes_of("wren");
    for (long step = 0; step < 5; step++) {
        fresh(state);
        interrupt_after(step * step * 40, step % 3 == 2 ? SIGKILL : SIGINT);
        check_printed();
        check_done(run("add", "wren", sung[0], sung[1], sung[2], "--vowel", "a"));
        char *resumed = takes_of("wren");
        assert_string_equal(resumed, whole);
        free(resumed);
    }
    free(whole);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_help, fresh),
        cmocka_unit_test_setup(test_usage_errors, fresh),
        cmocka_unit_test_setup(test_what_is_no_recording, fresh),
        cmocka_unit_test_setup(test_nothing_sung, fresh),
        cmocka_unit_test_setup(test_eight_channels, fresh),
        cmocka_unit_test_setup(test_folder, fresh),
        cmocka_unit_test_setup(test_microphone_of_a_take, fresh),
        cmocka_unit_test_setup(test_one_bad_file_among_many, fresh),
        cmocka_unit_test_setup(test_journals_that_fail, fresh),
        cmocka_unit_test_setup(test_full_output, fresh),
        cmocka_unit_test_setup(test_same_recording_twice, fresh),
        cmocka_unit_test_setup(test_standard_input, fresh),
        cmocka_unit_test_setup(test_said_again, fresh),
        cmocka_unit_test_setup(test_levels_of_a_take, fresh),
        cmocka_unit_test_setup(test_measures, fresh),
        cmocka_unit_test_setup(test_take_picture, fresh),
        cmocka_unit_test_setup(test_explain, fresh),
        cmocka_unit_test_setup(test_scale_of_fit, fresh),
        cmocka_unit_test_setup(test_table_of_recordings, fresh),
        cmocka_unit_test(test_days_of_the_calendar),
        cmocka_unit_test_setup(test_dates_of_recordings, fresh),
        cmocka_unit_test_setup(test_json, fresh),
        cmocka_unit_test_setup(test_hostile_names, fresh),
        cmocka_unit_test_setup(test_order_and_batches_do_not_matter, fresh),
        cmocka_unit_test_setup(test_corrected_by_hand, fresh),
        cmocka_unit_test_setup(test_merged, fresh),
        cmocka_unit_test_setup(test_care, fresh),
        cmocka_unit_test_setup(test_interrupted, fresh),
    };
    return cmocka_run_group_tests(tests, enter_folder, leave_folder);
}
