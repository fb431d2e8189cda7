/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/describe.h"

#include "base/array.h"
#include "command/command.h"
#include "sound/source.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double default_cm = 30; /* what calibrated levels are stated for */

static void name_stretch(const char *name, journal_take *t)
{
    char *path;
    source_parts(name, &path, &t->start_s, &t->end_s);
    if (isinf(t->end_s))
        t->start_s = t->end_s = (double)NAN;
    const char *slash = strrchr(path, '/');
    t->file = xstrdup(slash ? slash + 1 : path);
    free(path);
}

static void state_date(const intake *in, journal_take *t)
{
    char date[DATE_SIZE];
    t->date_from = DATE_STATED;
    if (!in->said.date)
        t->date_from = date_of_recording(in->file, date);
    t->date = xstrdup(in->said.date ? in->said.date : date);
}

static char *stated(const char *said)
{
    return xstrdup(said ? said : "");
}

journal_take describe_take(const intake *in)
{
    const statement *said = &in->said;
    journal_take t = {.singer = xstrdup(in->singer),
                      .rig = stated(said->rig),
                      .full_scale_db = said->how.full_scale_db,
                      .distance_cm = said->how.distance_cm,
                      .calibration = stated(NULL),
                      .name = stated(said->name),
                      .vowel = stated(said->vowel),
                      .hold = said->hold,
                      .vary = said->vary,
                      .declared = (declared_register)(said->declared + 1),
                      .microphone = said->how.microphone,
                      .egg = said->how.egg,
                      .version = xstrdup(SEAMLINE_VERSION)};
    name_stretch(in->file, &t);
    state_date(in, &t);
    return t;
}

static void keep_text(char **now, const char *was, bool keep)
{
    if (!keep)
        return;
    free(*now);
    *now = xstrdup(was);
}

static void keep_date(journal_take *t, const journal_take *was)
{
    bool stands = t->date_from < was->date_from;
    if (t->date_from == was->date_from)
        stands = t->date_from == DATE_STATED || strcmp(t->date, was->date) <= 0;
    keep_text(&t->date, was->date, !stands);
    if (!stands)
        t->date_from = was->date_from;
}

/* A pipe has no name to go by. */
static bool nameless(const char *file)
{
    return strcmp(file, "-") == 0;
}

static bool keeps_name(const char *now, const char *was)
{
    return nameless(now) || (!nameless(was) && strcmp(was, now) < 0);
}

/* What the calibration of one rig said is not true of another. */
static bool keeps_full_scale(const journal_take *t, const journal_take *was)
{
    bool same_rig = !*t->rig || strcmp(t->rig, was->rig) == 0;
    return isnan(t->full_scale_db) && (same_rig || !*was->calibration);
}

void describe_keep(journal_take *t, const journal_take *was)
{
    bool keeps = keeps_full_scale(t, was);
    keep_date(t, was);
    keep_text(&t->file, was->file, keeps_name(t->file, was->file));
    keep_text(&t->rig, was->rig, !*t->rig);
    keep_text(&t->name, was->name, !*t->name);
    keep_text(&t->vowel, was->vowel, !*t->vowel);
    keep_text(&t->calibration, was->calibration, keeps);
    if (keeps)
        t->full_scale_db = was->full_scale_db;
    if (isnan(t->distance_cm))
        t->distance_cm = was->distance_cm;
    t->hold = t->hold < 0 ? was->hold : t->hold;
    t->vary = t->vary < 0 ? was->vary : t->vary;
    t->declared = t->declared == DECLARED_NONE ? was->declared : t->declared;
    t->microphone = t->microphone ? t->microphone : was->microphone;
    t->egg = t->egg ? t->egg : was->egg;
}

void describe_default(journal_take *t)
{
    if (isnan(t->distance_cm))
        t->distance_cm = default_cm;
}

static bool same_number(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}

bool describe_same(const journal_take *a, const journal_take *b)
{
    return strcmp(a->date, b->date) == 0 && a->date_from == b->date_from &&
           strcmp(a->file, b->file) == 0 && strcmp(a->rig, b->rig) == 0 &&
           strcmp(a->calibration, b->calibration) == 0 && strcmp(a->name, b->name) == 0 &&
           strcmp(a->vowel, b->vowel) == 0 && same_number(a->full_scale_db, b->full_scale_db) &&
           same_number(a->distance_cm, b->distance_cm) && a->hold == b->hold &&
           a->vary == b->vary && a->declared == b->declared && a->microphone == b->microphone &&
           a->egg == b->egg && strcmp(a->settings, b->settings) == 0 &&
           strcmp(a->version, b->version) == 0;
}
