/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_SESSION_MAPS_H
#define SHOW_SESSION_MAPS_H

/* A map for each session of a singer's plane, and what the maps of a plane are labelled with. */

#include "journal/plane.h"
#include "show/map.h"

typedef struct session_maps {
    size_t n;
    map *items;         /* [n] */
    const char **dates; /* [n] the plane's */
} session_maps;

/* The sessions from `first` on. One whose takes tell nothing keeps its place, with what was sung
 * and no lines. */
session_maps session_maps_gather(const plane *p, size_t first);
void session_maps_clear(session_maps *m);

map_labels plane_map_labels(const plane *p, const char *singer, double a4_hz); /* borrows */

#endif
