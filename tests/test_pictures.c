/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The pictures of a take, of progress, of singers side by side and of what was told from what.
 * Oracles: what stands in the SVG as text; a folder that must hold the picture and nothing else
 * after a hostile name (test_show.c shows that such a name does run as a command); data in closed
 * form. */
#include "base/array.h"
#include "show/compare_draw.h"
#include "show/explain_draw.h"
#include "show/held_draw.h"
#include "show/progress.h"
#include "show/take_draw.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "hostile_names.h"

#define N_OF(a) (sizeof(a) / sizeof *(a))

static int enter_folder(void **state)
{
    char *folder = xstrdup("/tmp/test_pictures_XXXXXX");
    *state = folder;
    return mkdtemp(folder) && chdir(folder) == 0 ? 0 : -1;
}

static int leave_folder(void **state)
{
    unlink("p.svg");
    unlink("p.png");
    int failed = chdir("/") != 0 || rmdir(*state) != 0;
    free(*state);
    return failed;
}

static char *read_svg(void)
{
    FILE *f = fopen("p.svg", "rb");
    assert_non_null(f);
    char *text = xcalloc(1 << 22, 1);
    assert_true(fread(text, 1, (1 << 22) - 1, f) > 0);
    fclose(f);
    return text;
}

/* Draws something that is called `name`. */
typedef bool drawer(const char *name, const picture *where, err *e);

/* The drawing as SVG; the caller frees. */
static char *drawn(drawer *draw, const char *name)
{
    picture where;
    err e = {""};
    assert_true(picture_choose("p.svg", 1200, 1000, &where, &e));
    if (!draw(name, &where, &e))
        fail_msg("%s: %s", name, e.text);
    return read_svg();
}

/* Every hostile name of at most `longest` characters is shown, of a longer one the beginning, and
 * none runs. */
static void takes_hostile_names(drawer *draw, size_t longest)
{
    size_t shown = 0;
    picture png;
    err e;
    assert_true(picture_choose("p.png", 600, 500, &png, &e));
    for (size_t i = 0; i < N_OF(hostile); i++) {
        char *svg = drawn(draw, hostile[i].name);
        if (hostile[i].name == name_of_200 ||
            (*hostile[i].name && strlen(hostile[i].name) <= longest)) {
            shown++;
            if (!strstr(svg, hostile[i].in_svg))
                fail_msg("%s is not shown as it was typed", hostile[i].name);
        }
        assert_null(strstr(svg, "<script"));
        free(svg);
        assert_true(draw(hostile[i].name, &png, &e));
        assert_int_equal(entries(), 2);
    }
    assert_true(shown > N_OF(hostile) / 2);
}

static void assert_shows(const char *svg, const char *text)
{
    if (!strstr(svg, text))
        fail_msg("the picture does not say: %s", text);
}

/* 3 s: M1 on F#4 (66), a flip up to A4 (69), and a doubtful one back. */
enum { FRAMES = 600 };

static take_frames frames_of(bool voiced)
{
    track *t = track_new("t", FRAMES, 0.005, 0);
    for (size_t k = 0; k < FRAMES; k++) {
        bool light = k >= 200 && k < 500;
        t->pitch_st[k] = voiced ? light ? 69 : 66 : (double)NAN;
        t->level_db[k] = voiced ? -20 : -INFINITY;
        t->reg[k] = voiced ? light ? 2 : 1 : 0;
        t->p_m2[k] = voiced ? light : (double)NAN;
    }
    take_frames f = take_frames_new(FRAMES);
    take_frames_add(&f, t, 0);
    track_free(t);
    return f;
}

static flips two_flips(void)
{
    flips found = {0};
    flips_append(&found, (flip){.time_s = 1,
                                .direction = FLIP_UP,
                                .pitch_before_st = 66,
                                .pitch_after_st = 69,
                                .confidence = 0.9});
    flips_append(&found, (flip){.time_s = 2.5,
                                .direction = FLIP_DOWN,
                                .pitch_before_st = 69,
                                .pitch_after_st = (double)NAN,
                                .confidence = 0.3});
    return found;
}

