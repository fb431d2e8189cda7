/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/page.h"

#include "base/array.h"
#include "base/text.h"
#include "base/whole_file.h"
#include "show/page_style.h"

#include <assert.h>
#include <nettle/sha2.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct page {
    char *text; /* always with a final NUL */
    size_t n, room;
    size_t figures;
    size_t columns, column; /* of the table that is open; the next cell's */
};

static void append(page *p, const char *bytes, size_t n)
{
    array_reserve((void **)&p->text, &p->room, p->n + n + 1, 1);
    memcpy(p->text + p->n, bytes, n);
    p->n += n;
    p->text[p->n] = '\0';
}

void page_markup(page *p, const char *markup)
{
    append(p, markup, strlen(markup));
}

void page_text(page *p, const char *text)
{
    char *shown = text_visible(text ? text : "");
    for (const char *c = shown; *c; c++)
        switch (*c) {
        case '&':
            page_markup(p, "&amp;");
            break;
        case '<':
            page_markup(p, "&lt;");
            break;
        case '>':
            page_markup(p, "&gt;");
            break;
        case '"':
            page_markup(p, "&quot;");
            break;
        case '\'':
            page_markup(p, "&#39;");
            break;
        default:
            append(p, c, 1);
        }
    free(shown);
}

page *page_new(const char *title)
{
    page *p = xcalloc(1, sizeof *p);
    page_markup(p, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                   "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                   "<meta http-equiv=\"Content-Security-Policy\" "
                   "content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:\">\n"
                   "<link rel=\"icon\" href=\"data:,\">\n<title>");
    page_text(p, title);
    page_markup(p, "</title>\n<style>\n");
    page_markup(p, page_style);
    page_markup(p, "</style>\n</head>\n<body>\n<main>\n");
    return p;
}

void page_free(page *p)
{
    if (p)
        free(p->text);
    free(p);
}

bool page_name_check(const char *path, err *e)
{
    const char *dot = strrchr(path, '.');
    return (dot && (strcmp(dot, ".html") == 0 || strcmp(dot, ".htm") == 0)) ||
           err_set(e, "The name of the page, \"%s\", must end in .html.", path);
}

bool page_write(const page *p, const char *path, err *e)
{
    static const char end[] = "</main>\n</body>\n</html>\n";
    char *whole = xformat("%s%s", p->text, end);
    bool ok = whole_file_write(path, "page", whole, strlen(whole), e);
    free(whole);
    return ok;
}

static void element(page *p, const char *open, const char *text, const char *close)
{
    page_markup(p, open);
    page_text(p, text);
    page_markup(p, close);
}

void page_heading(page *p, int level, const char *text)
{
    static const char *const open[] = {"<h1>", "<h2>", "<h3>"}, *const close[] = {"</h1>\n",
                                                                                  "</h2>\n",
                                                                                  "</h3>\n"};
    assert(level >= 1 && level <= 3);
    element(p, open[level - 1], text, close[level - 1]);
}

void page_paragraphs(page *p, const char *css_class, const char *text)
{
    char *copy = xstrdup(text), *rest = copy;
    for (char *line; (line = strtok_r(rest, "\n", &rest));) {
        page_markup(p, css_class ? "<p class=\"" : "<p");
        page_markup(p, css_class ? css_class : "");
        element(p, css_class ? "\">" : ">", line, "</p>\n");
    }
    free(copy);
}

void page_list(page *p, const char *const *items, size_t n)
{
    page_markup(p, "<ul>\n");
    for (size_t i = 0; i < n; i++)
        element(p, "<li>", items[i], "</li>\n");
    page_markup(p, "</ul>\n");
}

void page_link(page *p, const char *href, const char *text)
{
    element(p, "<a href=\"", href, "\">");
    element(p, "", text, "</a>");
}

void page_table_begin(page *p, const char *caption, const char *columns)
{
    char name[TEXT_WORD_SIZE];
    assert(p->columns == 0);
    element(p, "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"", caption,
            "\">\n");
    element(p, "<table>\n<caption>", caption, "</caption>\n<thead>\n<tr>");
    for (; text_word(columns, p->columns, name); p->columns++)
        element(p, "<th scope=\"col\" class=\"short\">", name, "</th>");
    page_markup(p, "</tr>\n</thead>\n<tbody>\n");
}

