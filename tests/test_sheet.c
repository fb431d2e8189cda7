/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Exercises from what was sung. Oracles: choices worked out by hand for a voice of round figures;
 * brute force over notes and levels for invented voices, from the definitions in docs/sheet.md;
 * that another level or another pitch of the whole voice moves the sheet with it and changes
 * nothing else. */
#include "base/array.h"
#include "lesson/cautions.h"
#include "lesson/sheet_words.h"
#include "show/sheet_page.h"
#include "voice/simpath.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>
#include <gsl/gsl_randist.h>

enum { VOICES = 400 };
static const double exact = 1e-9;

static void set(sung_voice *s, int reg, int lo, int hi, double floor_db, double ceiling_db,
                double rise)
{
    s->reg[reg - 1].lo_st = lo;
    s->reg[reg - 1].hi_st = hi;
    for (int st = lo; st <= hi; st++) {
        s->reg[reg - 1].floor_db[st - SUNG_LOW_ST] = floor_db + rise * (st - lo);
        s->reg[reg - 1].ceiling_db[st - SUNG_LOW_ST] = ceiling_db + rise * (st - lo);
    }
}

/* Chest voice C3 to G4 (48 to 67) at 60 to 85 dB; light voice C4 to C5 (60 to 72) from 56 to 70 dB,
 * both a dB more each semitone; flips up at 64 and back at 61, each at 70 dB, rising 0.25 st/dB. */
static sung_voice round_voice(void)
{
    sung_voice s = {.from_map = true,
                    .levels_known = true,
                    .levels_are_spl = true,
                    .soft_db = 62,
                    .middle_db = 70,
                    .loud_db = 80,
                    .flips = {{70, 64, 0.25, 0}, {70, 61, 0.25, 0}}};
    set(&s, 1, 48, 67, 60, 85, 0);
    set(&s, 2, 60, 72, 56, 70, 1);
    return s;
}

static const sheet_line *named(const sheet *s, const char *name)
{
    for (int i = 0; i < SHEET_LINES; i++)
        if (strcmp(sheet_title(&s->lines[i]), name) == 0)
            return &s->lines[i];
    fail_msg("no line %s", name);
    return NULL;
}

static void assert_stroke(const sheet_line *l, size_t k, int reg, int from_st, int to_st,
                          double from_db, double to_db)
{
    assert_true(k < l->n_strokes);
    const sheet_stroke *got = &l->strokes[k];
    if (got->reg != reg || got->from_st != from_st || got->to_st != to_st ||
        fabs(got->from_db - from_db) > exact || fabs(got->to_db - to_db) > exact)
        fail_msg("%s, stroke %zu: M%d %d to %d, %g to %g dB; expected M%d %d to %d, %g to %g",
                 sheet_title(l), k, got->reg, got->from_st, got->to_st, got->from_db, got->to_db,
                 reg, from_st, to_st, from_db, to_db);
}

/* Half-way between soft and middle is 66 dB, where the voice flips up at 63 and back at 60. Light
 * voice has room for a level L from the note 60 + (L + 3 - 70) on. */
