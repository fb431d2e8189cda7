/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pages without a browser. Oracles: the five characters that HTML gives a meaning (HTML standard,
 * section 13.1.2.6 and named references), written out by hand; that tags balance; that a figure's
 * names are on the page once. What a browser makes of a page: make test-page. */
#include "base/array.h"
#include "show/page.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "run_program.h"

/* The page as it is written; frees p. */
static char *written(page *p)
{
    err e = {""};
    if (!page_write(p, "p.html", &e))
        fail_msg("%s", e.text);
    page_free(p);
    return read_file("p.html");
}

static const char hostile[] =
    "</title><script>x()</script>\"'&\n\x07\xFF`a` $b {c} \xF0\x9F\x90\xA6";
static const char harmless[] =
    "&lt;/title&gt;&lt;script&gt;x()&lt;/script&gt;&quot;&#39;&amp;\\n\\x07"
    "\xEF\xBF\xBD`a` $b {c} \xF0\x9F\x90\xA6";

/* In every place that takes text by anyone. */
static void text_is_never_markup(void **state)
{
    (void)state;
    page *p = page_new(hostile);
    const char *const items[] = {hostile};
    const char svg[] = "<svg viewBox=\"0 0 1 1\"><g id=\"c\"></g></svg>";
    page_heading(p, 1, hostile);
    page_list(p, items, 1);
    page_link(p, "x.html", hostile);
    page_table_begin(p, "caption", "a|b|c");
    page_cell(p, hostile);
    page_cell_format(p, "%s", hostile);
    page_cell_link(p, "x.html", hostile);
    page_table_end(p);
    page_figure(p, svg, hostile, hostile, "", "caption");
    char *text = written(p);
    assert_int_equal(count(text, harmless), 9);
    assert_int_equal(count(text, "<script"), 0);
    free(text);
}

/* A newline parts paragraphs. */
static void lines_are_paragraphs(void **state)
{
    (void)state;
    page *p = page_new("t");
    page_paragraphs(p, NULL, "one\n\ntwo <b>");
    page_paragraphs(p, "warning", "three");
    char *text = written(p);
    assert_holds(text, "<p>one</p>\n<p>two &lt;b&gt;</p>\n<p class=\"warning\">three</p>");
    free(text);
}

static void rows_are_whole(void **state)
{
    (void)state;
    page *p = page_new("t");
    page_table_begin(p, "c", "x|y");
    for (int i = 0; i < 4; i++)
        page_cell_format(p, "%d", i);
    page_table_end(p);
    char *text = written(p);
    assert_holds(
        text,
        "<tr><th scope=\"row\" class=\"short\">0</th><td class=\"short\">1</td></tr>\n"
        "<tr><th scope=\"row\" class=\"short\">2</th><td class=\"short\">3</td></tr>\n</tbody>");
    free(text);
}

/* Two drawings with the same names inside, and text that looks like one. */
static void names_are_on_the_page_once(void **state)
{
    (void)state;
    const char svg[] = "<?xml?><svg viewBox=\"0 0 9 9\"><title>Gnuplot</title>\n<g id=\"canvas\">"
                       "<path id='gpPt1' d='M0,0'/><use xlink:href='#gpPt1'/>"
                       "<text>it is id='gpPt1' here</text></g></svg>\n";
    page *p = page_new("t");
    page_figure(p, svg, "first", "words", "", "caption");
    page_figure(p, svg, "second", "words", "<p>key</p>", "caption");
    char *text = written(p);
    assert_int_equal(count(text, "<path id='f1-gpPt1'"), 1);
    assert_int_equal(count(text, "<use xlink:href='#f2-gpPt1'/>"), 1);
    assert_int_equal(count(text, "it is id='gpPt1' here"), 2);
    assert_int_equal(count(text, "Gnuplot"), 0);
    assert_holds(text, "<svg role=\"img\" xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 9 9\" "
                       "aria-labelledby=\"f1-name\" aria-describedby=\"f1-words\">\n"
                       "<title id=\"f1-name\">first</title>\n<desc id=\"f1-words\">words</desc>");
    assert_int_equal(count(text, "<svg"), count(text, "</svg>"));
    free(text);
}

static void assert_named(const char *text, const char *wanted)
{
    char *name = page_file_name(text);
    assert_string_equal(name, wanted);
    free(name);
}

/* Digests: printf %s TEXT | sha256sum. */
static void file_names_are_plain_and_differ(void **state)
{
    (void)state;
    assert_named("wren", "wren.html");
    assert_named("", "e3b0c44298fc.html");
    assert_named("../a/b", "ab-8e7e11e418be.html");
    assert_named("Wren", "ren-c4dffe13abf1.html");
    const char *const names[] = {"INDEX", "\xC3\xB6", "\xC3\xA4", "a b", "ab ", "..", ".", "index"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        for (size_t k = 0; k < i; k++) {
            char *one = page_file_name(names[i]), *other = page_file_name(names[k]);
            assert_string_not_equal(one, other);
            assert_string_not_equal(one, "index.html");
            free(one);
            free(other);
        }
}

static void a_page_appears_whole_or_not_at_all(void **state)
{
    (void)state;
    err e = {""};
    page *p = page_new("t");
    assert_false(page_write(p, "no/such/p.html", &e));
    assert_non_null(
        strstr(e.text, "The page \"no/such/p.html\" could not be written: No such file"));
    assert_int_equal(mkdir("p.html", 0700), 0);
    assert_false(page_write(p, "p.html", &e));
    assert_non_null(strstr(e.text, "no plain file"));
    assert_int_equal(rmdir("p.html"), 0);
    page_free(p);
}

#define IN_FOLDER(f) cmocka_unit_test_setup_teardown(f, enter_new_folder, leave_folder)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_FOLDER(text_is_never_markup),
        IN_FOLDER(lines_are_paragraphs),
        IN_FOLDER(rows_are_whole),
        IN_FOLDER(names_are_on_the_page_once),
        cmocka_unit_test(file_names_are_plain_and_differ),
        IN_FOLDER(a_page_appears_whole_or_not_at_all),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
