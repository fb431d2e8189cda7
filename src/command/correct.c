/* SPDX-License-Identifier: GPL-3.0-or-later */
/* correct TAKE: flips by hand. What is said is kept for good, then the registers that hang on it
 * are decoded anew. */
#include "base/array.h"
#include "base/number.h"
#include "base/text.h"
#include "command/command.h"
#include "command/flip_cells.h"
#include "command/interrupt.h"
#include "command/judge.h"
#include "journal/corrections.h"
#include "journal/store.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* TAKE ACTION TIME...: what was typed, before anything is known of the take. */
typedef struct wish {
    bool any; /* else the flips are only shown */
    correction c;
} wish;

static bool read_time(const char *text, double *time_s, err *e)
{
    return (number_read(text, time_s) && *time_s >= 0) ||
           err_set(e, "A time is seconds from the start of the take, as 3.25, not \"%s\".", text);
}

static bool read_direction(const char *text, flip_direction *direction, err *e)
{
    int i = text_word_index("up|down", text);
    *direction = i == 1 ? FLIP_DOWN : FLIP_UP;
    return i >= 0 || err_set(e, "A flip goes up (to M2) or down (to M1), not \"%s\".", text);
}

static bool refuse_action(const char *typed, err *e)
{
    char end[TEXT_HINT_SIZE];
    text_hint(typed, CORRECTION_ACTIONS, end);
    return err_set(e, "correct can add, move, remove, confirm or withdraw, not \"%s\"%s", typed,
                   end);
}

static bool read_wish(const command_call *call, wish *out, err *e)
{
    *out = (wish){.any = call->n > 1};
    if (!out->any)
        return true;
    int action = text_word_index(CORRECTION_ACTIONS, call->operands[1]);
    if (action < 0)
        return refuse_action(call->operands[1], e);
    correction *c = &out->c;
    c->action = (correction_action)action;
    bool two = c->action == CORRECTION_ADD || c->action == CORRECTION_MOVE;
    if (call->n != (two ? 4u : 3u))
        return err_set(e, "%s wants %s.", call->operands[1],
                       c->action == CORRECTION_ADD    ? "TIME and up or down"
                       : c->action == CORRECTION_MOVE ? "two times, FROM and TO"
                                                      : "TIME alone");
    if (!read_time(call->operands[2], &c->time_s, e))
        return false;
    c->to_s = c->time_s;
    if (c->action == CORRECTION_ADD)
        return read_direction(call->operands[3], &c->direction, e);
    return c->action != CORRECTION_MOVE || read_time(call->operands[3], &c->to_s, e);
}

static bool voiced_between(const track *t, double from_s, double to_s)
{
    for (size_t f = 0; f < t->n; f++)
        if (t->time_s[f] >= from_s && t->time_s[f] <= to_s && isfinite(t->pitch_st[f]))
            return true;
    return false;
}

static bool has_voice(const journal_item *item, double time_s, err *e)
{
    const track *t = item->track;
    return (voiced_between(t, time_s - CORRECTION_PLACE_S, time_s) &&
            voiced_between(t, time_s, time_s + CORRECTION_PLACE_S)) ||
           err_set(e, "There is no voice on both sides of %.3f s in take %s.", time_s,
                   item->take.take);
}

/* The flip that is meant: the nearest within the place. */
static bool find_flip(const journal_item *item, correction *c, err *e)
{
    const flip *best = NULL;
    for (size_t i = 0; i < item->flips.n; i++) {
        const flip *f = &item->flips.items[i];
        if (!best || fabs(f->time_s - c->time_s) < fabs(best->time_s - c->time_s))
            best = f;
    }
    if (!best)
        return err_set(e, "Take %s has no flip: add one by hand with \"correct %s add TIME up\".",
                       item->take.take, item->take.take);
    if (fabs(best->time_s - c->time_s) > CORRECTION_PLACE_S)
        return err_set(e, "Take %s has no flip at %.3f s; the nearest is at %.3f s.",
                       item->take.take, c->time_s, best->time_s);
    if (c->action != CORRECTION_MOVE)
        c->to_s = best->time_s;
    c->time_s = best->time_s;
    c->direction = best->direction;
    return true;
}

