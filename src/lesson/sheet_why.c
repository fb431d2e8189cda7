/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Why there. Nothing is said of levels where they are not known, and nothing of the singer where
 * there is no map. */
#include "lesson/sheet_say.h"
#include "lesson/sheet_words.h"

#include <math.h>

static bool levels(const say *y)
{
    return y->s->sung.levels_known;
}

/* What holds of voices in general. */
static const char *const in_general[RULE_RULES] = {
    [RULE_BELOW_FLIP] = "Nothing that asks for control, to begin and to end.",
    [RULE_ACROSS] = "To find out where the voice flips before anything is asked of it.",
    [RULE_ROOM] = "A note that is low enough not to flip while it grows.",
    [RULE_ZONE] = "Most voices have both registers here.",
    [RULE_CHEST_LEVEL] =
        "Only as loud as chest voice comes to the flip without force; softer when it "
        "does not.",
    [RULE_KEEP] = "Each register stays on its own side of the flip.",
    [RULE_START_LIGHT] =
        "Soft notes begin in light voice by themselves, so the swell begins there.",
    [RULE_WIDE_SWELL] =
        "Light voice needs a note that is high enough for a wide swell, chest voice "
        "one that is low enough not to flip.",
    [RULE_MATCH] =
        "Light voice is louder on higher notes: the louder the chest note, the higher the "
        "light note that matches it.",
    [RULE_LIGHT_LOW] = "Light voice goes down only as far as it holds the level; chest voice stops "
                       "short of the flip.",
    [RULE_SHARED_LEVEL] = "Most voices have both registers here, at one level.",
};

static bool rests_on_levels(sheet_rule r)
{
    return r == RULE_ROOM || r == RULE_CHEST_LEVEL || r == RULE_START_LIGHT ||
           r == RULE_WIDE_SWELL || r == RULE_MATCH;
}

/* "68 dB (soft)", or nothing. */
static const char *at(say *y, double db)
{
    static const char empty[] = "";
    return levels(y) ? say_level(y, db) : empty;
}

static void below_flip(say *y)
{
    const sheet_line *l = y->l;
    if (!l->n_strokes)
        fputs("The map has no run of notes sung softly enough.", y->out);
    else if (isnan(l->flip_st))
        fprintf(y->out, "All of it was sung in %s voice with room above and below in level.",
                l->strokes[0].reg == 1 ? "chest" : "light");
    else
        fprintf(y->out, "It lies %s %s, where the voice flips back%s%s: nothing has to change.",
                l->strokes[0].reg == 1 ? "below" : "above", say_note(y, l->flip_st),
                levels(y) ? " at " : "", at(y, l->db));
}

static void across(say *y)
{
    const sheet_line *l = y->l;
    if (!l->n_strokes)
        fputs("The map does not yet have both registers side by side at one level. Record such a "
              "slide, and it will.",
              y->out);
    else if (isnan(l->flip_st) && isnan(l->back_st))
        fputs("It was sung in chest voice below and in light voice above; where the voice flips, "
              "the takes do not tell.",
              y->out);
    else {
        fprintf(y->out, "%s%s the voice flips", levels(y) ? "At " : "On the way", at(y, l->db));
        if (isfinite(l->flip_st))
            fprintf(y->out, " up near %s", say_note(y, l->flip_st));
        if (isfinite(l->back_st))
            fprintf(y->out, "%s back near %s", isfinite(l->flip_st) ? " and" : "",
                    say_note(y, l->back_st));
        fputs(": the slide goes through it, and on either side every note was sung.", y->out);
    }
}

/* "65 dB to 80 dB" */
static void span(say *y, double lo_db, double hi_db)
{
    fprintf(y->out, "%s to %s", say_db(y, lo_db), say_db(y, hi_db));
}

/* The lowest note with nearly the widest room. */
static void widest(say *y, int reg, const wide_swell *w)
{
    bool chest = reg == 1;
    double turn =
        sung_flip(&y->s->sung, chest ? FLIP_UP : FLIP_DOWN, chest ? w->room.lo_db : w->room.hi_db);
    fprintf(y->out, "In %s voice %s is the lowest note with three quarters of the widest swell, ",
            chest ? "chest" : "light", say_note(y, w->st));
    span(y, w->room.lo_db, w->room.hi_db);
    if (isfinite(turn))
        fprintf(y->out, ", and clear of the flip%s near %s at its %s end", chest ? "" : " back",
                say_note(y, turn), chest ? "soft" : "loud");
    fputs(". ", y->out);
}

static void wide(say *y)
{
    for (int reg = 2; reg >= 1; reg--)
        if (y->l->wide[reg - 1].st &&
            y->l->wide[reg - 1].room.hi_db >= y->l->wide[reg - 1].room.lo_db)
            widest(y, reg, &y->l->wide[reg - 1]);
    fprintf(y->out, "The loud end stays %.0f dB or more below the loudest sung there.",
            PLACES_SPARE_DB);
}

