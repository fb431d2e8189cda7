/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/contact.h"

#include <math.h>

/* From experience, without a source: a voice that leaps so, upwards as its contact goes and
 * downwards as it comes back, has not lost the electrodes. */
static const double least_leap_st = 2, least_alone_st = 3;
static const double most_leap_st = 20;                   /* farther it is a formant that rings on */
static const size_t least_frames = 20, near_frames = 12; /* 5 ms each */
static const size_t solid_frames = 6;                    /* fewer that are told are of the noise */
static const double most_usable = 0.3;                   /* of its frames */
static const double lost_p2 = 0.9;

typedef struct hole { /* frames from..end - 1 of the stretch first..last - 1 */
    size_t from, end, first, last;
} hole;

static bool is_m1(const contact *c, size_t i)
{
    return c->told[i] && c->p2[i] < 0.5;
}

/* The first frame from i on of those that are told one after the other, else `last`. */
static size_t next_solid(const contact *c, size_t i, size_t last)
{
    for (size_t run = 0; i < last; i++) {
        run = c->told[i] ? run + 1 : 0;
        if (run == solid_frames)
            return i + 1 - run;
    }
    return last;
}

/* The largest leap up (way 1) or down (-1) about the edge before frame i. */
static double leap_near(const evidence *ev, const hole *h, size_t i, int way)
{
    size_t lo = i > h->first + near_frames ? i - near_frames : h->first;
    size_t hi = i + near_frames < h->last ? i + near_frames : h->last;
    double most = 0;
    for (size_t k = lo; k < hi; k++)
        most = fmax(most, way * ev->leap_st[k]);
    return most;
}

/* Whether the voice leaps up as contact goes, or down as it comes back. */
static bool leaps_there(const evidence *ev, const hole *h, size_t i, int way, double least_st)
{
    double leap = leap_near(ev, h, i, way);
    return leap >= least_st && leap <= most_leap_st;
}

static bool is_high(const evidence *ev, const hole *h)
{
    for (size_t i = h->from; i < h->end; i++)
        if (ev->pitch_st[i] < CONTACT_M2_FROM_ST)
            return false;
    return true;
}

/* Whether nearly all of it is lost, for long enough. */
static bool is_lost(const bool *usable, const hole *h)
{
    size_t n = h->end - h->from, n_usable = 0;
    for (size_t i = h->from; i < h->end; i++)
        n_usable += usable[i];
    return n >= least_frames && (double)n_usable <= most_usable * (double)n;
}

/* Whether it is M2 between M1; a stretch may begin or end there, without a leap. */
static bool is_m2(const contact *c, const evidence *ev, const bool *usable, const hole *h)
{
    bool goes = h->from > h->first, comes = h->end < h->last;
    double least = goes && comes ? least_leap_st : least_alone_st;
    bool begins = !goes || (is_m1(c, h->from - 1) && leaps_there(ev, h, h->from, 1, least));
    bool ends = !comes || (is_m1(c, h->end) && leaps_there(ev, h, h->end, -1, least));
    return (goes || comes) && begins && ends && is_high(ev, h) && is_lost(usable, h);
}

void contact_tell_lost(contact *c, const evidence *ev, const bool *usable, size_t first,
                       size_t last)
{
    for (size_t i = first; i < last; i++) {
        if (c->told[i])
            continue;
        hole h = {i, next_solid(c, i, last), first, last};
        bool m2 = is_m2(c, ev, usable, &h);
        for (size_t k = i; m2 && k < h.end; k++) {
            c->told[k] = true;
            c->p2[k] = lost_p2;
        }
        i = h.end - 1;
    }
}
