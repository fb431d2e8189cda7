/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/figures.h"

#include "register/contact.h"
#include "register/seam.h"

#include <math.h>

static const double beside_s = 0.050;     /* before and after are means over this */
static const double usual_span_s = 0.040; /* where the fit of the change finds no width */
static const double trend_s = 0.200;  /* of each side, a period of vibrato: what goes on anyway */
static const double source_s = 0.100; /* of each side, whose harmonics are compared */
static const double about_s = 0.010;  /* cycles nearer to the span belong to the flip */
static const double time_error_s = 1e-9;
static const double fastest_slide = 20, fastest_swell = 50; /* st, dB a second: no trend beyond */
enum { OTHERS = 8 }; /* harmonics that the first is held against */

static double mean_of(const track *t, const double *v, double from_s, double to_s)
{
    double sum = 0, n = 0;
    for (size_t f = 0; f < t->n; f++)
        if (t->time_s[f] >= from_s - time_error_s && t->time_s[f] <= to_s + time_error_s &&
            !isnan(t->pitch_st[f]) && isfinite(v[f])) {
            sum += v[f];
            n++;
        }
    return n > 0 ? sum / n : (double)NAN;
}

typedef struct side {
    double mean, centre_s; /* of the frames beside the span; NaN without any */
    double slope;          /* a second, over trend_s; 0 with too little to tell */
} side;

typedef double (*frame_value)(const figures_of *of, size_t i);

static double pitch_of(const figures_of *of, size_t i)
{
    return of->ev->pitch_st[i];
}

static double level_of(const figures_of *of, size_t i)
{
    return of->ev->level_db[i];
}

/* Frames first..last within from_s..to_s, those from near_lo_s to near_hi_s as the mean. */
static side side_of(const figures_of *of, frame_value value, size_t first, size_t last,
                    double from_s, double to_s, double near_lo_s, double near_hi_s)
{
    double n = 0, x = 0, y = 0, xx = 0, xy = 0, near = 0, sum = 0, centre = 0;
    for (size_t i = first; i <= last; i++) {
        double at = of->time_s[i] - from_s, v = value(of, i);
        if (at < -time_error_s || of->time_s[i] > to_s + time_error_s || !isfinite(v))
            continue;
        n++;
        x += at;
        y += v;
        xx += at * at;
        xy += at * v;
        if (of->time_s[i] >= near_lo_s - time_error_s &&
            of->time_s[i] <= near_hi_s + time_error_s) {
            near++;
            sum += v;
            centre += of->time_s[i];
        }
    }
    double spread = xx - x * x / n;
    bool enough = n >= 0.5 * trend_s / 0.005;
    return (side){near > 0 ? sum / near : (double)NAN, centre / near,
                  enough ? (xy - x * y / n) / spread : 0};
}

/* The step across the span, less the trend: the lesser slope of the two sides where they go the
 * same way, none where they do not. */
static double step_of(const figures_of *of, frame_value value, size_t first, size_t last,
                      double lo_s, double hi_s, double steepest)
{
    side b = side_of(of, value, first, last, lo_s - trend_s, lo_s, lo_s - beside_s, lo_s);
    side a = side_of(of, value, first, last, hi_s, hi_s + trend_s, hi_s, hi_s + beside_s);
    double least = fmin(fmin(fabs(a.slope), fabs(b.slope)), steepest);
    double trend = a.slope * b.slope > 0 ? copysign(least, a.slope) : 0;
    return a.mean - b.mean - trend * (a.centre_s - b.centre_s);
}

/* Mean coordinate of the frames within from_s..to_s, by what they say; NaN where they say nothing.
 */
static double coordinate_of(const figures_of *of, size_t first, size_t last, double from_s,
                            double to_s)
{
    double z = 0, mass = 0;
    for (size_t i = first; i <= last; i++)
        if (of->time_s[i] >= from_s - time_error_s && of->time_s[i] <= to_s + time_error_s) {
            z += of->says[i].weight * of->says[i].z;
            mass += of->says[i].weight * of->says[i].mass;
        }
    return mass > 0 ? z / mass : (double)NAN;
}

/* Level of the first harmonic over the mean of those from the second on, in the step from M1 to M2.
 */
static double first_over_others(const model *m)
{
    double others = 0;
    for (int h = 1; h < OTHERS; h++)
        others += m->beta[MODEL_D + h] / (OTHERS - 1);
    return m->beta[MODEL_D] - others;
}

static int irregular_of(const track *t, double from_s, double to_s)
{
    int n = 0;
    for (size_t f = 0; f < t->n; f++)
        if (t->time_s[f] >= from_s && t->time_s[f] <= to_s)
            n += t->irregular[f];
    return n;
}

flip figures_measure(const figures_of *of, size_t first, size_t last, size_t at,
                     flip_direction direction, const refined *placed)
{
    const track *t = of->tracks[of->ev->take[at]];
    refined r;
    if (!of->egg || contact_tells_flip(of->egg, of->ev, at, direction == FLIP_UP) <= 0 ||
        !contact_place(of->egg, of->time_s, first, last, at, &r))
        r = placed && !isnan(placed->time_s)
                ? *placed
                : refine_flip(of->ev, of->time_s, of->says, first, last, at, direction == FLIP_UP);
    double span_s = isnan(r.span_ms) ? usual_span_s : r.span_ms / 1000;
    double lo = r.time_s - span_s / 2, hi = r.time_s + span_s / 2;
    flip f = {.time_s = r.time_s,
              .direction = direction,
              .span_ms = 1000 * span_s,
              .confidence = (double)NAN,
              .pitch_before_st = mean_of(t, t->pitch_st, lo - beside_s, lo),
              .pitch_after_st = mean_of(t, t->pitch_st, hi, hi + beside_s),
              .level_before_db = mean_of(t, t->level_db, lo - beside_s, lo),
              .level_after_db = mean_of(t, t->level_db, hi, hi + beside_s),
              .irregular_cycles = irregular_of(t, lo - about_s, hi + about_s)};
    f.leap_cents = 100 * step_of(of, pitch_of, first, last, lo, hi, fastest_slide);
    f.level_step_db = step_of(of, level_of, first, last, lo, hi, fastest_swell);
    f.spectral_step_db =
        first_over_others(of->m) * (coordinate_of(of, first, last, hi, hi + source_s) -
                                    coordinate_of(of, first, last, lo - source_s, lo));
    f.seam_jnd = seam_of(&f);
    return f;
}
