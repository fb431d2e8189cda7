/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/families.h"

#include <assert.h>
#include <string.h>

/* What most families have in common. */
#define USUAL(name, sentence, sex, vowel)                                                          \
    {                                                                                              \
        name, sentence, sex, vowel, {1, 7}, {10, 100}, {4, 11}, false, {0.9, 1.6}, {-34, -24},     \
            {0, 8}, {35, 60}, 0.5, {14, 22},                                                       \
        {                                                                                          \
            0.3, 0.6                                                                               \
        }                                                                                          \
    }

/* Flips to and fro. */
#define AT_WILL(name, sentence)                                                                    \
    {                                                                                              \
        name, sentence, SEX_EITHER, 'a', {3, 10}, {10, 60}, {5, 12}, false, {0.9, 1.6},            \
            {-34, -24}, {0, 8}, {38, 60}, 0.5, {14, 22},                                           \
        {                                                                                          \
            0.3, 0.6                                                                               \
        }                                                                                          \
    }

static const family_row rows[FAMILIES] = {
    [FAMILY_CLEAR] = {"clear",
                      "An untrained voice on /a/ that leaps 2-6 semitones within 10-60 ms.",
                      SEX_EITHER,
                      'a',
                      {2, 6},
                      {10, 60},
                      {4, 12},
                      false,
                      {0.9, 1.6},
                      {-34, -24},
                      {0, 8},
                      {38, 60},
                      0.5,
                      {14, 22},
                      {0.3, 0.6}},
    [FAMILY_SMOOTH] = {"smooth",
                       "A trained seam on /a/: no leap above 0.3 semitone, source H1-H2 "
                       "rising by 2-4 dB over 100-150 ms.",
                       SEX_EITHER,
                       'a',
                       {0, 0.25},
                       {100, 150},
                       {2.2, 4},
                       true,
                       {0.9, 1.3},
                       {-34, -24},
                       {0, 6},
                       {38, 60},
                       0.5,
                       {14, 22},
                       {0.3, 0.6}},
    [FAMILY_LOW_CONTRAST] = {"low-contrast",
                             "Registers that sound alike on /a/: source H1-H2 "
                             "rising by 1-4 dB, with any leap from 0 to 12 semitones.",
                             SEX_EITHER,
                             'a',
                             {0, 10},
                             {10, 150},
                             {1, 4},
                             true,
                             {0.9, 1.2},
                             {-34, -24},
                             {0, 4},
                             {38, 60},
                             0.5,
                             {14, 22},
                             {0.3, 0.6}},
    [FAMILY_WOMAN] = {"woman",
                      "A woman on /a/, leaps of 0-7 semitones within 15-100 ms.",
                      SEX_WOMAN,
                      'a',
                      {0, 7},
                      {15, 100},
                      {4, 10},
                      false,
                      {0.9, 1.6},
                      {-34, -22},
                      {0, 8},
                      {35, 60},
                      0.5,
                      {14, 22},
                      {0.3, 0.6}},
    [FAMILY_NOISY_ROOM] = {"noisy-room",
                           "A take on /a/ 20 dB above the noise of a live room.",
                           SEX_EITHER,
                           'a',
                           {1, 6},
                           {10, 80},
                           {4, 11},
                           false,
                           {0.9, 1.6},
                           {-34, -24},
                           {0, 8},
                           {20, 20},
                           1,
                           {10, 14},
                           {0.4, 0.8}},
    [FAMILY_VOWEL_O] = {"vowel-o",
                        "The vowel /o/, leaps of 1-7 semitones within 10-100 ms.",
                        SEX_EITHER,
                        'o',
                        {1, 7},
                        {10, 100},
                        {4, 11},
                        false,
                        {0.9, 1.6},
                        {-34, -24},
                        {0, 8},
                        {35, 60},
                        0.5,
                        {14, 22},
                        {0.3, 0.6}},
    [FAMILY_VOWEL_U] = {"vowel-u",
                        "The vowel /u/, whose first formant lies where the flips are.",
                        SEX_EITHER,
                        'u',
                        {1, 7},
                        {10, 100},
                        {4, 11},
                        false,
                        {0.9, 1.6},
                        {-34, -24},
                        {0, 8},
                        {35, 60},
                        0.5,
                        {14, 22},
                        {0.3, 0.6}},
    [FAMILY_BREATHY] = {"breathy",
                        "A breathy voice on /a/: strong noise in M2 and some in M1.",
                        SEX_EITHER,
                        'a',
                        {1, 7},
                        {10, 100},
                        {4, 11},
                        false,
                        {0.9, 1.8},
                        {-24, -17},
                        {5, 10},
                        {35, 60},
                        0.5,
                        {14, 22},
                        {0.3, 0.6}},
    [FAMILY_VIBRATO] = USUAL("vibrato", "Vibrato of 0.5-1.2 semitones to each side all the time.",
                             SEX_EITHER, 'a'),
    [FAMILY_VOWEL_I] = USUAL(
        "vowel-i", "The vowel /i/, whose first formant lies where the flips are.", SEX_EITHER, 'i'),
    [FAMILY_WOMAN_LOW] = USUAL("woman-low", "Women who flip low, at 290-390 Hz.", SEX_WOMAN, 'a'),
    [FAMILY_WOMAN_HIGH] =
        USUAL("woman-high", "Women who flip high, at 415-550 Hz.", SEX_WOMAN, 'a'),
    [FAMILY_YODEL] = AT_WILL("yodel", "Flips to and fro on one note, 0.8 to 3 a second."),
    [FAMILY_DWINDLING] = {"dwindling",
                          "Contact dwindles within M1 as the pitch rises, and the source steps "
                          "either way where the pitch leaps.",
                          SEX_EITHER,
                          'a',
                          {0.5, 5},
                          {10, 120},
                          {-3, 3},
                          false,
                          {0.6, 1.8},
                          {-34, -24},
                          {0, 8},
                          {35, 60},
                          0.5,
                          {14, 22},
                          {0.3, 0.6}},
    [FAMILY_SYLLABLES] =
        AT_WILL("syllables", "A yodel whose vowel changes with the register at every flip."),
    [FAMILY_SONG] =
        USUAL("song", "Melodies across the boundary with consonants and changing vowels.",
              SEX_EITHER, 'a'),
    [FAMILY_LILT] =
        AT_WILL("lilt", "A yodel on syllables, a nasal or liquid at most of its flips."),
    [FAMILY_ONE_REGISTER] =
        USUAL("one-register", "No flip: slides, holds and notes in one register.", SEX_EITHER, 'a'),
    [FAMILY_PORTAMENTO] =
        USUAL("portamento", "No flip: portamento of 7-12 semitones in 80-150 ms.", SEX_EITHER, 'a'),
    [FAMILY_VOWEL_CHANGE] =
        USUAL("vowel-change", "No flip: vowels change on held and sliding notes.", SEX_EITHER, 'a'),
    [FAMILY_CROSSING] = USUAL(
        "crossing", "No flip: slides on /o/, /u/ or /i/ take H1 or H2 across F1.", SEX_EITHER, 'u'),
    [FAMILY_DOUBLING] = USUAL("doubling", "No flip: stretches in which every other period differs.",
                              SEX_EITHER, 'a'),
    [FAMILY_CONSONANTS] = USUAL(
        "consonants", "No flip: stops, fricatives and nasals between vowels.", SEX_EITHER, 'a'),
    [FAMILY_TRILL] =
        USUAL("trill", "No flip: trills of 1-3 semitones and wide vibrato.", SEX_EITHER, 'a'),
    [FAMILY_ORNAMENTS] =
        USUAL("ornaments", "No flip: fast runs and turns, steps of up to 9 semitones in 40-100 ms.",
              SEX_EITHER, 'a'),
    [FAMILY_TUNE] =
        USUAL("tune", "No flip: melodies in one register with consonants and changing vowels.",
              SEX_EITHER, 'a'),
    [FAMILY_BESIDE] =
        USUAL("one-register-beside", "one-register, beside takes with flips.", SEX_EITHER, 'a'),
    USUAL("portamento-beside", "portamento, beside takes with flips.", SEX_EITHER, 'a'),
    USUAL("vowel-change-beside", "vowel-change, beside takes with flips.", SEX_EITHER, 'a'),
    USUAL("crossing-beside", "crossing, beside takes with flips.", SEX_EITHER, 'u'),
    USUAL("doubling-beside", "doubling, beside takes with flips.", SEX_EITHER, 'a'),
    USUAL("consonants-beside", "consonants, beside takes with flips.", SEX_EITHER, 'a'),
    USUAL("trill-beside", "trill, beside takes with flips.", SEX_EITHER, 'a'),
    USUAL("ornaments-beside", "ornaments, beside takes with flips.", SEX_EITHER, 'a'),
    USUAL("tune-beside", "tune, beside takes with flips.", SEX_EITHER, 'a'),
};

const family_row *family_get(family f)
{
    assert(f < FAMILIES);
    return &rows[f];
}

family_more family_extra(family f)
{
    family_more more = {.edge_st = {0, 0}};
    if (f == FAMILY_WOMAN_LOW)
        more = (family_more){.edge_st = {62, 67}};
    else if (f == FAMILY_WOMAN_HIGH)
        more = (family_more){.edge_st = {68, 73}};
    else if (f == FAMILY_VIBRATO)
        more = (family_more){.vibrato_st = {0.5, 1.2}};
    else if (f == FAMILY_DWINDLING)
        more = (family_more){.m1_per_st = {0.6, 1.5}, .m2_gain_db = {-4, 3}};
    return more;
}

family family_kind(family f)
{
    return f < FAMILY_BESIDE ? f : (family)(f - FAMILY_BESIDE + FAMILY_STILL);
}

family family_by_name(const char *name)
{
    int f = 0;
    while (f < FAMILIES && strcmp(rows[f].name, name) != 0)
        f++;
    return (family)f;
}
