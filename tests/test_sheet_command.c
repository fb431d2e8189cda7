/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The command sheet, as a person calls it, for singers of the test voice. Oracles: the frames
 * themselves, of which each note needs one as soft and one 3 dB louder in that register; the
 * boundary, from which every reason is worked out again; our own listening, for the tones. */
#include <jansson.h>
#include <math.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>

#include "run_program.h"

#include "base/note.h"
#include "fit/plan.h"
#include "journal/plane.h"
#include "voice/listen.h"

enum { SINGERS = 2, TAKES = 10 };
static const struct {
    const char *family, *seed, *full_scale;
} singers[SINGERS] = {{"clear", "3", NULL}, {"woman", "12", "108"}};

static void add_singer(const char *voice, size_t i)
{
    char files[TAKES][64];
    const char *argv[] = {voice,           "family",          singers[i].family,
                          singers[i].seed, singers[i].family, NULL};
    const char *args[MOST_ARGS] = {"add",    singers[i].family, "--vowel", "a",
                                   "--date", "2025-01-02",      NULL};
    size_t n = 6;
    int code;
    assert_int_equal(process_run(argv, "", 0, STDOUT_FILENO, STDERR_FILENO, &code), PROCESS_DONE);
    if (singers[i].full_scale) {
        args[n++] = "--full-scale";
        args[n++] = singers[i].full_scale;
    }
    for (int k = 0; k < TAKES; k++) {
        snprintf(files[k], sizeof files[k], "%s/take-%02d.wav", singers[i].family, k);
        if (access(files[k], R_OK) == 0)
            args[n++] = files[k];
    }
    check_done(run_list(args));
}

static int add_singers(void **state)
{
    char *voice = from_environment("TESTVOICE", "build/testvoice");
    if (!voice || enter_new_folder(state) != 0)
        return -1;
    setenv("SEAMLINE_JOURNAL", "j.db", 1);
    for (size_t i = 0; i < SINGERS; i++)
        add_singer(voice, i);
    free(voice);
    return 0;
}

/* A singer's frames and boundary, with no part of the planning. */
typedef struct known {
    plane plane;
    boundary *boundary;
    plan_reach reach;
} known;

static known know(const char *singer)
{
    known k = {.boundary = NULL};
    err e;
    journal *j;
    boundary_settings how = boundary_defaults();
    size_t n;
    assert_true(journal_open("j.db", JOURNAL_READ, &j, &e));
    assert_true(plane_load(j, singer, NULL, &k.plane, &e));
    path *paths = plane_counting(&k.plane, 0, k.plane.n, &n);
    assert_true(boundary_fit(paths, n, &how, &k.boundary, &e));
    assert_true(plan_reach_of(k.plane.paths, k.plane.n, &k.reach));
    free(paths);
    journal_close(j);
    return k;
}

static void forget(known *k)
{
    boundary_free(k->boundary);
    plane_clear(&k->plane);
}

/* Softest and loudest frame of a note in a register; lo > hi: none. Share: of its frames at or
 * below `db`. */
static void levels_of(const plane *p, int reg, double st, double db, double *lo, double *hi,
                      double *share)
{
    size_t n = 0, below = 0;
    *lo = INFINITY;
    *hi = -INFINITY;
    for (size_t i = 0; i < p->n; i++)
        for (size_t k = 0; k < p->paths[i].n; k++) {
            const path *x = &p->paths[i];
            if (x->reg[k] != reg || !(fabs(x->pitch_st[k] - st) <= 0.5) ||
                !isfinite(x->level_db[k]))
                continue;
            *lo = fmin(*lo, x->level_db[k]);
            *hi = fmax(*hi, x->level_db[k]);
            below += x->level_db[k] <= db;
            n++;
        }
    *share = n ? (double)below / (double)n : 0;
}

/* Tables have levels to a tenth. */
static bool note_was_sung(const plane *p, int reg, double st, double db)
{
    double lo, hi, share;
    levels_of(p, reg, st, db, &lo, &hi, &share);
    return lo <= db + 0.05 && hi >= db + 3 - 0.05;
}

static void stroke_was_sung(const known *k, const table *t, size_t row)
{
    double from = number(t, row, "from_st"), to = number(t, row, "to_st");
    double from_db = number(t, row, "from_db"), to_db = number(t, row, "to_db");
    int reg = atoi(cell(t, row, "register")), steps = (int)fmax(fabs(to - from), 4);
    for (int i = 0; i <= steps; i++) {
        double part = (double)i / steps, st = round(from + part * (to - from));
        double db = from_db + part * (to_db - from_db);
        bool sung =
            reg ? note_was_sung(&k->plane, reg, st, db)
                : note_was_sung(&k->plane, 1, st, db) || note_was_sung(&k->plane, 2, st, db);
        if (!sung || db > k->reach.loud_db + 0.05)
            fail_msg("%s: %g at %g dB in M%d was not sung", cell(t, row, "exercise"), st, db, reg);
    }
}

