/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/message.h"

#include <stdarg.h>
#include <stdio.h>

bool err_set(err *e, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    vsnprintf(e->text, sizeof e->text, format, args);
    va_end(args);
    return false;
}

void message_warn(const char *format, ...)
{
    va_list args;
    va_start(args, format);
    fputs("seamline: ", stderr);
    vfprintf(stderr, format, args);
    fputc('\n', stderr);
    va_end(args);
}
