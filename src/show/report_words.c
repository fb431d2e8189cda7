/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/report_words.h"

const char report_words_what[] =
    "A singing voice has two registers: a heavy one (M1: chest, full voice) and a light one (M2: "
    "falsetto, head voice). Somewhere it flips from one to the other. Where depends on the note, "
    "on how loud you sing, and on the way you come: going up it usually flips higher than it flips "
    "back coming down. This page shows where yours did, as far "
    "as these takes tell.";

const char report_words_map[] =
    "To read the map, choose how loud (along the bottom), go up until you meet the solid line, and "
    "read the note on the left: there the voice flips going up. The dashed line is where it flips "
    "back coming down. Between the lines the voice can be in either register and stays in the one "
    "it came from.\n"
    "The shaded band is where the line may lie (95 %). A wide band means too few takes near that "
    "level, not a bad voice. Where there is no tile nothing was sung, and the map says nothing.";

const char report_words_progress[] =
    "Each mark is one session: the notes of the flip going up and coming down when soft, middle "
    "and loud; the bar is where it may lie (95 %). Beneath, how far apart the two are "
    "(hysteresis), "
    "and over how much of pitch and level both registers were sung (zone), which grows with the "
    "number of takes. Where bars overlap, a difference may be nothing: voices move by a semitone "
    "or two from day to day.";

const char report_words_takes[] =
    "\"Moved\" tells which of pitch, level and register moved, whatever was meant; \"held\" which "
    "of what was to be held was. Then how steady pitch and level were where they were to stay "
    "(standard deviation, vibrato taken out; 100 cents are a semitone), and the leak: how far what "
    "was varied pulled along what was to be held. The smaller, the steadier; below 0 it pulled the "
    "other way.";

const char report_words_next[] =
    "These takes would narrow the band of the line going up most, best first; each row counts on "
    "those before it. The band's width is in semitones (st). Nothing is asked for beyond what was "
    "sung before. Leave out what is not easy today.";

const char report_words_next_first[] =
    "Where the voice flips is not told yet. These slides go over all that was sung, and nothing is "
    "asked for beyond it. Leave out what is not easy today.";

const char report_words_method[] =
    "Pitch and level are measured every 5 ms. The registers are told from the sound: a model of "
    "this voice, learnt from all its takes of a vowel, parts the vocal tract from the source, and "
    "tells which of two sources is heard (a two-state hidden Markov model). With an "
    "electroglottograph its contact tells. A flip below a confidence of one half is called "
    "doubtful.\n"
    "The lines are a first-passage fit: how far each attempt got before it flipped, attempts "
    "without a flip included. The 95 % intervals allow for few flips and for their scatter, not "
    "for all that the program may mishear; at seams without a leap trust them less.\n"
    "Takes in which a register was to be held, and flips made at will, have their tiles but do not "
    "move the lines.";

const char report_words_gain[] =
    "The recorder's gain turned by itself, so that levels mean nothing: they are left out, and "
    "pitch alone is mapped. Switch the gain to fixed where you can.";

const char report_words_own_scale[] =
    "The microphone was not calibrated: 0 dB is the level that the voice had half of the time in "
    "each session, so that days compare only when the set-up stayed the same.";

const char report_words_no_register[] =
    "In none of these takes could it be told which register is sung, so that there is no map yet. "
    "Slides up and down across the place of the flip help most.";

const char report_words_index[] =
    "One page for each singer. The order is that of the names: nothing here is a score.";

const char report_words_score[] =
    "A map is no score. Flipping higher, or louder, is not better, and a line that moves down is "
    "no "
    "sign of a fault. Warm up before you go to the edges of your voice.";

const char report_words_sheet[] =
    "Planned from the map above: every note was sung at that level before. Leave out what is not "
    "easy today.";
