/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/message.h"

#include "base/terminal.h"

#include <stdarg.h>
#include <stdio.h>
#include <unistd.h>

bool err_set(err *e, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    vsnprintf(e->text, sizeof e->text, format, args);
    va_end(args);
    return false;
}

/* What a file or a singer is called may hold anything: control characters, also those of two bytes
 * (U+0080 to U+009F), must neither break the sentence nor steer the terminal. */
static void tame(char *text)
{
    for (unsigned char *c = (unsigned char *)text; *c; c++) {
        bool two = *c == 0xC2 && c[1] >= 0x80 && c[1] <= 0x9F;
        if (two)
            c[1] = '?';
        if (two || *c < 0x20 || *c == 0x7F)
            *c = '?';
    }
}

void message_warn(const char *format, ...)
{
    va_list args;
    err e;
    va_start(args, format);
    vsnprintf(e.text, sizeof e.text, format, args);
    va_end(args);
    tame(e.text);
    bool bold = terminal_colours(STDERR_FILENO);
    fprintf(stderr, "%sseamline:%s %s\n", bold ? TERMINAL_BOLD : "", bold ? TERMINAL_PLAIN : "",
            e.text);
}