static void test_by_hand(void **state)
{
    (void)state;
    sung_voice voice = round_voice();
    sheet s = sheet_plan(&voice);
    assert_stroke(named(&s, "loosen"), 0, 1, 59, 54, 66, 66);
    assert_stroke(named(&s, "explore pitch"), 0, 0, 56, 68, 66, 66);
    assert_stroke(named(&s, "explore level"), 0, 1, 48, 48, 61, 80);
    /* Midway between 61 and 64: 62 and 63 are as near, and the lower comes first. */
    assert_stroke(named(&s, "explore register"), 0, 2, 62, 62, 69, 69);
    assert_stroke(named(&s, "explore register"), 1, 1, 62, 62, 70, 70);
    assert_stroke(named(&s, "explore register"), 2, 2, 63, 63, 70, 70);
    assert_stroke(named(&s, "vary pitch, hold level"), 0, 0, 57, 69, 70, 70);
    assert_stroke(named(&s, "vary pitch, hold register"), 0, 1, 57, 63, 70, 70);
    assert_stroke(named(&s, "vary pitch, hold register"), 2, 2, 70, 63, 70, 70);
    /* On 62 both have room from 61 to 69 dB: they meet at 65. At its soft end, 59 dB, the voice
     * flips up at 61.25, at its loud end, 80 dB, back at 63.5: it turns by itself. */
    assert_stroke(named(&s, "vary level, hold pitch"), 0, 2, 62, 62, 59, 65);
    assert_stroke(named(&s, "vary level, hold pitch"), 1, 1, 62, 62, 65, 80);
    /* Light voice has 10 dB of room at every note up to 72 (59 + k to 67 + k, the lowest above the
     * flip back at its loud end: 61 + (67 + k - 70) / 4 <= 60 + k from k = 1 on). From two
     * semitones below it would flip back. */
    assert_stroke(named(&s, "vary level, hold register"), 0, 2, 61, 61, 58, 68);
    assert_stroke(named(&s, "vary level, hold pitch and register"), 2, 1, 48, 48, 61, 80);
    assert_stroke(named(&s, "vary register, hold pitch"), 0, 2, 62, 62, 69, 69);
    const sheet_line *match = named(&s, "vary register, hold level");
    assert_int_equal(match->n_strokes, 6);
    assert_stroke(match, 0, 1, 48, 48, 66, 66);
    assert_stroke(match, 1, 2, 60, 60, 66, 66);
    assert_stroke(match, 3, 2, 63, 63, 70, 70);
    assert_stroke(match, 5, 2, 68, 68, 75, 75);
    assert_stroke(named(&s, "vary pitch, hold level and register"), 0, 2, 70, 63, 70, 70);
    assert_stroke(named(&s, "vary register, hold pitch and level"), 0, 2, 62, 62, 69, 69);
    assert_stroke(named(&s, "vary register, hold pitch and level"), 3, 1, 62, 62, 69, 69);
    assert_true(fabs(s.minutes - 15) < exact);
}

/* Chest voice that nears its loudest at the flip: at 70 dB and down to 67 dB its top has less than
 * 3 dB to spare. */
static void test_level_is_lowered(void **state)
{
    (void)state;
    sung_voice voice = round_voice();
    for (int st = 60; st <= 67; st++)
        voice.reg[0].ceiling_db[st - SUNG_LOW_ST] = 69.5;
    chest_level c = places_chest(&voice);
    assert_true(c.found && c.reaches);
    assert_true(fabs(c.db - 66) < exact && fabs(c.spare_db - 3.5) < exact);
    assert_int_equal(c.top_st, 63);
    assert_true(fabs(c.flip_st - 63) < exact);
    char *why;
    sheet s = sheet_plan(&voice);
    why = sheet_why(&s, named(&s, "vary pitch, hold level"), 440);
    assert_string_equal(why,
                        "At the middle level, 70 dB, chest voice does not get near its flip "
                        "with room to spare, so it is softer: at 66 dB chest voice comes up to "
                        "D#4, close to the flip near D#4, and is there 4 dB below its loudest: "
                        "without force.");
    free(why);
}

/* Where chest voice was sung at 62 and 63 only above the middle level, notes that ask for less come
 * first, nearest to the middle of the zone. */
static void test_gentle_notes_first(void **state)
{
    (void)state;
    int notes[4];
    sung_voice voice = round_voice();
    assert_int_equal(places_zone(&voice, notes, 4), 4);
    assert_int_equal(notes[0], 62);
    voice.reg[0].floor_db[62 - SUNG_LOW_ST] = voice.reg[0].floor_db[63 - SUNG_LOW_ST] = 72;
    assert_int_equal(places_zone(&voice, notes, 4), 4);
    assert_int_equal(notes[0], 61);
    assert_int_equal(notes[1], 64);
}