/* What stands after these words: a note, or a number. */
static const char *after(const char *text, const char *words)
{
    const char *at = strstr(text, words);
    return at ? at + strlen(words) : NULL;
}

static void is_note(const char *at, double st)
{
    char name[NOTE_NAME_SIZE];
    note_nearest(st, 440, name);
    if (strncmp(at, name, strlen(name)) != 0 || at[strlen(name)] == '#')
        fail_msg("%s, but expected %s", at, name);
}

static void is_db(const char *at, double db)
{
    if (strtol(at, NULL, 10) != lround(db))
        fail_msg("%s, but expected %g", at, db);
}

static double flip_at(const known *k, flip_direction d, double db)
{
    return boundary_pitch_at(k->boundary, d, db).estimate;
}

/* Flips that a reason names, at the level of the stroke that they are of. Returns how many. */
static size_t flips_are_true(const known *k, const char *why, int reg, double db)
{
    static const struct {
        const char *words, *before;
        flip_direction direction;
        int reg; /* of the stroke; 0: any */
    } named[] = {
        {"It lies below ", ", where the voice flips back", FLIP_DOWN, 0},
        {"the voice flips up near ", "", FLIP_UP, 0},
        {" and back near ", "", FLIP_DOWN, 0},
        {"close to the flip near ", "", FLIP_UP, 0},
        {"Chest voice flips near ", "", FLIP_UP, 1},
        {"Light voice flips back near ", "", FLIP_DOWN, 2},
        {"above the flip back near ", "", FLIP_DOWN, 2},
    };
    size_t n = 0;
    for (size_t i = 0; i < sizeof named / sizeof *named; i++) {
        const char *at = after(why, named[i].words);
        if (!at || !strstr(at, named[i].before) || (named[i].reg && named[i].reg != reg))
            continue;
        is_note(at, flip_at(k, named[i].direction, db));
        n++;
    }
    return n;
}

/* "... from 61 dB to 84 dB", or "from 61 dB on": 5 and 95 % of the frames, less soft edges. */
static size_t range_is_true(const known *k, const char *why, const char *words, int reg, double st)
{
    const char *at = after(why, words);
    double lo, hi, share;
    if (!at)
        return 0;
    levels_of(&k->plane, reg, st, strtod(at, NULL) + 0.5, &lo, &hi, &share);
    assert_true(share >= 0.03 && share <= 0.4);
    at = strchr(at, 'd');
    if (strncmp(at, "dB to ", 6) != 0)
        return 1;
    at += 6;
    levels_of(&k->plane, reg, st, strtod(at, NULL) + 0.5, &lo, &hi, &share);
    assert_true(share >= 0.85);
    return 1;
}

/* "comes up to D4, close to the flip near D#4, and is there 12 dB below its loudest". */
static size_t spare_is_true(const known *k, const char *why, double db)
{
    const char *at = after(why, "and is there "), *top = after(why, "comes up to ");
    double lo, hi, share;
    if (!at)
        return 0;
    for (double pitch = 40; pitch < 90; pitch++) {
        char name[NOTE_NAME_SIZE];
        note_nearest(pitch, 440, name);
        if (strncmp(top, name, strlen(name)) != 0 || top[strlen(name)] != ',')
            continue;
        levels_of(&k->plane, 1, pitch, db + strtod(at, NULL) + 0.5, &lo, &hi, &share);
        assert_true(share >= 0.85 && hi >= db + strtod(at, NULL) - 0.5);
        assert_true(pitch <= flip_at(k, FLIP_UP, db) && flip_at(k, FLIP_UP, db) - pitch <= 2);
        return 1;
    }
    fail_msg("no note in: %s", why);
    return 0;
}

/* The figures of one line's reason, worked out again from frames and boundary. */
static size_t reason_is_true(const known *k, const table *t, size_t row)
{
    const char *why = cell(t, row, "why"), *middle = after(why, "the middle level, ");
    double db = number(t, row, "from_db"), st = number(t, row, "from_st");
    size_t n = flips_are_true(k, why, atoi(cell(t, row, "register")), db);
    if (number(t, row, "stroke") > 1)
        return n;
    n += range_is_true(k, why, "in chest voice from ", 1, st);
    n += range_is_true(k, why, "in light voice from ", 2, st);
    const char *stop = after(why, "then stop near ");
    if (stop) {
        assert_true(note_was_sung(&k->plane, 2, st, strtod(stop, NULL) - 0.5));
        n++;
    }
    if (middle) {
        is_db(middle, k->reach.middle_db);
        n++;
    }
    return n + spare_is_true(k, why, db);
}