static bool draw_take_called(const char *name, const picture *where, err *e)
{
    take_frames f = frames_of(true);
    flips found = two_flips();
    const take_labels l = {name, "dB re full scale", 440};
    bool ok = take_draw(&f, &found, &l, where, e);
    take_frames_clear(&f);
    flips_clear(&found);
    return ok;
}

static void a_take_says_what_was_heard(void **state)
{
    (void)state;
    char *svg = drawn(draw_take_called, "folder/my take.wav");
    assert_shows(svg, ">my take.wav<");
    assert_null(strstr(svg, "folder/"));
    assert_shows(svg, "flips: 1 up, 0 down, and 1 doubtful");
    assert_shows(svg,
                 "2 flips. Up at 1.00 s from F#4 to A4. Down at 2.50 s from A4 to ?, doubtful.");
    assert_shows(svg, "time, s");
    assert_shows(svg, "dB re full scale");
    assert_shows(svg, ">F4<");
    free(svg);
}

static bool draw_silence(const char *name, const picture *where, err *e)
{
    take_frames f = frames_of(false);
    const flips none = {0};
    const take_labels l = {name, "dB re full scale", 440};
    bool ok = take_draw(&f, &none, &l, where, e);
    take_frames_clear(&f);
    return ok;
}

static bool draw_nothing(const char *name, const picture *where, err *e)
{
    take_frames f = take_frames_new(0);
    const flips none = {0};
    const take_labels l = {name, "dB re full scale", 440};
    bool ok = take_draw(&f, &none, &l, where, e);
    take_frames_clear(&f);
    return ok;
}

static void silence_and_nothing_are_drawn_empty(void **state)
{
    (void)state;
    drawer *const empty[] = {draw_silence, draw_nothing};
    for (size_t i = 0; i < 2; i++) {
        char *svg = drawn(empty[i], "quiet.wav");
        assert_shows(svg, "No voice was heard in it.");
        free(svg);
    }
}

/* A long take in pieces: each frame kept is one of `stride`, in order, and none comes twice. */
static void long_takes_are_thinned(void **state)
{
    (void)state;
    enum { PIECE = 7000, PIECES = 5 };
    take_frames f = take_frames_new(PIECE * PIECES);
    for (size_t i = 0; i < PIECES; i++) {
        track *t = track_new("t", PIECE, 0.005, 0.005 * PIECE * (double)i);
        take_frames_add(&f, t, i * PIECE);
        track_free(t);
    }
    assert_int_equal(f.n, (PIECE * PIECES + f.stride - 1) / f.stride);
    assert_true(f.n <= 6000 && f.n > 3000);
    for (size_t k = 0; k < f.n; k++)
        assert_true(fabs(f.time_s[k] - 0.005 * (double)(k * f.stride)) < 1e-9);
    take_frames_clear(&f);
}

/* What the drawing prints on a screen of characters; the caller frees. */
static char *in_characters(drawer *draw, const char *name)
{
    const picture screen = {.kind = PICTURE_SCREEN, .columns = 90, .rows = 30};
    err e = {""};
    int out = dup(STDOUT_FILENO);
    fflush(stdout);
    assert_non_null(freopen("p.svg", "w", stdout));
    bool ok = draw(name, &screen, &e);
    fflush(stdout);
    assert_int_equal(dup2(out, STDOUT_FILENO), STDOUT_FILENO);
    close(out);
    if (!ok)
        fail_msg("%s", e.text);
    assert_int_equal(entries(), 1);
    return read_svg();
}

/* Slides at three levels that flip at 64 and back at 61, as many of them as asked for. */
enum { SLIDE = 800, LEVELS = 3 };
typedef struct slides {
    double time[SLIDE], pitch[SLIDE], level[LEVELS][SLIDE];
    unsigned char reg[SLIDE];
    path paths[12];
} slides;