/* Sentences of the round voice, with figures worked out above. */
static void test_reasons(void **state)
{
    (void)state;
    static const char *const wanted[][2] = {
        {"loosen", "It lies below C4, where the voice flips back at 66 dB (soft): nothing has to "
                   "change."},
        {"explore pitch", "At 66 dB (soft) the voice flips up near D#4 and back near C4: the slide "
                          "goes through it, and on either side every note was sung."},
        {"explore register",
         "All of them were sung in both registers, D4 in chest voice from 60 dB "
         "to 85 dB and in light voice from 58 dB to 72 dB."},
        {"vary pitch, hold level", "At the middle level, 70 dB, chest voice comes up to E4, close "
                                   "to the flip near E4, and is "
                                   "there 15 dB below its loudest: without force."},
        {"vary register, hold level",
         "C3 was sung in chest voice from 60 dB to 85 dB; each light note is the lowest above it "
         "that holds the level with room to spare: C4 was sung up to 70 dB, D#4 up to 73 dB, G#4 "
         "up to 78 dB. The louder the chest note, the higher the light note."},
        {"vary level, hold pitch",
         "Light voice goes softer on D4 than chest voice, 58 dB against 60 dB, so the swell begins "
         "in it. Growing, it may well stay in light voice: then stop near 69 dB, below its loudest "
         "there, and do not force it over. Fading, it turns back near 62 dB."},
        {"vary pitch, hold level and register",
         "D#4 is the lowest note at which light voice still holds the middle level, 70 dB, with 3 "
         "dB to spare, above the flip back near C#4. Chest voice flips near E4 at 70 dB "
         "(middle): the slide stops a semitone or more below."},
        {"vary register, hold pitch and level",
         "D4 was sung in both registers, and both have room there from 61 dB to 69 dB; 69 dB is "
         "nearest to the middle level, 70 dB."},
    };
    sung_voice voice = round_voice();
    sheet s = sheet_plan(&voice);
    for (size_t i = 0; i < sizeof wanted / sizeof *wanted; i++) {
        char *why = sheet_why(&s, named(&s, wanted[i][0]), 440);
        assert_string_equal(why, wanted[i][1]);
        free(why);
    }
}

static sung_voice invented(gsl_rng *r)
{
    sung_voice s = {.from_map = true, .levels_known = true};
    int lo = 40 + (int)gsl_rng_uniform_int(r, 20), hi = lo + 3 + (int)gsl_rng_uniform_int(r, 18);
    int light = lo + 2 + (int)gsl_rng_uniform_int(r, 18);
    set(&s, 1, lo, hi, gsl_ran_flat(r, -20, -8), gsl_ran_flat(r, 0, 12),
        gsl_ran_flat(r, -0.2, 0.5));
    set(&s, 2, light, light + 2 + (int)gsl_rng_uniform_int(r, 14), gsl_ran_flat(r, -20, -8),
        gsl_ran_flat(r, -4, 8), gsl_ran_flat(r, -0.2, 1));
    for (int reg = 0; reg < 2; reg++)
        for (int st = s.reg[reg].lo_st; st <= s.reg[reg].hi_st; st++) {
            s.reg[reg].floor_db[st - SUNG_LOW_ST] += gsl_ran_flat(r, -2, 4);
            s.reg[reg].ceiling_db[st - SUNG_LOW_ST] += gsl_ran_flat(r, -4, 2);
        }
    s.soft_db = gsl_ran_flat(r, -14, -6);
    s.middle_db = gsl_ran_flat(r, -3, 3);
    s.loud_db = gsl_ran_flat(r, 5, 10);
    double up = gsl_ran_flat(r, light - 1, hi + 2), untold = (double)NAN;
    bool told = gsl_rng_uniform(r) < 0.8;
    s.flips[0] = (sung_line){0, told ? up : untold, told ? gsl_ran_flat(r, -0.05, 0.4) : untold, 0};
    told = gsl_rng_uniform(r) < 0.8;
    s.flips[1] = (sung_line){0, told ? up - gsl_ran_flat(r, 0, 4) : untold,
                             told ? gsl_ran_flat(r, -0.05, 0.4) : untold, 0};
    return s;
}

/* From floor to ceiling at this note, and 3 dB below the ceiling. */
static bool was_sung(const sung_voice *s, int reg, int st, double db)
{
    const sung_register *r = &s->reg[reg - 1];
    return st >= r->lo_st && st <= r->hi_st && db >= r->floor_db[st - SUNG_LOW_ST] - exact &&
           db <= r->ceiling_db[st - SUNG_LOW_ST] - 3 + exact;
}

