/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The command report, without a browser (make test-page has one). Oracles: the table that map
 * prints for the same journal; that nothing but the page itself is named in it; the same journal
 * gives the same bytes. */
#include <fcntl.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/stat.h>

#include <cmocka.h>

#include "fill_journal.h"
#include "hostile_names.h"
#include "run_program.h"

#define SLIDE(who, day, vowel, level)                                                              \
    {                                                                                              \
        who, day, vowel, NULL, level, 110, 900, LEVEL, PITCH, DECLARED_NONE, true                  \
    }
static const char sly[] = "a'\"`touch ran`$(touch ran)\n</script><script>x()</script>{/Bold b}_1";

static const sung studio[] = {
    SLIDE("wren", "2025-01-01", "a", 60), SLIDE("wren", "2025-01-01", "a", 70),
    SLIDE("wren", "2025-01-01", "a", 80), SLIDE("wren", "2025-02-01", "a", 60),
    SLIDE("wren", "2025-02-01", "a", 70), SLIDE("wren", "2025-02-01", "a", 80),
    SLIDE("wren", "2025-02-01", "i", 70), SLIDE(sly, "2025-01-01", sly, 60),
    SLIDE(sly, "2025-01-01", sly, 70),
};

static int open_studio(void **state)
{
    if (enter_new_folder(state) != 0)
        return -1;
    setenv("SEAMLINE_JOURNAL", "j.db", 1);
    unsetenv("DISPLAY");
    unsetenv("WAYLAND_DISPLAY");
    journal_close(fill("j.db", studio, N_OF(studio)));
    return 0;
}

static bool holds_figure(const char *text, double estimate, double lo, double hi)
{
    char *wanted = xformat(">%.2f</td><td class=\"short\">%.2f to %.2f<", estimate, lo, hi);
    bool there = strstr(text, wanted) != NULL;
    free(wanted);
    return there;
}

/* A number of the table that map prints, as the page rounds it, which knows more digits than the
 * table's three; or that none is told. */
static void assert_figure(const char *text, const table *t, const char *parameter)
{
    for (size_t i = 0; i < t->n_rows; i++)
        if (strcmp(cell(t, i, "parameter"), parameter) == 0) {
            double estimate = number(t, i, "estimate"), digit = 0.0005;
            double lo = number(t, i, "lo95"), hi = number(t, i, "hi95");
            bool there = isnan(estimate) && strstr(text, ">not told<");
            for (int k = 0; k < 8 && !there; k++)
                there = holds_figure(text, estimate + (k & 1 ? digit : -digit),
                                     lo + (k & 2 ? digit : -digit), hi + (k & 4 ? digit : -digit));
            if (!there)
                fail_msg("the page has no %s of %g, %g to %g", parameter, estimate, lo, hi);
            return;
        }
    fail_msg("map has no row %s", parameter);
}

static void the_page_says_what_map_says(void **state)
{
    (void)state;
    said map = run("map", "wren", "--vowel", "a");
    table *t = table_of(&map);
    check_done(run("report", "wren", "-o", "wren.html"));
    char *text = read_file("wren.html");
    assert_figure(text, t, "up.pitch");
    assert_figure(text, t, "down.pitch");
    assert_figure(text, t, "up.leap");
    /* of a: map, sessions, progress, held; of i: map, held */
    assert_int_equal(count(text, "<figure>"), 6);
    assert_holds(text, "on the vowel a<");
    assert_holds(text, "on the vowel i<");
    assert_int_equal(count(text, "not a medical test"), 1);
    assert_int_equal(count(text, ">Exercises on a, about "), 1);
    assert_holds(text, "vary pitch, hold level");
    assert_holds(text, "Made by seamline ");
    table_free(t);
    said_clear(&map);
    check_done(run("report", "wren", "-o", "one.html", "--vowel", "a"));
    char *one = read_file("one.html");
    assert_int_equal(count(one, "<figure>"), 4);
    free(one);
    free(text);
}

