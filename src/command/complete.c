/* SPDX-License-Identifier: GPL-3.0-or-later */
/* complete -- WORD...: what the last word on a command line may become, for data/seamline.bash.
 * Prints "files" when a file's name is wanted, else "words" and then one candidate a line. It never
 * complains: on a line that makes no sense there are no candidates. */
#include "base/array.h"
#include "base/text.h"
#include "command/command.h"
#include "journal/journal.h"

#include <stdlib.h>
#include <string.h>

/* A command line, read up to the word that is being typed. */
typedef struct typed {
    const command *c;      /* NULL: not named yet */
    bool lost, open;       /* an unknown command; "--" has not come */
    const option *pending; /* whose value comes next, else NULL */
    size_t n;              /* operands so far */
    const char *first;     /* of them, or NULL */
    const char *journal;   /* named by --journal, or NULL */
    const char *flag;      /* the last flag given, without dashes, or NULL */
    char *last;            /* what is typed of the word, without its quotes */
} typed;

static bool begins(const char *text, const char *prefix)
{
    return strncmp(text, prefix, strlen(prefix)) == 0;
}

/* The row whose name is text[length], or whose letter when length is 0. */
static const option *find(const typed *t, const char *text, size_t length)
{
    option_group groups[] = {{t->c ? t->c->options : NULL, t->c ? t->c->n_options : 0, NULL},
                             {shared_options, n_shared_options, NULL}};
    for (size_t g = 0; g < 2; g++)
        for (size_t i = 0; i < groups[g].n; i++) {
            const option *o = &groups[g].items[i];
            if (length ? strlen(o->name) == length && strncmp(o->name, text, length) == 0
                       : o->letter == *text)
                return o;
        }
    return NULL;
}

static void take_value(typed *t, const option *o, const char *value)
{
    if (strcmp(o->name, "journal") == 0)
        t->journal = value;
}

static void take_option(typed *t, const char *word)
{
    bool is_long = word[1] == '-';
    size_t length = is_long ? strcspn(word + 2, "=") : 0;
    const option *o = find(t, word + 1 + is_long, length);
    const char *attached = is_long ? strchr(word, '=') : word[2] ? word + 1 : NULL;
    if (o && o->kind == OPTION_FLAG)
        t->flag = o->name;
    else if (o && attached)
        take_value(t, o, attached + 1);
    else if (o)
        t->pending = o;
}

static void take_word(typed *t, const char *word)
{
    if (t->pending && strcmp(word, "=") == 0)
        return; /* bash parts --name=value */
    if (t->pending) {
        take_value(t, t->pending, word);
        t->pending = NULL;
    } else if (t->open && strcmp(word, "--") == 0) {
        t->open = false;
    } else if (t->open && word[0] == '-' && word[1]) {
        take_option(t, word);
    } else if (!t->c) {
        t->c = command_named(word);
        t->lost = t->lost || !t->c;
    } else if (t->n++ == 0) {
        t->first = word;
    }
}

/* Quotes and backslashes as bash has them on the line. */
static char *unquoted(const char *word)
{
    char *plain = xstrdup(word), *to = plain;
    for (const char *c = word; *c; c++) {
        if (*c == '\\' && c[1])
            c++;
        else if (*c == '"' || *c == '\'')
            continue;
        *to++ = *c;
    }
    *to = '\0';
    return plain;
}

/* What holds a control character, a newline above all, is not offered. */
static void offer(const typed *t, const char *before, const char *word)
{
    char *whole = xformat("%s%s", before, word), *shown = text_visible(whole);
    if (begins(whole, t->last) && strcmp(whole, shown) == 0)
        puts(whole);
    free(shown);
    free(whole);
}

/* Words parted by bars; of each the part before a blank. */
static void offer_words(const typed *t, const char *before, const char *words)
{
    char word[TEXT_WORD_SIZE];
    for (size_t i = 0; text_word(words, i, word); i++) {
        word[strcspn(word, " ")] = '\0';
        offer(t, before, word);
    }
}

static void offer_commands(const typed *t)
{
    for (size_t i = 0; commands[i]; i++)
        if (!commands[i]->hidden)
            offer(t, "", commands[i]->name);
}

static void offer_options(const typed *t)
{
    for (size_t i = 0; t->c && i < t->c->n_options; i++)
        offer(t, "--", t->c->options[i].name);
    for (size_t i = 0; i < n_shared_options; i++)
        offer(t, "--", shared_options[i].name);
}

static void offer_takes(const typed *t, journal *j, const char *singer)
{
    journal_take *takes;
    size_t n;
    err ignored;
    if (!journal_takes(j, singer, NULL, &takes, &n, &ignored))
        return;
    for (size_t i = 0; i < n; i++)
        offer(t, "", takes[i].take);
    journal_takes_free(takes, n);
}

