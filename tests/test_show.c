/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pictures. Oracles: a folder that must hold the picture and nothing else after a hostile name (a
 * control shows that the same name does run when it is a command); the header of the PNG; cells in
 * closed form; sentences word by word. */
#include "base/array.h"
#include "base/process.h"
#include "show/fonts.h"
#include "show/map.h"
#include "show/templates.h"

#include <dirent.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "hostile_names.h"

static int enter_folder(void **state)
{
    char *folder = xstrdup("/tmp/test_show_XXXXXX");
    *state = folder;
    unsetenv("DISPLAY");
    unsetenv("WAYLAND_DISPLAY");
    return mkdtemp(folder) && chdir(folder) == 0 ? 0 : -1;
}

static int leave_folder(void **state)
{
    DIR *d = opendir(".");
    if (!d)
        return -1;
    for (struct dirent *f; (f = readdir(d));)
        unlink(f->d_name);
    closedir(d);
    int failed = chdir("/") != 0 || rmdir(*state) != 0;
    free(*state);
    return failed;
}

static char *read_file(const char *file)
{
    FILE *f = fopen(file, "rb");
    assert_non_null(f);
    char *text = xcalloc(1 << 22, 1);
    size_t n = fread(text, 1, (1 << 22) - 1, f);
    text[n] = '\0';
    fclose(f);
    return text;
}

static void write_file(const char *file, const char *text)
{
    FILE *f = fopen(file, "w");
    assert_non_null(f);
    assert_true(fputs(text, f) >= 0);
    assert_int_equal(fclose(f), 0);
}

static map_labels labels(const char *singer)
{
    return (map_labels){singer, "a", "dB re session median", false, 2, 440, false, NULL};
}

static map_line line(size_t n, double lo_db, double hi_db, double st, double slope, double half)
{
    map_line l = {n, xcalloc(n, sizeof(double)), xcalloc(n, sizeof(figure))};
    for (size_t i = 0; i < n; i++) {
        l.level_db[i] = lo_db + (hi_db - lo_db) * (double)i / (double)(n - 1);
        double at = st + slope * l.level_db[i];
        l.pitch_st[i] = (figure){at, at - half, at + half};
    }
    return l;
}

/* A voice that flips up at 64 + 0.25 x and down two semitones lower, told to within +-half. */
static map example(double half)
{
    map m = {.takes = 3, .n_cells = 2, .n_flips = 4, .hysteresis = {2, 2 - half, 2 + half}};
    m.extent = (map_extent){-11, 11, 54.5, 75.5};
    m.cells = xcalloc(2, sizeof *m.cells);
    m.cells[0] = (map_cell){-10, 55, {0.5, 0}};
    m.cells[1] = (map_cell){10, 75, {0.5, 0.5}};
    m.flips = xcalloc(4, sizeof *m.flips);
    for (int i = 0; i < 4; i++)
        m.flips[i] = (map_flip){i % 2 ? FLIP_DOWN : FLIP_UP, i, 64 + i, i / 3.0};
    m.line[FLIP_UP] = line(9, -8, 8, 64, 0.25, half);
    m.line[FLIP_DOWN] = line(9, -8, 8, 62, 0.25, half);
    return m;
}

static bool draw(const map *m, const map_labels *l, const char *file, int width_px, err *e)
{
    picture where;
    return picture_choose(file, width_px, map_height_px(width_px, 0), &where, e) &&
           map_draw(m, l, &where, e);
}

static void assert_drawn(const map *m, const map_labels *l, const char *file, int width_px)
{
    err e = {""};
    if (!draw(m, l, file, width_px, &e))
        fail_msg("%s: %s", file, e.text);
}

static long big_endian(const unsigned char *p)
{
    return ((long)p[0] << 24) | ((long)p[1] << 16) | ((long)p[2] << 8) | p[3];
}

