/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lesson/places.h"

#include <math.h>
#include <stdlib.h>

enum { SPAN_ST = 7, LEAST_ST = 3, ACROSS_ST = 4, NEAR_ST = 2, MATCHES = 3 };
static const double STEP_DB = 1; /* by which a level is lowered */
/* Of the widest room: wide enough, and no higher than needed. */
static const double WIDE_SHARE = 0.75;

places_room places_room_of(const sung_voice *s, int reg, int st)
{
    places_room none = {0, -1};
    if (!sung_note(s, reg, st))
        return none;
    double hi = fmin(sung_ceiling(s, reg, st) - PLACES_SPARE_DB, s->loud_db);
    return (places_room){sung_floor(s, reg, st) + PLACES_SOFT_DB, hi};
}

static double width(places_room r)
{
    return r.hi_db - r.lo_db;
}

bool places_easy(const sung_voice *s, int reg, int st, double db)
{
    return sung_at(s, reg, st, db) && db <= places_room_of(s, reg, st).hi_db;
}

/* Down from top_st, the notes with room in chest voice. */
static int chest_bottom(const sung_voice *s, int top_st, double db)
{
    int from = top_st;
    while (top_st - from < SPAN_ST && places_easy(s, 1, from - 1, db))
        from--;
    return from;
}

/* Highest chest note with room at this level, not above the flip. */
static int chest_top(const sung_voice *s, double db)
{
    double turn = sung_flip(s, FLIP_UP, db);
    int top = s->reg[0].hi_st;
    while (top >= s->reg[0].lo_st && (top > turn || !places_easy(s, 1, top, db)))
        top--;
    return top;
}

static bool chest_at(const sung_voice *s, double db, chest_level *out)
{
    int top = chest_top(s, db);
    if (top < s->reg[0].lo_st)
        return false;
    *out = (chest_level){.found = true,
                         .from_st = chest_bottom(s, top, db),
                         .top_st = top,
                         .db = db,
                         .flip_st = sung_flip(s, FLIP_UP, db),
                         .spare_db = sung_ceiling(s, 1, top) - db};
    out->reaches = out->flip_st - top <= NEAR_ST;
    return top - out->from_st + 1 >= LEAST_ST;
}

chest_level places_chest(const sung_voice *s)
{
    chest_level first = {.found = false}, here;
    for (double db = s->middle_db; db >= s->soft_db; db -= STEP_DB) {
        if (!chest_at(s, db, &here))
            continue;
        if (here.reaches)
            return here;
        if (!first.found)
            first = here;
    }
    return first;
}

static bool light_at(const sung_voice *s, double db, light_low *out)
{
    double turn = sung_flip(s, FLIP_DOWN, db);
    int lo = s->reg[1].lo_st, hi;
    while (lo <= s->reg[1].hi_st && (lo < turn || !places_easy(s, 2, lo, db)))
        lo++;
    for (hi = lo; hi - lo < SPAN_ST && places_easy(s, 2, hi + 1, db);)
        hi++;
    *out = (light_low){.found = true,
                       .lowered = db < s->middle_db,
                       .lo_st = lo,
                       .hi_st = hi,
                       .db = db,
                       .flip_st = turn};
    return lo <= s->reg[1].hi_st && hi - lo + 1 >= LEAST_ST;
}

light_low places_light_low(const sung_voice *s)
{
    light_low here;
    for (double db = s->middle_db; db >= s->soft_db; db -= STEP_DB)
        if (light_at(s, db, &here))
            return here;
    return (light_low){.found = false};
}

/* Whether a swell through all the room of a note stays clear of the flip. */
static bool keeps_register(const sung_voice *s, int reg, int st, places_room r)
{
    return reg == 1 ? !(st > sung_flip(s, FLIP_UP, r.lo_db))
                    : !(st < sung_flip(s, FLIP_DOWN, r.hi_db));
}

wide_swell places_wide(const sung_voice *s, int reg)
{
    double widest = 0;
    wide_swell none = {0, {0, -1}};
    for (int pass = 0; pass < 2; pass++)
        for (int st = s->reg[reg - 1].lo_st; st <= s->reg[reg - 1].hi_st; st++) {
            places_room r = places_room_of(s, reg, st);
            if (!keeps_register(s, reg, st, r))
                continue;
            if (pass == 0)
                widest = fmax(widest, width(r));
            else if (widest > 0 && width(r) >= WIDE_SHARE * widest)
                return (wide_swell){st, r};
        }
    return none;
}

