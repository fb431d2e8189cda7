/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/schema.h"

#include "journal/sql.h"

#include <assert.h>
#include <stdio.h>

/* The ASCII of "Seam": what file(1) and SQLite show as the application's id. */
static const long application = 0x5365616D;

/* Made alike in a new journal and in one that is brought up to date. */
#define CORRECTIONS                                                                                \
    "CREATE TABLE corrections("                                                                    \
    " code TEXT NOT NULL,"                                                                         \
    " number INTEGER NOT NULL CHECK(number >= 1),"                                                 \
    " action TEXT NOT NULL"                                                                        \
    "  CHECK(action IN ('add', 'move', 'remove', 'confirm', 'withdraw')),"                         \
    " direction TEXT NOT NULL CHECK(direction IN ('up', 'down')),"                                 \
    " time_s REAL NOT NULL,"                                                                       \
    " to_s REAL NOT NULL,"                                                                         \
    " PRIMARY KEY(code, number, action, direction, time_s, to_s)) WITHOUT ROWID;"
#define MODELS                                                                                     \
    "CREATE TABLE models("                                                                         \
    " singer INTEGER NOT NULL REFERENCES singers(id) ON DELETE CASCADE,"                           \
    " vowel TEXT NOT NULL,"                                                                        \
    " part INTEGER NOT NULL DEFAULT 1,"                                                            \
    " version TEXT NOT NULL,"                                                                      \
    " answer TEXT NOT NULL,"                                                                       \
    " rests_on TEXT NOT NULL DEFAULT '',"                                                          \
    " layout INTEGER NOT NULL DEFAULT 0,"                                                          \
    " model BLOB,"                                                                                 \
    " PRIMARY KEY(singer, vowel, part)) WITHOUT ROWID;"
#define CALIBRATIONS                                                                               \
    "CREATE TABLE calibrations("                                                                   \
    " rig TEXT NOT NULL,"                                                                          \
    " date TEXT NOT NULL,"                                                                         \
    " full_scale_db REAL NOT NULL,"                                                                \
    " reads_db REAL,"                                                                              \
    " steady_db REAL,"                                                                             \
    " file TEXT NOT NULL DEFAULT '',"                                                              \
    " sound BLOB,"                                                                                 \
    " version TEXT NOT NULL DEFAULT '',"                                                           \
    " PRIMARY KEY(rig, date, full_scale_db)) WITHOUT ROWID;"
#define CALIBRATIONS_GROW                                                                          \
    "ALTER TABLE calibrations ADD COLUMN distance_cm REAL;"                                        \
    "ALTER TABLE calibrations ADD COLUMN made TEXT NOT NULL DEFAULT '';"