static void assert_png(const char *file, int width_px, int height_px)
{
    unsigned char head[24];
    FILE *f = fopen(file, "rb");
    assert_non_null(f);
    assert_int_equal(fread(head, 1, sizeof head, f), sizeof head);
    fclose(f);
    assert_memory_equal(head, "\x89PNG\r\n\x1a\n", 8);
    assert_int_equal(big_endian(head + 16), width_px);
    assert_int_equal(big_endian(head + 20), height_px);
}

/* Everything that a user can name: the singer, the vowel, the sessions' titles. */
static void hostile_names_are_text(void **state)
{
    (void)state;
    map m = example(0.5);
    for (size_t i = 0; i < sizeof hostile / sizeof *hostile; i++) {
        map_labels l = labels(hostile[i].name);
        const char *titles[1] = {hostile[i].name};
        picture where;
        err e = {""};
        l.vowel = hostile[i].name;
        assert_drawn(&m, &l, "m.svg", 1200);
        char *svg = read_file("m.svg");
        if (!strstr(svg, hostile[i].in_svg))
            fail_msg("%s is not shown as it was typed", hostile[i].name);
        assert_null(strstr(svg, "<script"));
        free(svg);
        assert_drawn(&m, &l, "m.png", 1200);
        assert_true(picture_choose("s.svg", 1200, 600, &where, &e));
        if (!map_draw_sessions(&m, titles, 1, &m, &l, &where, &e))
            fail_msg("%s", e.text);
        assert_int_equal(entries(), 3);
    }
    map_clear(&m);
}

/* A character that no font has is drawn as U+FFFD is, not over the whole picture; one that every
 * font has stays. U+10FFFD is for private use. */
static void characters_without_a_font_are_replaced(void **state)
{
    (void)state;
    static const char *const names[] = {"a\xF4\x8F\xBF\xBD\xEF\xB8\x8F"
                                        "b",
                                        "a\xEF\xBF\xBD"
                                        "b"};
    static const char *const files[] = {"m.png", "n.png"};
    char *drawable = fonts_drawable(names[0]), *same = fonts_drawable("'\xC3\xA9\xE2\x86\x92");
    assert_string_equal(drawable, names[1]);
    assert_string_equal(same, "'\xC3\xA9\xE2\x86\x92");
    map m = example(0.5);
    for (size_t i = 0; i < 2; i++) {
        map_labels l = labels(names[i]);
        assert_drawn(&m, &l, files[i], 600);
    }
    map_clear(&m);
    char *one = read_file(files[0]), *other = read_file(files[1]);
    assert_memory_equal(one, other, 1 << 22);
    free(one);
    free(other);
    free(drawable);
    free(same);
}

/* Nothing but quotes, as many as a title takes. */
static void quotes_alone_are_text(void **state)
{
    (void)state;
    char name[65];
    map m = example(0.5);
    map_labels l = labels(name);
    memset(name, '\'', 64);
    for (size_t n = 64; n > 0; n /= 2) {
        name[n] = '\0';
        assert_drawn(&m, &l, "m.svg", 1200);
        char *svg = read_file("m.svg");
        assert_non_null(strstr(svg, name));
        free(svg);
    }
    map_clear(&m);
}

static void a_long_name_ends_in_an_ellipsis(void **state)
{
    (void)state;
    char name[201];
    memset(name, 'n', 200);
    name[200] = '\0';
    map m = example(0.5);
    map_labels l = labels(name);
    assert_drawn(&m, &l, "m.svg", 1200);
    char *svg = read_file("m.svg");
    assert_non_null(strstr(svg, "nnnn\xE2\x80\xA6"));
    free(svg);
    map_clear(&m);
}

/* Shows that the folder's count would betray a name that runs. */
static void the_same_text_as_a_command_would_run(void **state)
{
    (void)state;
    gnuplot *g = gnuplot_new();
    picture where;
    err e = {""};
    gnuplot_commands(g, "set title \"`touch ran`\"\nplot [0:1] x\n");
    assert_true(picture_choose("m.svg", 300, 200, &where, &e));
    assert_true(picture_draw(g, &where, &e));
    assert_int_equal(entries(), 2);
    gnuplot_free(g);
}

