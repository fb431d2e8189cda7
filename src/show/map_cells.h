/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_MAP_CELLS_H
#define SHOW_MAP_CELLS_H

/* The cells of a map: seconds sung in each register, without those that lie apart. */

#include "show/map.h"

/* Fills in cells, n_cells, extent and stray_s of an empty map. */
void map_cells_gather(const path *paths, size_t n, map *out);

#endif
