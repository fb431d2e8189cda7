/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/text.h"

#include "base/array.h"

#include <assert.h>
#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <wchar.h>

/* Bytes of the character that begins at s, by table 3-7 of the Unicode standard; 0 when none does.
 */
static size_t character_bytes(const unsigned char *s)
{
    if (s[0] < 0x80)
        return 1;
    size_t n = s[0] >= 0xC2 && s[0] <= 0xDF ? 2 : (s[0] & 0xF0) == 0xE0 ? 3 : 4;
    if (s[0] < 0xC2 || s[0] > 0xF4)
        return 0;
    unsigned char lo = 0x80, hi = 0xBF;
    if (s[0] == 0xE0)
        lo = 0xA0;
    else if (s[0] == 0xED)
        hi = 0x9F;
    else if (s[0] == 0xF0)
        lo = 0x90;
    else if (s[0] == 0xF4)
        hi = 0x8F;
    if (s[1] < lo || s[1] > hi)
        return 0;
    for (size_t i = 2; i < n; i++)
        if ((s[i] & 0xC0) != 0x80)
            return 0;
    return n;
}

size_t text_character(const char *text, unsigned long *code)
{
    static const unsigned char masks[] = {0, 0x7F, 0x1F, 0x0F, 0x07};
    const unsigned char *s = (const unsigned char *)text;
    size_t n = character_bytes(s);
    *code = n ? s[0] & masks[n] : TEXT_UNKNOWN;
    for (size_t i = 1; i < n; i++)
        *code = *code << 6 | (s[i] & 0x3F);
    return n ? n : 1;
}

char *text_utf8(const char *bytes)
{
    char *valid = xmalloc(strlen(bytes) + 1, 3), *to = valid;
    while (*bytes) {
        size_t n = character_bytes((const unsigned char *)bytes);
        memcpy(to, n ? bytes : TEXT_UNKNOWN_UTF8, n ? n : 3);
        to += n ? n : 3;
        bytes += n ? n : 1;
    }
    *to = '\0';
    return valid;
}

/* C0, DEL and C1 (U+0080..U+009F). */
static bool is_control(const unsigned char *p)
{
    return p[0] < 0x20 || p[0] == 0x7F || (p[0] == 0xC2 && p[1] < 0xA0);
}

char *text_visible(const char *bytes)
{
    char *valid = text_utf8(bytes), *shown = xmalloc(strlen(valid) + 1, 4), *to = shown;
    for (const unsigned char *p = (const unsigned char *)valid; *p;) {
        size_t n = character_bytes(p);
        if (!is_control(p)) {
            memcpy(to, p, n);
            to += n;
        } else if (*p == '\n' || *p == '\t') {
            to += sprintf(to, "\\%c", *p == '\n' ? 'n' : 't');
        } else {
            to += sprintf(to, "\\x%02X", p[n - 1]);
        }
        p += n;
    }
    *to = '\0';
    free(valid);
    return shown;
}

char *text_shown(const char *bytes, size_t longest)
{
    assert(longest >= 1);
    char *shown = text_visible(bytes), *at = shown, *last = shown;
    unsigned long code;
    for (size_t n = 0; *at; n++, at += text_character(at, &code)) {
        if (n + 1 == longest)
            last = at;
        if (n == longest) {
            *last = '\0';
            char *cut = xformat("%s\xE2\x80\xA6", shown);
            free(shown);
            return cut;
        }
    }
    return shown;
}

/* Where the C library has no UTF-8 locale, every character counts one. */
static size_t columns_of(const char *text, size_t n_bytes)
{
    size_t columns = 0;
    locale_t utf8 = newlocale(LC_CTYPE_MASK, "C.UTF-8", (locale_t)0), former = (locale_t)0;
    if (utf8)
        former = uselocale(utf8);
    for (const char *s = text; s < text + n_bytes;) {
        unsigned long code;
        size_t n = text_character(s, &code);
        int width = utf8 && n > 1 ? wcwidth((wchar_t)code) : 1;
        columns += width < 0 ? 1 : (size_t)width;
        s += n;
    }
    if (utf8) {
        uselocale(former);
        freelocale(utf8);
    }
    return columns;
}

size_t text_columns(const char *text)
{
    return columns_of(text, strlen(text));
}