static void a_failed_plot_leaves_what_was_there(void **state)
{
    (void)state;
    gnuplot *g = gnuplot_new();
    picture where;
    err e = {""};
    gnuplot_commands(g, "plot [0:1] no_such_function(x)\nplot [0:1] x\n");
    assert_true(picture_choose("m.png", 300, 200, &where, &e));
    assert_false(picture_draw(g, &where, &e));
    assert_non_null(strstr(e.text, "undefined function"));
    assert_int_equal(entries(), 0);
    write_file("m.png", "mine");
    assert_false(picture_draw(g, &where, &e));
    char *kept = read_file("m.png");
    assert_string_equal(kept, "mine");
    assert_int_equal(entries(), 1);
    free(kept);
    gnuplot_free(g);
}

static void a_drawn_file_takes_the_place_of_the_old_one(void **state)
{
    (void)state;
    struct stat s;
    map m = example(0.5);
    map_labels l = labels("wren");
    mode_t before = umask(027);
    write_file("m.png", "old");
    assert_drawn(&m, &l, "m.png", 600);
    umask(before);
    assert_png("m.png", 600, map_height_px(600, 0));
    assert_int_equal(stat("m.png", &s), 0);
    assert_int_equal(s.st_mode & 0777, 0640);
    assert_int_equal(entries(), 1);
    map_clear(&m);
}

static void a_missing_gnuplot_gets_a_sentence(void **state)
{
    (void)state;
    char *was = xstrdup(getenv("PATH"));
    map m = example(0.5);
    map_labels l = labels("wren");
    err e = {""};
    setenv("PATH", "/nonexistent", 1);
    bool drawn = draw(&m, &l, "m.png", 600, &e);
    setenv("PATH", was, 1);
    assert_false(drawn);
    assert_non_null(strstr(e.text, "gnuplot"));
    assert_non_null(strstr(e.text, "install"));
    assert_int_equal(entries(), 0);
    free(was);
    map_clear(&m);
}

static void places_that_cannot_be_drawn_to(void **state)
{
    (void)state;
    map m = example(0.5);
    map_labels l = labels("wren");
    picture where;
    err e = {""};
    const char *const endings[] = {"m", "m.", "m.gif", ".png/m", "png", ""};
    for (size_t i = 0; i < sizeof endings / sizeof *endings; i++) {
        assert_false(picture_choose(endings[i], 600, 400, &where, &e));
        assert_non_null(strstr(e.text, ".png, .svg or .pdf"));
    }
    assert_false(draw(&m, &l, "no/folder/m.png", 600, &e));
    assert_non_null(strstr(e.text, "No such file"));
    assert_int_equal(mkdir("d.png", 0777), 0);
    assert_false(draw(&m, &l, "d.png", 600, &e));
    assert_non_null(strstr(e.text, "no plain file"));
    assert_int_equal(entries(), 1);
    assert_int_equal(rmdir("d.png"), 0);
    map_clear(&m);
}

static void every_format_of_every_size(void **state)
{
    (void)state;
    map m = example(0.5);
    map_labels l = labels("wren");
    const int widths[] = {600, 1200, 2400};
    for (size_t i = 0; i < 3; i++) {
        assert_drawn(&m, &l, "m.PNG", widths[i]);
        assert_png("m.PNG", widths[i], map_height_px(widths[i], 0));
    }
    assert_drawn(&m, &l, "m.pdf", 1200);
    char *pdf = read_file("m.pdf");
    assert_memory_equal(pdf, "%PDF", 4);
    free(pdf);
    map_clear(&m);
}

static void without_a_name_a_pipe_gets_no_picture(void **state)
{
    (void)state;
    picture where;
    err e = {""};
    map m = example(0.5);
    map_labels l = labels("wren");
    int out = dup(STDOUT_FILENO);
    fflush(stdout);
    assert_non_null(freopen("piped", "w", stdout));
    assert_true(picture_choose(NULL, 600, 400, &where, &e));
    assert_true(map_draw(&m, &l, &where, &e));
    fflush(stdout);
    assert_int_equal(dup2(out, STDOUT_FILENO), STDOUT_FILENO);
    close(out);
    assert_int_equal(where.kind, PICTURE_NONE);
    char *piped = read_file("piped");
    assert_string_equal(piped, "");
    free(piped);
    map_clear(&m);
}

