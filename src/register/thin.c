/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/thin.h"

#include <math.h>
#include <string.h>

/* Numbers the groups; returns how many there are. */
static size_t number_groups(const evidence *ev, size_t every, size_t *group)
{
    size_t n = 0, length = 0;
    for (size_t i = 0; i < ev->n; i++) {
        if (i > 0 && (length == every || isinf(ev->gap_s[i]))) {
            n++;
            length = 0;
        }
        length++;
        group[i] = n;
    }
    return ev->n ? n + 1 : 0;
}

static void copy_frame(const evidence *ev, size_t i, evidence *out, size_t at)
{
    out->take[at] = ev->take[i];
    out->frame[at] = ev->frame[i];
    out->edge_s[at] = ev->edge_s[i];
    out->pitch_st[at] = ev->pitch_st[i];
    out->hz[at] = ev->hz[i];
    out->level_db[at] = ev->level_db[i];
    memcpy(out->y_db[at], ev->y_db[i], sizeof ev->y_db[i]);
    memcpy(out->var[at], ev->var[i], sizeof ev->var[i]);
    memcpy(out->warp[at], ev->warp[i], sizeof ev->warp[i]);
    out->dip_db[at] = ev->dip_db[i];
    out->step_db[at] = ev->step_db[i];
    out->pitch_break[at] = ev->pitch_break[i];
    out->level_break[at] = ev->level_break[i];
    out->declared[at] = ev->declared[i];
    out->stated[at] = 0;
}

static void keep_larger(double x, double *largest)
{
    if (fabs(x) > fabs(*largest))
        *largest = x;
}

/* The frame nearest to EVIDENCE_LAG_S before each. */
static void pair(evidence *ev)
{
    for (size_t i = 0; i < ev->n; i++) {
        double back = 0;
        size_t j = i;
        while (back < EVIDENCE_LAG_S - 0.5 * ev->hop_s && !isinf(ev->gap_s[j]))
            back += ev->gap_s[j--];
        bool near = fabs(back - EVIDENCE_LAG_S) <= 0.5 * ev->hop_s + 1e-9;
        ev->before[i] = near ? j : EVIDENCE_NONE;
    }
}

evidence *thin_evidence(const evidence *ev, size_t every, size_t *stands_for)
{
    evidence *out = evidence_alloc(number_groups(ev, every, stands_for));
    out->hop_s = (double)every * ev->hop_s;
    double since = 0; /* the frame taken last */
    for (size_t first = 0, end; first < ev->n; first = end) {
        size_t at = stands_for[first];
        for (end = first; end < ev->n && stands_for[end] == at;)
            end++;
        size_t mid = first + (end - first) / 2;
        copy_frame(ev, mid, out, at);
        bool same = true;
        for (size_t i = first; i < end; i++) {
            if (fabs(ev->leap_st[i]) > fabs(out->leap_st[at])) {
                out->leap_st[at] = ev->leap_st[i];
                out->sudden[at] = ev->sudden[i];
                out->kink[at] = ev->kink[i];
                out->trip[at] = ev->trip[i];
                out->slide[at] = ev->slide[i];
            }
            keep_larger(ev->pitch_break[i], &out->pitch_break[at]);
            keep_larger(ev->level_break[i], &out->level_break[at]);
            out->stated[at] |= ev->stated[i] & (STATED_M1 | STATED_M2 | STATED_FLIP);
            same = same && ev->stated[i] & STATED_SAME;
        }
        out->stated[at] |= same ? STATED_SAME : 0;
        for (size_t i = first; i <= mid; i++)
            since += ev->gap_s[i];
        out->gap_s[at] = since;
        since = 0;
        for (size_t i = mid + 1; i < end; i++)
            since += ev->gap_s[i];
    }
    pair(out);
    return out;
}
