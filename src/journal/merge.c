/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Another journal in, by statements over both files. */
#include "journal/care.h"

#include "base/array.h"
#include "journal/calibrations.h"
#include "journal/sql.h"

#include <stdlib.h>
#include <sys/stat.h>

/* All that is said and known of a hearing but its frames, which follow from it: the greater of two
 * texts stays. Versions of one digit a part are in order so. */
#define RANK(t, s)                                                                                 \
    "(" t ".version || ' ' || " t ".settings || ' ' || quote(" s ".full_scale_db) || ' ' ||"       \
    " quote(" s ".distance_cm) || ' ' || " t ".microphone || ' ' || " t ".egg || ' ' ||"           \
    " ifnull(" t ".declared, 0) || ' ' || quote(" t ".hold) || quote(" t ".vary) ||"               \
    " quote(" t ".vowel) || quote(" t ".name) || quote(" s ".rig) || quote(" s ".date) ||"         \
    " quote(" t ".date_from) || quote(" t ".file) || quote(" t ".kind) || quote(" t ".notes))"

#define HEARING                                                                                    \
    "code, date_from, file, start_s, end_s, sound, name, vowel, hold, vary, declared, seconds,"    \
    " voiced_s, clipped_runs, dc, peak, leq_db, egg, settings, version, laeq_db, lzeq_db,"         \
    " lcfmax_db, lcsmax_db, microphone, channel, egg_channel, kind, notes, removed"

static const char *const steps[] = {
    "CREATE TEMP TABLE newcomers AS SELECT name FROM other.singers"
    " WHERE name NOT IN (SELECT name FROM main.singers)",
    "INSERT INTO main.singers(name, notes) SELECT name, notes FROM other.singers WHERE true"
    " ON CONFLICT(name) DO UPDATE SET notes = max(notes, excluded.notes)",
    "INSERT INTO main.sessions(singer, date, rig, full_scale_db, distance_cm, calibration, notes)"
    " SELECT g.id, s.date, s.rig, s.full_scale_db, s.distance_cm, s.calibration, s.notes"
    " FROM other.sessions s JOIN other.singers o ON o.id = s.singer"
    " JOIN main.singers g ON g.name = o.name WHERE true"
    " ON CONFLICT(singer, date, rig, ifnull(full_scale_db, ''), distance_cm)"
    " DO UPDATE SET calibration = max(calibration, excluded.calibration)",
    /* the last hearings there, and the row of sessions here that each goes to */
    "CREATE TEMP TABLE coming AS SELECT t.id AS there, t.code AS key, here.id AS place,"
    " t.judged AND g.name IN newcomers AS told, " RANK(
        "t", "s") " AS rank"
                  " FROM other.takes t JOIN other.sessions s ON s.id = t.session"
                  " JOIN other.singers o ON o.id = s.singer JOIN main.singers g ON g.name = o.name"
                  " JOIN main.sessions here ON here.singer = g.id AND here.date = s.date AND "
                  "here.rig = s.rig"
                  "  AND here.full_scale_db IS s.full_scale_db AND here.distance_cm = s.distance_cm"
                  " WHERE NOT EXISTS (SELECT 1 FROM other.takes l WHERE l.code = t.code AND "
                  "l.judged < t.judged)",
    "DELETE FROM coming WHERE EXISTS (SELECT 1 FROM main.takes t"
    " JOIN main.sessions s ON s.id = t.session WHERE t.code = coming.key"
    " AND " RANK(
        "t", "s") " >= coming.rank AND NOT EXISTS"
                  " (SELECT 1 FROM main.takes l WHERE l.code = t.code AND l.judged < t.judged))",
    "DELETE FROM main.takes WHERE judged = 0 AND code IN (SELECT key FROM coming)",
    "INSERT INTO main.takes(session, judged, " HEARING ") SELECT place, told, " HEARING
    " FROM coming JOIN other.takes t ON t.id = there",
    NULL};