/* A gnuplot that says it has windows, and keeps what it is told. */
static void a_display_gets_a_window(void **state)
{
    (void)state;
    char *was = xstrdup(getenv("PATH")), *mine = xformat(".:%s", was);
    picture where;
    err e = {""};
    map m = example(0.5);
    map_labels l = labels("wren");
    write_file("gnuplot", "#!/bin/sh\necho \"$@\" >arguments\ncat >script\n"
                          "echo 'png svg wxt x11 xterm'\n");
    assert_int_equal(chmod("gnuplot", 0700), 0);
    setenv("DISPLAY", ":0", 1);
    setenv("PATH", mine, 1);
    bool drawn = picture_choose(NULL, 600, 400, &where, &e) && map_draw(&m, &l, &where, &e);
    setenv("PATH", was, 1);
    unsetenv("DISPLAY");
    assert_true(drawn);
    assert_int_equal(where.kind, PICTURE_WINDOW);
    char *script = read_file("script"), *arguments = read_file("arguments");
    assert_non_null(strstr(script, "set terminal wxt size 600, 400"));
    assert_string_equal(arguments, "--default-settings --persist\n");
    free(script);
    free(arguments);
    free(was);
    free(mine);
    map_clear(&m);
}

static void a_screen_gets_characters(void **state)
{
    (void)state;
    picture where = {.kind = PICTURE_SCREEN, .columns = 100, .rows = 34};
    err e = {""};
    map m = example(0.5);
    map_labels l = labels("wren `touch ran`");
    int out = dup(STDOUT_FILENO);
    fflush(stdout);
    assert_int_equal(freopen("screen", "w", stdout) == stdout, 1);
    bool drawn = map_draw(&m, &l, &where, &e);
    fflush(stdout);
    assert_int_equal(dup2(out, STDOUT_FILENO), STDOUT_FILENO);
    close(out);
    assert_true(drawn);
    char *text = read_file("screen");
    for (const char *const *word = (const char *[]){"wren `touch ran`, vowel a", "dB re session",
                                                    " C4 ", "U", "D", "^", "v", NULL};
         *word; word++)
        assert_non_null(strstr(text, *word));
    assert_null(strchr(text, '\033'));
    assert_int_equal(entries(), 1);
    free(text);
    map_clear(&m);
}

/* How many paths of strokes for the heavy register the picture has, that of the key
 * included. */
static size_t strokes(const map *m, const map_labels *l)
{
    size_t n = 0;
    assert_drawn(m, l, "m.svg", 1200);
    char *svg = read_file("m.svg");
    for (const char *at = svg; (at = strstr(at, "'rgb( 95, 136, 184)'")); at++)
        n++;
    free(svg);
    return n;
}

static void the_softest_and_loudest_are_drawn_where_takes_tell_them(void **state)
{
    (void)state;
    map m = example(0.5);
    map_labels l = labels("wren");
    size_t key = strokes(&m, &l);
    m.n_ranges = 1;
    m.ranges = xcalloc(1, sizeof *m.ranges);
    m.ranges[0] = (range){1, 60, 9, 5, {-5, -6, -4}, {5, 4, 6}};
    assert_true(strokes(&m, &l) > key);
    m.ranges[0].floor_db.lo95 = (double)NAN; /* too few takes */
    assert_int_equal(strokes(&m, &l), key);
    map_clear(&m);
}

static void empty_maps_are_drawn_empty(void **state)
{
    (void)state;
    map none, all = example(0.5);
    map_gather(NULL, 0, NULL, &none);
    map_labels l = labels("wren");
    assert_drawn(&none, &l, "m.png", 1200);
    assert_png("m.png", 1200, map_height_px(1200, 0));
    assert_drawn(&none, &l, "m.svg", 1200);
    char *svg = read_file("m.svg");
    assert_non_null(strstr(svg, "No take of this map has voice whose register could be told."));
    free(svg);
    map three[3] = {none, all, none};
    const char *titles[3] = {"2025-01-01", "2025-02-01", "2025-03-01"};
    picture where;
    err e = {""};
    assert_true(picture_choose("s.png", 1200, map_height_px(1200, 3), &where, &e));
    if (!map_draw_sessions(three, titles, 3, &none, &l, &where, &e))
        fail_msg("%s", e.text);
    map_clear(&all);
    map_clear(&none);
}