/* At a free stroke one register was sung there, and one was sung 3 dB louder. */
static bool either_was_sung(const sung_voice *s, int st, double db)
{
    bool there = false, louder = false;
    for (int reg = 1; reg <= 2; reg++) {
        const sung_register *r = &s->reg[reg - 1];
        if (st < r->lo_st || st > r->hi_st)
            continue;
        there = there || (db >= r->floor_db[st - SUNG_LOW_ST] - exact &&
                          db <= r->ceiling_db[st - SUNG_LOW_ST] + exact);
        louder = louder || db <= r->ceiling_db[st - SUNG_LOW_ST] - 3 + exact;
    }
    return there && louder;
}

static void must_be_sung(const sung_voice *s, const sheet_line *l, const sheet_stroke *k)
{
    int steps = abs(k->to_st - k->from_st) ? abs(k->to_st - k->from_st) : 10;
    for (int i = 0; i <= steps; i++) {
        double part = (double)i / steps, db = k->from_db + part * (k->to_db - k->from_db);
        int st = k->from_st + (int)lround(part * (k->to_st - k->from_st));
        if (!(k->reg ? was_sung(s, k->reg, st, db) : either_was_sung(s, st, db)) ||
            db > s->loud_db + exact)
            fail_msg("%s: %d in M%d at %g dB was not sung", sheet_title(l), st, k->reg, db);
    }
}

/* What was to be held stays from breath to breath, and what was to be varied does not. */
static void assert_held(const sheet_line *l, size_t from, size_t to)
{
    bool moves[3] = {false, false, false};
    const sheet_stroke *first = &l->strokes[from];
    for (size_t k = from; k < to; k++) {
        const sheet_stroke *x = &l->strokes[k];
        moves[0] = moves[0] || x->from_st != first->from_st || x->to_st != first->from_st;
        moves[1] = moves[1] || x->from_db != first->from_db || x->to_db != first->from_db;
        moves[2] = moves[2] || x->reg != first->reg || x->reg == 0;
    }
    for (int d = 0; d < 3; d++) {
        if (l->exercise->hold & 1 << d && moves[d])
            fail_msg("%s does not hold it", sheet_title(l));
        if (l->exercise->vary & 1 << d && !moves[d])
            fail_msg("%s does not vary it", sheet_title(l));
    }
}

static void assert_line(const sung_voice *s, const sheet_line *l)
{
    size_t from = 0;
    for (size_t k = 0; k < l->n_strokes; k++)
        must_be_sung(s, l, &l->strokes[k]);
    for (size_t k = 1; k <= l->n_strokes && l->exercise; k++)
        if (k == l->n_strokes || l->strokes[k].breath) {
            assert_held(l, from, k);
            from = k;
        }
}

/* The levels that a line may be lowered to, from the middle down. */
static bool chest_reaches(const sung_voice *s, double db)
{
    for (int st = s->reg[0].lo_st + 2; st <= s->reg[0].hi_st; st++) {
        double flip_st = s->flips[0].pitch_st + s->flips[0].slope * db;
        bool room = db <= s->loud_db;
        for (int k = 0; k < 3; k++)
            room = room && was_sung(s, 1, st - k, db);
        if (room && st <= flip_st && flip_st - st <= 2)
            return true;
    }
    return false;
}

static void assert_chest(const sung_voice *s, const sheet_line *l)
{
    bool lower = false;
    for (double db = s->middle_db; db >= s->soft_db; db--) {
        bool here = chest_reaches(s, db);
        if (here && !lower)
            assert_true(l->chest.found && l->chest.reaches && fabs(l->chest.db - db) < exact);
        lower = lower || here;
    }
    if (!lower)
        assert_false(l->chest.found && l->chest.reaches);
    if (l->chest.found) {
        assert_true(fabs(l->chest.spare_db - (s->reg[0].ceiling_db[l->chest.top_st - SUNG_LOW_ST] -
                                              l->chest.db)) < exact);
        assert_true(l->chest.db <= s->middle_db && l->chest.spare_db >= 3 - exact);
    }
}

static bool light_has_room(const sung_voice *s, int st, double db)
{
    return was_sung(s, 2, st, db) && db <= s->loud_db;
}

static void assert_match(const sung_voice *s, const sheet_line *l)
{
    for (size_t i = 0; i < l->n_matched; i++) {
        const matched *m = &l->matched[i];
        assert_true(light_has_room(s, m->light_st, m->db) && m->light_st > m->chest_st);
        for (int st = m->chest_st + 1; st < m->light_st; st++)
            assert_false(light_has_room(s, st, m->db));
        assert_true(!i || (m->db > m[-1].db && m->light_st >= m[-1].light_st));
    }
}

