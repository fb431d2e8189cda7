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

bool number_read(const char *text, double *value)
{
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