/* They, and what is fitted to them, are made once and drawn under many names. */
static const slides *the_slides(void)
{
    static slides *s;
    if (s)
        return s;
    s = xcalloc(1, sizeof *s);
    for (int k = 0; k < SLIDE; k++) {
        s->time[k] = 0.005 * k;
        s->pitch[k] = k < 400 ? 54 + k / 25.0 : 70 - (k - 400) / 25.0;
        s->reg[k] = s->pitch[k] < (k < 400 ? 64 : 61) ? 1 : 2;
        for (int l = 0; l < LEVELS; l++)
            s->level[l][k] = 60 + 10 * l;
    }
    for (size_t i = 0; i < N_OF(s->paths); i++)
        s->paths[i] = (path){"take", SLIDE, s->time, s->pitch, s->level[i % LEVELS], s->reg, NULL};
    return s;
}

static const progress_levels *levels_of(size_t sessions, size_t n_levels)
{
    static const double at[PROGRESS_LEVELS] = {70, 62, 78};
    static progress_levels kept[5]; /* by their sessions */
    progress_levels *p = &kept[sessions];
    course_session all[4];
    err e = {""};
    if (p->n == n_levels)
        return p;
    *p = (progress_levels){.n = n_levels, .first_day = 20000, .assumed_scatter_st = 0.7};
    for (size_t i = 0; i < sessions; i++)
        all[i] = (course_session){3 * i, 3, 20000 + 30.0 * (double)i};
    for (size_t k = 0; k < n_levels; k++)
        if (!course_fit(the_slides()->paths, 3 * sessions, all, sessions, at[k], &p->courses[k],
                        &e))
            fail_msg("%s", e.text);
    p->zones = xcalloc(sessions, sizeof *p->zones);
    for (size_t i = 0; i < sessions; i++)
        p->zones[i] = (figure){10, (double)NAN, (double)NAN};
    return p;
}

static bool draw_progress(const char *name, size_t sessions, size_t levels, const picture *where,
                          err *e)
{
    const progress_labels l = {name, name, "dB SPL (Z, 30 cm)", "2024-10-04", "2025-01-02",
                               440,  false};
    return progress_draw(levels_of(sessions, levels), &l, where, e);
}

static bool draw_progress_called(const char *name, const picture *where, err *e)
{
    return draw_progress(name, 4, 3, where, e);
}

static bool draw_first_day(const char *name, const picture *where, err *e)
{
    return draw_progress(name, 1, 1, where, e);
}

static void progress_is_drawn_soft_middle_and_loud(void **state)
{
    (void)state;
    char *svg = drawn(draw_progress_called, "wren");
    const char *soft = strstr(svg, "soft, 62 dB"), *middle = strstr(svg, "middle, 70 dB"),
               *loud = strstr(svg, "loud, 78 dB");
    assert_true(soft && middle && loud && soft < middle && middle < loud);
    assert_shows(svg, "hysteresis");
    assert_shows(svg, "semitones × dB");
    assert_shows(svg, "04 Oct"); /* day 20000 of 1970 is 2024-10-04 */
    free(svg);
    svg = drawn(draw_first_day, "wren");
    assert_shows(svg, "at 70 dB SPL (Z, 30 cm)");
    assert_null(strstr(svg, "loud"));
    free(svg);
}

static const boundary *boundary_of_three(void)
{
    static boundary *b;
    boundary_settings how = boundary_defaults();
    err e = {""};
    if (!b && !boundary_fit(the_slides()->paths, 3, &how, &b, &e))
        fail_msg("%s", e.text);
    return b;
}

/* Two singers a semitone apart at every level. */
static bool draw_compare_called(const char *name, const picture *where, err *e)
{
    map maps[2];
    const char *const names[2] = {"wren", name};
    const double at[COMPARE_LEVELS] = {62, 70, 78};
    compare_difference apart = {
        {{{1, -1, 3}, {1, 0.5, 1.5}}, {{1, -1, 3}, {NAN, NAN, NAN}}, {{1, -9, 11}, {1, 0.5, 1.5}}}};
    for (int i = 0; i < 2; i++)
        map_gather(the_slides()->paths, 3, i ? NULL : boundary_of_three(), &maps[i]);
    const compare_shown c = {2, names, maps, COMPARE_LEVELS, at, &apart};
    const map_labels l = {.singer = "Side by side",
                          .vowel = name,
                          .level_scale = "dB",
                          .sessions = 2,
                          .a4_hz = 440,
                          .words = "No score."};
    bool ok = compare_draw(&c, &l, where, e);
    for (int i = 0; i < 2; i++)
        map_clear(&maps[i]);
    return ok;
}

