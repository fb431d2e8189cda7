/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef HOSTILE_NAMES_H
#define HOSTILE_NAMES_H

/* Names that would run something, were they part of a command, a string or markup; and a part of
 * the SVG that shows them as they were typed. Include after cmocka.h. */

#include <dirent.h>
#include <string.h>

#define TEN(x) x x x x x x x x x x
static const char name_of_200[] = TEN(TEN("n")) TEN(TEN("n")); /* of which the beginning is shown */
static const struct hostile {
    const char *name, *in_svg;
} hostile[] = {
    {"O'Hara", "O'Hara"},
    {"'", "'"},
    {"'''a'''b'''", "'''a'''b'''"},
    {"''", "''"},
    {"'; system('touch ran'); x = '", "'; system('touch ran'); x = '"},
    {"\"; system(\"touch ran\"); x = \"", "system("},
    {"`touch ran`", "`touch ran`"},
    {"$(touch ran) ${HOME} $0", "$(touch ran) ${HOME} $0"},
    {"two\nlines\r\tand `touch ran`", "two\\nlines\\x0D\\tand `touch ran`"},
    {"x\nsystem('touch ran')\n", "x\\nsystem('touch ran')\\n"},
    {"{/Bold=30 a}_1^2 @s ~b{c} &{d} \\alpha", "{/Bold=30 a}_1^2 @s ~b{c} &amp;{d} \\alpha"},
    {"</text><script>alert(1)</script>", "&lt;/text>&lt;script>alert(1)"},
    {"END_OF_DATA", "END_OF_DATA"},
    {"\\", "\\"},
    {"%s%n%d", "%s%n%d"},
    {"@pitch_axis", "@pitch_axis"},
    {"Zaunk\xC3\xB6nig \xF0\x9F\x90\xA6", "Zaunk\xC3\xB6nig \xF0\x9F\x90\xA6"},
    {"no\xFFutf\xC3", "no\xEF\xBF\xBDutf\xEF\xBF\xBD"},
    {"bell\x07", "bell\\x07"},
    {name_of_200, TEN("n")},
    {"", "takes"},
};

/* How many files this folder holds: a name that ran would have left one. */
static inline int entries(void)
{
    DIR *d = opendir(".");
    int n = 0;
    assert_non_null(d);
    for (struct dirent *f; (f = readdir(d));)
        n += strcmp(f->d_name, ".") != 0 && strcmp(f->d_name, "..") != 0;
    closedir(d);
    return n;
}

#endif
