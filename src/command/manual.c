/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/manual.h"

#include "base/number.h"
#include "base/text.h"

#include <string.h>

/* n characters of a line as text alone: no macro, no escape, no hyphen where a dash was typed. */
static void say_part(const char *text, size_t n, FILE *out)
{
    if (n && (*text == '.' || *text == '\''))
        fputs("\\&", out);
    for (size_t i = 0; i < n; i++)
        if (text[i] == '\\')
            fputs("\\e", out);
        else if (text[i] == '-')
            fputs("\\-", out);
        else
            fputc(text[i], out);
}

static void say(const char *text, FILE *out)
{
    say_part(text, strlen(text), out);
}

static const char *next_line(const char *line, size_t *n)
{
    line += *n + (line[*n] == '\n');
    *n = strcspn(line, "\n");
    return line;
}

/* Paragraphs; lines that begin with two blanks are set as they stand. */
static void say_paragraphs(const char *text, FILE *out)
{
    size_t n = strcspn(text, "\n");
    bool as_is = false, gap = false;
    for (const char *line = text; *line; line = next_line(line, &n)) {
        bool set = n > 1 && line[0] == ' ' && line[1] == ' ';
        if (n && as_is && !set)
            fputs(".fi\n", out);
        if (n && line != text && (gap || set != as_is))
            fputs(".PP\n", out);
        if (n && set && !as_is)
            fputs(".nf\n", out);
        as_is = n ? set : as_is;
        gap = !n;
        if (n) {
            say_part(line, n, out);
            fputc('\n', out);
        }
    }
    if (as_is)
        fputs(".fi\n", out);
}

static void say_range(const option *o, FILE *out)
{
    char least[NUMBER_SIZE], most[NUMBER_SIZE];
    number_short(o->least, least);
    number_short(o->most, most);
    fputs("; a ", out);
    say(o->kind == OPTION_WHOLE ? "whole number" : "number", out);
    fputs(" from ", out);
    say(least, out);
    fputs(" to ", out);
    say(most, out);
}

static void say_words(const option *o, FILE *out)
{
    char word[TEXT_WORD_SIZE];
    fputs(o->kind == OPTION_SET ? "; a list, parted by commas, of " : "; one of ", out);
    for (size_t i = 0; text_word(o->words, i, word); i++) {
        fputs(i ? ", " : "", out);
        say(word, out);
    }
    fputs(o->kind == OPTION_SET ? ", or none" : "", out);
}

static void say_option(const option *o, FILE *out)
{
    fputs(".TP\n", out);
    if (o->letter)
        fprintf(out, "\\fB\\-%c\\fR, ", o->letter);
    fputs("\\fB\\-\\-", out);
    say(o->name, out);
    fputs("\\fR", out);
    if (o->value) {
        fputs(" \\fI", out);
        say(o->value, out);
        fputs("\\fR", out);
    }
    fputc('\n', out);
    say(o->help, out);
    if (o->kind == OPTION_NUMBER || o->kind == OPTION_WHOLE)
        say_range(o, out);
    if (o->kind == OPTION_PITCH)
        fputs("; a note (F#4, Gb4), semitones (66.0; A4 is 69) or 370Hz", out);
    if (o->words && o->value && !strchr(o->value, '|'))
        say_words(o, out);
    fputs(".\n", out);
}

static void say_options(const option *items, size_t n, const char *title, FILE *out)
{
    fprintf(out, ".SH %s\n", title);
    for (size_t i = 0; i < n; i++)
        say_option(&items[i], out);
}

static void head(const char *name, const char *summary, FILE *out)
{
    fputs(".TH ", out);
    for (const char *c = name; *c; c++)
        fputc(*c >= 'a' && *c <= 'z' ? *c - 'a' + 'A' : *c, out);
    fprintf(out, " 1 %s \"seamline %s\" \"Seamline\"\n.SH NAME\n", SEAMLINE_DATE, SEAMLINE_VERSION);
    say(name, out);
    fputs(" \\- ", out);
    say(summary, out);
    fputs("\n.SH SYNOPSIS\n", out);
}

