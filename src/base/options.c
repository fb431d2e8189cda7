/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/options.h"

#include "base/array.h"
#include "base/number.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_SIZE = 64 };

typedef struct found {
    const option *o;
    void *settings;
} found;

static found find(const option_group *groups, size_t n_groups, const char *name, char letter)
{
    for (size_t g = 0; g < n_groups; g++)
        for (size_t i = 0; i < groups[g].n; i++) {
            const option *o = &groups[g].items[i];
            if (name ? strcmp(o->name, name) == 0 : o->letter && o->letter == letter)
                return (found){o, groups[g].settings};
        }
    return (found){NULL, NULL};
}

static void *field(const option *o, void *settings)
{
    return (char *)settings + o->offset;
}

static bool in_range(const option *o, double value)
{
    return value >= o->least && value <= o->most;
}

static bool refuse_range(const option *o, const char *text, const char *where, err *e)
{
    const char *kind = o->kind == OPTION_WHOLE ? "whole number" : "number";
    char least[NUMBER_SIZE], most[NUMBER_SIZE];
    number_short(o->least, least);
    number_short(o->most, most);
    return err_set(e, "%s takes a %s from %s to %s, not \"%s\".", where, kind, least, most, text);
}

static bool refuse_pitch(const option *o, const char *text, const char *where, err *e)
{
    char least[NOTE_NAME_SIZE], most[NOTE_NAME_SIZE];
    note_name(o->least, 440, least);
    note_name(o->most, 440, most);
    return err_set(e,
                   "%s takes a pitch from %s to %s, as F#4, Gb4, 66.0 (semitones, A4 is 69) or "
                   "370Hz, not \"%s\".",
                   where, least, most, text);
}

static bool refuse_word(const option *o, const char *text, const char *where, err *e)
{
    char list[256] = "", word[TEXT_WORD_SIZE], end[TEXT_HINT_SIZE];
    text_hint(text, o->words, end);
    for (size_t i = 0; text_word(o->words, i, word); i++) {
        size_t at = strlen(list);
        snprintf(list + at, sizeof list - at, "%s%s", i ? ", " : "", word);
    }
    return err_set(e, "%s takes %s %s%s, not \"%s\"%s", where,
                   o->kind == OPTION_SET ? "a list, parted by commas, of" : "one of", list,
                   o->kind == OPTION_SET ? ", or none" : "", text, end);
}

bool option_value_read(const option *o, const char *text, const char *where, void *settings, err *e)
{
    void *to = field(o, settings);
    double value;
    int whole;
    note_typed pitch;
    switch (o->kind) {
    case OPTION_FLAG:
        *(bool *)to = true;
        return true;
    case OPTION_TEXT:
    case OPTION_PATH:
        if (!*text)
            return err_set(e, "%s takes a text that is not empty.", where);
        *(const char **)to = text;
        return true;
    case OPTION_NUMBER:
        if (!number_read(text, &value) || !in_range(o, value))
            return refuse_range(o, text, where, e);
        *(double *)to = value;
        return true;
    case OPTION_WHOLE:
        if (!number_read(text, &value) || !in_range(o, value) || value != floor(value))
            return refuse_range(o, text, where, e);
        *(int *)to = (int)value;
        return true;
    case OPTION_PITCH:
        if (!note_read(text, &pitch) || !in_range(o, pitch.st))
            return refuse_pitch(o, text, where, e);
        *(note_typed *)to = pitch;
        return true;
    case OPTION_CHOICE:
        whole = text_word_index(o->words, text);
        if (whole < 0)
            return refuse_word(o, text, where, e);
        *(int *)to = whole;
        return true;
    case OPTION_SET:
        return text_set_read(text, o->words, to) || refuse_word(o, text, where, e);
    }
    return false;
}

static bool refuse_unknown(const option_group *groups, size_t n_groups, const char *name, err *e)
{
    size_t n = 0, room = 0;
    const char **names = NULL;
    for (size_t g = 0; g < n_groups; g++)
        for (size_t i = 0; i < groups[g].n; i++) {
            array_reserve((void **)&names, &room, n + 1, sizeof *names);
            names[n++] = groups[g].items[i].name;
        }
    const char *near = text_nearest(name, names, n);
    free(names);
    return near ? err_set(e, "There is no option --%s here; did you mean --%s?", name, near)
                : err_set(e, "There is no option --%s here.", name);
}

typedef struct line {
    const option_group *groups;
    size_t n_groups, n, at;
    char *const *args;
} line;

/* The value is what follows in the same argument, or the next argument. */
static bool read_one(line *l, found f, const char *written, const char *attached, err *e)
{
    if (f.o->kind == OPTION_FLAG) {
        if (attached)
            return err_set(e, "%s takes no value, but \"%s\" was given.", written, attached);
    } else if (!attached) {
        if (l->at == l->n)
            return err_set(e, "%s wants a value, %s.", written, f.o->value);
        attached = l->args[l->at++];
    }
    return option_value_read(f.o, attached, written, f.settings, e);
}

