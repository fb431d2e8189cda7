/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lesson/cautions.h"

const char *const cautions[] = {
    "Stop for the day if anything hurts, tickles or burns, if your speaking voice is hoarse after "
    "singing, if soft high notes are gone, or if the voice breaks where it did not before. Rest "
    "and "
    "drink; do not whisper or clear your throat.",
    "Leave this out when you are ill, hoarse or tired. Whatever is not easy today, sing softer, "
    "lower "
    "or not at all: louder or higher is not better, and where a voice flips is no score.",
    "The program measures pitch and level; it cannot see your larynx and is not a medical test.",
    "Hoarse for more than two or three weeks: see a doctor, sooner if you live by your voice. Any "
    "blood, lump in the neck, trouble swallowing, pain when you speak, earache on one side, or no "
    "voice at all for more than a few days: see one at once. Trouble breathing is an emergency.",
};
const size_t n_cautions = sizeof cautions / sizeof *cautions;