/* The two addresses are names of SVG's languages, which no browser asks for. */
static void the_page_needs_nothing_but_itself(void **state)
{
    (void)state;
    check_done(run("report", "wren", "-o", "wren.html"));
    check_done(run("report", "wren", "-o", "again.html"));
    char *text = read_file("wren.html"), *again = read_file("again.html");
    assert_string_equal(text, again);
    assert_int_equal(count(text, "://"), count(text, "xmlns=\"http://www.w3.org/2000/svg\""));
    assert_int_equal(count(text, "src="), 0);
    assert_int_equal(count(text, "<script"), 0);
    assert_int_equal(count(text, "@import"), 0);
    free(text);
    free(again);
}

/* The name is in title, heading, vowel and table, and its quotes, markup and newline are text. */
static void a_hostile_name_is_text(void **state)
{
    (void)state;
    said s = run("report", "--all", "-o", "pages");
    table *t = table_of(&s);
    assert_int_equal(s.code, EXIT_DONE);
    assert_int_equal(t->n_rows, 2);
    assert_string_equal(cell(t, 0, "singer"), sly);
    char *text = read_file(cell(t, 0, "page")), *index = read_file("pages/index.html");
    const char shown[] = "a&#39;&quot;`touch ran`$(touch ran)\\n&lt;/script&gt;&lt;script&gt;x()"
                         "&lt;/script&gt;{/Bold b}_1";
    assert_true(count(text, shown) >= 2);
    assert_int_equal(count(index, shown), 1);
    assert_int_equal(count(text, "<script") + count(index, "<script"), 0);
    assert_int_not_equal(access("ran", F_OK), 0);
    assert_int_equal(strspn(cell(t, 0, "page"), "abcdefghijklmnopqrstuvwxyz0123456789-/."),
                     strlen(cell(t, 0, "page")));
    free(text);
    free(index);
    table_free(t);
    said_clear(&s);
}

/* By every command that tells of a singer: in tables it comes back as it was typed, in pictures and
 * on pages it is text, and nothing runs. */
static void a_hostile_name_is_text_everywhere(void **state)
{
    (void)state;
    static const char *const tables[][2] = {
        {"singers"}, {"takes", sly}, {"held", sly}, {"next", sly}, {"export"}};
    static const struct {
        const char *command, *file;
    } pictures[] = {
        {"map", "p.svg"}, {"progress", "p.svg"}, {"held", "p.svg"}, {"sheet", "p.html"}};
    for (size_t i = 0; i < N_OF(tables); i++) {
        said s = run(tables[i][0], tables[i][1]);
        table *t = table_of(&s);
        assert_int_equal(s.code, EXIT_DONE);
        bool named = table_column(t, "singer") < 0;
        for (size_t row = 0; !named && row < t->n_rows; row++)
            named = strcmp(cell(t, row, "singer"), sly) == 0;
        assert_true(named);
        table_free(t);
        said_clear(&s);
    }
    for (size_t i = 0; i < N_OF(pictures); i++) {
        said s = run(pictures[i].command, sly, "-o", pictures[i].file);
        if (s.code != EXIT_DONE)
            fail_msg("%s: %s", pictures[i].command, s.err);
        char *shown = read_file(pictures[i].file);
        assert_holds(shown, "`touch ran`$(touch ran)\\n&lt;/script");
        assert_int_equal(count(shown, "<script"), 0);
        free(shown);
        said_clear(&s);
        unlink(pictures[i].file);
    }
    assert_int_not_equal(access("ran", F_OK), 0);
}

/* The name that `compare` and `map --sessions` print and draw for a hostile singer, whole in the
 * table and as text, or the beginning of it, in the picture. */
static void check_drawn(const said *s, const char *column, const struct hostile *h, size_t longest)
{
    if (s->code != EXIT_DONE)
        fail_msg("%s", s->err);
    table *t = table_of(s);
    bool told = !column;
    for (size_t row = 0; column && row < t->n_rows; row++)
        told = told || strcmp(cell(t, row, column), h->name) == 0;
    assert_true(told);
    table_free(t);
    char *svg = read_file("p.svg"), *wanted = xstrdup(h->in_svg);
    if (strlen(wanted) > longest)
        wanted[longest] = '\0';
    assert_holds(svg, wanted);
    assert_int_equal(count(svg, "<script"), 0);
    free(wanted);
    free(svg);
}

