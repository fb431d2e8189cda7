/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/settle.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

static const double most_nats = 8, against_nats = -20; /* of a change; of one the wrong way */
/* What it costs to give a stay the other register than the chain gives it. */
static const double nats_per_s = 2, most_stay_nats = 6;
/* Where both registers are stated for so long, the chain knows how they sound: it costs more. */
static const double told_s = 2, told_times = 4;
static const double unsure = 0.6;

/* One stay between changes, in the chain's register (0) or the other (1). */
typedef struct stay {
    size_t first, end;
    double best[2];
    int from[2]; /* what the stay before is then */
} stay;

static double log_odds(double p)
{
    double x = log(fmax(p, 1e-9) / fmax(1 - p, 1e-9));
    return fmax(-most_nats, fmin(x, most_nats));
}

bool settle_told(const evidence *ev)
{
    return evidence_told_s(ev) >= told_s;
}

static double cost_of(const stay *s, double hop_s)
{
    return fmin(most_stay_nats, nats_per_s * (double)(s->end - s->first) * hop_s);
}

/* The stay after `before`, beyond a change that is worth `nats`; `cost` of the other register. */
static void extend(const stay *before, double nats, double cost, stay *now)
{
    double same[2] = {before->best[0] + nats, before->best[1] + against_nats};
    for (int other = 0; other < 2; other++) {
        double kept = same[other], dropped = before->best[!other];
        now->from[other] = kept >= dropped ? other : !other;
        now->best[other] = fmax(kept, dropped) - (other ? cost : 0);
    }
}

static void give_other(const stay *s, double *p2)
{
    for (size_t i = s->first; i < s->end; i++)
        p2[i] = p2[i] > 0.5 ? 1 - unsure : unsure;
}

/* stays[n] of one stretch, from the last back. */
static void trace(const stay *stays, size_t n, double *p2)
{
    int other = stays[n - 1].best[1] > stays[n - 1].best[0];
    for (size_t k = n; k-- > 0;) {
        if (other)
            give_other(&stays[k], p2);
        other = stays[k].from[other];
    }
}

void settle_registers(const evidence *ev, const turns *c, const double *p, double dear, double *p2)
{
    stay *stays = xmalloc(c->n + 1, sizeof *stays);
    size_t n = 0;
    double dearer = dear * (settle_told(ev) ? told_times : 1);
    for (size_t k = 0, i = 0; i < ev->n; i++) {
        while (k < c->n && (c->items[k].at < i || c->items[k].brief))
            k++;
        bool begins = isinf(ev->gap_s[i]), changes_here = k < c->n && c->items[k].at == i;
        if (begins && n)
            trace(stays, n, p2);
        if (begins)
            n = 0;
        if (!begins && !changes_here)
            continue;
        stay *now = &stays[n++];
        now->first = now->end = i;
        while (now->end < ev->n && (now->end == i || !isinf(ev->gap_s[now->end])) &&
               (now->end == i || (p2[now->end] > 0.5) == (p2[i] > 0.5)))
            now->end++;
        double cost = dearer * cost_of(now, ev->hop_s);
        if (changes_here && n > 1) {
            extend(now - 1, log_odds(p[k]), cost, now);
        } else {
            now->best[0] = 0;
            now->best[1] = -cost;
            now->from[0] = now->from[1] = 0;
        }
    }
    if (n)
        trace(stays, n, p2);
    free(stays);
}
