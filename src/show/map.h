/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_MAP_H
#define SHOW_MAP_H

/* The map of a voice: level across (soft to loud), pitch upwards, where each register was sung,
 * the flips, and the boundary up and down with its 95 % band over the levels that were sung. */

#include "fit/ranges.h"
#include "show/picture.h"

#include <stdbool.h>
#include <stddef.h>

enum { MAP_CELL_DB = 2, MAP_CELL_ST = 1 }; /* size of a cell of the plane */

typedef struct map_cell {
    double level_db, pitch_st; /* its centre */
    double seconds[2];         /* in M1, in M2 */
} map_cell;

typedef struct map_flip {
    flip_direction direction;
    double level_db, pitch_st; /* just before the flip */
    double confidence;         /* >= 0.5 asserted, lower doubtful */
} map_flip;

typedef struct map_line { /* n = 0: the takes do not tell it */
    size_t n;
    double *level_db; /* increasing, from the softest to the loudest level sung */
    figure *pitch_st;
} map_line;

typedef struct map_extent { /* lo > hi when nothing was sung */
    double lo_db, hi_db, lo_st, hi_st;
} map_extent;

/* Breath and noise that were taken for voice lie apart from what was sung. A map shows the cells
 * that hang together (at most two empty cells between) with a fiftieth of all the time or more, and
 * the flips in and near them; of the rest it says how much there is. */
typedef struct map {
    size_t takes, n_cells, n_flips;
    map_cell *cells;
    map_flip *flips;
    map_line line[2]; /* by flip_direction */
    size_t n_ranges;  /* softest and loudest of each register and semitone */
    range *ranges;
    double lasted_st[2];                    /* boundary_lasted, by direction; 0: it is none */
    figure hysteresis;                      /* up minus down in semitones; NaN: not told */
    map_extent extent;                      /* of the cells, edge to edge */
    size_t stray_flips[2], doubtful_strays; /* not among flips; by flip_direction */
    double stray_s;                         /* not in cells: those apart */
} map;

/* From labelled frames and the boundary fitted to them, or to those takes among them that count.
 * A register counts in a cell that it filled for 50 ms and a thousandth of all the time. A line has
 * the levels that were sung and at which its interval is not wider than 8 semitones.
 * b NULL or n = 0 gives a map without lines or flips. Frames at pitches outside 12..120 or levels
 * beyond +-160 dB are left out. Copies what it needs; free with map_clear. */
void map_gather(const path *paths, size_t n, const boundary *b_or_null, map *out);
void map_clear(map *m);
bool map_told(figure f); /* finite, and the interval not wider than 8 semitones */

typedef struct map_labels {
    const char *singer, *vowel; /* any text; vowel may be "" */
    const char *level_scale;    /* "dB re session median" and the like */
    bool levels_are_spl;        /* then 72, not +72 */
    size_t sessions;
    double a4_hz;      /* for note names alone */
    bool pitch_only;   /* levels are not known */
    const char *words; /* beneath maps side by side, in place of map_words; else NULL */
} map_labels;

/* Where a line's point lies on the axis of levels; a line at one level alone, as where levels are
 * not known, goes across the whole axis. */
double map_line_level(const map_line *l, size_t k, double lo_db, double hi_db);
/* Sets level_axis, the label of the axis of levels, and has_levels. */
void map_send_level_axis(gnuplot *g, const map_labels *l);

/* What the map says, in words: where the voice flips up when soft and when loud, where it flips
 * back, and what the takes do not tell. An interval wider than a semitone either way is said as
 * from-to. The caller frees. */
char *map_words(const map *m, const map_labels *labels);

/* The picture of one map, with the words beneath. An empty map is drawn empty and says so. */
bool map_draw(const map *m, const map_labels *labels, const picture *where, err *e);

/* One small map a session on one scale, `titles[n]` (any text, dates) above each, the boundary of
 * all sessions together thin in each, and the words of all beneath. n >= 1. */
bool map_draw_sessions(const map *sessions, const char *const *titles, size_t n, const map *all,
                       const map_labels *labels, const picture *where, err *e);
/* Maps of several singers side by side on one scale, names above each, labels->words beneath. */
bool map_draw_beside(const map *maps, const char *const *titles, size_t n, const map_labels *labels,
                     const picture *where, err *e);
/* Height that suits a width, so that cells keep their shape. */
int map_height_px(int width_px, size_t sessions_or_0);
/* A map, or small maps, for a page. */
picture map_on_page(size_t sessions_or_0, char **svg);

#endif