/* What is short is not broken into lines. */
static void cell_open(page *p, const char *text)
{
    enum { SHORT = 20 };
    page_markup(p, p->column ? "<td" : "<tr><th scope=\"row\"");
    page_markup(p, strlen(text) <= SHORT ? " class=\"short\">" : ">");
}

static const char *cell_close(page *p)
{
    bool first = p->column == 0;
    p->column = (p->column + 1) % p->columns;
    if (p->column)
        return first ? "</th>" : "</td>";
    return first ? "</th></tr>\n" : "</td></tr>\n";
}

void page_cell(page *p, const char *text)
{
    cell_open(p, text);
    page_text(p, text);
    page_markup(p, cell_close(p));
}

void page_cell_format(page *p, const char *format, ...)
{
    char text[512];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    page_cell(p, text);
}

void page_cell_link(page *p, const char *href, const char *text)
{
    cell_open(p, text);
    page_link(p, href, text);
    page_markup(p, cell_close(p));
}

void page_table_end(page *p)
{
    assert(p->columns > 0 && p->column == 0);
    p->columns = 0;
    page_markup(p, "</tbody>\n</table>\n</div>\n");
}

/* gnuplot names its marks alike in every picture: within tags they get the figure's number, so that
 * each name is on the page once. Text holds no "<". */
static void append_drawing(page *p, const char *svg, size_t number)
{
    static const char *const names[] = {"id='", "id=\"", "href='#", "url(#"};
    char own[32];
    bool tag = false;
    snprintf(own, sizeof own, "f%zu-", number);
    for (const char *c = svg; *c && strncmp(c, "</svg>", 6) != 0;) {
        size_t n = 1;
        for (size_t i = 0; tag && i < sizeof names / sizeof *names; i++)
            if (strncmp(c, names[i], strlen(names[i])) == 0)
                n = strlen(names[i]);
        tag = *c == '<' || (tag && *c != '>');
        append(p, c, n);
        if (n > 1)
            page_markup(p, own);
        c += n;
    }
}

void page_figure(page *p, const char *svg, const char *name, const char *description,
                 const char *key, const char *caption)
{
    const char *box = strstr(svg, "viewBox=\""), *drawing = strstr(svg, "<g id=");
    char number[32];
    assert(box && drawing);
    snprintf(number, sizeof number, "f%zu", ++p->figures);
    page_markup(p, "<figure>\n<svg role=\"img\" xmlns=\"http://www.w3.org/2000/svg\" ");
    append(p, box, strcspn(box + 9, "\"") + 10);
    element(p, " aria-labelledby=\"", number, "-name\"");
    element(p, " aria-describedby=\"", number, "-words\">\n");
    element(p, "<title id=\"", number, "-name\">");
    element(p, "", name, "</title>\n");
    element(p, "<desc id=\"", number, "-words\">");
    element(p, "", description, "</desc>\n");
    append_drawing(p, drawing, p->figures);
    page_markup(p, "</svg>\n");
    page_markup(p, key);
    page_markup(p, "<figcaption>\n");
    page_paragraphs(p, NULL, caption);
    page_markup(p, "</figcaption>\n</figure>\n");
}

static bool plain(unsigned char c)
{
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
}

char *page_file_name(const char *text)
{
    enum { LONGEST = 40, DIGITS = 6 };
    char name[LONGEST + 1] = "";
    unsigned char digest[SHA256_DIGEST_SIZE];
    struct sha256_ctx hash;
    size_t n = 0;
    for (const char *c = text; *c && n < LONGEST; c++)
        if (plain((unsigned char)*c))
            name[n++] = *c;
    if (n && strcmp(name, text) == 0 && strcmp(name, "index") != 0)
        return xformat("%s.html", name);
    sha256_init(&hash);
    sha256_update(&hash, strlen(text), (const uint8_t *)text);
    sha256_digest(&hash, sizeof digest, digest);
    char digits[2 * DIGITS + 1] = "";
    for (int i = 0; i < DIGITS; i++)
        snprintf(digits + 2 * i, 3, "%02x", digest[i]);
    return xformat("%s%s%s.html", name, n ? "-" : "", digits);
}
