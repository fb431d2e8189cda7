/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lesson/sheet.h"

#include "lesson/strokes.h"

#include <math.h>

enum { EASY_ST = 5, EXPLORE_BELOW_ST = 7, EXPLORE_ABOVE_ST = 5, RISE_ST = 2, ZONE_MOST = 16 };

/* About a quarter of an hour: 1 + 3 + 6 + 4.5 + 0.5. */
static const double minutes_of[SHEET_PARTS] = {1, 1, 1, 1.5, 0.5};
static const double LEAST_SHARED_DB = 1; /* less is one level in name only */
static const double HOLD_S = 2;

const char *sheet_part_name(sheet_part p)
{
    static const char *const names[SHEET_PARTS] = {"Loosen", "Explore freely",
                                                   "One by one: hold one, vary one",
                                                   "Combined: hold two, vary the third", "Settle"};
    return names[p];
}

static double soft_to_middle(const sung_voice *s)
{
    return (s->soft_db + s->middle_db) / 2;
}

/* Chest notes for loosening lie below the flip back; where it is not told, in the lower half. */
static bool is_low(const sung_voice *s, int st, double flip_st)
{
    const sung_register *chest = &s->reg[0];
    return isfinite(flip_st) ? st <= flip_st - 1 : 2 * st <= chest->lo_st + chest->hi_st + 2;
}

/* Up to five semitones down from this note; less than three are none. */
static bool easy_slide(const sung_voice *s, sheet_line *l, int reg, int top)
{
    int bottom = top;
    while (top - bottom < EASY_ST && places_easy(s, reg, bottom - 1, l->db) &&
           !(reg == 2 && bottom - 1 < l->flip_st + 1))
        bottom--;
    if (!places_easy(s, reg, top, l->db) || top - bottom < EASY_ST - 2)
        return false;
    strokes_add(l, reg, top, bottom, l->db, l->db, STROKES_SLIDE_S);
    return true;
}

/* Softly down in chest voice, or where there is none in light voice above the flip back. */
static void plan_easy(const sung_voice *s, sheet_line *l)
{
    l->rule = RULE_BELOW_FLIP;
    l->db = soft_to_middle(s);
    l->flip_st = sung_flip(s, FLIP_DOWN, l->db);
    for (int top = s->reg[0].hi_st; top >= s->reg[0].lo_st; top--)
        if (is_low(s, top, l->flip_st) && easy_slide(s, l, 1, top))
            return;
    for (int top = s->reg[1].lo_st; top <= s->reg[1].hi_st; top++)
        if (easy_slide(s, l, 2, top))
            return;
}

/* Where the map has both registers, across the flip; else over what there is. */
static void explore_pitch(const sung_voice *s, sheet_line *l)
{
    int lo, hi;
    l->rule = RULE_ACROSS;
    for (l->db = soft_to_middle(s); l->db <= s->middle_db; l->db++)
        if (places_across(s, l->db, EXPLORE_BELOW_ST, EXPLORE_ABOVE_ST, &lo, &hi)) {
            l->flip_st = sung_flip(s, FLIP_UP, l->db);
            l->back_st = sung_flip(s, FLIP_DOWN, l->db);
            strokes_slide(l, 0, lo, hi, l->db);
            return;
        }
}

static void explore_level(const sung_voice *s, sheet_line *l)
{
    wide_swell w = places_wide(s, 1);
    int reg = 1;
    l->rule = RULE_ROOM;
    if (w.room.hi_db < w.room.lo_db) {
        w = places_wide(s, 2);
        reg = 2;
    }
    if (w.room.hi_db < w.room.lo_db)
        return;
    l->wide[reg - 1] = w;
    l->room = w.room;
    strokes_swell(l, reg, w.st, w.room);
}

/* The level in a register's room that is nearest to the singer's middle. */
static double near_middle(const sung_voice *s, places_room r)
{
    return fmin(fmax(s->middle_db, r.lo_db), r.hi_db);
}

/* Light and chest in turn on the notes of the zone, each where it is at ease. */
static void change_on_notes(const sung_voice *s, sheet_line *l, size_t most)
{
    int notes[ZONE_MOST];
    size_t n = places_zone(s, notes, ZONE_MOST);
    l->rule = RULE_ZONE;
    for (size_t i = 0; i < n && l->n_zone < most; i++) {
        places_room chest = places_room_of(s, 1, notes[i]), light = places_room_of(s, 2, notes[i]);
        if (chest.hi_db < chest.lo_db || light.hi_db < light.lo_db)
            continue;
        l->zone[l->n_zone++] = notes[i];
        double in_light = near_middle(s, light), in_chest = near_middle(s, chest);
        strokes_add(l, 2, notes[i], notes[i], in_light, in_light, HOLD_S);
        strokes_breath(l);
        strokes_add(l, 1, notes[i], notes[i], in_chest, in_chest, HOLD_S);
    }
}