void text_wrap_at(FILE *out, size_t columns, const char *first, size_t indent, const char *text)
{
    while (*text) {
        size_t column = text_columns(first);
        fputs(first, out);
        for (bool begun = false; *text && *text != '\n'; begun = true) {
            size_t n = strcspn(text, " \n"), wide = columns_of(text, n);
            if (begun && column + 1 + wide > columns) {
                fprintf(out, "\n%*s", (int)indent, "");
                column = indent;
            } else if (begun) {
                fputc(' ', out);
                column++;
            }
            fwrite(text, 1, n, out);
            column += wide;
            text += n + (text[n] == ' ');
        }
        fputc('\n', out);
        text += *text == '\n';
    }
}

void text_wrap(FILE *out, const char *first, size_t indent, const char *text)
{
    text_wrap_at(out, TEXT_WRAP, first, indent, text);
}

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Optimal string alignment distance over bytes: three rows of the usual table. */
static size_t distance(const char *a, const char *b)
{
    size_t n = strlen(b), width = n + 1;
    size_t *rows = xcalloc(3 * width, sizeof *rows);
    size_t *before = rows, *last = rows + width, *now = rows + 2 * width;
    for (size_t j = 0; j <= n; j++)
        last[j] = j;
    for (size_t i = 1; a[i - 1]; i++) {
        now[0] = i;
        for (size_t j = 1; j <= n; j++) {
            now[j] = least(least(last[j], now[j - 1]) + 1, last[j - 1] + (a[i - 1] != b[j - 1]));
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                now[j] = least(now[j], before[j - 2] + 1);
        }
        size_t *oldest = before;
        before = last;
        last = now;
        now = oldest;
    }
    size_t d = last[n];
    free(rows);
    return d;
}

const char *text_nearest(const char *typed, const char *const *names, size_t n)
{
    const char *best = NULL;
    size_t best_distance = 0;
    for (size_t i = 0; i < n; i++) {
        size_t a = strlen(typed), b = strlen(names[i]), longer = a > b ? a : b;
        if (longer - least(a, b) > longer / 3 + 1)
            continue;
        size_t d = distance(typed, names[i]);
        if (d <= (longer < 3 ? 1 : longer / 3) && (!best || d < best_distance)) {
            best = names[i];
            best_distance = d;
        }
    }
    return best;
}

bool text_word(const char *words, size_t i, char word[TEXT_WORD_SIZE])
{
    for (; i > 0; i--) {
        words = strchr(words, '|');
        if (!words)
            return false;
        words++;
    }
    size_t n = strcspn(words, "|");
    assert(n < TEXT_WORD_SIZE);
    memcpy(word, words, n);
    word[n] = '\0';
    return true;
}

int text_word_index(const char *words, const char *word)
{
    char one[TEXT_WORD_SIZE];
    for (size_t i = 0; text_word(words, i, one); i++)
        if (strcmp(one, word) == 0)
            return (int)i;
    return -1;
}

bool text_set_read(const char *text, const char *words, int *bits)
{
    int found = 0;
    if (strcmp(text, "none") != 0)
        for (const char *at = text;; at++) {
            size_t n = strcspn(at, ",");
            char word[TEXT_WORD_SIZE];
            if (n >= sizeof word)
                return false;
            memcpy(word, at, n);
            word[n] = '\0';
            int i = text_word_index(words, word);
            if (i < 0)
                return false;
            found |= 1 << i;
            at += n;
            if (!*at)
                break;
        }
    *bits = found;
    return true;
}

char *text_set_write(const char *words, int bits)
{
    char *list = xstrdup(bits ? "" : "none"), word[TEXT_WORD_SIZE];
    for (size_t i = 0; text_word(words, i, word); i++)
        if (bits & (1 << i)) {
            char *longer = xformat("%s%s%s", list, *list ? "," : "", word);
            free(list);
            list = longer;
        }
    return list;
}

void text_hint(const char *typed, const char *words, char hint[TEXT_HINT_SIZE])
{
    enum { MOST = 32 };
    char word[MOST][TEXT_WORD_SIZE];
    const char *names[MOST];
    size_t n = 0;
    for (; n < MOST && text_word(words, n, word[n]); n++) {
        word[n][strcspn(word[n], " ")] = '\0';
        names[n] = word[n];
    }
    const char *near = text_nearest(typed, names, n);
    snprintf(hint, TEXT_HINT_SIZE, "%s%s%s", near ? "; did you mean " : ".", near ? near : "",
             near ? "?" : "");
}
