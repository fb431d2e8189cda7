/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/session_maps.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

session_maps session_maps_gather(const plane *p, size_t first)
{
    session_maps m = {.n = p->n_sessions - first};
    m.items = xcalloc(m.n, sizeof *m.items);
    m.dates = xcalloc(m.n, sizeof *m.dates);
    for (size_t i = 0; i < m.n; i++) {
        const plane_session *s = &p->sessions[first + i];
        boundary *b = NULL;
        err ignored;
        if (!plane_fit(p, s->first, s->n, (double)NAN, &b, &ignored))
            b = NULL;
        map_gather(p->paths + s->first, s->n, b, &m.items[i]);
        boundary_free(b);
        m.dates[i] = s->date;
    }
    return m;
}

void session_maps_clear(session_maps *m)
{
    for (size_t i = 0; i < m->n; i++)
        map_clear(&m->items[i]);
    free(m->items);
    free(m->dates);
    *m = (session_maps){.n = 0};
}

map_labels plane_map_labels(const plane *p, const char *singer, double a4_hz)
{
    return (map_labels){.singer = singer,
                        .vowel = p->vowel,
                        .level_scale = plane_level_scale(p),
                        .levels_are_spl = p->calibrated,
                        .pitch_only = p->pitch_only,
                        .sessions = p->n_sessions,
                        .a4_hz = a4_hz};
}