static void explore_register(const sung_voice *s, sheet_line *l)
{
    change_on_notes(s, l, SHEET_ZONE);
}

static void slide_at_one_level(const sung_voice *s, sheet_line *l)
{
    int lo, hi;
    l->rule = RULE_CHEST_LEVEL;
    l->chest = places_chest(s);
    l->db = l->chest.db;
    l->flip_st = l->chest.flip_st;
    if (l->chest.found && places_across(s, l->db, EXPLORE_BELOW_ST, EXPLORE_ABOVE_ST, &lo, &hi))
        strokes_slide(l, 0, lo, hi, l->db);
    else if (l->chest.found)
        strokes_slide(l, 1, l->chest.from_st, l->chest.top_st, l->db);
}

/* Chest voice stops a semitone short of its flip, light voice a semitone above its flip back. */
static int short_of_flip(const chest_level *c)
{
    return c->top_st > c->flip_st - 1 ? (int)floor(c->flip_st - 1) : c->top_st;
}

static int short_of_back(const light_low *low)
{
    return low->lo_st < low->flip_st + 1 ? (int)ceil(low->flip_st + 1) : low->lo_st;
}

static void chest_slide(const sung_voice *s, sheet_line *l)
{
    l->chest = places_chest(s);
    int top = short_of_flip(&l->chest);
    l->chest.found = l->chest.found && top > l->chest.from_st;
    if (l->chest.found)
        strokes_slide(l, 1, l->chest.from_st, top, l->chest.db);
}

static void slide_in_one_register(const sung_voice *s, sheet_line *l)
{
    l->rule = RULE_KEEP;
    chest_slide(s, l);
    l->low = places_light_low(s);
    int bottom = short_of_back(&l->low);
    l->low.found = l->low.found && bottom < l->low.hi_st;
    if (l->low.found)
        strokes_slide(l, 2, l->low.hi_st, bottom, l->low.db);
}

/* Softly it is light voice and loudly chest voice by itself; true too where that is not told. */
static bool changes_by_itself(const sung_voice *s, int st, places_room r)
{
    return !(sung_flip(s, FLIP_UP, r.lo_db) > st) && !(sung_flip(s, FLIP_DOWN, r.hi_db) < st);
}

enum { BY_ITSELF, SOFTER, ANYHOW };

static bool swell_from_light(const sung_voice *s, sheet_line *l, int st, int wanted)
{
    places_room shared = places_shared(s, st);
    places_room light = places_room_of(s, 2, st), chest = places_room_of(s, 1, st);
    places_room all = {light.lo_db, chest.hi_db};
    if (shared.hi_db - shared.lo_db < LEAST_SHARED_DB ||
        (wanted <= SOFTER && light.lo_db > chest.lo_db) ||
        (wanted == BY_ITSELF && !changes_by_itself(s, st, all)))
        return false;
    double change = (shared.lo_db + shared.hi_db) / 2;
    l->zone[l->n_zone++] = st;
    l->room = all;
    for (int d = 0; d < 2; d++)
        l->turn_db[d] = sung_flip_level(s, (flip_direction)d, st);
    strokes_add(l, 2, st, st, all.lo_db, change, STROKES_SWELL_S / 2);
    strokes_add(l, 1, st, st, change, all.hi_db, STROKES_SWELL_S / 2);
    strokes_add(l, 1, st, st, all.hi_db, change, STROKES_SWELL_S / 2);
    strokes_add(l, 2, st, st, change, all.lo_db, STROKES_SWELL_S / 2);
    return true;
}

static void swell_on_one_note(const sung_voice *s, sheet_line *l)
{
    int notes[ZONE_MOST];
    size_t n = places_zone(s, notes, ZONE_MOST);
    l->rule = RULE_START_LIGHT;
    for (int wanted = BY_ITSELF; wanted <= ANYHOW; wanted++)
        for (size_t i = 0; i < n; i++)
            if (swell_from_light(s, l, notes[i], wanted))
                return;
}

/* Whether a stroke to this note can begin so many semitones below, at the soft end. */
static bool rises(const sung_voice *s, int reg, const wide_swell *w, int by_st)
{
    for (int k = 0; k <= by_st; k++) {
        double part = (double)k / by_st;
        double db = (1 - part) * w->room.lo_db + part * w->room.hi_db;
        int st = w->st - by_st + k;
        if (!places_easy(s, reg, st, db) || (reg == 2 && st < sung_flip(s, FLIP_DOWN, db)))
            return false;
    }
    return true;
}