/* Every note within what was sung, and every reason true, with and without calibration. */
static void test_singers(void **state)
{
    (void)state;
    for (size_t i = 0; i < SINGERS; i++) {
        known k = know(singers[i].family);
        said s = run("sheet", singers[i].family, "--rows");
        size_t strokes = 0, figures = 0;
        table *t = table_of(&s);
        for (size_t row = 0; row < t->n_rows; row++) {
            if (!*cell(t, row, "stroke"))
                continue;
            stroke_was_sung(&k, t, row);
            figures += reason_is_true(&k, t, row);
            strokes++;
        }
        printf("%s: %zu strokes were sung, %zu figures of reasons are true\n", singers[i].family,
               strokes, figures);
        assert_int_equal(s.code, EXIT_DONE);
        assert_true(strokes >= 10);
        assert_true(figures >= 15);
        assert_string_equal(table_note_value(t, "level_scale"),
                            i == 1 ? "dB SPL (Z, 30 cm)" : "dB re session median");
        table_free(t);
        said_clear(&s);
        forget(&k);
    }
}

/* Text and page say the same lines, with cautions, and levels by their scale. */
static void test_text_and_page(void **state)
{
    (void)state;
    said s = run("sheet", "clear", "-o", "page.html"), spl = run("sheet", "woman");
    char *page = read_file("page.html");
    assert_int_equal(s.code, EXIT_DONE);
    assert_non_null(strstr(s.out, "clear: today's exercises on \"a\", about 15 minutes"));
    assert_non_null(strstr(s.out, "dB re the session's median"));
    assert_null(strstr(s.out, "SPL"));
    assert_non_null(strstr(spl.out, "dB SPL"));
    assert_non_null(strstr(s.out, "see a doctor"));
    assert_non_null(strstr(page, "see a doctor"));
    assert_non_null(strstr(page, "vary register, hold pitch and level"));
    said_clear(&s);
    said_clear(&spl);
    free(page);
}

static void test_json(void **state)
{
    (void)state;
    said s = run("sheet", "clear", "--format", "json");
    json_t *all = json_loads(s.out, 0, NULL);
    assert_non_null(all);
    assert_true(json_array_size(json_object_get(all, "rows")) >= 20);
    assert_non_null(json_object_get(json_object_get(all, "notes"), "caution"));
    json_decref(all);
    said_clear(&s);
}

/* No journal, no singer; a singer whom nobody knows; what cannot be written. */
static void test_bad_input(void **state)
{
    (void)state;
    said s = run("sheet", "--journal", "none.db");
    assert_int_equal(s.code, EXIT_DONE);
    assert_non_null(strstr(s.out, "There is no map of this voice yet"));
    assert_non_null(strstr(s.out, "see a doctor"));
    said_clear(&s);
    check_refused(run("sheet", "cleer"), EXIT_INPUT, "clear");
    check_refused(run("sheet", "clear", "--vowel", "o"), EXIT_INPUT, "a");
    check_refused(run("sheet", "--vowel", "a"), EXIT_USAGE, "--vowel");
    check_refused(run("sheet", "clear", "woman"), EXIT_USAGE, "sheet");
    check_refused(run("sheet", "clear", "--tones", "j.db"), EXIT_INPUT, "j.db");
    check_refused(run("sheet", "clear", "--tones", "none/tones"), EXIT_INPUT, "none/tones");
    check_refused(run("sheet", "clear", "-o", "none/page.html"), EXIT_INPUT, "none/page.html");
}

typedef struct heard {
    double first_st, last_st, median_st, seconds, rms_db, ends, peak;
} heard;