static const char *const contents[] = {
    "CREATE TEMP TABLE pairs AS SELECT c.there AS there, t.id AS here FROM coming c"
    " JOIN main.takes t ON t.code = c.key AND t.judged = c.told",
    "INSERT INTO main.frames SELECT p.here, f.layout, f.n, f.hop_s, f.first_s, f.full_scale_db,"
    " f.heard, f.digest FROM pairs p JOIN other.frames f ON f.take = p.there",
    "INSERT INTO main.checks SELECT p.here, c.name, c.result, c.figure, c.unit, c.remedy"
    " FROM pairs p JOIN other.checks c ON c.take = p.there",
    "DELETE FROM pairs WHERE here IN (SELECT id FROM main.takes WHERE judged = 0)",
    "INSERT INTO main.registers SELECT p.here, r.reg, r.p_m2"
    " FROM pairs p JOIN other.registers r ON r.take = p.there",
    "INSERT INTO main.flips SELECT p.here, f.number, f.time_s, f.direction, f.pitch_before_st,"
    " f.pitch_after_st, f.level_before_db, f.level_after_db, f.span_ms, f.confidence, f.leap_cents,"
    " f.level_step_db, f.spectral_step_db, f.irregular_cycles, f.seam_jnd, f.kind, f.stated"
    " FROM pairs p JOIN other.flips f ON f.take = p.there",
    "INSERT INTO main.models SELECT g.id, m.vowel, m.part, m.version, m.answer, m.rests_on,"
    " m.layout, m.model FROM other.models m JOIN other.singers o ON o.id = m.singer"
    " JOIN main.singers g ON g.name = o.name WHERE g.name IN newcomers",
    "INSERT OR IGNORE INTO main.corrections SELECT * FROM other.corrections",
    "INSERT INTO main.calibrations SELECT * FROM other.calibrations WHERE true" CALIBRATION_AGAIN,
    "UPDATE main.takes SET removed = max(removed, (SELECT max(o.removed) FROM other.takes o"
    "  WHERE o.code = main.takes.code)) WHERE code IN (SELECT code FROM other.takes)",
    /* of a take that is removed no registers are told: the hearing that stays is shown at once */
    "DELETE FROM main.takes WHERE judged = 1 AND removed % 2 = 1"
    " AND code IN (SELECT code FROM main.takes WHERE judged = 0)",
    "UPDATE main.takes SET judged = 1 WHERE removed % 2 = 1",
    "DELETE FROM main.sessions WHERE NOT EXISTS"
    " (SELECT 1 FROM main.takes t WHERE t.session = main.sessions.id)",
    "DROP TABLE temp.newcomers; DROP TABLE temp.coming; DROP TABLE temp.pairs", NULL};

static bool run_all(const journal *j, const char *const *texts, err *e)
{
    for (size_t i = 0; texts[i]; i++)
        if (!sql_run(j, texts[i], e))
            return false;
    return true;
}

static bool merge(const journal *j, size_t *new_takes, err *e)
{
    long n = 0;
    bool fine = run_all(j, steps, e) && sql_long(j, "SELECT count(*) FROM coming", 0, &n, e, "") &&
                run_all(j, contents, e);
    *new_takes = (size_t)n;
    return fine;
}

static bool is_same_file(const journal *j, const char *path)
{
    struct stat a, b;
    return stat(j->file, &a) == 0 && stat(path, &b) == 0 && a.st_dev == b.st_dev &&
           a.st_ino == b.st_ino;
}

/* Opened first as a journal: that tells what is none, and brings an older one up to date. */
static bool attach(const journal *j, const char *path, err *e)
{
    journal *other;
    if (is_same_file(j, path))
        return err_set(e, "%s is this journal itself.", path);
    if (!journal_open(path, JOURNAL_READ, &other, e))
        return false;
    journal_close(other);
    char *plain = xformat("%s%s", path[0] == '/' ? "" : "./", path);
    bool fine = sql_run(j, "PRAGMA temp_store = MEMORY", e) &&
                sql_do(j, "ATTACH ? AS other", e, "t", plain);
    free(plain);
    return fine;
}

bool care_merge(journal *j, const char *path, size_t *new_takes, err *e)
{
    err ignored;
    bool begun;
    if (!attach(j, path, e))
        return false;
    bool fine = sql_begin_write(j, &begun, e) && sql_end_write(j, begun, merge(j, new_takes, e), e);
    sql_run(j, "DETACH other", &ignored);
    return fine;
}