static void swells(const sung_voice *s, sheet_line *l, bool rising)
{
    l->rule = RULE_WIDE_SWELL;
    for (int reg = 2; reg >= 1; reg--) {
        wide_swell w = l->wide[reg - 1] = places_wide(s, reg);
        if (w.room.hi_db < w.room.lo_db)
            continue;
        if (rising && rises(s, reg, &w, RISE_ST)) {
            strokes_add(l, reg, w.st - RISE_ST, w.st, w.room.lo_db, w.room.hi_db, STROKES_SWELL_S);
            strokes_breath(l);
            strokes_add(l, reg, w.st, w.st - RISE_ST, w.room.hi_db, w.room.lo_db, STROKES_SWELL_S);
        } else {
            strokes_swell(l, reg, w.st, w.room);
        }
    }
}

/* Pitch is free: a rise with the level is easier than one note. */
static void swell_in_one_register(const sung_voice *s, sheet_line *l)
{
    swells(s, l, true);
}

static void change_on_one_note(const sung_voice *s, sheet_line *l)
{
    change_on_notes(s, l, 1);
}

static void change_at_one_level(const sung_voice *s, sheet_line *l)
{
    l->rule = RULE_MATCH;
    l->n_matched = places_matched(s, l->matched);
    for (size_t i = 0; i < l->n_matched; i++) {
        const matched *m = &l->matched[i];
        strokes_add(l, 1, m->chest_st, m->chest_st, m->db, m->db, HOLD_S);
        strokes_breath(l);
        strokes_add(l, 2, m->light_st, m->light_st, m->db, m->db, HOLD_S);
    }
}

/* Light voice goes all the way down to the lowest note that holds the level. */
static void slide_at_one_level_in_one_register(const sung_voice *s, sheet_line *l)
{
    l->rule = RULE_LIGHT_LOW;
    l->low = places_light_low(s);
    if (l->low.found)
        strokes_slide(l, 2, l->low.hi_st, l->low.lo_st, l->low.db);
    chest_slide(s, l);
}

static void swell_on_one_note_in_one_register(const sung_voice *s, sheet_line *l)
{
    swells(s, l, false);
}

static void change_on_one_note_at_one_level(const sung_voice *s, sheet_line *l)
{
    int notes[ZONE_MOST];
    size_t n = places_zone(s, notes, ZONE_MOST);
    l->rule = RULE_SHARED_LEVEL;
    for (size_t i = 0; i < n; i++) {
        l->room = places_shared(s, notes[i]);
        if (l->room.hi_db - l->room.lo_db < LEAST_SHARED_DB)
            continue;
        l->zone[l->n_zone++] = notes[i];
        l->db = near_middle(s, l->room);
        for (int k = 0; k < 4; k++)
            strokes_add(l, k % 2 ? 1 : 2, notes[i], notes[i], l->db, l->db, HOLD_S);
        return;
    }
}

typedef void (*planner)(const sung_voice *, sheet_line *);
static const planner planners[EXERCISES] = {
    explore_pitch,
    explore_level,
    explore_register,
    slide_at_one_level,
    slide_in_one_register,
    swell_on_one_note,
    swell_in_one_register,
    change_on_one_note,
    change_at_one_level,
    slide_at_one_level_in_one_register,
    swell_on_one_note_in_one_register,
    change_on_one_note_at_one_level,
};

static sheet_line line(const sung_voice *s, sheet_part part, const exercise *x, planner plan)
{
    sheet_line l = {.part = part,
                    .exercise = x,
                    .db = (double)NAN,
                    .flip_st = (double)NAN,
                    .back_st = (double)NAN,
                    .turn_db = {(double)NAN, (double)NAN}};
    plan(s, &l);
    bool anywhere = part != SHEET_PAIRS && part != SHEET_COMBINED;
    l.minutes = l.n_strokes || anywhere ? minutes_of[part] : 0;
    return l;
}

static sheet_part part_of(const exercise *x)
{
    bool two = x->hold && (x->hold & (x->hold - 1));
    return !x->hold ? SHEET_EXPLORE : two ? SHEET_COMBINED : SHEET_PAIRS;
}

sheet sheet_plan(const sung_voice *s)
{
    sheet out = {.sung = *s};
    out.lines[0] = line(s, SHEET_LOOSEN, NULL, plan_easy);
    for (int i = 0; i < EXERCISES; i++)
        out.lines[i + 1] = line(s, part_of(&exercises[i]), &exercises[i], planners[i]);
    out.lines[EXERCISES + 1] = line(s, SHEET_SETTLE, NULL, plan_easy);
    for (int i = 0; i < SHEET_LINES; i++)
        out.minutes += out.lines[i].minutes;
    return out;
}