/* NaN when no note was sung in both. */
static double zone_middle(const sung_voice *s)
{
    double up = sung_flip(s, FLIP_UP, s->middle_db), down = sung_flip(s, FLIP_DOWN, s->middle_db);
    if (isfinite(up) && isfinite(down))
        return (up + down) / 2;
    if (isfinite(up) || isfinite(down))
        return isfinite(up) ? up : down;
    return (fmax(s->reg[0].lo_st, s->reg[1].lo_st) + fmin(s->reg[0].hi_st, s->reg[1].hi_st)) / 2;
}

/* Semitones from the middle of the zone; more for those that ask for more than the middle level. */
static double zone_order(const sung_voice *s, int st, double middle)
{
    bool gentle = true;
    for (int reg = 1; reg <= 2; reg++) {
        places_room r = places_room_of(s, reg, st);
        gentle = gentle && width(r) >= 0 && r.lo_db <= s->middle_db;
    }
    return fabs(st - middle) + (gentle ? 0 : SUNG_NOTES);
}

size_t places_zone(const sung_voice *s, int *st, size_t most)
{
    double middle = zone_middle(s);
    size_t n = 0;
    for (int note = s->reg[1].lo_st; note <= s->reg[0].hi_st; note++) {
        if (!sung_note(s, 1, note) || !sung_note(s, 2, note))
            continue;
        size_t at = n < most ? n++ : most;
        for (; at > 0 && zone_order(s, note, middle) < zone_order(s, st[at - 1], middle); at--)
            if (at < most)
                st[at] = st[at - 1];
        if (at < most)
            st[at] = note;
    }
    return n;
}

places_room places_shared(const sung_voice *s, int st)
{
    places_room a = places_room_of(s, 1, st), b = places_room_of(s, 2, st);
    if (width(a) < 0 || width(b) < 0)
        return (places_room){0, -1};
    return (places_room){fmax(a.lo_db, b.lo_db), fmin(a.hi_db, b.hi_db)};
}

static size_t levels_held(const sung_voice *s, int st, const double levels[MATCHES])
{
    size_t n = 0;
    for (int i = 0; i < MATCHES; i++)
        n += places_easy(s, 1, st, levels[i]);
    return n;
}

static int low_chest(const sung_voice *s, const double levels[MATCHES])
{
    int best = s->reg[0].lo_st;
    for (int st = best + 1; st <= s->reg[0].hi_st; st++)
        if (levels_held(s, st, levels) > levels_held(s, best, levels))
            best = st;
    return best;
}

size_t places_matched(const sung_voice *s, matched *out)
{
    const double levels[MATCHES] = {(s->soft_db + s->middle_db) / 2, s->middle_db,
                                    (s->middle_db + s->loud_db) / 2};
    int chest = low_chest(s, levels);
    size_t n = 0;
    for (int i = 0; i < MATCHES; i++) {
        int st = chest + 1;
        while (st <= s->reg[1].hi_st && !places_easy(s, 2, st, levels[i]))
            st++;
        if (st > s->reg[1].hi_st || !places_easy(s, 1, chest, levels[i]) ||
            (n && st < out[n - 1].light_st))
            continue;
        out[n++] = (matched){chest, st, levels[i]};
    }
    return n;
}

/* Sung at this level in one register or the other, and louder too. */
static bool passable(const sung_voice *s, int st, double db)
{
    double loudest = -INFINITY;
    for (int reg = 1; reg <= 2; reg++)
        if (sung_note(s, reg, st))
            loudest = fmax(loudest, sung_ceiling(s, reg, st));
    return (sung_at(s, 1, st, db) || sung_at(s, 2, st, db)) && db <= loudest - PLACES_SPARE_DB;
}

bool places_across(const sung_voice *s, double db, int below, int above, int *lo_st, int *hi_st)
{
    double turn = sung_flip(s, FLIP_UP, db);
    int centre = (int)lround(isfinite(turn) ? turn : zone_middle(s));
    *lo_st = *hi_st = centre;
    if (!passable(s, centre, db))
        return false;
    while (centre - *lo_st < below && passable(s, *lo_st - 1, db))
        --*lo_st;
    while (*hi_st - centre < above && passable(s, *hi_st + 1, db))
        ++*hi_st;
    return *hi_st - *lo_st >= ACROSS_ST && sung_at(s, 1, *lo_st, db) && sung_at(s, 2, *hi_st, db);
}
