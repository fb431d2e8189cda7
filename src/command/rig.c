/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/rig.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The distance stays what it was last said to be. */
static void take_over(const journal_calibration *items, size_t k, const statement *said,
                      journal_take *t)
{
    t->full_scale_db = items[k].full_scale_db;
    free(t->calibration);
    t->calibration = xstrdup(items[k].date);
    while (k && isnan(items[k].distance_cm))
        k--;
    if (isnan(said->how.distance_cm) && !isnan(items[k].distance_cm))
        t->distance_cm = items[k].distance_cm;
}

bool rig_apply(journal *j, const statement *said, journal_take *t, err *e)
{
    journal_calibration *items;
    size_t n;
    if (!said->rig || !*said->rig || !isnan(said->how.full_scale_db))
        return true;
    if (!calibrations_read(j, said->rig, &items, &n, e))
        return false;
    if (n)
        take_over(items, calibration_of_day(items, n, t->date), said, t);
    calibrations_free(items, n);
    return true;
}

char *rig_changed(const journal_calibration *earlier, const journal_calibration *later)
{
    double change_db = later->full_scale_db - earlier->full_scale_db;
    if (fabs(change_db) <= CALIBRATION_CHANGED_DB)
        return NULL;
    return xformat("The rig %s has probably changed between %s and %s: its calibrations differ by "
                   "%.1f dB. Levels between them are no surer than that.",
                   later->rig, earlier->date, later->date, fabs(change_db));
}

static char *doubt(const journal_calibration *items, size_t n, const journal_take *t)
{
    size_t k = calibration_of_day(items, n, t->date);
    int order = n ? strcmp(items[k].date, t->date) : 0;
    if (order > 0)
        return xformat("The rig %s was first calibrated on %s: takes before that, too, go by it.",
                       t->rig, items[k].date);
    return order < 0 && k + 1 < n ? rig_changed(&items[k], &items[k + 1]) : NULL;
}

bool rig_doubt(journal *j, const journal_take *t, char **sentence, err *e)
{
    journal_calibration *items;
    size_t n;
    *sentence = NULL;
    bool calibrated = !isnan(t->full_scale_db);
    if (!*t->rig || (calibrated && !*t->calibration))
        return true;
    if (!calibrations_read(j, calibrated ? t->rig : NULL, &items, &n, e))
        return false;
    if (calibrated)
        *sentence = doubt(items, n, t);
    else if (n)
        *sentence = xformat("The rig %s has no calibration, though the rig %s has one: is it the "
                            "name that is meant?",
                            t->rig, items[0].rig);
    calibrations_free(items, n);
    return true;
}
