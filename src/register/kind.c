/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/kind.h"

#include "base/note.h"

#include <math.h>

static const double around_s = 0.15, wide_s = 0.3, hole_near_s = 0.04, hole_s = 0.06,
                    crack_s = 0.035;
static const double crack_leap_st = 1.5, near_s = 0.05;
static const double whistle_hz = 1000, fry_hz = 75, fry_under_st = 9;
static const double ringing_st = 18;
static const double passed_leap_st = 1, doubling_leap_st[] = {4, 10.5};
static const double octave_st = 12, octave_error_st = 0.5, odd_under_db = -6;
enum { IRREGULAR = 2, ODD_FROM = 2, ODD_TO = 8 }; /* of harmonics, from 0 */

typedef struct side {     /* what is sung before or after a change */
    double n, doubled;    /* frames */
    double lo_st, hi_st;  /* NaN without any */
    double near_st;       /* mean of the 50 ms next to the change */
    double odd_n, odd_db; /* odd harmonics less the mean of their neighbours */
    int irregular;
} side;

static double odd_db(const evidence *ev, size_t i)
{
    double sum = 0, n = 0;
    for (int h = ODD_FROM; h <= ODD_TO; h += 2) {
        const float *y = &ev->y_db[i][h];
        double under = (double)(y[0] - (y[-1] + y[1]) / 2);
        if (!isnan(under)) {
            sum += under;
            n++;
        }
    }
    return sum / n;
}

static void hear(side *s, const evidence *ev, const track *t, size_t i, bool near)
{
    double pitch = ev->pitch_st[i], odd = odd_db(ev, i);
    s->n++;
    s->doubled += t->doubled[ev->frame[i]];
    s->irregular += t->irregular[ev->frame[i]];
    s->lo_st = fmin(s->lo_st, pitch);
    s->hi_st = fmax(s->hi_st, pitch);
    if (near)
        s->near_st += pitch;
    if (!isnan(odd)) {
        s->odd_db += odd;
        s->odd_n++;
    }
}

/* Frames first..end - 1, which lie around the change at frame `at`. */
static side side_of(const evidence *ev, track *const *tracks, size_t first, size_t end, size_t at)
{
    side s = {.lo_st = (double)NAN, .hi_st = (double)NAN};
    const track *t = tracks[ev->take[at]];
    double near = 0;
    for (size_t i = first; i < end; i++) {
        bool is_near = fabs(t->time_s[ev->frame[i]] - t->time_s[ev->frame[at]]) <= near_s;
        hear(&s, ev, t, i, is_near);
        near += is_near;
    }
    s.near_st /= near;
    return s;
}

static bool is_whistle(const side *b, const side *a)
{
    double whistle_st = note_from_hz(whistle_hz);
    return b->hi_st >= whistle_st || a->hi_st >= whistle_st;
}

static bool in_fry(const side *low, const side *other)
{
    if (other->near_st - low->near_st >= ringing_st)
        return true;
    bool deep = low->lo_st <= note_from_hz(fry_hz) && other->hi_st - low->lo_st >= fry_under_st;
    return low->irregular >= IRREGULAR && (deep || other->near_st - low->lo_st >= ringing_st);
}

/* Doubled periods are heard at the pitch that they double, or an octave under it: who goes to
 * another note has left the old one in the room, and two notes together look doubled. */
static bool one_doubled(const side *b, const side *a)
{
    double leap_st = fabs(a->near_st - b->near_st);
    bool elsewhere = leap_st > doubling_leap_st[0] && leap_st < doubling_leap_st[1];
    return !elsewhere && (2 * b->doubled > b->n) != (2 * a->doubled > a->n);
}

static bool is_octave(const side *b, const side *a)
{
    const side *low = b->near_st < a->near_st ? b : a;
    bool octave = fabs(fabs(a->near_st - b->near_st) - octave_st) <= octave_error_st;
    return octave && low->odd_db / low->odd_n <= odd_under_db;
}

/* The longest hole in the voice from frame first on up to frame last, seconds. */
static double hole_of(const evidence *ev, size_t first, size_t last)
{
    double longest = 0;
    for (size_t i = first + 1; i <= last; i++)
        longest = fmax(longest, ev->gap_s[i] - ev->hop_s);
    return longest;
}

/* The frames first..last within so long of frame `at` in its stretch. */
static void window(const evidence *ev, track *const *tracks, size_t at, double s, size_t *first,
                   size_t *last)
{
    const double *time_s = tracks[ev->take[at]]->time_s;
    double at_s = time_s[ev->frame[at]];
    *first = *last = at;
    while (!isinf(ev->gap_s[*first]) && at_s - time_s[ev->frame[*first]] < s)
        --*first;
    while (*last + 1 < ev->n && !isinf(ev->gap_s[*last + 1]) && time_s[ev->frame[*last]] - at_s < s)
        ++*last;
}

/* Folds that go over to another register may pass through some doubled periods; a voice that
 * doubles for a while comes back to where it was. */
static bool is_passed(const evidence *ev, track *const *tracks, size_t at)
{
    size_t first, last;
    double leap = 0;
    window(ev, tracks, at, around_s, &first, &last);
    for (size_t i = first; i <= last; i++)
        leap = fmax(leap, fabs(ev->leap_st[i]));
    window(ev, tracks, at, wide_s, &first, &last);
    side b = side_of(ev, tracks, first, at, at), a = side_of(ev, tracks, at, last + 1, at);
    return leap >= passed_leap_st && !one_doubled(&b, &a);
}

flip_kind kind_of(const evidence *ev, track *const *tracks, size_t at)
{
    if (isinf(ev->gap_s[at]))
        return FLIP_PROPER;
    size_t first, last;
    window(ev, tracks, at, around_s, &first, &last);
    side b = side_of(ev, tracks, first, at, at), a = side_of(ev, tracks, at, last + 1, at);
    if (is_whistle(&b, &a))
        return FLIP_WHISTLE;
    if (in_fry(&b, &a) || in_fry(&a, &b))
        return FLIP_FRY;
    if (is_octave(&b, &a) || (one_doubled(&b, &a) && !is_passed(ev, tracks, at)))
        return FLIP_DOUBLING;
    window(ev, tracks, at, hole_near_s, &first, &last);
    double hole = hole_of(ev, first, last);
    bool leaps = fabs(a.near_st - b.near_st) >= crack_leap_st;
    return hole >= hole_s || (hole >= crack_s && !leaps) ? FLIP_CONSONANT : FLIP_PROPER;
}