static void offer_from_journal(const typed *t, bool wants_takes)
{
    journal *j;
    journal_singer *singers;
    size_t n;
    err ignored;
    if (!journal_open(t->journal, JOURNAL_READ, &j, &ignored))
        return;
    if (journal_singers(j, &singers, &n, &ignored)) {
        for (size_t i = 0; i < n; i++)
            if (wants_takes)
                offer_takes(t, j, singers[i].name);
            else
                offer(t, "", singers[i].name);
        journal_singers_free(singers, n);
    }
    journal_close(j);
}

static void offer_value(const typed *t, const option *o, const char *before)
{
    bool file = o->kind == OPTION_PATH || (o->kind == OPTION_TEXT && strchr(o->value, '.'));
    puts(file ? "files" : "words");
    if (o->kind == OPTION_CHOICE)
        offer_words(t, before, strchr(o->value, '|') ? o->value : o->words);
    if (o->kind != OPTION_SET)
        return;
    const char *comma = strrchr(t->last, ',');
    char *list = comma ? xformat("%.*s", (int)(comma + 1 - t->last), t->last) : xstrdup(before);
    offer_words(t, list, o->words);
    if (!comma)
        offer(t, list, "none");
    free(list);
}

/* The i-th operand's name in a usage such as "SINGER FILE..." or "TAKE [ACTION TIME...]"; "" when
 * there is none. */
static void operand_name(const char *usage, size_t i, char name[TEXT_WORD_SIZE])
{
    char last[TEXT_WORD_SIZE] = "";
    bool found = false;
    while (!found && *(usage += strspn(usage, " []"))) {
        size_t n = strcspn(usage, " []");
        if (begins(usage, "--")) {
            usage += n;
            continue;
        }
        snprintf(last, sizeof last, "%.*s", (int)(n < sizeof last ? n : sizeof last - 1), usage);
        usage += n;
        found = i-- == 0;
    }
    bool more = strlen(last) > 3 && strcmp(last + strlen(last) - 3, "...") == 0;
    snprintf(name, TEXT_WORD_SIZE, "%s", found || more ? last : "");
    name[strcspn(name, ".")] = '\0';
}

/* Of "SINGER | --files FILE..." the part whose flag was given, else the first. */
static void choose_usage(const typed *t, char usage[256])
{
    char *flag = xformat("| --%s", t->flag ? t->flag : "?");
    const char *from = strstr(t->c->usage, flag);
    from = from ? from + strlen(flag) : t->c->usage;
    snprintf(usage, 256, "%.*s", (int)strcspn(from, "|"), from);
    free(flag);
}

static void name_wanted(const typed *t, char name[TEXT_WORD_SIZE])
{
    char usage[256], word[TEXT_WORD_SIZE];
    choose_usage(t, usage);
    operand_name(usage, t->n, name);
    if (strcmp(name, "OPERAND") != 0 || !t->first)
        return;
    *name = '\0';
    for (size_t i = 0; text_word(t->c->words, i, word); i++) { /* "rename SINGER NAME" */
        size_t n = strcspn(word, " ");
        if (strlen(t->first) == n && strncmp(word, t->first, n) == 0)
            operand_name(word + n, t->n - 1, name);
    }
}

static void offer_operand(const typed *t)
{
    char name[TEXT_WORD_SIZE];
    name_wanted(t, name);
    bool file =
        strcmp(name, "FILE") == 0 || strcmp(name, "TRACKS") == 0 || strcmp(name, "JOURNAL") == 0;
    puts(file ? "files" : "words");
    if (strcmp(name, "SINGER") == 0 || strcmp(name, "TAKE") == 0)
        offer_from_journal(t, *name == 'T');
    else if ((strcmp(name, "VERB") == 0 || strcmp(name, "ACTION") == 0) && t->c->words)
        offer_words(t, "", t->c->words);
    else if (strcmp(name, "COMMAND") == 0)
        offer_commands(t);
}

static void offer_all(const typed *t)
{
    const char *equals = strchr(t->last, '=');
    bool dash = t->open && t->last[0] == '-';
    const option *o = t->pending;
    if (!o && dash && begins(t->last, "--") && equals)
        o = find(t, t->last + 2, (size_t)(equals - t->last - 2));
    if (o) {
        char *before =
            t->pending ? xstrdup("") : xformat("%.*s", (int)(equals + 1 - t->last), t->last);
        offer_value(t, o, before);
        free(before);
        return;
    }
    if (!dash && t->c) {
        offer_operand(t);
        return;
    }
    puts("words");
    if (dash)
        offer_options(t);
    else
        offer_commands(t);
}

static int run(const command_call *call, err *e)
{
    (void)e;
    typed t = {.open = true};
    for (size_t i = 0; i + 1 < call->n; i++)
        take_word(&t, call->operands[i]);
    const char *last = call->n ? call->operands[call->n - 1] : "";
    t.last = unquoted(t.pending && strcmp(last, "=") == 0 ? "" : last);
    if (!t.lost)
        offer_all(&t);
    free(t.last);
    return EXIT_DONE;
}

const command command_complete = {
    .name = "complete",
    .summary = "what the last word of a command line may become",
    .usage = "-- WORD...",
    .hidden = true,
    .run = run,
};
