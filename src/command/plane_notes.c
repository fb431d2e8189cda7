/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/plane_notes.h"

#include "base/array.h"

#include <stdlib.h>
#include <string.h>

static void note_vowel(const plane *p, table_writer *w)
{
    char *others = xstrdup("");
    for (size_t i = 1; i < p->n_vowels; i++) {
        char *longer =
            xformat("%s%s %s (%zu)", others, i > 1 ? "," : "; others:",
                    *p->vowels[i].vowel ? p->vowels[i].vowel : "not stated", p->vowels[i].takes);
        free(others);
        others = longer;
    }
    table_note(w, "vowel", "%s (%zu take%s)%s", *p->vowel ? p->vowel : "not stated", p->n,
               p->n == 1 ? "" : "s", others);
    free(others);
}

void plane_notes(const plane *p, const char *vowel_or_null, table_writer *w)
{
    if (!vowel_or_null)
        note_vowel(p, w);
    table_note(w, "level_scale", "%s", plane_level_scale(p));
    table_note(w, "sessions", "%zu", p->n_sessions);
    table_note(w, "takes", "%zu", p->n);
    table_note(w, "left_out_register_held", "%zu", plane_count(p, PLANE_HELD));
    table_note(w, "left_out_flips_at_will", "%zu", plane_count(p, PLANE_AT_WILL));
}

void plane_notes_say(const char *words, table_writer *w)
{
    for (const char *from = words; *from;) {
        size_t n = strcspn(from, "\n");
        table_note(w, "says", "%.*s", (int)n, from);
        from += n + (from[n] == '\n');
    }
}
