/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/egg_cells.h"

#include <math.h>

void egg_hear(egg_heard *h, const voice_whole *take)
{
    if (!take->egg) {
        h->without += take->channels > 1;
        return;
    }
    h->takes++;
    h->up += take->contact == EGG_UP;
    h->down += take->contact == EGG_DOWN;
    h->channel = h->channel == 0 || h->channel == take->egg ? take->egg : -1;
}

int egg_elsewhere(const egg_heard *h)
{
    return h->channel > 0 && h->without && h->without <= h->takes ? h->channel : 0;
}

bool egg_unclear(const egg_heard *h)
{
    return h->up + h->down < h->takes;
}

egg_way egg_agreed(const egg_heard *h)
{
    if (h->up && !h->down)
        return EGG_UP;
    return h->down && !h->up ? EGG_DOWN : EGG_UNKNOWN;
}

void egg_cells(table_writer *w, const track *t, size_t frame)
{
    egg_frame f = {NAN, NAN, NAN, NAN, NAN, NAN};
    if (t->egg)
        f = t->egg[frame];
    table_number(w, (double)f.quotient, 3);
    table_number(w, (double)f.peaks_quotient, 3);
    table_number(w, (double)f.closing, 2);
    table_number(w, (double)f.level_db, 1);
    table_number(w, (double)f.clarity, 2);
}

static void note_agreement(table_writer *w, const agreement *a)
{
    if (a->frames)
        table_note(w, "egg_agreement",
                   "the microphone alone tells the same register in %.1f %% of %zu frames; of %zu "
                   "flips by the EGG and %zu by the microphone %zu are the same within %.0f ms",
                   100 * (double)a->same / (double)a->frames, a->frames, a->egg_flips, a->mic_flips,
                   a->matched, 1000 * AGREE_WITHIN_S);
    else
        table_note(w, "egg_agreement", "the microphone alone does not tell the registers");
}

void egg_notes(table_writer *w, const egg_heard *h, const agreement *a, double voiced_s)
{
    if (!h->takes)
        return;
    if (h->channel > 0)
        table_note(w, "egg_channel", "%d", h->channel);
    else
        table_note(w, "egg_channel", "not the same in all takes");
    table_note(w, "egg_contact", "counts upwards in %zu, downwards in %zu of %zu takes with an EGG",
               h->up, h->down, h->takes);
    table_note(w, "egg_tells", "%.0f %% of the voice", 100 * fmin(1, a->egg_s / voiced_s));
    if (a->egg_s > 0)
        note_agreement(w, a);
}
