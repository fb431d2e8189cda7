/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/care.h"

#include "base/array.h"
#include "journal/sql.h"
#include "journal/store.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* An empty file of that name that only its owner may read; an old one is not written over. */
static bool make_target(const char *path, err *e)
{
    int file = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (file < 0)
        return err_set(e, "The backup %s cannot be made: %s.", path,
                       errno == EEXIST
                           ? "there is something of that name, and it is not written over"
                           : strerror(errno));
    close(file);
    return true;
}

static bool copy_pages(journal *j, sqlite3 *to, err *e)
{
    enum { ALL = -1 };
    sqlite3_backup *b = sqlite3_backup_init(to, "main", j->db, "main");
    if (!b)
        return err_set(e, "The backup could not be begun: %s.", sqlite3_errmsg(to));
    int code = sqlite3_backup_step(b, ALL);
    sqlite3_backup_finish(b);
    return code == SQLITE_DONE || err_set(e, "The backup failed: %s.", sqlite3_errstr(code));
}

bool care_backup(journal *j, const char *path, err *e)
{
    sqlite3 *to = NULL;
    if (!make_target(path, e))
        return false;
    char *plain = xformat("%s%s", path[0] == '/' ? "" : "./", path);
    bool fine = sqlite3_open_v2(plain, &to, SQLITE_OPEN_READWRITE, NULL) == SQLITE_OK ||
                err_set(e, "The backup %s cannot be written.", path);
    fine = fine && copy_pages(j, to, e);
    if (sqlite3_close(to) != SQLITE_OK && fine)
        fine = err_set(e, "The backup %s could not be finished.", path);
    if (!fine)
        unlink(plain);
    free(plain);
    return fine;
}

static bool rename_take(const journal *j, sqlite3_stmt *s, const char *to, err *e)
{
    char code[JOURNAL_CODE], *was = sql_text(s, 1);
    const void *sound = sqlite3_column_blob(s, 2);
    bool fine = sound && sqlite3_column_bytes(s, 2) == JOURNAL_DIGEST;
    if (fine) {
        journal_code(to, sound, sql_real(s, 3), sql_real(s, 4), code);
        fine = sql_do(j, "UPDATE takes SET code = ? WHERE id = ?", e, "ti", code,
                      (long)sqlite3_column_int64(s, 0)) &&
               sql_do(j, "UPDATE OR IGNORE corrections SET code = ? WHERE code = ?", e, "tt", code,
                      was);
    } else {
        err_set(e, "The journal %s is damaged: take %.10s has no digest.", j->file, was);
    }
    free(was);
    return fine;
}

static bool rename_takes(const journal *j, const char *from, const char *to, err *e)
{
    sqlite3_stmt *s;
    bool fine = sql_prepare(j,
                            "SELECT t.id, t.code, t.sound, t.start_s, t.end_s FROM"
                            " takes t JOIN sessions s ON s.id = t.session"
                            " JOIN singers g ON g.id = s.singer WHERE g.name = ?"
                            " ORDER BY t.id",
                            &s, e, "t", from);
    while (sql_next(j, &s, &fine, e))
        fine = rename_take(j, s, to, e);
    return fine;
}

static bool rename_all(journal *j, const char *from, const char *to, err *e)
{
    long taken;
    return journal_knows(j, from, e) &&
           sql_long(j, "SELECT count(*) FROM singers WHERE name = ?", 0, &taken, e, "t", to) &&
           (!taken || err_set(e, "There is a singer %s already.", to)) &&
           rename_takes(j, from, to, e) &&
           sql_do(j, "UPDATE singers SET name = ? WHERE name = ?", e, "tt", to, from);
}

bool care_rename(journal *j, const char *from, const char *to, err *e)
{
    bool begun;
    return sql_begin_write(j, &begun, e) && sql_end_write(j, begun, rename_all(j, from, to, e), e);
}

bool care_remove(journal *j, const char *code, bool removed, err *e)
{
    return sql_do(j, "UPDATE takes SET removed = removed + 1 WHERE code = ? AND removed % 2 = ?", e,
                  "ti", code, removed ? 0L : 1L);
}

static bool erase(journal *j, const char *singer, err *e)
{
    return journal_knows(j, singer, e) &&
           sql_do(j,
                  "DELETE FROM corrections WHERE code IN (SELECT t.code FROM takes t"
                  " JOIN sessions s ON s.id = t.session JOIN singers g ON g.id = s.singer"
                  " WHERE g.name = ?)",
                  e, "t", singer) &&
           sql_do(j, "DELETE FROM singers WHERE name = ?", e, "t", singer);
}

/* secure_delete has overwritten the rows; VACUUM leaves no trace in the order of pages either, and
 * its own copy stays in memory. */
bool care_forget(journal *j, const char *singer, err *e)
{
    bool begun;
    return sql_begin_write(j, &begun, e) && sql_end_write(j, begun, erase(j, singer, e), e) &&
           sql_run(j, "PRAGMA temp_store = MEMORY; VACUUM", e);
}