/* No note below it holds this level above the flip back, nor any note the middle level where it was
 * lowered, over three semitones. */
static void assert_light_low(const sung_voice *s, const sheet_line *l)
{
    if (!l->low.found)
        return;
    double back = s->flips[1].pitch_st + s->flips[1].slope * l->low.db;
    assert_true(light_has_room(s, l->low.lo_st, l->low.db) && !(l->low.lo_st < back));
    for (int st = s->reg[1].lo_st; st < l->low.lo_st; st++)
        assert_true(!light_has_room(s, st, l->low.db) || st < back);
    assert_true(l->low.lowered == (l->low.db < s->middle_db));
}

/* Room for a swell by definition; less than 0 where the voice would flip in it, or not sung. */
static double swell_room(const sung_voice *s, int reg, int st)
{
    const sung_register *r = &s->reg[reg - 1];
    const sung_line *f = &s->flips[reg - 1];
    double lo = r->floor_db[st - SUNG_LOW_ST] + 1;
    double hi = fmin(r->ceiling_db[st - SUNG_LOW_ST] - 3, s->loud_db);
    double turn = f->pitch_st + f->slope * (reg == 1 ? lo : hi);
    return (reg == 1 ? st > turn : st < turn) ? -1 : hi - lo;
}

/* Three quarters of the widest, and no lower note has as much. */
static void assert_wide(const sung_voice *s, const sheet_line *l, int reg)
{
    const wide_swell *w = &l->wide[reg - 1];
    double widest = 0;
    for (int st = s->reg[reg - 1].lo_st; st <= s->reg[reg - 1].hi_st; st++)
        widest = fmax(widest, swell_room(s, reg, st));
    if (widest <= 0)
        return;
    assert_true(fabs(w->room.hi_db - w->room.lo_db - swell_room(s, reg, w->st)) < exact);
    assert_true(swell_room(s, reg, w->st) >= 0.75 * widest);
    for (int st = s->reg[reg - 1].lo_st; st < w->st; st++)
        assert_true(swell_room(s, reg, st) < 0.75 * widest);
}

/* All twelve in their order, and the parts in theirs. */
static void assert_order(const sheet *s)
{
    double minutes = 0;
    for (int i = 0; i < SHEET_LINES; i++) {
        assert_true(!i || s->lines[i].part >= s->lines[i - 1].part);
        assert_ptr_equal(s->lines[i].exercise,
                         i && i <= EXERCISES ? &exercises[i - 1] : (const exercise *)NULL);
        minutes += s->lines[i].minutes;
    }
    assert_int_equal(s->lines[0].part, SHEET_LOOSEN);
    assert_int_equal(s->lines[1].part, SHEET_EXPLORE);
    assert_int_equal(s->lines[4].part, SHEET_PAIRS);
    assert_int_equal(s->lines[10].part, SHEET_COMBINED);
    assert_int_equal(s->lines[SHEET_LINES - 1].part, SHEET_SETTLE);
    assert_true(fabs(minutes - s->minutes) < exact && minutes <= 15 + exact);
}

static void test_invented_voices(void **state)
{
    (void)state;
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    size_t placed[SHEET_LINES] = {0};
    for (int v = 0; v < VOICES; v++) {
        sung_voice voice = invented(r);
        sheet s = sheet_plan(&voice);
        assert_order(&s);
        for (int i = 0; i < SHEET_LINES; i++) {
            assert_line(&voice, &s.lines[i]);
            placed[i] += s.lines[i].n_strokes > 0;
        }
        assert_chest(&voice, named(&s, "vary pitch, hold level"));
        assert_match(&voice, named(&s, "vary register, hold level"));
        assert_light_low(&voice, named(&s, "vary pitch, hold level and register"));
        assert_wide(&voice, named(&s, "vary level, hold register"), 1);
        assert_wide(&voice, named(&s, "vary level, hold register"), 2);
    }
    for (int i = 0; i < SHEET_LINES; i++) {
        printf("line %d has notes for %zu of %d invented voices\n", i + 1, placed[i], VOICES);
        assert_true(placed[i] > VOICES / 4);
    }
    gsl_rng_free(r);
}