static void any_number_of_sessions(void **state)
{
    (void)state;
    map m = example(0.5);
    map_labels l = labels("wren");
    enum { MOST = 40 };
    map *maps = xcalloc(MOST, sizeof *maps);
    const char *titles[MOST];
    for (size_t i = 0; i < MOST; i++) {
        maps[i] = m;
        titles[i] = "2025-01-01";
    }
    for (size_t n = 1; n <= MOST; n = 3 * n - 1 > n ? 3 * n - 1 : n + 1) {
        picture where;
        err e = {""};
        assert_true(picture_choose("s.png", 900, map_height_px(900, n), &where, &e));
        if (!map_draw_sessions(maps, titles, n, &m, &l, &where, &e))
            fail_msg("%zu sessions: %s", n, e.text);
        assert_png("s.png", 900, map_height_px(900, n));
    }
    free(maps);
    map_clear(&m);
}

static void assert_words(const map *m, const map_labels *l, const char *wanted)
{
    char *words = map_words(m, l);
    assert_string_equal(words, wanted);
    free(words);
}

static void the_words_say_what_the_map_shows(void **state)
{
    (void)state;
    map m = example(0.5);
    map_labels l = labels("wren");
    /* 64 +- 2 and 62 +- 2: D4 62, F#4 66; C4 60, E4 64 */
    assert_words(&m, &l,
                 "Soft (-8 dB re median), the voice flips up near D4; loud (+8 dB re median), near "
                 "F#4. Coming down, it flips back near C4 when soft and near E4 when loud, about 2 "
                 "semitones lower.");
    l.a4_hz = 440 * exp2(-1.0 / 12); /* the same pitches, named a semitone higher */
    l.levels_are_spl = true;
    assert_words(&m, &l,
                 "Soft (-8 dB SPL), the voice flips up near D#4; loud (8 dB SPL), near G4. "
                 "Coming down, it flips back near C#4 when soft and near F4 when loud, about 2 "
                 "semitones lower.");
    m.hysteresis = (figure){0.5, -0.4, 1.4};
    l = labels("wren");
    assert_words(&m, &l,
                 "Soft (-8 dB re median), the voice flips up near D4; loud (+8 dB re median), near "
                 "F#4. Coming down, it flips back near C4 when soft and near E4 when loud, no sure "
                 "difference from "
                 "going up.");
    map_clear(&m);
}

static void the_words_claim_no_more_than_the_band(void **state)
{
    (void)state;
    map_labels l = labels("wren");
    map wide = example(2), useless = example(5), level = example(0.5);
    assert_words(&wide, &l,
                 "Soft (-8 dB re median), the voice flips up between C4 and E4; loud (+8 dB re "
                 "median), between E4 and G#4. Coming down, it flips back between A#3 and D4 when "
                 "soft and between D4 and "
                 "F#4 when loud, no sure difference from going up.");
    assert_words(&useless, &l,
                 "Where the voice flips up, these takes do not tell. Where it flips back coming "
                 "down, these takes do not tell.");
    level.line[FLIP_UP].level_db[8] = level.line[FLIP_UP].level_db[0] + 3;
    level.line[FLIP_DOWN].n = 0;
    assert_words(
        &level, &l,
        "The voice flips up near E4 at 0 dB re median; what singing softer or louder does to that, "
        "these takes do not tell. Where it flips back coming down, these takes do not "
        "tell.");
    l.pitch_only = true;
    level.takes = 1;
    level.lasted_st[FLIP_DOWN] = 57;
    assert_words(
        &level, &l,
        "The voice flips up near E4 at whatever level; what singing softer or louder does to that, "
        "these takes do not tell. It never flipped back above A3 at any level that was sung. This "
        "is one take: the band holds more of what is taken for granted of voices than of this "
        "one.");
    map_clear(&wide);
    map_clear(&useless);
    map_clear(&level);
}

