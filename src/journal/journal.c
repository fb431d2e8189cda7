/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Opening, closing and transactions.
 *
 * A rollback journal and not WAL: between writes the file is whole by itself, so that it can be
 * copied to a stick or lie on a network drive, and WAL needs shared memory, which such drives have
 * not. synchronous = EXTRA syncs the folder too when the rollback journal goes, so that what was
 * committed stays committed when the power fails (SQLite, "PRAGMA synchronous"). */
#include "journal/journal.h"

#include "base/array.h"
#include "journal/schema.h"
#include "journal/sql.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { BUSY_MS = 120000 };

char *journal_path(void)
{
    const char *named = getenv("SEAMLINE_JOURNAL");
    const char *data = getenv("XDG_DATA_HOME"), *home = getenv("HOME");
    if (named && *named)
        return xstrdup(named);
    if (data && *data == '/')
        return xformat("%s/seamline/journal.db", data);
    if (home && *home)
        return xformat("%s/.local/share/seamline/journal.db", home);
    return NULL;
}

/* A new folder outlives a power cut once the folder that it lies in is on the disk. */
static void sync_folder(const char *path)
{
    int folder = open(*path ? path : "/", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (folder < 0)
        return;
    fsync(folder);
    close(folder);
}

static bool make_folder(char *path, err *e)
{
    if (mkdir(path, 0700) != 0)
        return errno == EEXIST ||
               err_set(e, "The journal's folder %s could not be made: %s.", path, strerror(errno));
    char *slash = strrchr(path, '/');
    *slash = '\0';
    sync_folder(path);
    *slash = '/';
    return true;
}

static bool make_folders(const char *path, err *e)
{
    char *part = xstrdup(path);
    bool fine = true;
    for (char *slash = part; fine && *part == '/' && (slash = strchr(slash + 1, '/'));) {
        *slash = '\0';
        fine = make_folder(part, e);
        *slash = '/';
    }
    free(part);
    return fine;
}

/* SQLite gives its own files beside the journal the same mode. */
static bool make_file(const char *path, err *e)
{
    int file = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (file < 0 && errno != EEXIST)
        return err_set(e, "The journal %s cannot be written: %s.", path, strerror(errno));
    if (file >= 0)
        close(file);
    return true;
}

static bool look(const char *path, journal_mode mode, bool own_place, err *e)
{
    struct stat st;
    if (stat(path, &st) == 0 && S_ISDIR(st.st_mode))
        return err_set(e, "%s is a folder, not a journal.", path);
    if (access(path, R_OK) == 0)
        return true;
    if (errno != ENOENT)
        return err_set(e, "The journal %s cannot be read: %s.", path, strerror(errno));
    if (mode == JOURNAL_READ)
        return err_set(e, "There is no journal %s yet: seamline add begins it.", path);
    return (!own_place || make_folders(path, e)) && make_file(path, e);
}

/* "./" keeps SQLite from reading a meaning into a name such as ":memory:". */
static bool connect_file(journal *j, err *e)
{
    char *plain = xformat("%s%s", j->file[0] == '/' ? "" : "./", j->file);
    int code = sqlite3_open_v2(plain, &j->db, SQLITE_OPEN_READWRITE, NULL);
    free(plain);
    if (!j->db)
        return err_set(e, "The journal %s cannot be opened: out of memory.", j->file);
    if (code != SQLITE_OK)
        return sql_fail(j, e);
    sqlite3_extended_result_codes(j->db, 0);
    sqlite3_busy_timeout(j->db, BUSY_MS);
    return sql_run(j,
                   "PRAGMA foreign_keys = ON; PRAGMA synchronous = EXTRA;"
                   "PRAGMA secure_delete = ON; PRAGMA trusted_schema = OFF;"
                   "PRAGMA cell_size_check = ON",
                   e);
}

/* Writes and takes it back: now is the time to hear that it cannot be written, not after an hour
 * of listening. */
static bool try_to_write(journal *j, err *e)
{
    if (sqlite3_db_readonly(j->db, "main") == 1)
        return err_set(e, "The journal %s cannot be written: it is read-only.", j->file);
    if (!journal_begin(j, e))
        return false;
    bool fine = sql_run(j, "INSERT INTO singers(name) VALUES (hex(randomblob(32)))", e);
    journal_rollback(j);
    return fine;
}

static bool open_file(journal *j, journal_mode mode, bool own_place, err *e)
{
    return look(j->file, mode, own_place, e) && connect_file(j, e) && schema_ready(j, mode, e) &&
           (mode == JOURNAL_READ ? sql_run(j, "PRAGMA query_only = ON", e) : try_to_write(j, e));
}

bool journal_open(const char *path_or_null, journal_mode mode, journal **out, err *e)
{
    char *file = path_or_null ? xstrdup(path_or_null) : journal_path();
    if (!file)
        return err_set(e, "Where is the journal? Neither --journal, $SEAMLINE_JOURNAL nor $HOME "
                          "says.");
    journal *j = xcalloc(1, sizeof *j);
    j->file = file;
    bool fine = open_file(j, mode, !path_or_null, e);
    if (fine)
        *out = j;
    else
        journal_close(j);
    return fine;
}

void journal_close(journal *j)
{
    if (!j)
        return;
    journal_rollback(j);
    sqlite3_close(j->db);
    free(j->file);
    free(j);
}

bool journal_begin(journal *j, err *e)
{
    return sql_run(j, "BEGIN IMMEDIATE", e);
}

bool journal_snapshot(journal *j, err *e)
{
    return sql_run(j, "BEGIN", e);
}

bool journal_commit(journal *j, err *e)
{
    if (sql_run(j, "COMMIT", e))
        return true;
    journal_rollback(j);
    return false;
}

void journal_rollback(journal *j)
{
    if (j->db && !sqlite3_get_autocommit(j->db))
        sqlite3_exec(j->db, "ROLLBACK", NULL, NULL, NULL);
}
