/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lesson/sheet_say.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

void say_begin(say *y, const sheet *s, const sheet_line *l, double a4_hz)
{
    *y = (say){.s = s, .l = l, .a4_hz = a4_hz};
    y->out = xmemstream(&y->text, &y->size);
}

char *say_end(say *y)
{
    fclose(y->out);
    return y->text;
}

static char *slot(say *y)
{
    return y->words[y->next++ % (sizeof y->words / sizeof *y->words)];
}

const char *say_note(say *y, double st)
{
    char *name = slot(y);
    note_nearest(st, y->a4_hz, name);
    return name;
}

/* Nearer to soft, to loud, or to neither. */
static const char *loudness(const sung_voice *s, double db)
{
    const double about = 0.5; /* halfway counts for the outer one */
    if (db <= (s->soft_db + s->middle_db) / 2 + about)
        return "soft";
    return db >= (s->middle_db + s->loud_db) / 2 - about ? "loud" : "middle";
}

static void write_db(const sung_voice *s, double db, char text[SAY_LEVEL_SIZE])
{
    double whole = round(db) + 0.0; /* no -0 */
    bool plain = s->levels_are_spl || whole == 0;
    snprintf(text, SAY_LEVEL_SIZE, plain ? "%.0f dB" : "%+.0f dB", whole);
}

const char *say_db(say *y, double db)
{
    char *text = slot(y);
    write_db(&y->s->sung, db, text);
    return text;
}

const char *say_size(say *y, double db)
{
    char *text = slot(y);
    snprintf(text, NOTE_NAME_SIZE, "%.0f dB", round(db) + 0.0);
    return text;
}

const char *say_level(say *y, double db)
{
    char *text = slot(y), level[SAY_LEVEL_SIZE];
    const sung_voice *s = &y->s->sung;
    write_db(s, db, level);
    if (s->levels_known)
        snprintf(text, NOTE_NAME_SIZE, "%s (%s)", level, loudness(s, db));
    else
        snprintf(text, NOTE_NAME_SIZE, "a %s level", loudness(s, db));
    return text;
}
