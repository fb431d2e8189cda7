/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/picture.h"
#include "base/array.h"
#include "base/process.h"
#include "base/whole_file.h"
#include "show/fonts.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { REPORT_SIZE = 4096 }; /* bytes read of what gnuplot prints */

/* How each terminal measures, so that a picture looks alike on all: one point of type, the usual
 * line and the usual mark in its own units, at 1200 px across. SVG takes the weight of a face
 * as an attribute beside its name. */
static const struct terminal {
    const char *ending, *name, *more;
    double pt, line, dot;
    const char *face, *bold;
} terminals[] = {
    {".png", "pngcairo", "background rgb 'white'", 1, 1.5, 1, "Sans", "Sans:Bold"},
    {".svg", "svg", "background rgb 'white'", 4.0 / 3, 1.5, 0.55, "sans-serif",
     "sans-serif\" font-weight=\"bold"},
    {".pdf", "pdfcairo", "background rgb 'white' fontscale 1", 0.72, 2.2, 0.8, "Sans", "Sans:Bold"},
    {"", "qt", "", 1, 1.5, 1, "Sans", "Sans:Bold"},
    {"", "wxt", "", 1, 1.5, 1, "Sans", "Sans:Bold"},
    {"", "x11", "", 1, 1.5, 1, "Sans", "Sans:Bold"},
};
/* On a telephone a picture is 330 px wide: at this size 12 point still have 9 px there. */
static const double page_zoom = 2;
/* Marks and tics grow with the font by themselves in SVG. */
static const double page_marks = 1;

enum { TERMINALS = sizeof terminals / sizeof *terminals };

static const struct terminal *file_terminal(const char *path)
{
    const char *slash = strrchr(path, '/');
    const char *dot = strrchr(slash ? slash + 1 : path, '.');
    for (size_t i = 0; dot && i < TERMINALS; i++)
        if (*terminals[i].ending && strcasecmp(dot, terminals[i].ending) == 0)
            return &terminals[i];
    return NULL;
}

static bool explain(process_end end, int status, const char *report, err *e)
{
    if (end == PROCESS_MISSING)
        return err_set(e, "The pictures are drawn by gnuplot, which is not installed here: install "
                          "it (on Debian and Ubuntu the package gnuplot-nox).");
    if (end == PROCESS_FAILED)
        return err_set(e, "The gnuplot program did not run to its end: %s.",
                       errno ? strerror(errno) : "it was stopped by a signal");
    return err_set(e, "The gnuplot program could not draw the picture (exit %d): %.300s.", status,
                   report);
}

/* The first line of a report that says something; gnuplot shows the faulty line and a caret first.
 */
static void first_message(FILE *from, char line[REPORT_SIZE])
{
    char next[REPORT_SIZE];
    line[0] = '\0';
    rewind(from);
    while (fgets(next, sizeof next, from)) {
        next[strcspn(next, "\n")] = '\0';
        if (strstr(next, "line ") && !strstr(next, "warning:")) {
            memcpy(line, next, sizeof next);
            return;
        }
    }
    strcpy(line, "it did not say why");
}

/* gnuplot on a script, its pictures to `out`. */
static bool run(const char *script, bool stays, int out, err *e)
{
    const char *const argv[] = {"gnuplot", "--default-settings", stays ? "--persist" : NULL, NULL};
    FILE *said = tmpfile();
    if (!said)
        return err_set(e, "No temporary file could be made: %s.", strerror(errno));
    int status = 0;
    process_end end = process_run(argv, script, strlen(script), out, fileno(said), &status);
    char line[REPORT_SIZE];
    bool ok = end == PROCESS_DONE && status == 0;
    if (!ok) {
        int why = errno;
        first_message(said, line);
        errno = why;
        explain(end, status, line, e);
    }
    fclose(said);
    return ok;
}

/* The first window terminal that this gnuplot has, or NULL; a missing gnuplot has none. */
static const struct terminal *window_terminal(void)
{
    char names[REPORT_SIZE] = " ", wanted[16];
    FILE *list = tmpfile();
    err ignored;
    if (!list)
        return NULL;
    if (run("set print '-'\nprint GPVAL_TERMINALS\n", false, fileno(list), &ignored)) {
        rewind(list);
        if (!fgets(names + 1, (int)sizeof names - 1, list))
            names[1] = '\0';
    }
    fclose(list);
    for (size_t i = 0; i < TERMINALS; i++) {
        snprintf(wanted, sizeof wanted, " %s ", terminals[i].name);
        if (!*terminals[i].ending && strstr(names, wanted))
            return &terminals[i];
    }
    return NULL;
}

static bool has_display(void)
{
    const char *x = getenv("DISPLAY"), *wayland = getenv("WAYLAND_DISPLAY");
    return (x && *x) || (wayland && *wayland);
}

static int within(int value, int least, int most)
{
    return value < least ? least : value > most ? most : value;
}

static void screen_size(picture *p)
{
    struct winsize size = {0};
    p->columns = 80;
    p->rows = 24;
    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col && size.ws_row) {
        p->columns = within(size.ws_col, 40, 160);
        p->rows = within(size.ws_row - 2, 22, 50);
        if (p->columns < 80) /* the words beneath take more lines, some eight at 80 */
            p->rows += 640 / p->columns - 8;
    }
}