/* 200 frames of 5 ms: 100 in M1 on 60 st at -10 dB, 8 in M2 there (40 ms: too short), 50 in M2 on
 * 70.4 st at 0.9 dB, 20 unvoiced, 22 outside the plane. */
static void cells_count_seconds(void **state)
{
    (void)state;
    enum { N = 200 };
    double time[N], pitch[N], level[N];
    unsigned char reg[N];
    for (int k = 0; k < N; k++) {
        time[k] = 0.005 * k;
        pitch[k] = k < 108 ? 60 : k < 158 ? 70.4 : k < 178 ? (double)NAN : k % 2 ? 200 : 60;
        level[k] = k < 108 ? -10 : k < 158 ? 0.9 : k < 178 ? -INFINITY : k % 2 ? 0 : 1000;
        reg[k] = k < 100 ? 1 : k < 158 ? 2 : k < 178 ? 0 : 1;
    }
    path p = {"take", N, time, pitch, level, reg, NULL};
    map m;
    map_gather(&p, 1, NULL, &m);
    assert_int_equal(m.takes, 1);
    assert_int_equal(m.n_cells, 2);
    assert_true(m.cells[0].pitch_st == 60 && m.cells[0].level_db == -10);
    assert_true(fabs(m.cells[0].seconds[0] - 0.5) < 1e-9 && m.cells[0].seconds[1] == 0);
    assert_true(m.cells[1].pitch_st == 70 && m.cells[1].level_db == 0);
    assert_true(m.cells[1].seconds[0] == 0 && fabs(m.cells[1].seconds[1] - 0.25) < 1e-9);
    map_clear(&m);
}

/* `apart` of 1000 frames lie far from the others: they are left out when they are fewer than 20. So
 * would 15 be that lie three semitones above, but they hang together with the rest. */
static void cells_apart(int apart, map *m)
{
    enum { N = 1000 };
    double time[N], pitch[N], level[N];
    unsigned char reg[N];
    for (int k = 0; k < N; k++) {
        time[k] = 0.005 * k;
        pitch[k] = k < apart ? 98 : k < apart + 15 ? 63 : 60;
        level[k] = k < apart ? -40 : -10;
        reg[k] = 1;
    }
    path p = {"take", N, time, pitch, level, reg, NULL};
    map_gather(&p, 1, NULL, m);
}

static void breath_far_from_the_voice_is_said_not_shown(void **state)
{
    (void)state;
    map m;
    map_labels l = labels("wren");
    cells_apart(20, &m);
    assert_int_equal(m.n_cells, 3);
    assert_true(m.stray_s == 0 && m.extent.hi_st == 98.5 && m.extent.lo_db == -41);
    map_clear(&m);
    cells_apart(18, &m);
    assert_int_equal(m.n_cells, 2);
    assert_true(fabs(m.stray_s - 18 * 0.005) < 1e-9);
    assert_true(m.extent.hi_st == 63.5 && m.extent.lo_st == 59.5);
    assert_true(m.extent.lo_db == -11 && m.extent.hi_db == -9);
    m.stray_flips[FLIP_DOWN] = 1;
    char *words = map_words(&m, &l);
    assert_non_null(strstr(words, "Not shown: 0.1 s and 1 flip far from the rest"));
    free(words);
    map_clear(&m);
}