/* What was said of the place, which is to be taken back. */
static bool find_verdict(journal *j, const journal_item *item, correction *c, err *e)
{
    verdicts v;
    bool found = false;
    if (!verdicts_read(j, item->take.code, &v, e))
        return false;
    for (size_t i = 0; i < v.n; i++)
        if (fabs(v.items[i].time_s - c->time_s) <= CORRECTION_PLACE_S) {
            c->direction = v.items[i].direction;
            found = true;
        }
    verdicts_clear(&v);
    return found ||
           err_set(e, "Nothing was said of take %s at %.3f s.", item->take.take, c->time_s);
}

static bool settle(journal *j, const journal_item *item, correction *c, err *e)
{
    if (c->action == CORRECTION_WITHDRAW)
        return find_verdict(j, item, c, e);
    if (c->action != CORRECTION_ADD && !find_flip(item, c, e))
        return false;
    return c->action == CORRECTION_REMOVE || c->action == CORRECTION_CONFIRM ||
           has_voice(item, c->to_s, e);
}

static bool print(const command_call *call, const journal_item *item, err *e)
{
    table_writer *w = command_table(call, "take " FLIP_COLUMNS " stated");
    for (size_t i = 0; i < item->flips.n; i++) {
        table_text(w, item->take.take);
        cell_flip(w, &item->flips.items[i]);
        cell_origin(w, &item->flips.items[i]);
    }
    return table_writer_close(w, e);
}

typedef struct saying {
    const char *code;
    const correction *c;
} saying;

static bool say(journal *j, const void *a_saying, err *e)
{
    const saying *s = a_saying;
    return corrections_say(j, s->code, s->c, e);
}

static bool correct(const command_call *call, journal *j, wish *wanted, journal_item *item, err *e)
{
    if (!journal_named(j, call->operands[0], false, item, e))
        return false;
    if (!wanted->any)
        return true;
    if (!settle(j, item, &wanted->c, e))
        return false;
    interrupt_hold();
    saying s = {item->take.code, &wanted->c};
    if (!judge_change(j, item->take.singer, say, &s, call->shared->quiet, e))
        return false;
    char *code = xstrdup(item->take.code);
    journal_item_clear(item);
    bool fine = journal_named(j, code, false, item, e);
    free(code);
    return fine;
}

static int run(const command_call *call, err *e)
{
    wish wanted;
    journal *j;
    journal_item item = {0};
    if (!read_wish(call, &wanted, e))
        return EXIT_USAGE;
    if (!journal_open(call->shared->journal, wanted.any ? JOURNAL_WRITE : JOURNAL_READ, &j, e))
        return EXIT_INPUT;
    bool fine = correct(call, j, &wanted, &item, e);
    journal_close(j);
    fine = fine && print(call, &item, e);
    journal_item_clear(&item);
    return fine ? EXIT_DONE : EXIT_INPUT;
}

const command command_correct = {
    .name = "correct",
    .summary = "a take's flips, and corrections of them by hand",
    .usage = "TAKE [ACTION TIME...]",
    .detail =
        "Prints the flips of a take (named as \"seamline takes\" does, or by its first digits) as\n"
        "they count now. With an action it corrects one first:\n\n"
        "  add TIME up|down   there is a flip that was not heard\n"
        "  move FROM TO       the flip at FROM is at TO\n"
        "  remove TIME        the flip there is none\n"
        "  confirm TIME       the flip there is one, however doubtful it was\n"
        "  withdraw TIME      what was said of this place is taken back\n\n"
        "Times are seconds from the start of the take; the flip meant is the nearest within 0.15 "
        "s.\n"
        "What is said is kept for good, also when the take is heard anew, counts instead of what\n"
        "was heard, and teaches the program this singer's registers.",
    .words = CORRECTION_ACTIONS,
    .examples = "seamline correct 4be27d4ffb\n"
                "seamline correct 4be27d4ffb confirm 3.25\n"
                "seamline correct 4be27d4ffb add 2.1 down",
    .least = 1,
    .most = 4,
    .run = run,
};