bool picture_choose(const char *path_or_null, int width_px, int height_px, picture *out, err *e)
{
    *out = (picture){.path = path_or_null, .width_px = width_px, .height_px = height_px};
    if (path_or_null) {
        out->kind = PICTURE_FILE;
        return file_terminal(path_or_null) ||
               err_set(e, "The name of the picture, \"%s\", must end in .png, .svg or .pdf.",
                       path_or_null);
    }
    if (has_display() && window_terminal())
        out->kind = PICTURE_WINDOW;
    else if (isatty(STDOUT_FILENO)) {
        out->kind = PICTURE_SCREEN;
        screen_size(out);
    }
    return true;
}

picture picture_on_page(int width_px, int height_px, char **svg)
{
    *svg = NULL;
    return (picture){
        .kind = PICTURE_PAGE, .width_px = width_px, .height_px = height_px, .svg = svg};
}

/* Sets the terminal and the variables that templates measure by. */
static char *prologue(const picture *p, const struct terminal *t)
{
    bool bare = p->kind == PICTURE_PAGE;
    double share = p->width_px / 1200.0, scale = share * (bare ? page_zoom : 1);
    double marks = bare ? page_marks : share;
    bool inches = strcmp(t->name, "pdfcairo") == 0;
    char *size = inches ? xformat("%.3fin, %.3fin", p->width_px / 100.0, p->height_px / 100.0)
                        : xformat("%d, %d", p->width_px, p->height_px);
    char *text = xformat("set encoding utf8\n"
                         "set terminal %s size %s font '%s,%.2f' linewidth %.3f noenhanced %s\n"
                         "width_px = %d.0\nheight_px = %d.0\nbare = %d\nscale = %.4f\ntic = %.4f\n"
                         "pt = %.4f\ndot = %.4f\nface = '%s'\nbold_face = '%s'\n",
                         t->name, size, t->face, 12 * t->pt * scale, t->line * scale, t->more,
                         p->width_px, p->height_px, bare, scale, bare ? 0.5 : share, t->pt * scale,
                         t->dot * marks, t->face, t->bold);
    free(size);
    return text;
}

static char *whole_script(const gnuplot *g, const picture *where, const struct terminal *t)
{
    char *first = t ? prologue(where, t)
                    : xformat("set encoding utf8\nset terminal dumb mono noenhanced size %d, %d\n",
                              where->columns, where->rows);
    char *script = xformat("%s%s", first, gnuplot_script(g));
    free(first);
    if (!t || !(strstr(t->name, "cairo") || strcmp(t->name, "wxt") == 0))
        return script;
    char *drawable = fonts_drawable(script);
    free(script);
    return drawable;
}

static bool copy(FILE *from, FILE *to, err *e)
{
    char block[REPORT_SIZE];
    size_t got;
    rewind(from);
    while ((got = fread(block, 1, sizeof block, from)) > 0)
        fwrite(block, 1, got, to);
    return (!ferror(from) && fflush(to) == 0 && !ferror(to)) ||
           err_set(e, "The drawing could not be written: %s.", strerror(errno));
}

static bool draw_aside(const char *script, bool stays, FILE *to, err *e)
{
    FILE *aside = tmpfile();
    if (!aside)
        return err_set(e, "No temporary file could be made: %s.", strerror(errno));
    bool ok = run(script, stays, fileno(aside), e) && (!to || copy(aside, to, e));
    fclose(aside);
    return ok;
}

static bool draw_file(const char *script, const char *path, err *e)
{
    whole_file f;
    return whole_file_begin(&f, path, "picture", e) &&
           whole_file_end(&f, run(script, false, f.fd, e), e);
}

static bool draw_in_memory(const char *script, char **svg, err *e)
{
    size_t n;
    FILE *to = open_memstream(svg, &n);
    if (!to)
        return err_set(e, "The drawing could not be kept: %s.", strerror(errno));
    bool ok = draw_aside(script, false, to, e);
    ok = (fclose(to) == 0 || err_set(e, "The drawing could not be kept.")) && ok;
    if (!ok) {
        free(*svg);
        *svg = NULL;
    }
    return ok;
}

static const struct terminal *terminal_of(const picture *where)
{
    return where->kind == PICTURE_FILE     ? file_terminal(where->path)
           : where->kind == PICTURE_PAGE   ? file_terminal(".svg")
           : where->kind == PICTURE_WINDOW ? window_terminal()
                                           : NULL;
}

bool picture_draw(const gnuplot *g, const picture *where, err *e)
{
    if (where->kind == PICTURE_NONE)
        return true;
    const struct terminal *t = terminal_of(where);
    if (!t && where->kind != PICTURE_SCREEN)
        return err_set(e, "There is no window to draw on: name a file with -o.");
    char *script = whole_script(g, where, t);
    bool ok = where->kind == PICTURE_FILE ? draw_file(script, where->path, e)
              : where->kind == PICTURE_PAGE
                  ? draw_in_memory(script, where->svg, e)
                  : draw_aside(script, where->kind == PICTURE_WINDOW,
                               where->kind == PICTURE_SCREEN ? stdout : NULL, e);
    free(script);
    return ok;
}