/* A fit to two slides up and down, at -10 and 0 dB, that flip at 64 and come back at 61. */
static void a_map_of_a_fit(void **state)
{
    (void)state;
    enum { N = 800 };
    static double time[N], pitch[N], level[2][N];
    static unsigned char reg[N];
    for (int k = 0; k < N; k++) {
        time[k] = 0.005 * k;
        pitch[k] = k < 400 ? 54 + k / 25.0 : 70 - (k - 400) / 25.0;
        reg[k] = pitch[k] < (k < 400 ? 64 : 61) ? 1 : 2;
        level[0][k] = -10;
        level[1][k] = 0;
    }
    path p[2] = {{"a", N, time, pitch, level[0], reg, NULL},
                 {"b", N, time, pitch, level[1], reg, NULL}};
    boundary_settings s = boundary_defaults();
    boundary *b;
    err e = {""};
    map m;
    if (!boundary_fit(p, 2, &s, &b, &e))
        fail_msg("%s", e.text);
    map_gather(p, 2, b, &m);
    boundary_free(b);
    assert_int_equal(m.n_flips, 4);
    assert_int_equal(m.stray_flips[FLIP_UP] + m.stray_flips[FLIP_DOWN], 0);
    for (size_t i = 0; i < m.n_flips; i++) {
        double wanted = m.flips[i].direction == FLIP_UP ? 64 : 61;
        assert_true(fabs(m.flips[i].pitch_st - wanted) < 0.2);
    }
    for (int d = 0; d < 2; d++) {
        const map_line *l = &m.line[d];
        for (size_t i = 0; i < l->n; i++) {
            assert_true(l->level_db[i] >= m.extent.lo_db && l->level_db[i] <= m.extent.hi_db);
            assert_true(map_told(l->pitch_st[i]));
            assert_true(i == 0 || l->level_db[i] > l->level_db[i - 1]);
        }
    }
    map_labels labelled = labels("wren");
    assert_drawn(&m, &labelled, "m.png", 600);
    map_clear(&m);
}

static void a_program_may_stop_reading(void **state)
{
    (void)state;
    int status = -1;
    size_t n = 1 << 20; /* more than a pipe holds */
    char *input = xcalloc(n, 1);
    const char *const yes[] = {"true", NULL}, *const no[] = {"false", NULL};
    const char *const none[] = {"no-such-program-here", NULL};
    const char *const dies[] = {"sh", "-c", "kill -9 $$", NULL};
    assert_int_equal(process_run(yes, input, n, 1, 2, &status), PROCESS_DONE);
    assert_int_equal(status, 0);
    assert_int_equal(process_run(no, input, n, 1, 2, &status), PROCESS_DONE);
    assert_int_equal(status, 1);
    assert_int_equal(process_run(none, input, n, 1, 2, &status), PROCESS_MISSING);
    assert_int_equal(process_run(dies, input, n, 1, 2, &status), PROCESS_FAILED);
    free(input);
}

#define IN_FOLDER(f) cmocka_unit_test_setup_teardown(f, enter_folder, leave_folder)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_FOLDER(hostile_names_are_text),
        IN_FOLDER(characters_without_a_font_are_replaced),
        IN_FOLDER(quotes_alone_are_text),
        IN_FOLDER(a_long_name_ends_in_an_ellipsis),
        IN_FOLDER(the_same_text_as_a_command_would_run),
        IN_FOLDER(a_failed_plot_leaves_what_was_there),
        IN_FOLDER(a_drawn_file_takes_the_place_of_the_old_one),
        IN_FOLDER(a_missing_gnuplot_gets_a_sentence),
        IN_FOLDER(places_that_cannot_be_drawn_to),
        IN_FOLDER(every_format_of_every_size),
        IN_FOLDER(without_a_name_a_pipe_gets_no_picture),
        IN_FOLDER(a_display_gets_a_window),
        IN_FOLDER(a_screen_gets_characters),
        IN_FOLDER(the_softest_and_loudest_are_drawn_where_takes_tell_them),
        IN_FOLDER(empty_maps_are_drawn_empty),
        IN_FOLDER(any_number_of_sessions),
        cmocka_unit_test(the_words_say_what_the_map_shows),
        cmocka_unit_test(the_words_claim_no_more_than_the_band),
        cmocka_unit_test(cells_count_seconds),
        cmocka_unit_test(breath_far_from_the_voice_is_said_not_shown),
        IN_FOLDER(a_map_of_a_fit),
        cmocka_unit_test(a_program_may_stop_reading),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