/* Side by side, and small maps of the days. */
static void hostile_names_are_text_beside_others(void **state)
{
    (void)state;
    enum { FIRST = 6, N = 6 }; /* of hostile[]: backticks, dollars, newlines, markup, script */
    enum { SUNG = 4 };
    static const char *const days[SUNG] = {"2025-01-01", "2025-01-01", "2025-02-01", "2025-02-01"};
    sung takes[N * SUNG];
    const char *argv[N + 6] = {"compare", "--journal", "crowd.db", "-o", "p.svg"};
    for (size_t i = 0; i < N; i++) {
        argv[5 + i] = hostile[FIRST + i].name;
        for (size_t k = 0; k < SUNG; k++)
            takes[i * SUNG + k] = (sung)SLIDE(hostile[FIRST + i].name, days[k], "a",
                                              60 + 10 * (double)(k % 2) + (double)i);
    }
    journal_close(fill("crowd.db", takes, N * SUNG));
    said all = run_list(argv);
    for (size_t i = 0; i < N; i++)
        check_drawn(&all, "singer", &hostile[FIRST + i], 20);
    said_clear(&all);
    for (size_t i = 0; i < N; i++) {
        const struct hostile *h = &hostile[FIRST + i];
        said one = run("map", h->name, "--sessions", "--journal", "crowd.db", "-o", "p.svg");
        check_drawn(&one, NULL, h, 60);
        said_clear(&one);
    }
    assert_int_not_equal(access("ran", F_OK), 0);
}

static void what_cannot_be_done_gets_a_sentence(void **state)
{
    (void)state;
    check_refused(run("report", "wren"), EXIT_USAGE, "-o FILE.html");
    check_refused(run("report", "wren", "-o", "wren.pdf"), EXIT_USAGE, "must end in .html");
    check_refused(run("report", "-o", "wren.html"), EXIT_USAGE, "Name one singer");
    check_refused(run("report", "--all", "wren", "-o", "p"), EXIT_USAGE, "name none");
    check_refused(run("report", "wrne", "-o", "p.html"), EXIT_INPUT, "wren");
    check_refused(run("report", "wren", "-o", "no/p.html"), EXIT_INPUT, "No such file");
    check_refused(run("report", "wren", "-o", "p.html", "--vowel", "u"), EXIT_INPUT, "vowel");
    write_file("file", "mine");
    check_refused(run("report", "--all", "-o", "file"), EXIT_INPUT, "could not be made");
    assert_int_not_equal(access("p.html", F_OK), 0);
}

/* Without gnuplot there is no half of a page, and the page that was there stays. */
static void a_page_that_fails_leaves_what_was_there(void **state)
{
    (void)state;
    char *was = xstrdup(getenv("PATH"));
    write_file("wren.html", "mine");
    setenv("PATH", "/nonexistent", 1);
    check_refused(run("report", "wren", "-o", "wren.html"), EXIT_INPUT, "gnuplot");
    said all = run("report", "--all", "-o", "none");
    setenv("PATH", was, 1);
    assert_int_equal(all.code, EXIT_INPUT);
    assert_int_equal(lines(all.err), 2);
    said_clear(&all);
    char *kept = read_file("wren.html"), *index = read_file("none/index.html");
    assert_string_equal(kept, "mine");
    assert_int_equal(count(index, ">failed<"), 2);
    assert_int_equal(count(index, "href=\""), 1); /* the icon's */
    free(kept);
    free(index);
    free(was);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_page_says_what_map_says),
        cmocka_unit_test(the_page_needs_nothing_but_itself),
        cmocka_unit_test(a_hostile_name_is_text),
        cmocka_unit_test(a_hostile_name_is_text_everywhere),
        cmocka_unit_test(hostile_names_are_text_beside_others),
        cmocka_unit_test(what_cannot_be_done_gets_a_sentence),
        cmocka_unit_test(a_page_that_fails_leaves_what_was_there),
    };
    return cmocka_run_group_tests_name("report", tests, open_studio, leave_folder);
}