static void say_examples(const char *lines, FILE *out)
{
    size_t n = strcspn(lines, "\n");
    fputs(".SH EXAMPLES\n.nf\n", out);
    for (const char *line = lines; *line; line = next_line(line, &n)) {
        say_part(line, n, out);
        fputc('\n', out);
    }
    fputs(".fi\n", out);
}

static void say_exit(FILE *out)
{
    fputs(".SH EXIT STATUS\n"
          ".TP\n\\fB0\\fR\ndone\n.TP\n\\fB1\\fR\ninput or output failed\n"
          ".TP\n\\fB2\\fR\nthe command line is not understood\n"
          ".TP\n\\fB3\\fR\nthe data give no answer\n",
          out);
}

static void say_environment(FILE *out)
{
    fputs(".SH ENVIRONMENT\n"
          ".TP\n\\fBSEAMLINE_JOURNAL\\fR\nthe journal, unless \\fB\\-\\-journal\\fR names one\n"
          ".TP\n\\fBXDG_DATA_HOME\\fR\nthe folder of the user's data, ~/.local/share when unset\n"
          ".TP\n\\fBNO_COLOR\\fR\nwhen set and not empty, no colour on the terminal\n"
          ".SH FILES\n.TP\n\\fI~/.local/share/seamline/journal.db\\fR\nthe journal\n",
          out);
}

static void print_program(FILE *out)
{
    head("seamline", "keeps the map of where a singing voice flips between its registers", out);
    fputs("\\fBseamline\\fR \\fICOMMAND\\fR [\\fIOPTION\\fR...] [\\fIOPERAND\\fR...]\n"
          ".SH DESCRIPTION\n"
          "Listens to recorded takes, slides and swells, hears pitch, level and register, finds\n"
          "where the voice flips between the heavy register, M1, and the light one, M2, and keeps\n"
          "for each singer the map of it over pitch and level.\n.PP\n"
          "Results are tables on standard output: with tabs between the columns for other\n"
          "programs, aligned on a terminal. Messages go to standard error. A \\fIFILE\\fR may be\n"
          "\\fIFILE\\fR@\\fISTART\\fR\\-\\fIEND\\fR, a stretch in seconds, or \\- for standard "
          "input.\n"
          ".SH COMMANDS\n",
          out);
    for (size_t i = 0; commands[i]; i++)
        if (!commands[i]->hidden) {
            fprintf(out, ".TP\n\\fBseamline\\-%s\\fR(1)\n", commands[i]->name);
            say(commands[i]->summary, out);
            fputc('\n', out);
        }
    say_options(shared_options, n_shared_options, "OPTIONS", out);
    say_exit(out);
    say_environment(out);
    fputs(".SH CAUTIONS\nA map is no score, and no medical test. Stop when it hurts.\n", out);
}

static void print_command(const command *c, FILE *out)
{
    char name[TEXT_WORD_SIZE];
    snprintf(name, sizeof name, "seamline-%s", c->name);
    head(name, c->summary, out);
    fputs("\\fBseamline ", out);
    say(c->name, out);
    fputs("\\fR [\\fIOPTION\\fR...] ", out);
    say(c->usage, out);
    fputs("\n.SH DESCRIPTION\n", out);
    say_paragraphs(c->detail ? c->detail : c->summary, out);
    if (c->n_options)
        say_options(c->options, c->n_options, "OPTIONS", out);
    say_options(shared_options, n_shared_options, "OPTIONS OF EVERY COMMAND", out);
    if (c->examples)
        say_examples(c->examples, out);
    say_exit(out);
    fputs(".SH SEE ALSO\n\\fBseamline\\fR(1)\n", out);
}

void manual_print(const command *c, FILE *out)
{
    if (c)
        print_command(c, out);
    else
        print_program(out);
}