static void singers_are_on_one_plane(void **state)
{
    (void)state;
    char *svg = drawn(draw_compare_called, "owl");
    for (const char *const *word = (const char *[]){">wren<", ">owl<", "soft, 62 dB", "loud, 78 dB",
                                                    "semitones", "No score.", ">F4<", NULL};
         *word; word++)
        assert_shows(svg, *word);
    free(svg);
    assert_true(compare_height_px(12) > compare_height_px(2));
}

/* Four days of three takes: level within 1.5, 1 and 3 dB, the last not held; leak of 2, -4 and 1 dB
 * an octave. Pitch is varied throughout. */
enum { HELD_TAKES = 12 };
static void held_points(held_point *points, bool by_date)
{
    static const double steady_db[3] = {1.5, 1, 3}, leak[3] = {2, -4, 1};
    for (size_t i = 0; i < HELD_TAKES; i++) {
        held_score h = {.held = i % 3 == 2 ? 0 : LESSON_LEVEL,
                        .pitch_steady_cents = (double)NAN,
                        .level_steady_db = steady_db[i % 3],
                        .leak = leak[i % 3],
                        .unit = LEAK_DB_PER_OCTAVE};
        points[i] = held_point_of(by_date ? 20000.0 + 30.0 * (double)(i / 3) : (double)i + 1, &h,
                                  LESSON_LEVEL);
    }
}

static bool draw_held(const char *name, size_t n, bool by_date, const picture *where, err *e)
{
    held_point points[HELD_TAKES];
    held_points(points, by_date);
    const held_chart c = {name, by_date, n, points};
    return held_draw(&c, where, e);
}

static bool draw_held_called(const char *name, const picture *where, err *e)
{
    return draw_held(name, HELD_TAKES, true, where, e);
}

static bool draw_held_files(const char *name, const picture *where, err *e)
{
    return draw_held(name, HELD_TAKES, false, where, e);
}

static bool draw_held_nothing(const char *name, const picture *where, err *e)
{
    return draw_held(name, 0, true, where, e);
}

/* The median of 1, 1.5 and 3 is 1.5, and that of the sizes 1, 2 and 4 is 2. */
static void held_says_how_steadily(void **state)
{
    (void)state;
    char *svg = drawn(draw_held_called, "wren");
    assert_shows(svg, "what was held, in 12 takes");
    assert_shows(svg, "Medians: level that was held was steady to 1.5 dB; pitch that was varied "
                      "moved the level by 2.0");
    assert_shows(svg, "steadiness of held level, dB");
    assert_shows(svg, "dB/octave");
    assert_shows(svg, "nothing to tell");
    assert_shows(svg, "04 Oct"); /* day 20000 of 1970 is 2024-10-04 */
    free(svg);
    svg = drawn(draw_held_files, "");
    assert_shows(svg, "number of the recording");
    free(svg);
    svg = drawn(draw_held_nothing, "wren");
    assert_shows(svg, "In none of these takes");
    free(svg);
    held_point points[HELD_TAKES];
    held_points(points, true);
    assert_true(points[2].lost[HELD_LEVEL_STEADY] && points[2].lost[HELD_LEVEL_LEAK]);
    assert_false(points[2].lost[HELD_PITCH_STEADY] || points[0].lost[HELD_LEVEL_STEADY]);
}