static sung_voice moved(sung_voice s, int st, double db)
{
    sung_voice m = s;
    for (int reg = 0; reg < 2; reg++) {
        m.reg[reg].lo_st += st;
        m.reg[reg].hi_st += st;
        for (int k = m.reg[reg].lo_st; k <= m.reg[reg].hi_st; k++) {
            m.reg[reg].floor_db[k - SUNG_LOW_ST] = s.reg[reg].floor_db[k - st - SUNG_LOW_ST] + db;
            m.reg[reg].ceiling_db[k - SUNG_LOW_ST] =
                s.reg[reg].ceiling_db[k - st - SUNG_LOW_ST] + db;
        }
        m.flips[reg].at_db += db;
        m.flips[reg].pitch_st += st;
    }
    m.soft_db += db;
    m.middle_db += db;
    m.loud_db += db;
    return m;
}

/* Eight dB and seven semitones, whole numbers so that steps of 1 dB meet the same levels. */
static void test_moves_with_the_voice(void **state)
{
    (void)state;
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    double worst = 0;
    for (int v = 0; v < VOICES; v++) {
        sung_voice voice = invented(r), other = moved(voice, 7, 8);
        sheet a = sheet_plan(&voice), b = sheet_plan(&other);
        for (int i = 0; i < SHEET_LINES; i++) {
            assert_int_equal(a.lines[i].n_strokes, b.lines[i].n_strokes);
            for (size_t k = 0; k < a.lines[i].n_strokes; k++) {
                const sheet_stroke *x = &a.lines[i].strokes[k], *y = &b.lines[i].strokes[k];
                assert_int_equal(x->from_st + 7, y->from_st);
                assert_int_equal(x->to_st + 7, y->to_st);
                assert_int_equal(x->reg, y->reg);
                worst = fmax(worst, fabs(x->from_db + 8 - y->from_db));
                worst = fmax(worst, fabs(x->to_db + 8 - y->to_db));
            }
        }
    }
    printf("levels move with the voice to within %g dB\n", worst);
    assert_true(worst < exact);
    gsl_rng_free(r);
}

/* Slides of a voice whose boundary is known: ranges are those that were sung, the line is that of
 * the fit. A breath at the end, 40 dB softer, is no soft note. */
static void test_gather(void **state)
{
    (void)state;
    static const simsinger singer = {.at_db = 70,
                                     .up_st = 64,
                                     .down_st = 61,
                                     .up_slope = 0.2,
                                     .down_slope = 0.2,
                                     .up_spread = 0.5,
                                     .down_spread = 0.5};
    enum { TAKES = 12, BREATH = 20 };
    path takes[TAKES];
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    for (int i = 0; i < TAKES; i++) {
        double db = 60 + 10 * (i % 3);
        takes[i] = simpath_new(&singer, &(simtake){SIM_SLIDE, 52, 74, db, db, 0, 6, 0.005, false},
                               "take", r);
        double *level = (double *)takes[i].level_db;
        for (size_t k = takes[i].n - BREATH; k < takes[i].n; k++)
            level[k] -= 40;
    }
    boundary_settings how = boundary_defaults();
    boundary *b;
    err e;
    sung_voice s;
    assert_true(boundary_fit(takes, TAKES, &how, &b, &e));
    assert_true(sung_gather(takes, TAKES, b, true, true, &s));
    printf("chest voice %d to %d, light voice %d to %d, softest at 53: %.1f dB\n", s.reg[0].lo_st,
           s.reg[0].hi_st, s.reg[1].lo_st, s.reg[1].hi_st, sung_floor(&s, 1, 53));
    assert_true(s.reg[0].lo_st <= 53 && s.reg[1].hi_st >= 73);
    assert_true(s.reg[0].hi_st >= 65 && s.reg[1].lo_st <= 61);
    assert_true(sung_floor(&s, 1, 53) > 59.5 && sung_ceiling(&s, 1, 53) < 80.5);
    for (int d = 0; d < 2; d++)
        for (double db = 60; db <= 80; db += 5)
            assert_true(fabs(sung_flip(&s, (flip_direction)d, db) -
                             boundary_pitch_at(b, (flip_direction)d, db).estimate) < exact);
    boundary_free(b);
    for (int i = 0; i < TAKES; i++)
        simpath_free(&takes[i]);
    gsl_rng_free(r);
}

