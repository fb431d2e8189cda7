/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/cast.h"

#include <string.h>

typedef struct label {
    const char *name, *sentence;
} label;

static const label labels[CAST_FAMILIES] = {
    [CAST_CLEAR] = {"clear", "Leaps of 2-8 semitones within 4-60 ms on /a/."},
    [CAST_SMOOTH] = {"smooth", "A trained seam on /a/: no leap above 0.3 semitone, source H1-H2 up "
                               "by 2-4 dB within 100-250 ms."},
    [CAST_LOW_CONTRAST] = {"low-contrast", "Registers alike on /a/: source H1-H2 up by 1-4 dB, "
                                           "with any leap of 0-10 semitones."},
    [CAST_BREATHY] = {"breathy", "Strong breath noise in M2 and some in M1."},
    [CAST_VIBRATO] = {"vibrato", "Vibrato of 0.5-1.2 semitones to each side all the time."},
    [CAST_NOISY_ROOM] = {"noisy-room", "20 dB above the noise of a live room."},
    [CAST_VOWEL_O] = {"vowel-o", "The vowel /o/."},
    [CAST_VOWEL_U] = {"vowel-u", "The vowel /u/, whose first formant lies where the flips are."},
    [CAST_VOWEL_I] = {"vowel-i", "The vowel /i/, whose first formant lies where the flips are."},
    [CAST_WOMAN_LOW] = {"woman-low", "Women who flip low, at 290-390 Hz."},
    [CAST_WOMAN_HIGH] = {"woman-high", "Women who flip high, at 415-550 Hz."},
    [CAST_YODEL] = {"yodel", "Flips to and fro on one note, 0.8 to 3 a second."},
    [CAST_SYLLABLES] = {"syllables", "A yodel whose vowel changes with the register."},
    [CAST_SONG] = {"song", "Melodies across the boundary with consonants and changing vowels."},
    [CAST_SPEECH] = {"speech", "Speech in M1, in M2 and across the boundary, four to seven "
                               "syllables a second."},
    [CAST_LILT] = {"lilt", "A yodel on syllables, a nasal or liquid at most of its flips."},
    [CAST_ONE_REGISTER] = {"one-register", "No flip: slides, holds and notes in one register."},
    [CAST_PORTAMENTO] = {"portamento", "No flip: portamento of 7-12 semitones in 80-150 ms."},
    [CAST_VOWEL_CHANGE] = {"vowel-change", "No flip: the vowel changes on held and sliding notes."},
    [CAST_CROSSING] = {"crossing", "No flip: slides that take H1 or H2 across F1."},
    [CAST_DOUBLING] = {"doubling", "No flip: stretches in which every other cycle differs."},
    [CAST_CONSONANTS] = {"consonants", "No flip: stops, fricatives and nasals between vowels."},
    [CAST_TRILL] = {"trill", "No flip: trills of 1-3 semitones and wide vibrato."},
    [CAST_FRY] = {"fry", "No flip: notes in M1 that fall into fry (M0) at 28-65 Hz and come back."},
    [CAST_WHISTLE] = {"whistle", "No flip: women's notes in M2 that go into whistle (M3) at "
                                 "1050-1400 Hz and come back."},
    [CAST_TUNE] = {"tune", "No flip: melodies in one register, each note a syllable of its own."},
    [CAST_BESIDE] = {"one-register-beside", "one-register, beside takes with flips."},
    {"portamento-beside", "portamento, beside takes with flips."},
    {"vowel-change-beside", "vowel-change, beside takes with flips."},
    {"crossing-beside", "crossing, beside takes with flips."},
    {"doubling-beside", "doubling, beside takes with flips."},
    {"consonants-beside", "consonants, beside takes with flips."},
    {"trill-beside", "trill, beside takes with flips."},
    {"fry-beside", "fry, beside takes with flips."},
    {"whistle-beside", "whistle, beside takes with flips."},
    {"tune-beside", "tune, beside takes with flips."},
};

static void pair(double to[2], double lo, double hi)
{
    to[0] = lo;
    to[1] = hi;
}

/* Men flip at about 275 Hz, women at 420-480 Hz, with a wide overlap (Keating 2014, Keidar et al.
 * 1987, Li & Yiu 2006); classical women leave chest at 300-400 Hz (Neumann & Thoma 2007). Breath,
 * leaps and levels of M2 are a matter of the person: from experience, no source. */