static heard listen(const char *file)
{
    SF_INFO info = {0};
    SNDFILE *f = sf_open(file, SFM_READ, &info);
    assert_non_null(f);
    assert_int_equal(info.samplerate, 48000);
    assert_int_equal(info.channels, 1);
    double *x = xcalloc((size_t)info.frames, sizeof *x), power = 0;
    assert_int_equal(sf_readf_double(f, x, info.frames), info.frames);
    sf_close(f);
    heard h = {.seconds = (double)info.frames / 48000,
               .ends = fmax(fabs(x[0]), fabs(x[info.frames - 1]))};
    for (sf_count_t i = 0; i < info.frames; i++) {
        power += x[i] * x[i];
        h.peak = fmax(h.peak, fabs(x[i]));
    }
    h.rms_db = 10 * log10(power / (double)info.frames);
    free(x);
    voice_settings s = voice_defaults();
    track *t;
    err e;
    assert_true(voice_listen(file, &s, &t, NULL, &e));
    double *pitch = xcalloc(t->n, sizeof *pitch);
    size_t n = 0;
    for (size_t i = 0; i < t->n; i++)
        if (isfinite(t->pitch_st[i]))
            pitch[n++] = t->pitch_st[i];
    assert_true(n > 100);
    h.first_st = pitch[5];
    h.last_st = pitch[n - 6];
    gsl_sort(pitch, 1, n);
    h.median_st = gsl_stats_median_from_sorted_data(pitch, 1, n);
    free(pitch);
    track_free(t);
    return h;
}

/* A file for each note that a stroke of a line begins on, heard in tune with its name. */
static void tones_are_heard(const char *a4, const char *folder, double a4_hz)
{
    said s = run("sheet", "clear", "--rows", "--tones", folder, "--a4", a4);
    table *t = table_of(&s);
    double worst = 0, off = 12 * log2(a4_hz / 440);
    for (size_t row = 0; row < t->n_rows; row++) {
        const char *name = cell(t, row, "from");
        if (!*name)
            continue;
        bool sharp = name[1] == '#';
        char *file = xformat("%s/note-%c%s-%s.wav", folder, name[0], sharp ? "-sharp" : "",
                             name + 1 + sharp);
        heard h = listen(file);
        double want = round(number(t, row, "from_st") - off) + off;
        worst = fmax(worst, fabs(100 * (h.median_st - want)));
        assert_true(fabs(h.seconds - 2) < 1e-3 && h.ends < 1e-4);
        assert_true(fabs(h.rms_db - -20) < 0.3 && h.peak < 0.5);
        free(file);
    }
    printf("notes at A4 = %s Hz are heard within %.2f cents\n", a4, worst);
    assert_true(worst < 2);
    table_free(t);
    said_clear(&s);
}

static void test_tones(void **state)
{
    (void)state;
    tones_are_heard("440", "tones", 440);
    tones_are_heard("431", "lower", 431);
}

/* The glide across the flip: reference, 0.6 s of rest, up and back in 4 s each, moderate. */
static void test_glide(void **state)
{
    (void)state;
    said s = run("sheet", "clear", "--rows", "--tones", "glides");
    table *t = table_of(&s);
    size_t row = 0;
    while (strcmp(cell(t, row, "exercise"), "explore pitch") != 0)
        row++;
    double lo = number(t, row, "from_st"), hi = number(t, row, "to_st");
    heard h = listen("glides/02-explore-pitch.wav");
    printf("glide from %.2f to %.2f of %g to %g, %.1f dB\n", h.first_st, h.last_st, lo, lo,
           h.rms_db);
    assert_true(fabs(h.first_st - lo) < 0.05 && fabs(h.last_st - lo) < 0.3);
    assert_true(hi > lo && h.median_st > lo + 0.3 * (hi - lo) && h.median_st < hi);
    assert_true(fabs(h.seconds - 10.1) < 1e-3 && h.rms_db < -20 && h.rms_db > -22 && h.ends < 1e-4);
    table_free(t);
    said_clear(&s);
}

/* A guide tone as a take: its register cannot be told, and how far it goes is said. */
static void test_register_untold(void **state)
{
    (void)state;
    said s = run("sheet", "clear", "--rows", "--tones", "glides");
    table *t = table_of(&s);
    size_t row = 0;
    while (strcmp(cell(t, row, "exercise"), "explore pitch") != 0)
        row++;
    char *range =
        xformat("The takes so far go from %s to %s, and", cell(t, row, "from"), cell(t, row, "to"));
    check_done(run("add", "tone", "glides/02-explore-pitch.wav", "--date", "2025-01-02"));
    said told = run("sheet", "tone");
    assert_int_equal(told.code, EXIT_DONE);
    assert_non_null(strstr(told.out, range));
    assert_non_null(strstr(told.out, "There is no map of this voice yet"));
    free(range);
    table_free(t);
    said_clear(&s);
    said_clear(&told);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_singers),
        cmocka_unit_test(test_text_and_page),
        cmocka_unit_test(test_json),
        cmocka_unit_test(test_bad_input),
        cmocka_unit_test(test_tones),
        cmocka_unit_test(test_glide),
        cmocka_unit_test(test_register_untold),
    };
    return cmocka_run_group_tests(tests, add_singers, leave_folder);
}
