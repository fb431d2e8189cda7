/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/number.h"

#include <errno.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The thread's locale becomes "C", which the C library keeps ready; returns the one to go back to.
 */
static locale_t plain_locale(locale_t *plain)
{
    *plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    return *plain ? uselocale(*plain) : (locale_t)0;
}

static void former_locale(locale_t plain, locale_t former)
{
    if (!plain)
        return;
    uselocale(former);
    freelocale(plain);
}

/* Digits with at most one point, few enough that they are a whole number below 2^53 over a power of
 * ten below 10^22: both are doubles, and their quotient is rounded once, as by strtod (Clinger,
 * PLDI 1990). */
static bool plain_decimal(const char *text, double *value)
{
    static const double tens[] = {1,   1e1, 1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                  1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};
    const char *at = text + (*text == '-');
    long long whole = 0;
    int digits = 0, decimals = 0;
    bool point = false;
    for (; (*at >= '0' && *at <= '9') || (*at == '.' && !point); at++) {
        if (*at == '.') {
            point = true;
            continue;
        }
        whole = 10 * whole + (*at - '0');
        decimals += point;
        if (++digits > 15)
            return false;
    }
    if (*at || !digits)
        return false;
    *value = (double)whole / tens[decimals];
    if (*text == '-')
        *value = -*value;
    return true;
}

bool number_read(const char *text, double *value)
{
    if (plain_decimal(text, value))
        return true;
    if (!*text || text[strspn(text, "+-.0123456789eE")])
        return false;
    locale_t plain, former = plain_locale(&plain);
    char *end;
    errno = 0;
    double read = strtod(text, &end);
    former_locale(plain, former);
    if (end == text || *end || !isfinite(read))
        return false;
    *value = read;
    return true;
}

static bool undefined(double value, char text[NUMBER_SIZE])
{
    if (isfinite(value))
        return false;
    strcpy(text, isnan(value) ? "" : value > 0 ? "inf" : "-inf");
    return true;
}

/* "-0.00" says no more than "0.00" and would make equal tables differ. */
static void drop_sign_of_zero(char *text)
{
    if (text[0] == '-' && !text[1 + strspn(text + 1, "0.")])
        memmove(text, text + 1, strlen(text));
}

void number_fixed(double value, int decimals, char text[NUMBER_SIZE])
{
    if (undefined(value, text))
        return;
    locale_t plain, former = plain_locale(&plain);
    snprintf(text, NUMBER_SIZE, "%.*f", decimals, value);
    former_locale(plain, former);
    drop_sign_of_zero(text);
}

void number_short(double value, char text[NUMBER_SIZE])
{
    if (undefined(value, text))
        return;
    locale_t plain, former = plain_locale(&plain);
    snprintf(text, NUMBER_SIZE, "%.10g", value);
    former_locale(plain, former);
    drop_sign_of_zero(text);
}