static void room(say *y)
{
    if (y->l->n_strokes)
        wide(y);
    else
        fputs("The map has no note with room between soft and loud.", y->out);
}

static void zone(say *y)
{
    const sung_voice *s = &y->s->sung;
    if (!y->l->n_zone) {
        fputs("No note was sung in both registers yet; flips found here will show where.", y->out);
        return;
    }
    int st = y->l->zone[0];
    const char *note = say_note(y, st);
    if (y->l->n_zone > 1)
        fputs("All of them were sung in both registers", y->out);
    else
        fprintf(y->out, "%s was sung in both registers", note);
    if (levels(y)) {
        fprintf(y->out, ",%s%s in chest voice from ", y->l->n_zone > 1 ? " " : "",
                y->l->n_zone > 1 ? note : "");
        span(y, sung_floor(s, 1, st), sung_ceiling(s, 1, st));
        fputs(" and in light voice from ", y->out);
        span(y, sung_floor(s, 2, st), sung_ceiling(s, 2, st));
    }
    fputs(".", y->out);
}

static void chest(say *y)
{
    const chest_level *c = &y->l->chest;
    const sung_voice *s = &y->s->sung;
    if (c->reaches && c->db < s->middle_db)
        fprintf(y->out,
                "At the middle level, %s, chest voice does not get near its flip with room "
                "to spare, so it is softer: at %s",
                say_db(y, s->middle_db), say_db(y, c->db));
    else if (c->reaches)
        fprintf(y->out, "At the middle level, %s,", say_db(y, c->db));
    if (c->reaches)
        fprintf(y->out,
                " chest voice comes up to %s, close to the flip near %s, and is there %s "
                "below its loudest: without force.",
                say_note(y, c->top_st), say_note(y, c->flip_st), say_size(y, c->spare_db));
    else if (isfinite(c->flip_st))
        fprintf(y->out,
                "At no level from middle to soft does chest voice come within two semitones of "
                "its flip with %.0f dB to spare; at %s it does so up to %s.",
                PLACES_SPARE_DB, say_db(y, c->db), say_note(y, c->top_st));
    else
        fprintf(y->out,
                "Where the voice flips up, the takes do not tell; at %s chest voice has "
                "room up to %s.",
                say_db(y, c->db), say_note(y, c->top_st));
}

/* Where each register would be left, for what is sung. */
static void ends(say *y)
{
    const chest_level *c = &y->l->chest;
    const light_low *low = &y->l->low;
    if (c->found && isfinite(c->flip_st))
        fprintf(y->out, " Chest voice flips near %s%s%s: the slide stops a semitone or more below.",
                say_note(y, c->flip_st), levels(y) ? " at " : "", at(y, c->db));
    if (low->found && isfinite(low->flip_st) && y->l->rule == RULE_KEEP)
        fprintf(y->out,
                " Light voice flips back near %s%s%s: the slide stops a semitone or more above.",
                say_note(y, low->flip_st), levels(y) ? " at " : "", at(y, low->db));
}

static void keep(say *y)
{
    fprintf(y->out, "Every note was sung in that register%s.", levels(y) ? " at that level" : "");
    ends(y);
}

static void light_low_why(say *y)
{
    const light_low *low = &y->l->low;
    if (low->found && levels(y)) {
        if (low->lowered)
            fprintf(
                y->out,
                "Light voice does not hold the middle level, %s, with %.0f dB to spare over three "
                "notes in a row, so it is softer. ",
                say_db(y, y->s->sung.middle_db), PLACES_SPARE_DB);
        fprintf(y->out,
                "%s is the lowest note at which light voice %sholds %s%s, with %.0f dB to spare",
                say_note(y, low->lo_st), low->lowered ? "" : "still ",
                low->lowered ? "" : "the middle level, ", say_db(y, low->db), PLACES_SPARE_DB);
        if (isfinite(low->flip_st))
            fprintf(y->out, ", %sabove the flip back near %s",
                    lround(low->flip_st) == low->lo_st ? "just " : "", say_note(y, low->flip_st));
        fputs(".", y->out);
    } else {
        fputs("Every note was sung in that register.", y->out);
    }
    ends(y);
}

