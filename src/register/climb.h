/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_CLIMB_H
#define REGISTER_CLIMB_H

/* EM from where a world stands, over one evidence. Takes that are declared stay what they were
 * declared to be. */

#include "register/search.h"

typedef struct climber {
    const evidence *ev;
    const search_settings *s;
    regression *fit;
    float (*r)[HARMONICS]; /* what the model leaves */
    double *up, *down, *told, *odds, *up_step, *down_step, *before;
} climber;

/* ev and s have to outlive it. */
climber climber_new(const evidence *ev, const search_settings *s);
void climber_clear(climber *c);

/* So many rounds, at least one, of each of worlds[n], which then stand best first. Worlds that
 * determine no model, or that are stopped, come last with a standing of -1, and stay there; so do
 * those that come to the same as one before them, which counts them as its twins, and those that
 * are far behind before the last round. */
void climb_all(climber *c, int rounds, world *worlds, size_t n);

/* Climbs on for what is left of all rounds, or until nothing moves, and keeps what stood up best on
 * the way: later rounds of EM may explain the harmonics better by something else than the register.
 */
void climb_on(climber *c, world *w);

/* Begins the model anew from a world's last registers; false where they determine none. */
bool climb_end(climber *c, world *w);

/* Then the world of every frame of ev from that of one in a few: the registers carry over, frame
 * i's from stands_for[i], and are told once more. */
void climb_all_frames(const evidence *ev, const search_settings *s, const size_t *stands_for,
                      world *w);

/* Whether two worlds' p2[n] are the same, to within what EM no longer moves. */
bool climb_same(const double *a, const double *b, size_t n);

/* How well a world stands beside others, -1 where it failed: one that began stiff, is tidied or has
 * vowels that hardly change has to stand 1.2 times as well and 3 nats better, since of more worlds
 * one always stands up, whoever sings. */
double climb_stands(const world *w);

/* Best first, by that. */
void climb_sort(world *worlds, size_t n);

#endif
