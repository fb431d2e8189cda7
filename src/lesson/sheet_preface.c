/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lesson/sheet_say.h"
#include "lesson/sheet_words.h"

static void say_range(say *y, int reg)
{
    const sung_register *r = &y->s->sung.reg[reg - 1];
    const char *name = reg == 1 ? "chest voice" : "light voice";
    if (r->lo_st > r->hi_st)
        fprintf(y->out, "nothing in %s", name);
    else
        fprintf(y->out, "%s to %s in %s", say_note(y, r->lo_st), say_note(y, r->hi_st), name);
}

static void say_levels(say *y)
{
    const sung_voice *s = &y->s->sung;
    if (!s->levels_known)
        fputs("Levels are not known here, so soft, middle and loud are the singer's own.\n",
              y->out);
    else if (s->levels_are_spl)
        fprintf(y->out,
                "Levels are dB SPL, unweighted, 30 cm from the lips. Over all takes %s is soft, %s "
                "middle and %s loud.\n",
                say_db(y, s->soft_db), say_db(y, s->middle_db), say_db(y, s->loud_db));
    else
        fprintf(y->out,
                "Levels are dB re the session's median: 0 dB is the middle of what is sung in a "
                "session with the same set-up. Over all takes %s is soft, %s middle and %s loud.\n",
                say_db(y, s->soft_db), say_db(y, s->middle_db), say_db(y, s->loud_db));
}

static void say_promise(say *y)
{
    if (y->s->sung.levels_known)
        fprintf(y->out,
                ". Every note below lies where it was sung at that level, %.0f dB or more under "
                "the loudest there.\n",
                PLACES_SPARE_DB);
    else
        fputs(". Every note below was sung in the register that is asked for.\n", y->out);
}

char *sheet_preface(const sheet *s, double a4_hz)
{
    say y;
    say_begin(&y, s, NULL, a4_hz);
    if (s->sung.from_map) {
        fputs("Sung so far: ", y.out);
        say_range(&y, 1);
        fputs(", ", y.out);
        say_range(&y, 2);
        say_promise(&y);
    } else {
        fputs("There is no map of this voice yet: the notes below suit most voices about the usual "
              "place of the flip, and nothing here is known of this one. Move everything to where "
              "it is easy. Slides and swells that are recorded make a map.\n",
              y.out);
    }
    say_levels(&y);
    fputs("Chest voice is the heavy register (M1), light voice is falsetto or head voice (M2).\n",
          y.out);
    return say_end(&y);
}