/* Where a swell on one note turns by itself, as far as it goes and as light voice was sung. */
static void turns(say *y)
{
    const sheet_line *l = y->l;
    const sung_voice *s = &y->s->sung;
    double up = l->turn_db[FLIP_UP], down = l->turn_db[FLIP_DOWN];
    if (down > fmin(l->room.hi_db, sung_ceiling(s, 2, l->zone[0])))
        fprintf(y->out,
                " Growing, it may well stay in light voice: then stop near %s, below its loudest "
                "there, and do not force it over.",
                say_db(y, fmin(l->room.hi_db, places_room_of(s, 2, l->zone[0]).hi_db)));
    else if (isfinite(down))
        fprintf(y->out, " Growing, it turns to chest voice near %s.",
                say_db(y, fmax(down, l->room.lo_db)));
    if (up < l->room.lo_db)
        fputs(" Fading, it may well stay in chest voice: let it go light early.", y->out);
    else if (isfinite(up))
        fprintf(y->out, " Fading, it turns back near %s.", say_db(y, fmin(up, l->room.hi_db)));
}

static void start_light(say *y)
{
    const sheet_line *l = y->l;
    const sung_voice *s = &y->s->sung;
    int st = l->zone[0];
    double light = sung_floor(s, 2, st), in_chest = sung_floor(s, 1, st);
    if (light < in_chest)
        fprintf(
            y->out,
            "Light voice goes softer on %s than chest voice, %s against %s, so the swell begins "
            "in it.",
            say_note(y, st), say_db(y, light), say_db(y, in_chest));
    else
        fprintf(y->out,
                "%s was sung in both registers, in light voice from %s on. A swell begins "
                "in light voice.",
                say_note(y, st), say_db(y, light));
    turns(y);
}

static void match(say *y)
{
    const sheet_line *l = y->l;
    const sung_voice *s = &y->s->sung;
    fprintf(y->out, "%s was sung in chest voice from ", say_note(y, l->matched[0].chest_st));
    span(y, sung_floor(s, 1, l->matched[0].chest_st), sung_ceiling(s, 1, l->matched[0].chest_st));
    fputs("; each light note is the lowest above it that holds the level with room to spare: ",
          y->out);
    for (size_t i = 0; i < l->n_matched; i++)
        if (!i || l->matched[i].light_st > l->matched[i - 1].light_st)
            fprintf(y->out, "%s%s%s up to %s", i ? ", " : "", say_note(y, l->matched[i].light_st),
                    i ? "" : " was sung", say_db(y, sung_ceiling(s, 2, l->matched[i].light_st)));
    fputs(".", y->out);
    if (l->n_matched > 1 && l->matched[l->n_matched - 1].light_st > l->matched[0].light_st)
        fputs(" The louder the chest note, the higher the light note.", y->out);
}

static void shared(say *y)
{
    const sheet_line *l = y->l;
    double middle = y->s->sung.middle_db;
    bool at_middle = lround(l->db) == lround(middle); /* as they are said */
    fprintf(y->out, "%s was sung in both registers", say_note(y, l->zone[0]));
    if (levels(y)) {
        fputs(", and both have room there from ", y->out);
        span(y, l->room.lo_db, l->room.hi_db);
        fprintf(y->out, at_middle ? "; %s is the middle level" : "; %s is nearest",
                say_db(y, l->db));
        if (!at_middle)
            fprintf(y->out, " to the middle level, %s", say_db(y, middle));
    }
    fputs(".", y->out);
}

/* What the map lacks for a line that is left out. */
static const char *missing(sheet_rule r)
{
    switch (r) {
    case RULE_CHEST_LEVEL:
    case RULE_KEEP:
    case RULE_LIGHT_LOW:
        return "No three notes in a row were sung in one register at one level, from soft to "
               "middle.";
    case RULE_WIDE_SWELL:
        return "No note has room between soft and loud.";
    case RULE_MATCH:
        return "No note in light voice matches a low chest note in level.";
    case RULE_START_LIGHT:
    case RULE_SHARED_LEVEL:
        return "No note was sung at one level in both registers, with room to spare.";
    default:
        return "No note was sung in both registers.";
    }
}

static void (*const why[RULE_RULES])(say *) = {
    [RULE_BELOW_FLIP] = below_flip,
    [RULE_ACROSS] = across,
    [RULE_ROOM] = room,
    [RULE_ZONE] = zone,
    [RULE_CHEST_LEVEL] = chest,
    [RULE_KEEP] = keep,
    [RULE_START_LIGHT] = start_light,
    [RULE_WIDE_SWELL] = wide,
    [RULE_MATCH] = match,
    [RULE_LIGHT_LOW] = light_low_why,
    [RULE_SHARED_LEVEL] = shared,
};

char *sheet_why(const sheet *s, const sheet_line *l, double a4_hz)
{
    say y;
    say_begin(&y, s, l, a4_hz);
    if (!(l->minutes > 0))
        fputs(missing(l->rule), y.out);
    else if (!s->sung.from_map)
        fputs(in_general[l->rule], y.out);
    else if (!s->sung.levels_known && l->n_strokes && rests_on_levels(l->rule))
        fprintf(y.out, "Its notes were sung in that register. %s", in_general[l->rule]);
    else
        why[l->rule](&y);
    return say_end(&y);
}