static const char tables[] =
    "CREATE TABLE singers("
    " id INTEGER PRIMARY KEY,"
    " name TEXT NOT NULL UNIQUE CHECK(name <> ''),"
    " notes TEXT NOT NULL DEFAULT '');"
    "CREATE TABLE sessions("
    " id INTEGER PRIMARY KEY,"
    " singer INTEGER NOT NULL REFERENCES singers(id) ON DELETE CASCADE,"
    " date TEXT NOT NULL CHECK(date GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),"
    " rig TEXT NOT NULL DEFAULT '',"
    " full_scale_db REAL,"
    " distance_cm REAL NOT NULL,"
    " calibration TEXT NOT NULL DEFAULT '',"
    " notes TEXT NOT NULL DEFAULT '');"
    "CREATE UNIQUE INDEX session_key"
    " ON sessions(singer, date, rig, ifnull(full_scale_db, ''), distance_cm);"
    "CREATE TABLE takes("
    " id INTEGER PRIMARY KEY,"
    " code TEXT NOT NULL,"
    " judged INTEGER NOT NULL DEFAULT 0 CHECK(judged IN (0, 1)),"
    " session INTEGER NOT NULL REFERENCES sessions(id) ON DELETE CASCADE,"
    " date_from TEXT NOT NULL CHECK(date_from IN ('stated', 'recorded', 'modified')),"
    " file TEXT NOT NULL,"
    " start_s REAL,"
    " end_s REAL,"
    " sound BLOB NOT NULL,"
    " name TEXT NOT NULL DEFAULT '',"
    " vowel TEXT NOT NULL DEFAULT '',"
    " hold TEXT,"
    " vary TEXT,"
    " declared INTEGER CHECK(declared IN (1, 2)),"
    " seconds REAL NOT NULL,"
    " voiced_s REAL NOT NULL,"
    " clipped_runs INTEGER NOT NULL,"
    " dc REAL,"
    " peak REAL NOT NULL,"
    " leq_db REAL,"
    " egg INTEGER NOT NULL DEFAULT 0,"
    " settings TEXT NOT NULL,"
    " version TEXT NOT NULL,"
    " laeq_db REAL,"
    " lzeq_db REAL,"
    " lcfmax_db REAL,"
    " lcsmax_db REAL,"
    " microphone INTEGER NOT NULL DEFAULT 0,"
    " channel INTEGER,"
    " egg_channel INTEGER,"
    " kind TEXT NOT NULL DEFAULT '',"
    " notes TEXT NOT NULL DEFAULT '',"
    " removed INTEGER NOT NULL DEFAULT 0 CHECK(removed >= 0),"
    " UNIQUE(code, judged));"
    "CREATE INDEX take_session ON takes(session);"
    "CREATE TABLE frames("
    " take INTEGER PRIMARY KEY REFERENCES takes(id) ON DELETE CASCADE,"
    " layout INTEGER NOT NULL,"
    " n INTEGER NOT NULL,"
    " hop_s REAL NOT NULL,"
    " first_s REAL NOT NULL,"
    " full_scale_db REAL,"
    " heard BLOB NOT NULL,"
    " digest BLOB);"
    "CREATE TABLE registers("
    " take INTEGER PRIMARY KEY REFERENCES takes(id) ON DELETE CASCADE,"
    " reg BLOB NOT NULL,"
    " p_m2 BLOB NOT NULL);"
    "CREATE TABLE flips("
    " take INTEGER NOT NULL REFERENCES takes(id) ON DELETE CASCADE,"
    " number INTEGER NOT NULL,"
    " time_s REAL NOT NULL,"
    " direction TEXT NOT NULL CHECK(direction IN ('up', 'down')),"
    " pitch_before_st REAL,"
    " pitch_after_st REAL,"
    " level_before_db REAL,"
    " level_after_db REAL,"
    " span_ms REAL,"
    " confidence REAL NOT NULL,"
    " leap_cents REAL,"
    " level_step_db REAL,"
    " spectral_step_db REAL,"
    " irregular_cycles INTEGER,"
    " seam_jnd REAL,"
    " kind TEXT,"
    " stated TEXT CHECK(stated IN ('add', 'move', 'confirm')),"
    " PRIMARY KEY(take, number)) WITHOUT ROWID;"
    "CREATE TABLE checks("
    " take INTEGER NOT NULL REFERENCES takes(id) ON DELETE CASCADE,"
    " name TEXT NOT NULL,"
    " result TEXT NOT NULL CHECK(result IN ('pass', 'warn', 'fail')),"
    " figure REAL,"
    " unit TEXT,"
    " remedy TEXT,"
    " PRIMARY KEY(take, name)) WITHOUT ROWID;" CORRECTIONS MODELS CALIBRATIONS CALIBRATIONS_GROW;

/* What makes version v + 1 of version v. The level of a take was unweighted in version 1: it
 * goes to lzeq_db, and the C-weighted one is not known until the take is heard anew. Corrections
 * were of a hearing of a take in version 2, and are of the take since. */