/* No map, no takes, no voice: usual notes, no figure of any level, and that it is so is said. */
static void test_without_map(void **state)
{
    (void)state;
    sung_voice s;
    assert_false(sung_gather(NULL, 0, NULL, true, true, &s));
    sheet plan = sheet_plan(&s);
    char *text = sheet_text(&plan, &(sheet_labels){NULL, "", "No singer was named.", 440});
    assert_true(fabs(plan.minutes - 15) < exact);
    assert_non_null(strstr(text, "There is no map of this voice yet"));
    assert_null(strstr(text, " dB"));
    assert_null(strstr(text, "Left out"));
    for (int i = 0; i < SHEET_LINES; i++)
        for (size_t k = 0; k < plan.lines[i].n_strokes; k++) {
            const sheet_stroke *x = &plan.lines[i].strokes[k];
            assert_true(x->from_st >= 55 && x->from_st <= 69 && x->to_st >= 55 && x->to_st <= 69);
        }
    free(text);
}

/* Chest voice alone: what needs light voice or both is left out with what is missing, and takes no
 * time; free exploring stays. */
static void test_one_register(void **state)
{
    (void)state;
    sung_voice voice = round_voice();
    voice.reg[1].lo_st = 1;
    voice.reg[1].hi_st = 0;
    sheet s = sheet_plan(&voice);
    assert_order(&s);
    for (int i = 0; i < SHEET_LINES; i++)
        for (size_t k = 0; k < s.lines[i].n_strokes; k++)
            assert_int_equal(s.lines[i].strokes[k].reg, 1);
    static const char *const out[] = {"vary level, hold pitch", "vary register, hold pitch",
                                      "vary register, hold level",
                                      "vary register, hold pitch and level"};
    for (size_t i = 0; i < 4; i++) {
        const sheet_line *l = named(&s, out[i]);
        char *how = sheet_how(&s, l, 440), *why = sheet_why(&s, l, 440);
        assert_true(l->minutes == 0 && l->n_strokes == 0);
        assert_string_equal(how, "Left out today.");
        assert_true(strncmp(why, "No note", 7) == 0);
        free(how);
        free(why);
    }
    assert_true(named(&s, "explore register")->minutes == 1);
    assert_true(fabs(s.minutes - 10.5) < exact);
}

/* Every sheet carries every caution, whoever it is for; a name is never markup. */
static void test_hostile_name(void **state)
{
    (void)state;
    sung_voice voice = round_voice();
    sheet s = sheet_plan(&voice);
    sheet_labels labels = {"<script>alert(1)</script>\n\x1b[31m", "a\"b", "From takes.", 440};
    char *text = sheet_text(&s, &labels), name[] = "/tmp/test_sheet_XXXXXX";
    err e;
    assert_null(strchr(text, '\x1b'));
    assert_non_null(strstr(text, "\\n\\x1B[31m: today's exercises"));
    int fd = mkstemp(name);
    assert_true(fd >= 0 && close(fd) == 0);
    assert_true(sheet_page_write(&s, &labels, name, &e));
    FILE *f = fopen(name, "rb");
    char *html = xcalloc(1 << 20, 1);
    assert_true(f && fread(html, 1, (1 << 20) - 1, f) > 0);
    fclose(f);
    unlink(name);
    assert_null(strstr(html, "<script"));
    assert_non_null(strstr(html, "&lt;script&gt;"));
    for (size_t i = 0; i < n_cautions; i++)
        assert_non_null(strstr(html, cautions[i]));
    for (const char *line = text; *line;) {
        size_t n = strcspn(line, "\n");
        assert_true(n <= 80);
        line += n + (line[n] == '\n');
    }
    free(html);
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_by_hand),         cmocka_unit_test(test_level_is_lowered),
        cmocka_unit_test(test_reasons),         cmocka_unit_test(test_gentle_notes_first),
        cmocka_unit_test(test_invented_voices), cmocka_unit_test(test_moves_with_the_voice),
        cmocka_unit_test(test_gather),          cmocka_unit_test(test_without_map),
        cmocka_unit_test(test_one_register),    cmocka_unit_test(test_hostile_name),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
