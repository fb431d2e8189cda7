/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pages of `seamline report` in a browser. Oracles: what the browser itself says: its console, its
 * layout, the accessibility tree that it hands to screen readers, and the PDF that it prints, read
 * by another program (poppler's pdftotext). A control page with every fault at once shows that each
 * fault would be noticed. */
#include <fcntl.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/stat.h>

#include <cmocka.h>

#include "fill_journal.h"
#include "page/browser.h"
#include "run_program.h"

enum { PHONE_PX = 360, DESK_PX = 1280 };

#define SLIDE(who, day, level)                                                                     \
    {                                                                                              \
        who, day, "a", NULL, level, 110, 900, LEVEL, PITCH, DECLARED_NONE, true                    \
    }
#define SESSION(who, day) SLIDE(who, day, 60), SLIDE(who, day, 70), SLIDE(who, day, 80)

#define TEN(x) x x x x x x x x x x
#define LONG_NAME                                                                                  \
    TEN("n")                                                                                       \
    TEN(TEN("m")) TEN("o") TEN("p") TEN("q") TEN("r") TEN("s") TEN("t") TEN("u") TEN("v") TEN("w")

/* What is typed, and what is to be read on the page. */
static const struct {
    const char *name, *shown;
} singers[] = {
    {"wren", "wren"},
    {"</script><script>ran = 1</script>", "</script><script>ran = 1</script>"},
    {"<img src=x onerror='ran = 1'>", "<img src=x onerror='ran = 1'>"},
    {"\"' onload=\"ran = 1\" '", "\"' onload=\"ran = 1\" '"},
    {"`touch ran` $(touch ran) ${HOME}", "`touch ran` $(touch ran) ${HOME}"},
    {"two\nlines", "two\\nlines"},
    {"{/Bold=30 a}_1^2 @s ~b{c} &amp; \\alpha", "{/Bold=30 a}_1^2 @s ~b{c} &amp; \\alpha"},
    {"Zaunk\xC3\xB6nig \xF0\x9F\x90\xA6", "Zaunk\xC3\xB6nig \xF0\x9F\x90\xA6"},
    {LONG_NAME, LONG_NAME},
};
enum { SINGERS = sizeof singers / sizeof *singers };

typedef struct studio {
    browser *b;
    char *folder, *pages[SINGERS]; /* as the program names them, in the order of singers */
} studio;

static studio *the(void **state)
{
    return *state;
}

static void fill_with_singers(void)
{
    enum { MOST = 3 * (SINGERS + 4) };
    static const char *const days[] = {"2025-01-01", "2025-02-01", "2025-03-01", "2025-04-01"};
    sung takes[MOST];
    size_t n = 0;
    for (size_t i = 0; i < SINGERS; i++)
        for (size_t d = 0; d < (i ? 1 : 4); d++) {
            const sung session[] = {SESSION(singers[i].name, days[d])};
            memcpy(takes + n, session, sizeof session);
            n += N_OF(session);
        }
    journal_close(fill("j.db", takes, n));
}

/* The table that report prints says which page is whose. */
static void find_pages(studio *s, const table *t)
{
    for (size_t i = 0; i < SINGERS; i++)
        for (size_t row = 0; row < t->n_rows; row++)
            if (strcmp(cell(t, row, "singer"), singers[i].name) == 0)
                s->pages[i] = xstrdup(cell(t, row, "page"));
    for (size_t i = 0; i < SINGERS; i++)
        assert_non_null(s->pages[i]);
}

static int open_studio(void **state)
{
    void *folder;
    studio *s = xcalloc(1, sizeof *s);
    if (enter_new_folder(&folder) != 0)
        return -1;
    s->folder = folder;
    fill_with_singers();
    said made = run("report", "--all", "-o", "pages", "--journal", "j.db");
    if (made.code != 0)
        fail_msg("%s", made.err);
    table *t = table_of(&made);
    find_pages(s, t);
    table_free(t);
    said_clear(&made);
    s->b = browser_start("profile");
    *state = s;
    return 0;
}

static int close_studio(void **state)
{
    studio *s = *state;
    void *folder = s->folder;
    browser_stop(s->b);
    for (size_t i = 0; i < SINGERS; i++)
        free(s->pages[i]);
    free(s);
    return leave_folder(&folder);
}

static long whole(browser *b, const char *expression)
{
    json_t *value = browser_value(b, expression);
    assert_true(json_is_integer(value));
    long n = (long)json_integer_value(value);
    json_decref(value);
    return n;
}

static char *words(browser *b, const char *expression)
{
    json_t *value = browser_value(b, expression);
    assert_true(json_is_string(value));
    char *text = xstrdup(json_string_value(value));
    json_decref(value);
    return text;
}

static void nothing_said(const studio *s, const char *page)
{
    if (*browser_complaints(s->b))
        fail_msg("%s: %s", page, browser_complaints(s->b));
}

static void assert_nothing(browser *b, const char *page, const char *what, const char *expression)
{
    char *found = words(b, expression);
    if (*found)
        fail_msg("%s: %s: %s", page, what, found);
    free(found);
}

/* What sticks out to the right of a page so wide, but for what scrolls in a box of its own: a
 * function of the width. */
static const char overflowing[] =
    "(w => { let out = document.documentElement.scrollWidth > w ? "
    "'the page, ' + document.documentElement.scrollWidth + ' of ' + w + '; ' : '';"
    "for (const e of document.body.querySelectorAll('*')) {"
    "  const r = e.getBoundingClientRect();"
    "  if (!e.closest('.wide > *') && !e.closest('svg > *') && r.right > w + 0.5)"
    "    out += e.tagName + ' '; }"
    "return out; })";

/* Texts in figures that would be read at less than 7 px. */
static const char too_small[] =
    "(() => { let out = '';"
    "for (const svg of document.querySelectorAll('figure > svg')) {"
    "  const zoom = svg.clientWidth / svg.viewBox.baseVal.width;"
    "  for (const t of svg.querySelectorAll('text')) {"
    "    const px = zoom * parseFloat(getComputedStyle(t).fontSize);"
    "    if (t.textContent.trim() && !(px >= 7)) out += t.textContent + ' ' + px + '; '; } }"
    "return out; })()";

/* Texts of a figure that overlap each other by more than 2 px each way. */
static const char overlapping[] =
    "(() => { let out = '';"
    "for (const svg of document.querySelectorAll('figure > svg')) {"
    "  const all = [...svg.querySelectorAll('text')].filter(t => t.textContent.trim())"
    "    .map(t => [t.textContent, t.getBoundingClientRect()]);"
    "  for (let i = 0; i < all.length; i++) for (let k = 0; k < i; k++) {"
    "    const a = all[i][1], b = all[k][1];"
    "    if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 2 &&"
    "        Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 4)"
    "      out += all[i][0] + ' on ' + all[k][0] + '; '; } }"
    "return out; })()";

static const char doubled[] = "(() => { const seen = {}; let out = '';"
                              "for (const e of document.querySelectorAll('[id]')) {"
                              "  if (seen[e.id]) out += e.id + ' '; seen[e.id] = 1; }"
                              "return out; })()";

static const char dangling[] =
    "[...document.querySelectorAll('use')].map(u => u.href.baseVal.slice(1))"
    ".filter(id => !document.getElementById(id)).join(' ')";

static char *what_overflows(browser *b, int width_px)
{
    char *call = xformat("%s(%d)", overflowing, width_px), *found = words(b, call);
    free(call);
    return found;
}

static void assert_fits(browser *b, const char *page, int width_px)
{
    char *found = what_overflows(b, width_px);
    if (*found)
        fail_msg("%s at %d px sticks out: %s", page, width_px, found);
    free(found);
}

static void looks_right(studio *s, const char *page)
{
    const int widths[] = {PHONE_PX, DESK_PX};
    for (int i = 0; i < 2; i++) {
        browser_open(s->b, page, widths[i]);
        nothing_said(s, page);
        assert_fits(s->b, page, widths[i]);
        assert_nothing(s->b, page, "too small to read", too_small);
        assert_nothing(s->b, page, "overlap", overlapping);
    }
    assert_nothing(s->b, page, "the same id twice", doubled);
    assert_nothing(s->b, page, "no such mark", dangling);
    assert_int_equal(whole(s->b, "document.scripts.length"), 0);
}

static void pages_say_nothing_and_fit_a_telephone(void **state)
{
    for (size_t i = 0; i < SINGERS; i++)
        looks_right(the(state), the(state)->pages[i]);
    looks_right(the(state), "pages/index.html");
}

/* A name is read as it was typed, nothing in it runs, and it makes no element. */
static void hostile_names_are_text(void **state)
{
    studio *s = the(state);
    for (size_t i = 0; i < SINGERS; i++) {
        browser_open(s->b, s->pages[i], DESK_PX);
        char *h1 = words(s->b, "document.querySelector('h1').textContent");
        assert_string_equal(h1, singers[i].shown);
        free(h1);
        assert_int_equal(whole(s->b, "document.querySelector('h1').childElementCount"), 0);
        assert_int_equal(whole(s->b, "typeof ran == 'undefined' ? 0 : 1"), 0);
        assert_int_equal(whole(s->b, "document.querySelectorAll('img, script, [onload]').length"),
                         0);
    }
    assert_int_not_equal(access("ran", F_OK), 0);
}

static void the_index_leads_to_every_page(void **state)
{
    studio *s = the(state);
    browser_open(s->b, "pages/index.html", PHONE_PX);
    assert_int_equal(whole(s->b, "document.querySelectorAll('tbody a').length"), SINGERS);
    char *links =
        words(s->b, "[...document.querySelectorAll('tbody a')]"
                    ".map(a => decodeURI(a.href).split('/').pop() + '\\t' + a.textContent)"
                    ".join('\\n')");
    for (size_t i = 0; i < SINGERS; i++) {
        char *link = xformat("%s\t%s", strrchr(s->pages[i], '/') + 1, singers[i].shown);
        if (!strstr(links, link))
            fail_msg("no link %s in %s", link, links);
        free(link);
    }
    free(links);
}

static const char *ax_text(const json_t *node, const char *what)
{
    return json_string_value(json_object_get(json_object_get(node, what), "value"));
}

/* How many nodes of that role screen readers are told of, each with a name (and a description);
 * -1 when one has none. */
static long told(browser *b, const char *role, bool described)
{
    json_t *tree = browser_call(b, "Accessibility.getFullAXTree", NULL), *node;
    size_t i;
    long n = 0, without = 0;
    json_array_foreach(json_object_get(tree, "nodes"), i, node)
    {
        const char *is = ax_text(node, "role"), *name = ax_text(node, "name"),
                   *more = ax_text(node, "description");
        if (json_is_true(json_object_get(node, "ignored")) || !is || strcmp(is, role) != 0)
            continue;
        n++;
        without += !name || strlen(name) < 4 || (described && (!more || strlen(more) < 20));
    }
    json_decref(tree);
    return without ? -1 : n;
}

static void figures_have_names_and_words(void **state)
{
    studio *s = the(state);
    browser_open(s->b, s->pages[0], PHONE_PX);
    long figures = whole(s->b, "document.querySelectorAll('figure').length");
    assert_int_equal(figures, 4); /* map, maps of the sessions, progress, held */
    assert_int_equal(told(s->b, "image", true), figures);
    assert_int_equal(told(s->b, "table", false),
                     whole(s->b, "document.querySelectorAll('table').length"));
    assert_int_equal(whole(s->b, "document.querySelectorAll('h1').length"), 1);
    assert_int_equal(whole(s->b, "document.documentElement.lang == 'en' && document.title != ''"
                                 " ? 1 : 0"),
                     1);
}

/* Poppler on the PDF. */
static char *read_pdf(const char *option, const char *pdf)
{
    const char *const argv[] = {"pdftotext", option, pdf, "pdf.txt", NULL};
    int status = -1;
    if (process_run(argv, NULL, 0, STDOUT_FILENO, STDERR_FILENO, &status) != PROCESS_DONE)
        fail_msg("pdftotext is missing: it is in poppler-utils");
    assert_int_equal(status, 0);
    return read_file("pdf.txt");
}

/* The page, from 0, on which all words of a text stand; -1 when none. */
static int page_with(const char *pages, const char *text)
{
    char *copy = xstrdup(pages), *rest = copy;
    int found = -1, n = 0;
    for (char *page; found < 0 && (page = strtok_r(rest, "\f", &rest)); n++) {
        char *wanted = xstrdup(text), *left = wanted;
        bool all = true;
        for (char *word; all && (word = strtok_r(left, " ", &left));)
            all = strstr(page, word) != NULL;
        free(wanted);
        found = all ? n : -1;
    }
    free(copy);
    return found;
}

/* All texts of every figure are on one page of the PDF: no figure is missing, none is cut. */
static void printed_pages_have_every_figure(void **state)
{
    studio *s = the(state);
    browser_open(s->b, s->pages[0], DESK_PX);
    json_t *figures = browser_value(
        s->b, "[...document.querySelectorAll('figure > svg')].map(svg =>"
              " [...svg.querySelectorAll('text')].map(t => t.textContent).join(' '))");
    browser_print(s->b, "wren.pdf");
    char *pages = read_pdf("-layout", "wren.pdf");
    size_t i;
    json_t *figure;
    assert_int_equal(json_array_size(figures), 4);
    json_array_foreach(figures, i, figure)
    {
        const char *texts = json_string_value(figure);
        assert_true(strlen(texts) > 40);
        if (page_with(pages, texts) < 0)
            fail_msg("no page has all of figure %zu: %s", i + 1, texts);
        print_message("figure %zu is on page %d\n", i + 1, page_with(pages, texts) + 1);
    }
    json_decref(figures);
    free(pages);
}

/* A4 (ISO 216: 210 x 297 mm, 595.3 x 841.9 pt), and every word within 12 mm of its edges. */
static void printed_pages_are_a4_and_nothing_is_cut(void **state)
{
    const double edge = 34;
    studio *s = the(state);
    for (size_t i = 0; i < SINGERS; i++) {
        browser_open(s->b, s->pages[i], DESK_PX);
        browser_print(s->b, "one.pdf");
        char *text = read_pdf("-bbox", "one.pdf");
        size_t n = 0;
        double width, height, x[2], y[2];
        for (const char *at = text; (at = strstr(at, "<page width")); at++) {
            assert_int_equal(sscanf(at, "<page width=\"%lf\" height=\"%lf\"", &width, &height), 2);
            assert_true(fabs(width - 595.3) < 1 && fabs(height - 841.9) < 1);
        }
        for (const char *at = text; (at = strstr(at, "<word xMin")); at++, n++) {
            assert_int_equal(sscanf(at, "<word xMin=\"%lf\" yMin=\"%lf\" xMax=\"%lf\" yMax=\"%lf\"",
                                    &x[0], &y[0], &x[1], &y[1]),
                             4);
            if (x[0] < edge || x[1] > 595.3 - edge || y[0] < edge || y[1] > 841.9 - edge)
                fail_msg("%s: at the edge: %.120s", s->pages[i], at);
        }
        assert_true(n > 300);
        free(text);
    }
}

/* Words reach into the last quarter of every page but the last. */
static void no_printed_page_is_a_quarter_empty(void **state)
{
    const double quarter = 0.75 * 841.9;
    studio *s = the(state);
    browser_open(s->b, s->pages[0], DESK_PX);
    browser_print(s->b, "one.pdf");
    char *text = read_pdf("-bbox", "one.pdf");
    const char *word = text, *next;
    int pages = 0;
    for (const char *page = strstr(text, "<page "); (next = strstr(page + 1, "<page "));
         page = next, pages++) {
        double lowest = 0, y;
        for (; (word = strstr(word, "<word ")) && word < next; word++)
            if (sscanf(strstr(word, "yMax="), "yMax=\"%lf\"", &y) == 1)
                lowest = fmax(lowest, y);
        print_message("page %d ends at %.0f of 842 pt\n", pages + 1, lowest);
        assert_true(lowest > quarter);
    }
    assert_true(pages > 3);
    free(text);
}

/* Every fault on one page: each check above has to notice its own. */
static void faults_are_noticed(void **state)
{
    studio *s = the(state);
    write_file(
        "fault.html",
        "<!DOCTYPE html><meta name='viewport' "
        "content='width=device-width'><title>t</title><script>ran = 1; console.error('e')</script>"
        "<img src='gone.png'><div style='width: 500px'>wide</div>"
        "<figure><svg viewBox='0 0 1200 100'><text x='9' y='50' font-size='12'>small</text>"
        "<text x='9' y='51' font-size='300'>large</text>"
        "<text x='9' y='90' font-size='300'>over it</text>"
        "<use href='#gone'/><g id='a'></g><g id='a'></g></svg></figure>");
    browser_open(s->b, "fault.html", PHONE_PX);
    const char *heard = browser_complaints(s->b);
    assert_non_null(strstr(heard, "error: [{"));
    assert_non_null(strstr(heard, "asked for: file:"));
    assert_non_null(strstr(heard, "ERR_FILE_NOT_FOUND"));
    char *wide = what_overflows(s->b, PHONE_PX);
    assert_non_null(strstr(wide, "DIV"));
    free(wide);
    static const char *const checks[] = {too_small, overlapping, doubled, dangling};
    for (size_t i = 0; i < sizeof checks / sizeof *checks; i++) {
        char *found = words(s->b, checks[i]);
        if (!*found)
            fail_msg("fault %zu goes unnoticed", i);
        free(found);
    }
    assert_int_equal(whole(s->b, "typeof ran == 'undefined' ? 0 : 1"), 1);
    assert_int_equal(told(s->b, "image", false), -1);
    assert_int_equal(page_with("one two\fthree", "two three"), -1);
    assert_int_equal(page_with("one two\fthree", "three"), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(faults_are_noticed),
        cmocka_unit_test(pages_say_nothing_and_fit_a_telephone),
        cmocka_unit_test(hostile_names_are_text),
        cmocka_unit_test(the_index_leads_to_every_page),
        cmocka_unit_test(figures_have_names_and_words),
        cmocka_unit_test(printed_pages_have_every_figure),
        cmocka_unit_test(printed_pages_are_a4_and_nothing_is_cut),
        cmocka_unit_test(no_printed_page_is_a_quarter_empty),
    };
    return cmocka_run_group_tests_name("page", tests, open_studio, close_studio);
}
