/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What to sing. */
#include "lesson/sheet_say.h"
#include "lesson/sheet_words.h"

static void loosen(say *y)
{
    const sheet_stroke *k = y->l->strokes;
    bool settle = y->l->part == SHEET_SETTLE;
    fputs(settle ? "As at the beginning, and softer: hum"
                 : "Hum, or trill the lips or the tongue, and slide slowly",
          y->out);
    if (y->l->n_strokes)
        fprintf(y->out,
                y->s->sung.levels_known ? " down from %s to %s, at %s at the most"
                                        : " down from %s to %s, at %s",
                say_note(y, k->from_st), say_note(y, k->to_st), say_level(y, k->from_db));
    else
        fputs(" down a few notes, wherever it is easy", y->out);
    fputs(settle ? "." : ". Breathe, and again; let jaw and neck be loose.", y->out);
}

static void explore_pitch(say *y)
{
    const sheet_stroke *k = y->l->strokes;
    if (y->l->n_strokes)
        fprintf(y->out,
                "Slide from %s up to %s and back, beginning at %s. Let the voice flip where and as "
                "it likes; level and register are free.",
                say_note(y, k->from_st), say_note(y, k->to_st), say_level(y, k->from_db));
    else
        fputs("Slide up and down softly, as far as it is easy. Let the voice flip where and as it "
              "likes.",
              y->out);
}

static void explore_level(say *y)
{
    const sheet_stroke *k = y->l->strokes;
    if (y->l->n_strokes)
        fprintf(y->out,
                "About %s, grow from %s to %s and fade again. Pitch and register are free, so let "
                "them go along.",
                say_note(y, k->from_st), say_level(y, k->from_db), say_level(y, k->to_db));
    else
        fputs("On an easy note, grow a little and fade again. Pitch and register are free.",
              y->out);
}

static void notes(say *y)
{
    for (size_t i = 0; i < y->l->n_zone; i++)
        fprintf(y->out, "%s%s",
                i == 0                 ? ""
                : i + 1 < y->l->n_zone ? ", "
                                       : " and ",
                say_note(y, y->l->zone[i]));
}

static void explore_register(say *y)
{
    if (!y->l->n_zone) {
        fputs("On an easy note in the middle of your voice, begin lightly, drop into chest voice, "
              "and let it go light again. Pitch and level are free.",
              y->out);
        return;
    }
    fputs("On ", y->out);
    notes(y);
    fputs(" begin in light voice, drop into chest voice and let it go light again. Pitch and level "
          "are free: let it leap.",
          y->out);
}

static void slide_at_one_level(say *y)
{
    const sheet_stroke *k = y->l->strokes;
    fprintf(y->out, "Slide from %s up to %s and back%s, all of it at %s.%s",
            say_note(y, k->from_st), say_note(y, k->to_st), k->reg ? " in chest voice" : "",
            say_level(y, k->from_db),
            k->reg ? "" : " Let the voice flip, but let no one hear it in the level.");
}

/* Slides of one register each; the return of a slide is said, not listed. */
static void slides(say *y)
{
    for (size_t i = 0; i < y->l->n_strokes; i += 2) {
        const sheet_stroke *k = &y->l->strokes[i];
        fprintf(y->out, "%s in %s voice, %s %s to %s and back, at %s", i ? "; then" : "Slide",
                k->reg == 1 ? "chest" : "light", k->from_st < k->to_st ? "up from" : "down from",
                say_note(y, k->from_st), say_note(y, k->to_st), say_level(y, k->from_db));
    }
}

static void keep(say *y)
{
    slides(y);
    fputs(". Stay in the register; the level is free. Where it wants to flip, turn round sooner: "
          "never push.",
          y->out);
}

static void slide_combined(say *y)
{
    slides(y);
    fputs(". Neither level nor register changes.", y->out);
}

static void start_light(say *y)
{
    const sheet_stroke *k = y->l->strokes;
    fprintf(y->out,
            "On %s begin in light voice at %s, grow until it turns into chest voice, to %s at the "
            "most, and fade back into light voice. The pitch stays; the register is free to turn.",
            say_note(y, k->from_st), say_level(y, y->l->room.lo_db),
            say_level(y, y->l->room.hi_db));
}

static void swells(say *y, bool rising)
{
    for (size_t i = 0; i < y->l->n_strokes; i += 2) {
        const sheet_stroke *k = &y->l->strokes[i];
        fprintf(y->out, "%s %s voice, ", i ? " Then in" : "In", k->reg == 1 ? "chest" : "light");
        if (k->from_st != k->to_st)
            fprintf(y->out, "rising from %s to %s, grow", say_note(y, k->from_st),
                    say_note(y, k->to_st));
        else
            fprintf(y->out, "on %s, grow", say_note(y, k->from_st));
        fprintf(y->out, " from %s to %s, and fade%s.", say_level(y, k->from_db),
                say_level(y, k->to_db), k->from_st != k->to_st ? " on the way back" : "");
    }
    fputs(rising ? " The register stays; the pitch is free to go along."
                 : " Neither pitch nor register changes.",
          y->out);
}

static void change_on_one_note(say *y)
{
    fprintf(
        y->out,
        "On %s sing light voice, then chest voice, and so on, a breath between. The pitch stays; "
        "the level is free, so chest voice may be louder.",
        say_note(y, y->l->zone[0]));
}

static void change_at_one_level(say *y)
{
    fprintf(y->out, "Sing %s in chest voice and then, just as loud, a note in light voice:",
            say_note(y, y->l->matched[0].chest_st));
    for (size_t i = 0; i < y->l->n_matched; i++)
        fprintf(y->out, "%s %s at %s", i ? "," : "", say_note(y, y->l->matched[i].light_st),
                say_level(y, y->l->matched[i].db));
    fputs(". Compare: note and register change, the level does not.", y->out);
}

static void change_combined(say *y)
{
    fprintf(y->out,
            "On %s change between light and chest voice, all at %s, first with a breath between "
            "and then without. Neither pitch nor level gives a step.",
            say_note(y, y->l->zone[0]), say_level(y, y->l->db));
}

static void on_zone(say *y)
{
    if (y->l->exercise->hold)
        change_on_one_note(y);
    else
        explore_register(y);
}

static void wide(say *y)
{
    swells(y, !(y->l->exercise->hold & LESSON_PITCH));
}

static void (*const how[RULE_RULES])(say *) = {
    [RULE_BELOW_FLIP] = loosen,
    [RULE_ACROSS] = explore_pitch,
    [RULE_ROOM] = explore_level,
    [RULE_ZONE] = on_zone,
    [RULE_CHEST_LEVEL] = slide_at_one_level,
    [RULE_KEEP] = keep,
    [RULE_START_LIGHT] = start_light,
    [RULE_WIDE_SWELL] = wide,
    [RULE_MATCH] = change_at_one_level,
    [RULE_LIGHT_LOW] = slide_combined,
    [RULE_SHARED_LEVEL] = change_combined,
};

char *sheet_how(const sheet *s, const sheet_line *l, double a4_hz)
{
    say y;
    say_begin(&y, s, l, a4_hz);
    if (l->minutes > 0)
        how[l->rule](&y);
    else
        fputs("Left out today.", y.out);
    return say_end(&y);
}