static bool read_long(line *l, const char *arg, err *e)
{
    char name[NAME_SIZE], written[NAME_SIZE + 2];
    size_t length = strcspn(arg + 2, "=");
    snprintf(name, sizeof name, "%.*s", (int)(length < NAME_SIZE ? length : NAME_SIZE), arg + 2);
    snprintf(written, sizeof written, "--%s", name);
    found f = find(l->groups, l->n_groups, name, 0);
    if (!f.o)
        return refuse_unknown(l->groups, l->n_groups, name, e);
    return read_one(l, f, written, arg[2 + length] ? arg + 2 + length + 1 : NULL, e);
}

static bool read_short(line *l, const char *arg, err *e)
{
    const char written[] = {'-', arg[1], '\0'};
    found f = find(l->groups, l->n_groups, NULL, arg[1]);
    if (!f.o)
        return err_set(e, "There is no option %s here (a file of such a name is ./%s).", arg, arg);
    if (arg[2] == '=')
        return err_set(e, "%s takes its value without =: %s %s.", written, written, arg + 3);
    return read_one(l, f, written, arg[2] ? arg + 2 : NULL, e);
}

static void take_operand(operands *out, const char *arg)
{
    array_reserve((void **)&out->items, &out->room, out->n + 1, sizeof *out->items);
    out->items[out->n++] = arg;
}

bool options_read(const option_group *groups, size_t n_groups, size_t n, char *const *args,
                  options_stop stop, operands *out, err *e)
{
    line l = {groups, n_groups, n, 0, args};
    bool open = true;
    while (l.at < n) {
        const char *arg = args[l.at++];
        if (!open || arg[0] != '-' || !arg[1]) {
            take_operand(out, arg);
            open = open && stop == OPTIONS_TO_END;
        } else if (strcmp(arg, "--") == 0) {
            open = false;
        } else if (!(arg[1] == '-' ? read_long(&l, arg, e) : read_short(&l, arg, e))) {
            return false;
        }
    }
    return true;
}

const option *option_named(const option_group *group, const char *name)
{
    return find(group, 1, name, 0).o;
}

static void print_head(const option *o, char *head, size_t size)
{
    char letter[] = {'-', o->letter, ',', ' ', '\0'};
    snprintf(head, size, "%s--%s%s%s", o->letter ? letter : "", o->name, o->value ? " " : "",
             o->value ? o->value : "");
}

void options_print(const option_group *group, FILE *out)
{
    enum { HELP_COLUMN = 26 };
    char head[2 * NAME_SIZE], first[2 * NAME_SIZE + 2];
    for (size_t i = 0; i < group->n; i++) {
        print_head(&group->items[i], head, sizeof head);
        bool beside = strlen(head) < HELP_COLUMN - 3;
        if (!beside)
            fprintf(out, "  %s\n", head);
        snprintf(first, sizeof first, "  %-*s", HELP_COLUMN - 2, beside ? head : "");
        text_wrap(out, first, HELP_COLUMN, group->items[i].help);
    }
}

static void note_key(const option *o, char key[NAME_SIZE])
{
    snprintf(key, NAME_SIZE, "%s", o->name);
    for (char *c = key; (c = strchr(c, '-'));)
        *c = '_';
}

static void note_one(const option *o, const void *at, table_writer *w)
{
    char key[NAME_SIZE], text[NUMBER_SIZE] = "";
    note_key(o, key);
    if (o->kind == OPTION_NUMBER)
        number_short(*(const double *)at, text);
    else if (o->kind == OPTION_WHOLE && in_range(o, *(const int *)at))
        snprintf(text, sizeof text, "%d", *(const int *)at);
    else if (o->kind == OPTION_PITCH && ((const note_typed *)at)->named)
        note_name(((const note_typed *)at)->st, 440, text);
    else if (o->kind == OPTION_PITCH)
        number_short(((const note_typed *)at)->st, text);
    else if (o->kind == OPTION_FLAG)
        strcpy(text, *(const bool *)at ? "yes" : "");
    else if (o->kind == OPTION_CHOICE && *(const int *)at >= 0)
        text_word(o->words, (size_t) * (const int *)at, text);
    if (*text)
        table_note(w, key, "%s", text);
    if (o->kind == OPTION_TEXT && *(const char *const *)at)
        table_note(w, key, "%s", *(const char *const *)at);
    if (o->kind == OPTION_SET && *(const int *)at >= 0) {
        char *list = text_set_write(o->words, *(const int *)at);
        table_note(w, key, "%s", list);
        free(list);
    }
}

void options_note(const option_group *group, table_writer *w)
{
    for (size_t i = 0; i < group->n; i++)
        note_one(&group->items[i], field(&group->items[i], group->settings), w);
}
