/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/terminal.h"

#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

bool terminal_colours(int fd)
{
    const char *none = getenv("NO_COLOR"), *term = getenv("TERM");
    return isatty(fd) && !(none && *none) && term && *term && strcmp(term, "dumb") != 0;
}

size_t terminal_columns(int fd)
{
    struct winsize size;
    if (!isatty(fd))
        return 0;
    const char *columns = getenv("COLUMNS");
    long stated = columns ? strtol(columns, NULL, 10) : 0;
    if (stated > 0 && stated < 10000)
        return (size_t)stated;
    return ioctl(fd, TIOCGWINSZ, &size) == 0 && size.ws_col ? size.ws_col : 80;
}