static cast_row usual(bool woman)
{
    cast_row row = {.sex = CAST_EITHER, .vowels = "a", .vibrato_share = 0.5, .room_share = 0.5};
    pair(row.edge_st, woman ? 63 : 58, woman ? 72 : 66);
    pair(row.leap_st, 1, 7);
    pair(row.span_ms, 4, 90);
    pair(row.step_db, 4, 12);
    pair(row.tilt_share, 0.3, 0.8);
    pair(row.gain_db, -6, 4);
    pair(row.dip_db, 1, 8);
    pair(row.air_db, -36, -26);
    pair(row.more_air_db, 0, 8);
    pair(row.vibrato_st, 0.1, 0.8);
    pair(row.snr_db, 36, 60);
    pair(row.direct_db, 12, 22);
    return row;
}

static void make_smooth(cast_row *row)
{
    pair(row->leap_st, 0, 0.25);
    pair(row->span_ms, 100, 250);
    pair(row->step_db, 2, 4);
    pair(row->tilt_share, 0.75, 1);
    pair(row->gain_db, -1.5, 1.5);
    pair(row->dip_db, 0, 1.5);
    pair(row->more_air_db, 0, 4);
    row->even = true;
}

static void make_low_contrast(cast_row *row)
{
    pair(row->leap_st, 0, 10);
    pair(row->span_ms, 4, 150);
    pair(row->step_db, 1, 4);
    pair(row->tilt_share, 0.75, 1);
    pair(row->gain_db, -3, 2);
    pair(row->dip_db, 0, 4);
    pair(row->more_air_db, 0, 4);
    row->even = true;
}

static void make_still(cast_row *row, cast_family kind)
{
    if (kind == CAST_CROSSING)
        row->vowels = "oui";
    else if (kind == CAST_CONSONANTS || kind == CAST_PORTAMENTO)
        row->vowels = "aeo";
    if (kind == CAST_TRILL)
        row->vibrato_share = 0;
    if (kind == CAST_WHISTLE)
        row->sex = CAST_WOMAN;
}

static cast_family kind_of(cast_family f)
{
    return f >= CAST_BESIDE ? f - CAST_BESIDE + CAST_STILL : f;
}

cast_row cast_get(cast_family f, bool woman)
{
    cast_row row = usual(woman);
    row.name = labels[f].name;
    row.sentence = labels[f].sentence;
    if (f == CAST_CLEAR) {
        pair(row.leap_st, 2, 8);
        pair(row.span_ms, 4, 60);
    } else if (f == CAST_SMOOTH) {
        make_smooth(&row);
    } else if (f == CAST_LOW_CONTRAST) {
        make_low_contrast(&row);
    } else if (f == CAST_BREATHY) {
        pair(row.air_db, -24, -17);
        pair(row.more_air_db, 4, 10);
    } else if (f == CAST_VIBRATO) {
        row.vibrato_share = 1;
        pair(row.vibrato_st, 0.5, 1.2);
    } else if (f == CAST_NOISY_ROOM) {
        row.room_share = 1;
        pair(row.snr_db, 20, 20);
        pair(row.direct_db, 8, 14);
    } else if (f == CAST_VOWEL_O || f == CAST_VOWEL_U || f == CAST_VOWEL_I) {
        row.vowels = f == CAST_VOWEL_O ? "o" : f == CAST_VOWEL_U ? "u" : "i";
    } else if (f == CAST_WOMAN_LOW || f == CAST_WOMAN_HIGH) {
        row.sex = CAST_WOMAN;
        pair(row.edge_st, f == CAST_WOMAN_LOW ? 62 : 68, f == CAST_WOMAN_LOW ? 67 : 73);
    } else if (f == CAST_YODEL || f == CAST_SYLLABLES || f == CAST_LILT) {
        pair(row.leap_st, 3, 12);
        pair(row.span_ms, 4, 60);
        pair(row.step_db, 5, 13);
    } else {
        make_still(&row, kind_of(f));
    }
    return row;
}

bool cast_beside(cast_family f)
{
    return f >= CAST_BESIDE;
}

cast_family cast_by_name(const char *name)
{
    int f = 0;
    while (f < CAST_FAMILIES && strcmp(labels[f].name, name) != 0)
        f++;
    return (cast_family)f;
}