static bool draw_explanation_called(const char *name, const picture *where, err *e)
{
    explain_row rows[] = {
        {.about = EXPLAIN_TRACT, .item = "tract", .at = 100, .value = -3},
        {.about = EXPLAIN_TRACT, .item = "tract", .at = 1000, .value = 3},
        {.about = EXPLAIN_SOURCE, .item = "M1", .at = 1, .value = 0},
        {.about = EXPLAIN_SOURCE, .item = "M2", .at = 1, .value = 3},
        {.about = EXPLAIN_SOURCE, .item = "M2 less M1", .at = 1, .value = 3},
        {.about = EXPLAIN_FLIP, .take = (char *)name, .time_s = 1, .item = "leap", .value = 2},
        {.about = EXPLAIN_FLIP,
         .take = (char *)name,
         .time_s = 1,
         .item = "confidence",
         .value = 0.9},
    };
    const explanation why = {.n = N_OF(rows), .rows = rows};
    return explain_draw(&why, name, where, e);
}

static bool draw_no_explanation(const char *name, const picture *where, err *e)
{
    const explanation why = {.n = 0};
    return explain_draw(&why, name, where, e);
}

static void a_screen_gets_characters(void **state)
{
    (void)state;
    static const struct {
        drawer *draw;
        const char *shows[8];
    } cases[] = {
        {draw_take_called, {"`touch ran`, flips", "time, s", "^", "v", "ooo", "..."}},
        {draw_progress_called, {"`touch ran`, vowel", "At 70.0 dB", "^", "v", " D4 "}},
        {draw_silence, {"`touch ran`, flips", "No voice was heard in it."}},
        {draw_nothing, {"`touch ran`, flips", "No voice was heard in it."}},
        {draw_first_day, {"`touch ran`, vowel", "At 70.0 dB", "^", "v"}},
        {draw_compare_called, {"Side by side", ", wren", ", `touch ran`", "U", "D"}},
        {draw_held_called, {"`touch ran`, what", "level, dB", "*", " o ", "24-10-04"}},
        {draw_held_files, {"`touch ran`, what", "recording", "*", " o "}},
        {draw_held_nothing, {"`touch ran`, what", "In none of these takes"}},
        {draw_explanation_called,
         {"`touch ran`", "the tract", "  1.00 s  up |", " L ", "0.90", "against <- nats -> for"}},
        {draw_no_explanation, {"What was told", "`touch ran`"}},
    };
    for (size_t i = 0; i < N_OF(cases); i++) {
        char *text = in_characters(cases[i].draw, "`touch ran`");
        for (const char *const *word = cases[i].shows; *word; word++)
            assert_shows(text, *word);
        free(text);
    }
}

static void hostile_names_are_text(void **state)
{
    (void)state;
    takes_hostile_names(draw_progress_called, 64);
    takes_hostile_names(draw_compare_called, 30);
    takes_hostile_names(draw_explanation_called, 64);
    takes_hostile_names(draw_held_called, 64);
}

/* The part behind the last slash is the name. */
static void hostile_files_are_text(void **state)
{
    (void)state;
    for (size_t i = 0; i < N_OF(hostile); i++) {
        const char *slash = strrchr(hostile[i].name, '/');
        char *svg = drawn(draw_take_called, hostile[i].name);
        if (!slash && *hostile[i].name)
            assert_shows(svg, hostile[i].in_svg);
        assert_null(strstr(svg, "<script"));
        free(svg);
        assert_int_equal(entries(), 1);
    }
}

#define IN_FOLDER(f) cmocka_unit_test_setup_teardown(f, enter_folder, leave_folder)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_FOLDER(a_take_says_what_was_heard),
        IN_FOLDER(silence_and_nothing_are_drawn_empty),
        cmocka_unit_test(long_takes_are_thinned),
        IN_FOLDER(a_screen_gets_characters),
        IN_FOLDER(progress_is_drawn_soft_middle_and_loud),
        IN_FOLDER(singers_are_on_one_plane),
        IN_FOLDER(held_says_how_steadily),
        IN_FOLDER(hostile_names_are_text),
        IN_FOLDER(hostile_files_are_text),
    };
    return cmocka_run_group_tests_name("pictures", tests, NULL, NULL);
}