static const char *const steps[SCHEMA_VERSION] = {
    [1] = "ALTER TABLE takes ADD COLUMN laeq_db REAL;"
          "ALTER TABLE takes ADD COLUMN lzeq_db REAL;"
          "ALTER TABLE takes ADD COLUMN lcfmax_db REAL;"
          "ALTER TABLE takes ADD COLUMN lcsmax_db REAL;"
          "UPDATE takes SET lzeq_db = leq_db, leq_db = NULL;",
    [2] = "ALTER TABLE sessions ADD COLUMN calibration TEXT NOT NULL DEFAULT '';"
          "ALTER TABLE sessions ADD COLUMN notes TEXT NOT NULL DEFAULT '';"
          "ALTER TABLE takes ADD COLUMN microphone INTEGER NOT NULL DEFAULT 0;"
          "ALTER TABLE takes ADD COLUMN channel INTEGER;"
          "ALTER TABLE takes ADD COLUMN egg_channel INTEGER;"
          "ALTER TABLE takes ADD COLUMN kind TEXT NOT NULL DEFAULT '';"
          "ALTER TABLE takes ADD COLUMN notes TEXT NOT NULL DEFAULT '';"
          "ALTER TABLE takes ADD COLUMN removed INTEGER NOT NULL DEFAULT 0 CHECK(removed >= 0);"
          "ALTER TABLE frames ADD COLUMN digest BLOB;"
          "ALTER TABLE flips ADD COLUMN leap_cents REAL;"
          "ALTER TABLE flips ADD COLUMN level_step_db REAL;"
          "ALTER TABLE flips ADD COLUMN spectral_step_db REAL;"
          "ALTER TABLE flips ADD COLUMN irregular_cycles INTEGER;"
          "ALTER TABLE flips ADD COLUMN seam_jnd REAL;"
          "ALTER TABLE flips ADD COLUMN kind TEXT;"
          "ALTER TABLE flips ADD COLUMN stated TEXT"
          " CHECK(stated IN ('add', 'move', 'confirm'));"
          "ALTER TABLE checks ADD COLUMN remedy TEXT;"
          "ALTER TABLE corrections RENAME TO old_corrections;" CORRECTIONS "INSERT INTO corrections"
          " SELECT t.code, c.number, c.action, ifnull(c.direction, 'up'), c.time_s,"
          " ifnull(c.to_s, c.time_s) FROM old_corrections c JOIN takes t ON t.id = c.take;"
          "DROP TABLE old_corrections;"
          "ALTER TABLE models RENAME TO old_models;" MODELS
          "INSERT INTO models(singer, vowel, version, answer)"
          " SELECT singer, vowel, version, answer FROM old_models;"
          "DROP TABLE old_models;" CALIBRATIONS,
    [3] = CALIBRATIONS_GROW,
};

typedef struct identity {
    long application, version, objects;
} identity;

/* All at one moment: another process may be making the tables. */
static bool identify(const journal *j, identity *who, err *e)
{
    bool begun;
    if (!sql_begin_read(j, &begun, e))
        return false;
    bool fine = sql_long(j, "PRAGMA application_id", 0, &who->application, e, "") &&
                sql_long(j, "PRAGMA user_version", 0, &who->version, e, "") &&
                sql_long(j, "SELECT count(*) FROM sqlite_schema", 0, &who->objects, e, "");
    sql_end_read(j, begun);
    return fine;
}

static bool empty(const identity *who)
{
    return !who->application && !who->version && !who->objects;
}

static bool mark(const journal *j, err *e)
{
    char marks[96];
    snprintf(marks, sizeof marks, "PRAGMA application_id = %ld; PRAGMA user_version = %d",
             application, (int)SCHEMA_VERSION);
    return sql_run(j, marks, e);
}

static bool make(const journal *j, err *e)
{
    return sql_run(j, tables, e) && mark(j, e);
}

static bool is_older(const identity *who)
{
    return who->application == application && who->version >= 1 && who->version < SCHEMA_VERSION;
}

static bool renew(const journal *j, long version, err *e)
{
    for (long v = version; v < SCHEMA_VERSION; v++)
        if (!sql_run(j, steps[v], e))
            return false;
    return mark(j, e);
}

/* Brings the tables up to this version, unless another process just did. */
static bool renew_once(journal *j, err *e)
{
    identity who;
    if (!journal_begin(j, e))
        return false;
    if (identify(j, &who, e) && (!is_older(&who) || renew(j, who.version, e)))
        return journal_commit(j, e);
    journal_rollback(j);
    return false;
}

/* Two processes may find the file empty at once: the second sees the first one's tables. */
static bool make_once(journal *j, err *e)
{
    identity who;
    if (!journal_begin(j, e))
        return false;
    if (identify(j, &who, e) && (!empty(&who) || make(j, e)))
        return journal_commit(j, e);
    journal_rollback(j);
    return false;
}

bool schema_ready(journal *j, journal_mode mode, err *e)
{
    identity who;
    if (!identify(j, &who, e))
        return false;
    if (empty(&who)) {
        if (mode == JOURNAL_READ)
            return err_set(e, "The journal %s holds nothing yet.", j->file);
        if (!make_once(j, e) || !identify(j, &who, e))
            return false;
    }
    if (who.application != application)
        return err_set(e, "%s is another program's database, not a journal.", j->file);
    if (who.version > SCHEMA_VERSION)
        return err_set(e,
                       "The journal %s was written by a newer seamline (schema %ld, this one knows "
                       "up to %d): update seamline.",
                       j->file, who.version, (int)SCHEMA_VERSION);
    return !is_older(&who) || renew_once(j, e);
}
